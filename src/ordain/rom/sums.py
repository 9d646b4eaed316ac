"""Sums by which an image is recognised: at the programmer's screen, on the sticker, in the manifest.

Programmers show the sum of all bytes of the buffer, cut to 8, 16 or 32 bits; for word-wide devices some show
the sum of all 16-bit words instead (common practice, no source). CRC-32 is that of IEEE 802.3.
"""

import hashlib
import sys
import zlib
from array import array

from ordain.rom.contents import Sums


def sums_of(image: bytes, bits: int) -> Sums:
    """All sums of the image of a device of `bits` wide."""
    total = sum(image)
    words = word_sum(image) & 0xFFFF_FFFF if bits > 8 else None
    return Sums(hashlib.sha256(image).hexdigest(), zlib.crc32(image), total & 0xFF, total & 0xFFFF, total & 0xFFFF_FFFF,
                words)


def word_sum(image: bytes) -> int:
    """The sum of all two-byte words, low byte first."""
    words = array("H", image)
    if sys.byteorder == "big":
        words.byteswap()
    return sum(words)
