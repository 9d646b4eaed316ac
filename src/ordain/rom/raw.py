"""Raw binary: the image as it is, one byte after the other.

Programmers and dumps differ in the byte order of word-wide devices; ours is the low byte first, `swapped` makes the
other one of it and back.
"""

from ordain.text.findings import Finding, error


def swapped(image: bytes) -> bytes:
    """The image of a two-byte-wide device with the bytes of each word exchanged."""
    turned = bytearray(len(image))
    turned[::2], turned[1::2] = image[1::2], image[::2]
    return bytes(turned)


def read_raw(content: bytes, name: str, size: int) -> tuple[bytes | None, list[Finding]]:
    """The image of a device of `size` bytes; a file of another size is refused, since the missing part is unknown."""
    if len(content) == size:
        return content, []
    return None, [error("image-size", f"`{name}` has {len(content)} bytes, and the device {size}", None,
                        help="read the whole device, and with the right type set in the programmer")]
