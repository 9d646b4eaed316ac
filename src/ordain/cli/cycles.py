"""`ordain cycles`: least and most cycles of every instruction."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ordain.cli.manner import (
    Manner,
    exit_status,
    find_machine,
    machine_argument,
    print_json,
    say,
    speaks,
    tell_findings,
)
from ordain.text.findings import Finding, has_errors

if TYPE_CHECKING:
    from ordain.measure.cycles import Cycles, Decision, Taken
    from ordain.measure.mix import PerInstruction, Share
    from ordain.pipeline import Built


@click.command("cycles")
@machine_argument
@click.option("--mix", type=click.Path(path_type=Path), metavar="FILE",
              help="A measured mix: a title (or the beginning of titles) and a fraction a line; gives cycles per "
              "instruction.")
@click.option("--all", "everything", is_flag=True, help="Every instruction by itself, with all that decides.")
@speaks("text", "json")
def command(machine: Path | None, mix: Path | None, everything: bool, form: str, quiet: bool, colour: str) -> int:
    """Least and most cycles of every instruction of MACHINE, from its first word to the next dispatch or boundary,
    over what can really happen, and what decides which it is.

    Waits that can go on for ever are shown as the loops they are. What leads from the boundary to the first word (the
    fetch) is counted once and by itself.
    """
    from ordain.measure.cycle_counts import Stopped
    from ordain.measure.mix import per_instruction, read_mix
    from ordain.pipeline import build_model
    from ordain.text.reading import read_source

    manner = Manner(form, quiet, colour)
    path = find_machine(machine)
    built, findings = build_model(path, path.parent / "build")
    if built is None:
        return _end(manner, path, findings, None)
    try:
        cycles = count(built)
    except Stopped as stopped:
        return 130 if str(stopped) == "interrupted" else 3
    shares: tuple[Share, ...] = ()
    figure = None
    if mix is not None and cycles is not None:
        source, _, more = read_source(mix, mix.name)
        findings += more
        if source is not None:
            shares, more = read_mix(source, cycles)
            findings += more
        figure = per_instruction(cycles, shares) if shares and not has_errors(findings) else None
    return _end(manner, path, findings, cycles, shares, figure, everything)


def count(built: "Built") -> "Cycles | None":
    """The cycles of every instruction of a build, in the order of the text. Raises prover.journeys.Stopped."""
    from ordain.control.system import build_system
    from ordain.measure.cycles import cycles_of

    titles = dict.fromkeys(use.title for use in built.program.opcodes)
    return cycles_of(build_system(built.contents), titles)


def _end(manner: Manner, path: Path, findings: list[Finding], cycles: "Cycles | None",
         shares: "tuple[Share, ...]" = (), figure: "PerInstruction | None" = None, everything: bool = False) -> int:
    status = exit_status(findings)
    if manner.format == "json":
        from ordain.show.findings_json import finding_data

        data: dict[str, Any] = {"command": "cycles", "status": status}
        if cycles is not None:
            data["boundary"] = cycles.boundary
            data["fetch"] = None if cycles.fetch is None else _data(cycles.fetch)
            data["instructions"] = [_data(one) for one in cycles.taken]
        if figure is not None:
            data["per_instruction"] = _figure_data(figure, shares)
        print_json({**data, "findings": [finding_data(finding) for finding in findings]})
        return status
    tell_findings(findings, manner, beside=path)
    if cycles is not None:
        for line in cycle_lines(cycles, everything):
            say(manner, line)
    for line in _figure_lines(figure):
        say(manner, line)
    return status


# ---------------------------------------------------------------- as text


def cycle_lines(cycles: "Cycles", everything: bool = False) -> list[str]:
    """A line for each instruction; those that take the same whatever happens are told together, unless `everything`."""
    lines = []
    if cycles.fetch is not None:
        lines += [f"from the boundary, {cycles.boundary}, to the first word: {_count(cycles.fetch)}",
                  *_reasons(cycles.fetch), ""]
    groups: dict[object, list[Taken]] = {}
    for one in cycles.taken:
        alike = not everything and one.least == one.most and not one.rings
        groups.setdefault(one.least if alike else one.title, []).append(one)
    for group in sorted(groups.values(), key=lambda group: (group[0].most or 0, group[0].least or 0)):
        if len(group) == 1:
            lines += [f"{_count(group[0])}: {group[0].title}", *_reasons(group[0])]
        else:
            shown = ", ".join(f"`{one.title}`" for one in group[:6])
            more = f" and {len(group) - 6} more" if len(group) > 6 else ""
            lines.append(f"{_count(group[0])}: {shown}{more}")
    return lines or ["no instruction and no boundary: there is nothing to count from"]


def _count(one: "Taken") -> str:
    if one.least is None:
        return "never comes to its end"
    if one.rings:
        return f"{_cycles(one.least, one.most)} without waiting, then as long as it waits"
    return _cycles(one.least, one.most)


def _cycles(least: int, most: int | None) -> str:
    if most is None or least == most:
        return f"{least} cycle{'s' if least != 1 else ''}"
    return f"{least} to {most} cycles"


def _reasons(one: "Taken") -> list[str]:
    lines = []
    if one.if_least or one.if_most:
        lines.append(f"    {one.least} when {_decided(one.if_least) or 'nothing else holds'}")
    if one.if_most:
        lines.append(f"    {one.most} when {_decided(one.if_most)}")
    for ring in one.rings:
        places = ", ".join(f"{address:X}" for address in ring.addresses[:12])
        more = f" and {len(ring.addresses) - 12} more" if len(ring.addresses) > 12 else ""
        asked = f", as {', '.join(ring.names)} say" if ring.names else ""
        lines.append(f"    goes round {places}{more}{asked}")
    return lines


def _decided(decisions: "tuple[Decision, ...]") -> str:
    return ", then ".join(
        f"{' and '.join(f'{name} is {value}' for name, value in decision.values)} at {decision.where or ''}"
        f"{' ' if decision.where else ''}({decision.address:X})" for decision in decisions)


def _figure_lines(figure: "PerInstruction | None") -> list[str]:
    if figure is None:
        return []
    least, most = _decimal(figure.least), _decimal(figure.past_rings)
    span = least if least == most else f"{least} to {most}"
    return ["", f"cycles per instruction of this mix, fetch included: {span}"
            + (" without waiting" if figure.most is None else "")]


def _decimal(value: Any) -> str:
    return f"{float(value):.4f}".rstrip("0").rstrip(".")


# ---------------------------------------------------------------- as data


def _data(one: "Taken") -> dict[str, Any]:
    return {"kind": one.kind, "title": one.title, "least": one.least, "most": None if one.rings else one.most,
            "most_without_waiting": one.most, "if_least": [_decision(each) for each in one.if_least],
            "if_most": [_decision(each) for each in one.if_most],
            "loops": [{"addresses": list(ring.addresses), "depends_on": list(ring.names)} for ring in one.rings]}


def _decision(one: "Decision") -> dict[str, Any]:
    return {"address": one.address, "where": one.where, "values": dict(one.values)}


def _figure_data(figure: "PerInstruction", shares: "tuple[Share, ...]") -> dict[str, Any]:
    return {"least": float(figure.least), "most": None if figure.most is None else float(figure.most),
            "most_without_waiting": float(figure.past_rings),
            "mix": [{"name": share.name, "fraction": float(share.fraction), "instructions": len(share.of)}
                    for share in shares]}
