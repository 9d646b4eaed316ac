"""`ordain step INSTRUCTION`: the control sequence of one instruction, cycle by cycle, as with a hand on the switch."""

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ordain.cli import completing
from ordain.cli.manner import (
    Manner,
    build_directory,
    build_option,
    exit_status,
    find_machine,
    glyphs,
    machine_option,
    page_of,
    print_json,
    say,
    show,
    speaks,
    tell_findings,
)
from ordain.text.findings import Finding

if TYPE_CHECKING:
    from ordain.control.model import Free, System, Variable
    from ordain.control.play import Played
    from ordain.machine.expression import Node
    from ordain.machine.model import Machine
    from ordain.rom.contents import Contents
    from ordain.show.page import Page


@click.command("step")
@click.argument("instruction", shell_complete=completing.instructions)
@machine_option
@build_option
@click.option("--with", "given", multiple=True, metavar="NAME=VALUE[@CYCLES]",
              help="An input, condition or bus; in every cycle, or only in those after @: 3, 2-5, 4- (from 4 on). Else "
              "it is 0. May be repeated.")
@click.option("--from", "states", multiple=True, metavar="NAME=VALUE",
              help="A state or register at the beginning, which may choose the arm. May be repeated.")
@click.option("--cycles", type=click.IntRange(1, 100_000), default=64, show_default=True, help="Stop after N cycles.")
@click.option("--through", is_flag=True, help="Go on into the next instruction instead of stopping there.")
@click.option("--word", "words", is_flag=True, help="Each word in hexadecimal, and chip by chip the levels of the data "
              "pins, highest first.")
@click.option("--diagram", is_flag=True, help="Draw the timing diagram too.")
@speaks("text", "json")
def command(instruction: str, machine: Path | None, given: tuple[str, ...], states: tuple[str, ...], cycles: int,
            through: bool, words: bool, diagram: bool, form: str, quiet: bool, colour: str) -> int:
    """Play INSTRUCTION, a title ("load a, n"), routine or label, from its first word with chosen inputs.

    It begins in a state in which some sequence from reset comes to that word, a nearest one that agrees with --from and
    with the inputs of the first cycle. Inputs that are not given are 0; those on which the way depends are shown, so
    that you see what else could happen. Nothing is proved here: `ordain prove` looks at every sequence.
    """
    from ordain.cli.settings import in_cycles, settings
    from ordain.control.play import Start, play
    from ordain.control.system import build_system
    from ordain.pipeline import build_model

    manner = Manner(form, quiet, colour)
    path = find_machine(machine)
    built, findings = build_model(path, build_directory(path))
    if built is None:
        return _only_findings(manner, path, findings)
    contents, system = built.contents, build_system(built.contents)
    title, store, addresses = place_of(contents, instruction)
    wanted = settings(built.machine, states, "--from", {one.name: one.values for one in system.variables})
    chosen = in_cycles(built.machine, given, {one.name: one.values for one in system.free})
    begin = reached(system, store, addresses, wanted, chosen(1))
    if begin is None:
        raise click.UsageError(never_reached(system, store, addresses, title, wanted, chosen(1)))
    ends, last = (None, None) if through else (contents.machine.home, last_of(system))
    played = play(system, Start(begin), chosen, cycles, ends, last)
    if manner.format == "json":
        from ordain.show.verdicts import trace_data

        print_json({"command": "step", "status": 0, "ending": played.ending, "settable": _settable(system),
                    **trace_data(contents, played.trace)})
    else:
        _show(manner, system, played, title, _arms(system, store, addresses, begin, chosen(1)), words, diagram)
    return 0


def _only_findings(manner: Manner, path: Path, findings: list[Finding]) -> int:
    status = exit_status(findings)
    if manner.format == "json":
        from ordain.show.findings_json import finding_data

        print_json({"command": "step", "status": status, "findings": [finding_data(finding) for finding in findings]})
    else:
        tell_findings(findings, manner, beside=path)
    return status


def place_of(contents: "Contents", name: str) -> tuple[str, str, frozenset[int]]:
    """The name in full, store and addresses of a title, routine or label; of a routine those of its first word. Raises
    click.UsageError with the nearest name."""
    known = contents.labels
    if name not in known:
        folded = [one for one in known if one.casefold() == name.casefold()]
        folded = folded or [one for one in known if one.casefold().startswith(name.casefold() + " ")]
        if len(folded) != 1:
            from ordain.text.spelling import nearest

            near = folded[0] if folded else nearest(name, list(known))
            raise click.UsageError(f"no instruction, routine or label is called `{name}`."
                                   + (f" Did you mean `{near}`?" if near else ""))
        name = folded[0]
    store, addresses = known[name]
    return name, store, addresses


# ---------------------------------------------------------------- where it begins


def reached(system: "System", store: str, addresses: frozenset[int], wanted: dict[str, int],
             inputs: dict[str, int]) -> dict[str, int] | None:
    """The states of the nearest cycle at one of the addresses that has the wanted values; None when no sequence comes
    to such a one."""
    from ordain.prover.decide import decide
    from ordain.prover.model import Property

    terms = system.terms
    line = terms.leaf("address", store, system.contents.machine.stores[store].address_width)
    leaves = {**{one.name: one.leaf for one in system.variables}, **{one.name: one.leaf for one in system.free}}
    node = terms.and_((terms.among(line, addresses),
                       *(terms.equal(leaves[name], terms.const(value, leaves[name].width))
                         for name, value in {**wanted, **inputs}.items())))
    (verdict,) = decide(system, (Property("reach", "step", "reach", node),)).verdicts
    return None if verdict.witness is None else verdict.witness.cycles[-1].states


def never_reached(system: "System", store: str, addresses: frozenset[int], title: str, wanted: dict[str, int],
           inputs: dict[str, int]) -> str:
    """Why an instruction cannot begin as it was asked to."""
    if not (wanted or inputs) or reached(system, store, addresses, {}, {}) is None:
        return f"no sequence from reset comes to `{title}`"
    said = " and ".join(f"{name}={value}" for name, value in {**wanted, **inputs}.items())
    return f"no sequence from reset comes to `{title}` with {said}"


def last_of(system: "System") -> "Node":
    """The condition that an instruction ends with a cycle."""
    from ordain.control.ending import ends_of
    from ordain.control.sequencing import sequencing

    machine = system.contents.machine
    return ends_of(machine, sequencing(machine, system.terms), system.terms)[0]


def _arms(system: "System", store: str, addresses: frozenset[int], begin: dict[str, int],
          inputs: dict[str, int]) -> list[str]:
    """What chose among several first words, as options that would choose another: `--from beat_2=0`."""
    from ordain.control.sequencing import origins
    from ordain.machine.expression import Leaf

    words = system.contents.words[store]
    states = {variable.leaf for variable in system.variables}
    found: dict[str, None] = {}
    for bit, origin in enumerate(origins(system.addresses[store])):
        if isinstance(origin, tuple) and type(origin[0]) is Leaf and any(
                address ^ 1 << bit in addresses and words[address] != words[address ^ 1 << bit]
                for address in addresses):
            leaf, of = origin
            option, values = ("--from", begin) if leaf in states else ("--with", inputs)
            found[f"{option} {leaf.name}={values.get(leaf.name, 0) ^ 1 << of}"] = None
    return list(found)


# ---------------------------------------------------------------- what is shown


def _answer(machine: "Machine", played: "Played", title: str) -> str:
    from ordain.control.phases import cycles_in, instants

    count, loop = cycles_in(machine, played.trace), played.trace.loop
    cycles = f"{count} cycle{'' if count == 1 else 's'}"
    return {
        "until": f"{title}: {cycles}, then the next instruction begins",
        "loop": f"{title}: with these inputs it goes round for ever"
                + ("" if loop is None else f", from cycle {instants(machine, played.trace)[loop].cycle} on"),
        "assumption": f"{title}: in cycle {count} an assumption of the machine file does not hold; set inputs with "
                      "--with",
        "cycles": f"{title}: more than {cycles}; see on with --cycles",
    }[played.ending]


def _settable(system: "System") -> dict[str, list[str]]:
    """What --with and --from take, with the number of bits where it is not 1; levels of buses, too. Names with a space
    are of nothing that the machine file has."""
    def names(entries: "Iterable[Variable | Free]") -> list[str]:
        return [one.name if one.leaf.width == 1 else f"{one.name} ({one.leaf.width} bits)" for one in entries
                if " " not in one.name]

    return {"--with": names(system.free), "--from": names(system.variables)}


def _show(manner: Manner, system: "System", played: "Played", title: str, arms: list[str], words: bool,
          diagram: bool) -> None:
    from ordain.show.diagram import diagram_lines
    from ordain.show.traces import cycle_lines

    contents, page = system.contents, page_of(manner)
    say(manner, _answer(contents.machine, played, title))
    show(manner, cycle_lines(contents, played.trace, page))
    if words:
        show(manner, _words(contents, played, page))
    if arms:
        say(manner, f"  another arm: {' or '.join(arms)}")
    for option, names in _settable(system).items():
        if names:
            say(manner, f"  {option} takes: {', '.join(names)}")
    if diagram:
        say(manner, "")
        show(manner, diagram_lines(contents, played.trace, page, glyphs()))


def _words(contents: "Contents", played: "Played", page: "Page") -> list[str]:
    """Every word that was played, once: address, hexadecimal, and chip by chip what the data pins read. A chip whose
    address lines have another order has its own address before it."""
    from ordain.show.page import fold

    machine, seen = contents.machine, set[tuple[str, int]]()
    lines = ["  the words, and the levels of the data pins, highest first:"]
    for cycle in played.trace.cycles:
        for store in machine.stores.values():
            address = cycle.addresses.get(store.name)
            if store.fill != "microprogram" or address is None or (store.name, address) in seen:
                continue
            seen.add((store.name, address))
            word, digits = contents.words[store.name][address], -(-store.address_width // 4)
            chips = [f"{chip.name}{'' if bank.cell(address) == address else f' at {bank.cell(address):0{digits}X}'} "
                     f"{bank.levels(word)}".replace(" ", "\xa0")
                     for chip in machine.chips.values() for bank in chip.banks if bank.store == store.name]
            start = f"  {address:0{digits}X}  {word:0{-(-store.bits // 4)}X}"
            lines += fold("  ".join([start, *chips]), page, len(start))
    return [line.replace("\xa0", " ") for line in lines]
