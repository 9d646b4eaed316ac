"""What sigrok-cli makes of a session that we did not read: every level in its VCD and CSV, as we read them, is that of
the session as it reads it itself.

sigrok-cli and libsigrok (GPL-3): https://sigrok.org, packages of Debian.
"""

import shutil
import subprocess
from pathlib import Path
from random import Random

import pytest

from ordain.capture.model import Capture
from ordain.capture.read import read_capture
from tests.follow.sampled import session

NAMES = ["clk", "a", "b", "c", "d", "e", "f", "g", "h", "i"]

pytestmark = pytest.mark.skipif(shutil.which("sigrok-cli") is None, reason="wants sigrok-cli: apt install sigrok-cli")


def written(file: Path, *form: str) -> str:
    return subprocess.run(["sigrok-cli", "-i", str(file), *form], check=True, capture_output=True, text=True).stdout


def levels(capture: Capture, name: str, every: float, first: float, count: int) -> list[int]:
    """In the middle of each sample."""
    channel = next(bit for one, bit in capture.channels.items() if one.rpartition(".")[2] == name)
    events, at, found = list(capture.events()), 0, []
    for number in range(count):
        while at + 1 < len(events) and events[at + 1][0] <= first + (number + 0.5) * every:
            at += 1
        found.append(events[at][1] >> channel & 1)
    return found


@pytest.fixture
def file(tmp_path: Path) -> Path:
    random = Random(11)
    found = [random.getrandbits(10) if number % 5 == 0 else 0 for number in range(400)]
    for number in range(1, 400):
        found[number] = found[number] or found[number - 1]
    return session(tmp_path / "c.sr", NAMES, found, "1 MHz")


@pytest.mark.parametrize(("form", "every", "first"), [
    (("-O", "vcd"), 1, 0), (("-O", "csv"), 1, 0), (("-O", "csv:time=true"), 1, 1),
    (("-O", "csv:header=false"), 1, 0), (("-O", "csv:dedup:time=true"), 1, 1),
    (("-O", "csv:label=channel:comment=#"), 1, 0), (("-O", "csv:label=channel:time=true:trigger"), 1, 1)])
def test_every_format_has_the_levels_of_the_session(form: tuple[str, ...], every: float, first: float, file: Path,
                                                     tmp_path: Path) -> None:
    theirs = written(file, "-O", "bits:width=0")
    rows = {name: row for line in theirs.splitlines() if ":" in line for name, _, row in [line.partition(":")]}
    (tmp_path / "out").write_text(written(file, *form))
    ours, session_read = read_capture(tmp_path / "out"), read_capture(file)
    for name in NAMES:
        bits = [int(bit) for bit in rows[name] if bit in "01"]
        assert len(bits) == 400
        assert levels(session_read, name, 1, 0, 400) == bits
        column = name if any(one.rpartition(".")[2] == name for one in ours.channels) else str(NAMES.index(name))
        assert levels(ours, column, every, first, 400) == bits, name
