"""`ordain run`: machine code on the microcode, values and all."""

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ordain.cli.manner import (
    Manner,
    build_directory,
    build_option,
    exit_status,
    find_machine,
    machine_argument,
    page_of,
    print_json,
    say,
    show,
    speaks,
    tell_findings,
)
from ordain.text.findings import Finding, has_errors

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ordain.data.model import Memories, Record
    from ordain.data.partial import Bits
    from ordain.machine.expression import Node
    from ordain.machine.model import Machine
    from ordain.rom.contents import Contents

_PLACE = r"([\w.]+)(?:@([0-9A-Fa-f]+))?"


@click.command("run")
@machine_argument
@build_option
@click.option("--put", "words", multiple=True, metavar="MEMORY@ADDRESS=WORDS",
              help="Words in hexadecimal, with blanks or commas between, from an address on. May be repeated.")
@click.option("--load", "files", multiple=True, metavar="MEMORY[@ADDRESS]=FILE",
              help="A file into a memory: raw, Intel HEX, S-record or $readmemh text. May be repeated.")
@click.option("--with", "given", multiple=True, metavar="NAME=VALUE[@CYCLES]",
              help="An input or condition; in every cycle, or only in those after @: 3, 2-5, 4- (from 4 on). Else "
              "inputs are 0. May be repeated.")
@click.option("--until", default="", metavar="CONDITION", help="Stop after the first cycle in which this holds.")
@click.option("--cycles", type=click.IntRange(1), default=10_000, show_default=True, metavar="N",
              help="Stop after N cycles.")
@click.option("--instructions", type=click.IntRange(1), default=None, metavar="N", help="Stop after N instructions.")
@click.option("--each", type=click.Choice(["instruction", "cycle", "nothing"]), default="instruction",
              show_default=True, help="What a line is written for.")
@click.option("--dump", "dumps", multiple=True, metavar="MEMORY@FROM-TO",
              help="Words of a memory at the end, in hexadecimal. May be repeated.")
@click.option("--expect", "expected", multiple=True, metavar="NAME=VALUE",
              help="What a register, a state or MEMORY@ADDRESS has to hold at the end, in hexadecimal; else exit "
              "status 1. May be repeated.")
@speaks("text", "json")
def command(machine: Path | None, words: tuple[str, ...], files: tuple[str, ...], given: tuple[str, ...], until: str,
            cycles: int, instructions: int | None, each: str, dumps: tuple[str, ...], expected: tuple[str, ...],
            form: str, quiet: bool, colour: str) -> int:
    """Run MACHINE on its microprogram: memories, registers and buses with their values, from reset on.

    Bits that nothing gives a value are followed as unknown, `x`: never-written memory, floating buses, registers that
    were never loaded. The run ends early where control depends on such a bit, where two drivers fight, or where a
    `never` rule is broken. Nothing is proved here: `ordain prove` looks at every sequence.
    """
    from ordain.cli.settings import in_cycles
    from ordain.data.datapath import Datapath
    from ordain.data.record import recorded
    from ordain.pipeline import build_model

    manner = Manner(form, quiet, colour)
    path = find_machine(machine)
    built, findings = build_model(path, build_directory(path))
    if built is None:
        return _only_findings(manner, path, findings)
    model = built.machine
    memories, more = memories_given(model, path.parent, files, words)
    findings += more
    if has_errors(findings):
        return _only_findings(manner, path, findings)
    sizes = {name: 1 << one.width for name, one in model.inputs.items()}
    sizes.update((name, 1 << one.width) for name, one in model.conditions.items())
    stop = condition_of(built.contents, until)
    wanted = [_expected(model, text) for text in expected]
    asked = [_range(model, text) for text in dumps]
    made = recorded(Datapath(built.contents), memories, in_cycles(model, given, sizes), stop, cycles, instructions,
                    {body.name for body in built.program.bodies if body.kind == "instruction"})
    missed = [(name, value, found) for name, value in wanted if (found := _held(made, name)) != value]
    status = 130 if made.ending == "interrupted" else int(bool(made.findings or missed))
    from ordain.show.run_lines import digits, dump_lines, end_lines, record_data, run_lines

    if form == "json":
        print_json({"command": "run", "status": status, **record_data(built.contents, made),
                    "missed": [{"name": name, "expected": digits(value, value.known.bit_length()),
                                "found": digits(found, value.known.bit_length())} for name, value, found in missed],
                    "findings": _told([*findings, *made.findings])})
        return status
    tell_findings(findings, manner, beside=path)
    page = page_of(manner)
    if each != "nothing":
        show(manner, run_lines(built.contents, made, page, each == "cycle"))
    tell_findings(list(made.findings), manner, beside=path)
    show(manner, end_lines(built.contents, made, page))
    for memory, first, last in asked:
        show(manner, dump_lines(model.memories[memory], made.memories[memory], first, last))
    for name, value, found in missed:
        width = value.known.bit_length()
        say(Manner(form, False, colour), f"expected {name}={digits(value, width)}, found {digits(found, width)}")
    return status


def _told(findings: "Sequence[Finding]") -> list[object]:
    from ordain.show.findings_json import finding_data

    return [finding_data(finding) for finding in findings]


def _only_findings(manner: Manner, path: Path, findings: list[Finding]) -> int:
    status = exit_status(findings)
    if manner.format == "json":
        print_json({"command": "run", "status": status, "findings": _told(findings)})
    else:
        tell_findings(findings, manner, beside=path)
    return status


# ---------------------------------------------------------------- what is asked


def _memory(machine: "Machine", name: str, option: str) -> str:
    if name not in machine.memories:
        from ordain.text.spelling import nearest

        near = nearest(name, list(machine.memories))
        raise click.BadParameter(f"no memory is called `{name}`." + (
            f" Did you mean `{near}`?" if near else
            f" There are: {', '.join(machine.memories)}" if machine.memories else " The machine file has none"),
            param_hint=option)
    return name


def _place(machine: "Machine", text: str, option: str) -> tuple[str, int]:
    """MEMORY or MEMORY@ADDRESS."""
    match = re.fullmatch(_PLACE, text)
    if match is None:
        raise click.BadParameter(f"`{text}` is no place: write MEMORY@ADDRESS, the address in hexadecimal",
                                 param_hint=option)
    name, address = _memory(machine, match[1], option), int(match[2] or "0", 16)
    if address >= machine.memories[name].words:
        raise click.BadParameter(f"`{name}` ends at {machine.memories[name].words - 1:X}", param_hint=option)
    return name, address


def memories_given(machine: "Machine", directory: Path, files: tuple[str, ...],
              words: tuple[str, ...]) -> "tuple[Memories, list[Finding]]":
    """What the memories hold before the first cycle: as the machine file says, then files, then words."""
    from ordain.cli.loading import at_power_up, words_of_file
    from ordain.data.partial import exactly

    memories: Memories = {}
    findings: list[Finding] = []
    for memory in machine.memories.values():
        memories[memory.name], more = at_power_up(memory, directory)
        findings += more
    for text in files:
        place, equals, file = text.partition("=")
        name, address = _place(machine, place, "--load")
        if not equals:
            raise click.BadParameter(f"`{text}` names no file: write {name}@{address:X}=FILE", param_hint="--load")
        cells, more = words_of_file(Path(file), machine.memories[name], address)
        memories[name].update(cells)
        findings += more
    for text in words:
        place, equals, values = text.partition("=")
        name, address = _place(machine, place, "--put")
        memory = machine.memories[name]
        for number, value in enumerate(re.split(r"[\s,]+", values.strip())):
            if not re.fullmatch(r"[0-9A-Fa-f]+", value) or int(value, 16) >> memory.bits:
                raise click.BadParameter(f"`{value}` is no word of {memory.bits} bits in hexadecimal",
                                         param_hint="--put")
            if address + number >= memory.words:
                raise click.BadParameter(f"`{name}` ends at {memory.words - 1:X}", param_hint="--put")
            memories[name][address + number] = exactly(int(value, 16), memory.bits)
    return memories, findings


def condition_of(contents: "Contents", text: str) -> "Node | None":
    """The condition of --until. Raises click.BadParameter."""
    if not text:
        return None
    from ordain.language.expression import parse_expression
    from ordain.language.words import Misread
    from ordain.machine.expression import leaves
    from ordain.text.lines import Placed
    from ordain.text.source import Source

    placed = Placed(text, Source("--until", text), 0)
    try:
        expression, end = parse_expression(placed, 0)
    except Misread as misread:
        raise click.BadParameter(misread.finding(placed, "CONDITION").message, param_hint="--until") from None
    if text[end:].strip():
        raise click.BadParameter(f"`{text[end:].strip()}` is left over", param_hint="--until")
    node, findings = contents.machine.lower(expression, True)
    if node is None or findings:
        raise click.BadParameter(findings[0].message if findings else "no condition", param_hint="--until")
    for leaf in leaves((node,)):
        if leaf.kind in ("at", "in") and leaf.name not in (contents.labels if leaf.kind == "at" else contents.routines):
            raise click.BadParameter(f"no label or instruction is called `{leaf.name}`", param_hint="--until")
    return node


def _expected(machine: "Machine", text: str) -> "tuple[str, Bits]":
    """What --expect asks for. Raises click.BadParameter."""
    from ordain.data.partial import exactly

    place, equals, value = text.partition("=")
    name, at, _ = place.partition("@")
    if at:
        _place(machine, place, "--expect")
        width = machine.memories[name].bits
    else:
        seen = [one for one in machine.visible or machine.registers if one not in machine.memories]
        if name not in seen:
            raise click.BadParameter(f"`{name}` is nothing that a programmer sees. There are: {', '.join(seen)}",
                                     param_hint="--expect")
        declared = machine.registers.get(name) or machine.states[name]
        width = declared.width
    if not equals or not re.fullmatch(r"[0-9A-Fa-f]+", value) or int(value, 16) >> width:
        raise click.BadParameter(f"`{value}` is no value of {width} bits in hexadecimal", param_hint="--expect")
    return place, exactly(int(value, 16), width)


def _held(made: "Record", name: str) -> "Bits":
    from ordain.data.partial import UNKNOWN

    memory, at, address = name.partition("@")
    return made.memories[memory].get(int(address, 16), UNKNOWN) if at else made.held[name][0]


def _range(machine: "Machine", text: str) -> tuple[str, int, int]:
    """MEMORY@FROM-TO. Raises click.BadParameter."""
    first, dash, last = text.partition("-")
    name, begin = _place(machine, first, "--dump")
    end = _place(machine, f"{name}@{last}", "--dump")[1] if dash else begin
    if end < begin:
        raise click.BadParameter(f"`{text}` ends before it begins", param_hint="--dump")
    return name, begin, end
