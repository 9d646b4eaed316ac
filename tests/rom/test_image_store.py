"""Kept images: whole or not there, and held against their name when they are read."""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ordain.rom.image_store import STALE_SECONDS, keep_image, kept_image

ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
"""SHA-256 of the three letters abc: the first example of FIPS 180-2, appendix B.1 (from memory)."""


def test_the_name_is_the_sha_256(tmp_path: Path) -> None:
    assert keep_image(tmp_path / "burned", b"abc") == ABC
    assert os.listdir(tmp_path / "burned") == [f"{ABC}.bin"]
    assert kept_image(tmp_path / "burned", ABC, "U21") == (b"abc", [])


@given(st.lists(st.binary(max_size=64)))
def test_a_dict_of_images(tmp_path_factory: pytest.TempPathFactory, images: list[bytes]) -> None:
    store = tmp_path_factory.mktemp("s") / "burned"
    known = {keep_image(store, image): image for image in images}
    assert {name: kept_image(store, name, "U21")[0] for name in known} == known
    assert known.keys() == {hashlib.sha256(image).hexdigest() for image in images}


@pytest.mark.parametrize("damage", [b"", b"abd", b"ab", b"abcd"])
def test_a_damaged_image_is_told_and_mended_by_the_next(tmp_path: Path, damage: bytes) -> None:
    store = tmp_path / "burned"
    keep_image(store, b"abc")
    (store / f"{ABC}.bin").write_bytes(damage)
    image, findings = kept_image(store, ABC, "U21")
    assert image is None and [found.name for found in findings] == ["lost-image"]
    assert "U21" in findings[0].message and "damaged" in findings[0].message
    keep_image(store, b"abc")
    assert kept_image(store, ABC, "U21") == (b"abc", [])


def test_a_missing_image_is_told(tmp_path: Path) -> None:
    image, findings = kept_image(tmp_path / "burned", ABC, "U21")
    assert image is None and findings[0].name == "lost-image" and f"burned/{ABC}.bin" in findings[0].message


@pytest.mark.parametrize("call", ["write", "fsync", "replace"])
def test_killed_anywhere_there_is_no_half_image(tmp_path: Path, call: str) -> None:
    """The child dies without a chance to clean up: half the bytes written, before the flush, before the name."""
    code = f"""
import builtins, os, sys
from pathlib import Path
from ordain.rom import image_store
real = builtins.open
def half(path, mode="r", *rest):
    file = real(path, mode, *rest)
    if mode == "wb":
        file.write(b"half"); file.flush(); os._exit(9)
    return file
if {call!r} == "write":
    image_store.open = half
else:
    setattr(os, {call!r}, lambda *_: os._exit(9))
image_store.keep_image(Path(sys.argv[1]), b"abc")
"""
    store = tmp_path / "burned"
    assert subprocess.run([sys.executable, "-c", code, str(store)], check=False).returncode == 9
    assert not (store / f"{ABC}.bin").exists()
    remains = os.listdir(store)
    assert len(remains) == 1
    os.utime(store / remains[0], (0, os.stat(store / remains[0]).st_mtime - STALE_SECONDS - 9))
    keep_image(store, b"abc")
    assert os.listdir(store) == [f"{ABC}.bin"]


def test_only_half_written_files_of_long_ago_are_cleared_away(tmp_path: Path) -> None:
    store = tmp_path / "burned"
    keep_image(store, b"abc")
    old = [f"{ABC}.bin", "notes.txt", ".hidden", f"{ABC}.new-1", f".{ABC}.new-2"]
    for name in old[1:]:
        (store / name).write_bytes(b"")
    for name in old:
        os.utime(store / name, (0, 0))
    (store / f".{ABC}.new-3").write_bytes(b"")
    keep_image(store, b"abcd")
    assert {*old, f".{ABC}.new-3"} - set(os.listdir(store)) == {f".{ABC}.new-2"}
