"""Raw binary: the image as it is, one byte after the other.

Programmers and dumps differ in the byte order of word-wide devices; ours is the low byte first.
"""

from ordain.text.findings import Finding, error


def read_raw(content: bytes, name: str, size: int) -> tuple[bytes | None, list[Finding]]:
    """The image of a device of `size` bytes; a file of another size is refused, since the missing part is unknown."""
    if len(content) == size:
        return content, []
    return None, [error("image-size", f"`{name}` has {len(content)} bytes, and the device {size}", None,
                        help="read the whole device, and with the right type set in the programmer")]
