"""Sums against the standard library and sums worked out by hand (`tests/reference/formats.json`)."""

import hashlib
import json
import zlib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ordain.rom.sums import sums_of, word_sum
from tests.rom.byte_order import swapped

REFERENCE: dict[str, Any] = json.loads(
    (Path(__file__).parent.parent / "reference" / "formats.json").read_text())["device_checksum"]


@given(st.binary(max_size=500))
def test_sums_are_those_of_the_standard_library(image: bytes) -> None:
    sums = sums_of(image, 8)
    assert (sums.sha256, sums.crc32) == (hashlib.sha256(image).hexdigest(), zlib.crc32(image))
    total = 0
    for byte in image:
        total += byte
    assert (sums.sum8, sums.sum16, sums.sum32, sums.word_sum) == (total % 2**8, total % 2**16, total % 2**32, None)


def test_the_check_value_of_the_crc() -> None:
    """CBF43926 for "123456789" is the catalogued check value of CRC-32 (IEEE 802.3), from memory."""
    assert sums_of(b"123456789", 8).crc32 == 0xCBF43926


def test_a_sum_of_bytes_and_of_words() -> None:
    example = REFERENCE["example"]
    image = bytes.fromhex(example["bytes"])
    sums = sums_of(image, 16)
    assert f"{sums.sum32:08X}" == example["byte_sum"]
    assert f"{sums.word_sum:08X}" == example["word_sum_low_byte_first"]
    assert f"{word_sum(swapped(image)) & 0xFFFF:08X}" == example["word_sum_high_byte_first"]


@pytest.mark.parametrize("device", REFERENCE["blank_FF"])
def test_the_sums_of_blank_devices(device: str) -> None:
    blank = REFERENCE["blank_FF"][device]
    sums = sums_of(b"\xFF" * blank["bytes"], 8)
    assert f"{sums.sum32:08X} {sums.sum16:04X} {sums.sum8:02X}" == f"{blank['sum32']} {blank['sum16']} {blank['sum8']}"
