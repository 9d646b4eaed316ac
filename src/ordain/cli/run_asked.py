"""What is asked of `ordain run`: memories, conditions, what is expected, what is written down at the end."""

import re
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import click

from ordain.text.findings import Finding, error

if TYPE_CHECKING:
    from ordain.data.model import Memories, Record
    from ordain.data.partial import Ternary
    from ordain.machine.expression import Node
    from ordain.machine.model import Machine
    from ordain.rom.contents import Contents

_PLACE = r"([\w.]+)(?:@([0-9A-Fa-f]+))?"


class MemoryDump(NamedTuple):
    """Words `first` to `last` of a memory, as text or, where there is one, into a file."""

    memory: str
    first: int
    last: int
    file: Path | None


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
    from ordain.cli.run_script import unknown_label
    from ordain.language.expression import parse_expression
    from ordain.language.words import Misread
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
    lost = unknown_label(contents, node)
    if lost:
        raise click.BadParameter(lost, param_hint="--until")
    return node


def expected_value(machine: "Machine", text: str) -> "tuple[str, Ternary]":
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


def held_value(made: "Record", name: str) -> "Ternary":
    from ordain.data.partial import UNKNOWN

    memory, at, address = name.partition("@")
    return made.memories[memory].get(int(address, 16), UNKNOWN) if at else made.held[name][0]


def dump_of(machine: "Machine", text: str) -> MemoryDump:
    """MEMORY@FROM-TO or MEMORY@FROM-TO=FILE. Raises click.BadParameter."""
    from ordain.rom.formats import FORMATS

    place, equals, file = text.partition("=")
    first, dash, last = place.partition("-")
    name, begin = _place(machine, first, "--dump")
    end = _place(machine, f"{name}@{last}", "--dump")[1] if dash else begin
    if end < begin:
        raise click.BadParameter(f"`{text}` ends before it begins", param_hint="--dump")
    if equals and Path(file).suffix.removeprefix(".") not in FORMATS:
        raise click.BadParameter(f"`{file}` does not say what kind of file it is: give it the ending "
                                 + " or ".join(f".{form}" for form in FORMATS), param_hint="--dump")
    return MemoryDump(name, begin, end, Path(file) if equals else None)


def write_dump(machine: "Machine", dump: MemoryDump, record: "Record") -> list[Finding]:
    """The words into the file of the dump, its first word at address 0, so that --load reads them where they stood.
    Words of which not every bit is known are left out; where the kind of file has no room for a gap, that is an error
    and nothing is written. Raises OSError."""
    from ordain.cli.writing import write_file
    from ordain.data.partial import UNKNOWN, whole
    from ordain.rom.intel_hex import write_intel_hex
    from ordain.rom.s_record import write_s_records

    if dump.file is None:
        raise ValueError("a dump without a file is text")
    memory, cells = machine.memories[dump.memory], record.memories[dump.memory]
    wide, digits = (memory.bits + 7) // 8, (memory.bits + 3) // 4
    words = [cells.get(address, UNKNOWN) for address in range(dump.first, dump.last + 1)]
    known = [whole(word, memory.bits) for word in words]
    image = b"".join(word.value.to_bytes(wide, "little") for word in words)
    parts: list[tuple[int, int]] = []
    for number, good in enumerate(known):
        if good and parts and parts[-1][1] == number * wide:
            parts[-1] = parts[-1][0], (number + 1) * wide
        elif good:
            parts.append((number * wide, (number + 1) * wide))
    match dump.file.suffix:
        case ".hex":
            data = write_intel_hex(image, parts).encode()
        case ".s19":
            data = write_s_records(image, f"{machine.name} {memory.name}", parts).encode()
        case ".mem":
            gaps = [f"@{number:x}\n" if good and number and not known[number - 1] else ""
                    for number, good in enumerate(known)]
            data = "".join([f"// {machine.name} {memory.name} from {dump.first:X} on\n", *(
                f"{gap}{word.value:0{digits}x}\n" for gap, word, good in zip(gaps, words, known) if good)]).encode()
        case _:
            if not all(known):
                at = dump.first + known.index(False)
                return [error("unknown-word", f"`{memory.name}` holds nothing known at {at:X}, and a raw file has a "
                              f"level for every bit: `{dump.file}` was not written", None,
                              help="write .hex, .s19 or .mem, which leave such words out")]
            data = image
    write_file(dump.file, data)
    return []
