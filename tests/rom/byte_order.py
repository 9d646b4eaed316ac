"""The other byte order of word-wide devices."""


def swapped(image: bytes) -> bytes:
    """The image of a two-byte-wide device with the bytes of each word exchanged."""
    turned = bytearray(len(image))
    turned[::2], turned[1::2] = image[1::2], image[::2]
    return bytes(turned)
