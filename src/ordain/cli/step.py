"""`ordain step INSTRUCTION`: the control sequence of one instruction, cycle by cycle, as with a hand on the switch."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ordain.cli.manner import Manner, exit_status, find_machine, glyphs, print_json, say, speaks, tell_findings
from ordain.text.findings import Finding

if TYPE_CHECKING:
    from ordain.control.model import System
    from ordain.control.play import Played
    from ordain.machine.model import Machine
    from ordain.pipeline import Built
    from ordain.rom.contents import Contents

ENDINGS = {
    "until": "then the next instruction begins",
    "loop": "",
    "assumption": "in the last cycle an assumption of the machine file does not hold",
    "cycles": "and so on: more with --cycles",
}


@click.command("step")
@click.argument("instruction")
@click.option("--machine", type=click.Path(path_type=Path), help="The machine file; default: the only one here.")
@click.option("--with", "given", multiple=True, metavar="NAME=VALUE[@CYCLES]",
              help="An input or condition, in all cycles or in 3, 2-5, 4-; else 0. May be repeated.")
@click.option("--from", "states", multiple=True, metavar="NAME=VALUE",
              help="A state or register at the beginning; else its reset value. May be repeated.")
@click.option("--cycles", type=click.IntRange(1, 100_000), default=64, show_default=True, help="At most so many.")
@click.option("--through", is_flag=True, help="Go on into the next instruction instead of stopping there.")
@click.option("--diagram", is_flag=True, help="Draw the timing diagram too.")
@speaks("text", "json")
def command(instruction: str, machine: Path | None, given: tuple[str, ...], states: tuple[str, ...], cycles: int,
            through: bool, diagram: bool, form: str, quiet: bool, colour: str) -> int:
    """Play INSTRUCTION, a title ("LDA n"), routine or label, from its first word with chosen inputs.

    Inputs that are not given are 0; those on which the way depends are shown, so that you see what else could happen.
    Nothing is proved here: `ordain prove` looks at every sequence.
    """
    from ordain.control.play import Start, play
    from ordain.control.system import build_system
    from ordain.pipeline import build_model

    manner = Manner(form, quiet, colour)
    path = find_machine(machine)
    built, findings = build_model(path, path.parent / "build")
    if built is None:
        return _only_findings(manner, path, findings)
    contents, system = built.contents, build_system(built.contents)
    store, address = _place(contents, instruction)
    begin = {**_opcode(built, store, address), **_start_states(system, store, address)}
    begin.update(_settings(system, states, "--from", {variable.name: variable.values for variable in system.variables}))
    chosen = _chosen(system, given)
    played = play(system, Start(begin), chosen, cycles, None if through else contents.machine.home)
    first = played.trace.cycles[0].addresses.get(store)
    if first != address:
        raise click.UsageError(
            f"the first word would be at {first:#x}, not at {address:#x}, where `{instruction}` begins: "
            f"set what forms the address of `{store}` with --from or --with")
    _show(manner, contents, played, diagram)
    return 0


def _only_findings(manner: Manner, path: Path, findings: list[Finding]) -> int:
    status = exit_status(findings)
    if manner.format == "json":
        from ordain.show.findings_json import finding_data

        print_json({"command": "step", "status": status, "findings": [finding_data(finding) for finding in findings]})
    else:
        tell_findings(findings, manner, beside=path)
    return status


def _place(contents: "Contents", name: str) -> tuple[str, int]:
    """Store and lowest address of a title, routine or label. Raises click.UsageError with the nearest name."""
    found = contents.labels.get(name) or contents.routines.get(name)
    if found is None:
        folded = [known for known in contents.labels if known.casefold() == name.casefold()]
        folded = folded or [known for known in contents.labels if known.casefold().startswith(name.casefold() + " ")]
        if len(folded) == 1:
            found = contents.labels[folded[0]]
    if found is None:
        from ordain.text.spelling import nearest

        near = folded[0] if folded else nearest(name, list(contents.labels))
        raise click.UsageError(f"no instruction, routine or label is called `{name}`."
                               + (f" Did you mean `{near}`?" if near else ""))
    store, addresses = found
    return store, min(addresses)


def _opcode(built: "Built", store: str, address: int) -> dict[str, int]:
    """The opcode of the instruction that begins at this word, in the register or state that holds opcodes."""
    from ordain.machine.expression import Leaf, leaves

    site = built.contents.sites[store].get(address)
    known = [use.opcode for use in built.program.opcodes if site is not None and use.title == site.owner]
    holders = [one.starts_at for one in built.machine.stores.values() if one.starts_at is not None]
    holders += [one.address for one in built.machine.stores.values() if one.fill == "start"]
    names = {leaf.name for node in holders for leaf in leaves((node,)) if type(leaf) is Leaf
             and leaf.kind in ("opcode", "register", "state")}
    return {names.pop(): min(known)} if known and len(names) == 1 else {}


def _start_states(system: "System", store: str, address: int) -> dict[str, int]:
    """The states that form the store's address, such that it is this word's."""
    from ordain.machine.expression import Join, Leaf, Slice

    states: dict[str, int] = {}
    node = system.addresses[store]
    parts = node.args if type(node) is Join else (node,)
    below = node.width
    for part in parts:
        below -= part.width
        value = address >> below & (1 << part.width) - 1
        of, low = (part.args[0], part.low) if type(part) is Slice else (part, 0)
        if type(of) is Leaf and of.kind in ("state", "register"):
            states[of.name] = states.get(of.name, 0) | value << low
    return states


def _settings(system: "System", given: tuple[str, ...], option: str, sizes: dict[str, int]) -> dict[str, int]:
    """NAME=VALUE pairs; VALUE a number or a code's name; NAME alone means 1."""
    values = {}
    for text in given:
        name, equals, value = text.partition("=")
        values[name] = _value(system.contents.machine, name, value if equals else "1", option, sizes)
    return values


def _value(machine: "Machine", name: str, text: str, option: str, sizes: dict[str, int]) -> int:
    if name not in sizes:
        from ordain.text.spelling import nearest

        near = nearest(name, list(sizes))
        raise click.BadParameter(f"nothing that can be set is called `{name}`."
                                 + (f" Did you mean `{near}`?" if near else ""), param_hint=option)
    declared = machine.states.get(name) or machine.inputs.get(name)
    codes = declared.codes if declared is not None else ()
    if text in codes:
        return codes.index(text)
    try:
        value = int(text, 0)
    except ValueError:
        known = f"; it is one of {', '.join(codes)}" if codes else ""
        raise click.BadParameter(f"`{text}` is no value of `{name}`{known}", param_hint=option) from None
    if not 0 <= value < sizes[name]:
        raise click.BadParameter(f"`{name}` goes from 0 to {sizes[name] - 1}, so not {text}", param_hint=option)
    return value


def _chosen(system: "System", given: tuple[str, ...]) -> "Callable[[int], dict[str, int]]":
    """From `press=1@3`, `key=2@4-`, `zero` to the values of a cycle; a later option wins."""
    sizes = {one.name: one.values for one in system.free}
    rows: list[tuple[str, int, int, int]] = []
    for text in given:
        setting, at, span = text.partition("@")
        match = re.fullmatch(r"(\d+)(-(\d*))?", span) if at else None
        if at and match is None:
            raise click.BadParameter(f"`{span}` names no cycles: write 3, 2-5 or 4-", param_hint="--with")
        first = int(match[1]) if match else 0
        last = first if match and match[2] is None else int(match[3]) if match and match[3] else 1 << 60
        for name, value in _settings(system, (setting,), "--with", sizes).items():
            rows.append((name, value, first, last))
    return lambda cycle: {name: value for name, value, first, last in rows if first <= cycle <= last}


def _show(manner: Manner, contents: "Contents", played: "Played", diagram: bool) -> None:
    import shutil

    from ordain.show.diagram import diagram_lines
    from ordain.show.trace_table import table_lines, trace_rows
    from ordain.show.verdicts import trace_data

    if manner.format == "json":
        print_json({"command": "step", "ending": played.ending, **trace_data(contents, played.trace)})
        return
    for line in table_lines(trace_rows(contents, played.trace), played.trace.loop, everything=True):
        say(manner, line)
    if ENDINGS[played.ending]:
        say(manner, f"  {ENDINGS[played.ending]}")
    if diagram:
        say(manner, "")
        for line in diagram_lines(contents, played.trace, shutil.get_terminal_size((100, 24)).columns, glyphs()):
            say(manner, line)
