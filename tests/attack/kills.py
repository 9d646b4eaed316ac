"""Commands that are killed, that find the disk full, or that are started twice at once: what was there stays, or what
comes is whole."""

import contextlib
import os
import resource
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path
from random import Random
from time import monotonic, sleep

from tests.attack.trials import ROOT

COMMAND = [sys.executable, "-m", "ordain"]
Files = dict[str, bytes]


def kill(seconds: float, seed: int) -> Counter[str]:
    """How many trials of each kind, and of what was found."""
    counts: Counter[str] = Counter()
    end = monotonic() + seconds
    with tempfile.TemporaryDirectory() as directory:
        home = Path(directory) / "home"
        shutil.copytree(ROOT / "examples" / "two-masters", home)
        micro = home / "signalbox.micro"
        texts = (micro.read_text(), "# another\n" + micro.read_text())
        began = monotonic()
        whole = [_built(home, micro, text) for text in texts]
        length = (monotonic() - began) / len(texts)
        while monotonic() < end:
            choose = Random(seed)
            how = choose.choice(("killed", "full", "twice", "ledger"))
            micro.write_text(texts[seed % 2])
            when = choose.uniform(0, 1.2 * length)
            fault = _ledger(home, when) if how == "ledger" else _build(home, how, choose, when, whole)
            counts[how] += 1
            if fault:
                counts["FOUND"] += 1
                print(f"seed {seed}, {how}: {fault}", flush=True)
            seed += 1
    return counts


def _start(home: Path, *words: str, most: int | None = None) -> subprocess.Popen[bytes]:
    def limit() -> None:
        if most is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))

    return subprocess.Popen([*COMMAND, *words], cwd=home, preexec_fn=limit, stdout=subprocess.DEVNULL,
                            stderr=subprocess.PIPE, env={**os.environ, "XDG_CACHE_HOME": str(home / "cache")})


def _status(home: Path, *words: str) -> int:
    process = _start(home, *words)
    process.communicate()
    return process.returncode


def _built(home: Path, micro: Path, text: str) -> Files:
    micro.write_text(text)
    shutil.rmtree(home / "build", ignore_errors=True)
    assert _status(home, "build", "-q") == 0
    return _content(home / "build")


def _content(place: Path) -> Files:
    return {path.name: path.read_bytes() for path in place.iterdir()} if place.is_dir() else {}


def _build(home: Path, how: str, choose: Random, when: float, whole: list[Files]) -> str:
    """`full`: no file may grow beyond some bytes, which ends as a full disk does. `when`: seconds after which it is
    killed."""
    most = choose.randrange(1, 3000) if how == "full" else None
    started = [_start(home, "build", "-q", most=most) for _ in range(2 if how == "twice" else 1)]
    if how == "killed":
        sleep(when)
        started[0].kill()
    said = b"".join(process.communicate()[1] for process in started)
    statuses = [process.returncode for process in started]
    if b"Traceback" in said or (how != "killed" and not set(statuses) <= {0, 2}):
        return f"ended with {statuses}: {said[:200]!r}"
    if _content(home / "build") not in whole:
        return "the build is neither the old one nor the new one"
    if _status(home, "build", "-q") != 0:
        return "it cannot be built afterwards"
    if _content(home / "build") not in whole:
        return "the build afterwards is not whole"
    left = [path.name for path in home.iterdir() if path.name.startswith(".") or "build" in path.name]
    return "" if left == ["build"] else f"left behind: {left}"


def _ledger(home: Path, when: float) -> str:
    """A record is added or not; the others stay."""
    ledger = home / "burned.jsonl"
    before = ledger.read_bytes() if ledger.exists() else b""
    process = _start(home, "burned", "U5", "--date", "2026-11-25")
    sleep(when)
    process.kill()
    process.communicate()
    after = ledger.read_bytes() if ledger.exists() else b""
    if not after.startswith(before):
        return "a record is gone"
    if after and not after.endswith(b"\n"):
        if _status(home, "burned", "--repair") not in (0, 1):
            return "the ledger cannot be repaired"
        with contextlib.suppress(FileNotFoundError):
            (home / "burned.torn").unlink()
    if len(after) > 20_000:
        ledger.unlink()
    return ""
