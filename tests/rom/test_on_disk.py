"""What a power cut finds: contents are on the disk before anything relies on them, and names after that."""

import os
import stat
from collections.abc import Callable
from pathlib import Path

import pytest

from ordain.rom.image_store import keep_image
from ordain.rom.ledger import Burn, append, line_of, repair
from ordain.rom.publish import publish

BURN = Burn("U21", "a" * 64, 0xCAFE, 0x12, 256, "2026-03-01T08:00:00Z", "0" * 40, False, "weir", "")


@pytest.fixture
def steps(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What is flushed to the disk, a file with the bytes that it has then, and what is renamed, in order."""
    done: list[str] = []
    fsync, replace, rename = os.fsync, os.replace, os.rename

    def flushed(handle: int) -> None:
        state = os.fstat(handle)
        done.append("directory" if stat.S_ISDIR(state.st_mode) else f"file of {state.st_size}")
        fsync(handle)

    def renamed(real: Callable[[object, object], None]) -> Callable[[object, object], None]:
        def call(old: object, new: object) -> None:
            done.append("rename")
            real(old, new)
        return call

    monkeypatch.setattr(os, "fsync", flushed)
    monkeypatch.setattr(os, "replace", renamed(replace))    # type: ignore[arg-type]
    monkeypatch.setattr(os, "rename", renamed(rename))      # type: ignore[arg-type]
    return done


def test_a_line_of_the_ledger(tmp_path: Path, steps: list[str]) -> None:
    append(tmp_path / "l", [BURN, BURN], "l")
    assert steps == [f"file of {2 * len(line_of(BURN))}", "directory"]


def test_a_ledger_that_is_mended(tmp_path: Path, steps: list[str]) -> None:
    """First what is taken out, then the rest, then its name."""
    (tmp_path / "l").write_bytes(line_of(BURN).encode() + b'{"chip": "U2')
    (tmp_path / "torn").write_bytes(b"before")
    repair(tmp_path / "l", tmp_path / "torn")
    aside = len('before\n{"chip": "U2\n')
    assert steps == [f"file of {aside}", f"file of {len(line_of(BURN))}", "rename", "directory"]


def test_an_image_that_is_kept(tmp_path: Path, steps: list[str]) -> None:
    """The store is new, so its own name is flushed as well."""
    keep_image(tmp_path / "store", b"abc")
    assert steps == ["file of 3", "rename", "directory", "directory"]


def test_a_build(tmp_path: Path, steps: list[str]) -> None:
    publish(tmp_path / "build", {"U1.bin": b"one", "U2.bin": b"three"}, lambda _: None, lambda _: None)
    assert steps == ["file of 3", "file of 5", "directory", "rename", "directory"]
