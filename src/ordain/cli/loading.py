"""What a memory holds before the first cycle: files in any format that `decode` reads, words given one by one."""

import re
from pathlib import Path

from ordain.data.partial import Ternary, exactly
from ordain.language.machine_file import shown_name
from ordain.machine.model import Memory
from ordain.rom.formats import DeviceShape, read_image, recognise
from ordain.text.findings import Finding, error
from ordain.text.reading import read_bytes, refused

_HEX_ENDINGS = {".hex", ".ihx", ".ihex", ".s19", ".s28", ".s37", ".srec"}
_HEX_TEXT = re.compile(rb"(?:\s++|//[^\n]*+|@?[0-9A-Fa-fxX_]++(?=\s|$))++")


def words_of_file(path: Path, memory: Memory, offset: int) -> tuple[dict[int, Ternary], list[Finding]]:
    """The words of a file by address, its first one at `offset`; words of several bytes stand low byte first. In Intel
    HEX, S-record and $readmemh files only what they give counts, and their own addresses are added to `offset`."""
    content, findings = read_bytes(path, path.name)
    if content is None:
        return {}, findings
    room, wide = memory.words - offset, (memory.bits + 7) // 8
    form = recognise(content, path.name, -1)
    if form == "bin":
        if (other := _seems(content, path.suffix.lower())):
            return {}, [error("not-raw", f"`{path.name}` {other}, and would be taken for raw bytes", None,
                              help="give it the ending of what it is: .mem for $readmemh text, .bin for raw bytes")]
        images = [content, content]
        if len(content) % wide or len(content) > room * wide:
            return {}, [error("image-size", f"`{path.name}` has {len(content)} bytes, and {memory.name} has room for "
                              f"{room * wide} from {offset:X} on", None,
                              help=f"each word takes {wide} byte{'s' if wide > 1 else ''}; a shorter file is welcome")]
    else:
        images = []
        for erased in (0, 1):                           # what is the same over both was given
            image, findings = read_image(form, content, path.name, DeviceShape(memory.name, room, memory.bits, erased))
            if image is None:
                return {}, findings
            images.append(image)
    cells = {}
    for number, at in enumerate(range(0, len(images[0]), wide)):
        words = [int.from_bytes(image[at:at + wide], "little") for image in images]
        if words[0] == words[1]:
            if words[0] >> memory.bits:
                return {}, [error("too-wide", f"`{path.name}`: word {number:X} is {words[0]:X}, and {memory.name} has "
                                  f"{memory.bits} bits", None, help="correct the file, or the width of the memory")]
            cells[offset + number] = exactly(words[0], memory.bits)
    return cells, []


def _seems(content: bytes, ending: str) -> str:
    """What speaks against raw bytes where the ending does not say that they are: "" for nothing."""
    if ending in _HEX_ENDINGS:
        return "has neither records of Intel HEX nor S-records"
    return "reads like hexadecimal text" if ending != ".bin" and _HEX_TEXT.fullmatch(content) else ""


def at_power_up(memory: Memory, directory: Path) -> tuple[dict[int, Ternary], list[Finding]]:
    """What the machine file says that the memory holds. File names are taken from `directory`."""
    if memory.holds == "zeros":
        return {address: exactly(0, memory.bits) for address in range(memory.words)}, []
    if isinstance(memory.holds, str):
        return {}, []
    span = memory.holds.span
    shown, findings = shown_name(memory.holds)
    findings = findings or refused(directory, shown, span)
    if findings:
        return {}, findings
    cells, findings = words_of_file(directory / shown, memory, memory.offset)
    return cells, [finding if finding.span is not None else finding._replace(span=span) for finding in findings]
