"""Hexadecimal memory text as Verilog's `$readmemh` reads it (IEEE 1364-2005, 17.2.9, from memory).

One device word after the other, white space between; `@` and a hexadecimal number set the address of the next word;
`//` and `/* */` are comments; `_` may stand between digits. `x` and `z` digits, which the standard allows, are refused:
a device has a level on every pin. Addresses count device words, not bytes.
"""

import re

from ordain.rom.segments import bad_record, line_span
from ordain.text.findings import Finding, error
from ordain.text.source import Source

_TOKEN = re.compile(r"//[^\n]*|/\*.*?\*/|(?P<word>[^\s/]+|/)|(?P<line>\n)|\s", re.DOTALL)


def write_mem(image: bytes, bits: int, title: str) -> str:
    """One word a line, after a comment with the title."""
    width, digits = (bits + 7) // 8, (bits + 3) // 4
    text = _high_byte_first(image, width).hex()
    words = [text[at + 2 * width - digits:at + 2 * width] for at in range(0, len(text), 2 * width)]
    return f"// {title}\n" + "\n".join(words) + "\n"


def _high_byte_first(image: bytes, width: int) -> bytes:
    turned = bytearray(len(image))
    for byte in range(width):
        turned[byte::width] = image[width - 1 - byte::width]
    return bytes(turned)


def read_mem(text: str, name: str, bits: int, blank: bytes) -> tuple[bytes | None, list[Finding]]:
    """The image of a device whose words have `bits` and which reads `blank` when erased."""
    source = Source(name, text)
    width = (bits + 7) // 8
    words = len(blank) // width
    image = bytearray(blank)
    given = bytearray(words)
    findings: list[Finding] = []
    at, line = 0, 1
    for token in _TOKEN.finditer(text):
        word = token["word"]
        if word is None:
            line += token[0].count("\n")
            continue
        fault = ""
        # An underscore may stand anywhere but in front, also at the end (IEEE 1364-2005, 2.5.1): Python's int differs.
        if not re.fullmatch("@?[0-9a-fA-F][0-9a-fA-F_]*", word):
            fault = f"`{word[:20]}` is not a hexadecimal number"
        elif word[0] == "@":
            at = int(word[1:].replace("_", ""), 16)
        elif at >= words:
            return None, [*findings, error(
                "image-too-long", f"`{name}` has a word for 0x{at:X}, and the device ends at 0x{words - 1:X}",
                line_span(source, line), "this word", help="is this the image of another device?")]
        else:
            value = int(word.replace("_", ""), 16)
            if value >> bits:
                fault = f"`{word[:20]}` does not fit in {bits} bits"
            elif given[at]:
                fault = f"word 0x{at:X} is given twice"
            else:
                image[at * width:(at + 1) * width] = value.to_bytes(width, "little")
                given[at] = 1
            at += 1
        if fault:
            findings.append(bad_record(source, line, fault))
    return (None if findings else bytes(image)), findings
