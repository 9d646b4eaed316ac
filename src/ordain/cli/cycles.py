"""`ordain cycles`: least and most cycles of every instruction."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ordain.cli.manner import (
    Manner,
    build_directory,
    build_option,
    exit_status,
    find_machine,
    machine_argument,
    print_json,
    say,
    speaks,
    tell_beside,
    tell_findings,
)
from ordain.cli.progress import BUILDING, waiting
from ordain.text.findings import Finding, has_errors

if TYPE_CHECKING:
    from fractions import Fraction

    from ordain.measure.cycles import Cycles, Decision, Taken
    from ordain.measure.mix import PerInstruction, Share
    from ordain.pipeline import Built
    from ordain.show.cycle_table import Listed


@click.command("cycles")
@machine_argument
@build_option
@click.option("--mix", type=click.Path(path_type=Path), metavar="FILE",
              help="A measured mix: a title (or the beginning of titles) and a fraction a line; gives cycles per "
              "instruction.")
@click.option("--all", "everything", is_flag=True, help="Every member of a family in a row of its own.")
@speaks("text", "json")
def command(machine: Path | None, mix: Path | None, everything: bool, form: str, quiet: bool, colour: str) -> int:
    """The table of cycles of MACHINE: least and most of every instruction, from its first word to the next dispatch or
    boundary, over what can really happen, and what decides which it is.

    `2+` takes 2 cycles, or longer: it can wait, and the row says where and for what. What leads from the boundary to
    the first word (the fetch) has a row of its own.
    """
    from ordain.measure.cycle_counts import Stopped
    from ordain.measure.mix import per_instruction, read_mix
    from ordain.pipeline import build_model
    from ordain.text.reading import read_source

    manner = Manner(form, quiet, colour)
    path = find_machine(machine)
    with waiting(quiet, BUILDING):
        built, findings = build_model(path, build_directory(path))
    if built is None:
        if form == "json":
            return _as_json(findings, None)
        tell_findings(findings, manner, beside=path)
        return exit_status(findings)
    try:
        with waiting(quiet, "cycles are counted"):
            cycles = count(built)
    except Stopped as stopped:
        return 130 if str(stopped) == "interrupted" else 3
    of_mix: list[Finding] = []
    shares: tuple[Share, ...] = ()
    figure = None
    if mix is not None and cycles is not None:
        source, _, of_mix = read_source(mix, mix.name if form == "json" else str(mix))
        if source is not None:
            shares, more = read_mix(source, cycles)
            of_mix += more
        figure = per_instruction(cycles, shares) if shares and not has_errors(of_mix) else None
    if form == "json":
        return _as_json([*findings, *of_mix], cycles, listed_of(built), figure, shares)
    for line in _lines(built, cycles, figure, everything):
        say(manner, line)
    tell_findings(of_mix, manner)
    tell_beside(findings, manner, beside=path)
    return exit_status([*findings, *of_mix])


def count(built: "Built") -> "Cycles | None":
    """The cycles of every instruction of a build, in the order of the text. Raises cycle_counts.Stopped."""
    from ordain.control.system import build_system
    from ordain.measure.cycles import cycles_of

    titles = dict.fromkeys(use.title for use in built.program.opcodes)
    return cycles_of(build_system(built.contents), titles)


def listed_of(built: "Built") -> "dict[str, Listed]":
    """What the text says of each instruction."""
    from ordain.show.cycle_table import Listed

    width = max((store.opcode_width for store in built.machine.stores.values()), default=0)
    opcodes: dict[str, list[int]] = {}
    for use in built.program.opcodes:
        opcodes.setdefault(use.title, []).append(use.opcode)
    families = {body.name: (body.span.source.name, body.span.start) for body in built.program.bodies}
    return {title: Listed(tuple(sorted(found)), families.get(title, title), -(-width // 4))
            for title, found in opcodes.items()}


def _lines(built: "Built", cycles: "Cycles | None", figure: "PerInstruction | None", everything: bool) -> list[str]:
    import shutil

    from ordain.show.cycle_table import cycle_lines, folded

    columns = shutil.get_terminal_size((100, 24)).columns
    if cycles is None:
        return [f"{built.machine.name} has no microprogram"]
    lines = cycle_lines(built.machine.name, cycles, listed_of(built), columns, everything)
    return lines if figure is None else [*folded(_figure(figure), columns), *lines]


def _figure(figure: "PerInstruction") -> str:
    least, most = _decimal(figure.least), _decimal(figure.past_rings)
    waiting = ", without waiting" if figure.most is None else ""
    span = least if least == most else f"{least} to {most}"
    return f"cycles per instruction of this mix, fetch included: {span}{waiting}"


def _decimal(value: "Fraction") -> str:
    return f"{float(value):.4f}".rstrip("0").rstrip(".")


# ---------------------------------------------------------------- as data


def _as_json(findings: list[Finding], cycles: "Cycles | None", listed: "dict[str, Listed] | None" = None,
             figure: "PerInstruction | None" = None, shares: "tuple[Share, ...]" = ()) -> int:
    from ordain.show.findings_json import finding_data

    status = exit_status(findings)
    data: dict[str, Any] = {"command": "cycles", "status": status}
    if cycles is not None:
        data["boundary"], data["unheld"] = cycles.boundary, list(cycles.unheld)
        data["fetch"] = None if cycles.fetch is None else _data(cycles.fetch)
        data["round"] = None if cycles.round is None else _data(cycles.round)
        data["instructions"] = [
            {"opcodes": list(listed[one.title].opcodes) if listed and one.title in listed else [], **_data(one)}
            for one in cycles.taken]
    if figure is not None:
        data["per_instruction"] = _figure_data(figure, shares)
    print_json({**data, "findings": [finding_data(finding) for finding in findings]})
    return status


def _data(one: "Taken") -> dict[str, Any]:
    return {"kind": one.kind, "title": one.title, "begins": one.begins,
            "least": one.least, "most": None if one.rings else one.most,
            "most_without_waiting": one.most, "fetches_the_next": one.fetches,
            "if_least": [_decision(each) for each in one.if_least],
            "if_most": [_decision(each) for each in one.if_most],
            "loops": [{"addresses": list(ring.addresses), "depends_on": list(ring.names)} for ring in one.rings]}


def _decision(one: "Decision") -> dict[str, Any]:
    return {"address": one.address, "where": one.where, "values": dict(one.values)}


def _figure_data(figure: "PerInstruction", shares: "tuple[Share, ...]") -> dict[str, Any]:
    return {"least": float(figure.least), "most": None if figure.most is None else float(figure.most),
            "most_without_waiting": float(figure.past_rings),
            "mix": [{"name": share.name, "fraction": float(share.fraction), "instructions": len(share.of)}
                    for share in shares]}
