"""Faults planted in the chips of a machine that runs in Icarus Verilog: the one that was planted explains all that was
seen, and what is said to tell it from others is what the simulator shows.

Icarus Verilog: https://github.com/steveicarus/iverilog, IEEE 1364-2005.
"""

import shutil
from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest

from ordain.capture.sampling import ClockedReading
from ordain.cli.main import run as command
from ordain.control.system import build_system
from ordain.follow.apart import look
from ordain.follow.diagnosing import suspects
from ordain.follow.faults import faults
from ordain.follow.following import Clips, follow
from ordain.follow.states import States
from ordain.machine.model import Chip
from tests.follow.sampled import session
from tests.follow.test_captures import built_at, ran, words_of
from tests.follow.test_command import MACHINE, MICRO, NAMES, run_of, seen
from tests.workshop import contents_of

pytestmark = pytest.mark.skipif(shutil.which("iverilog") is None, reason="wants Icarus Verilog: apt install iverilog")


def planted(chip: Chip, image: bytes, text: str) -> bytes:
    """The image that a simulator has to be given so that the chip gives what it would give with the fault: said a
    second time, over the cells of the device and not over the words of the store."""
    size, pins = (chip.bits + 7) // 8, text.removeprefix(f"{chip.name}.")
    cells = [int.from_bytes(image[at * size:(at + 1) * size], "little") for at in range(chip.words)]

    def bent(number: int) -> int:
        pin = int("".join(filter(str.isdigit, pins.split()[0])))
        bits = [number >> at & 1 for at in range(40)]
        if "stays at" in pins:
            bits[pin] = int(pins[-1])
        else:
            both = max if "higher" in pins else min
            bits[pin] = bits[pin + 1] = both(bits[pin], bits[pin + 1])
        return sum(bit << at for at, bit in enumerate(bits))

    change: Callable[[int], int]
    if "missing" in text:
        made = [(1 << chip.bits) - 1 if chip.erased else 0] * chip.words
    elif pins[0] == "D":
        change = bent
        made = [change(cell) for cell in cells]
    else:
        made = [cells[bent(at)] for at in range(chip.words)]
    return b"".join(cell.to_bytes(size, "little") for cell in made)


@pytest.mark.parametrize("name", ["stepper", "two-masters", "pause-fight/broken", "late-grant/broken"])
def test_the_fault_that_was_planted_explains_everything(name: str, tmp_path: Path) -> None:
    built, random = built_at(name), Random(9)
    every = [fault for fault in faults(built.contents, built.images) if fault.words and "exchanged" not in fault.text]
    shown = told = 0
    for fault in random.sample(every, 14):
        chip = built.machine.chips[fault.text.partition(".")[0].split()[0]]
        images = {**built.images, chip.name: planted(chip, built.images[chip.name], fault.text)}
        run = ran(name, 5, tmp_path, images, cycles=120, many=True, burned=fault.words)
        words = words_of(run.contents, run, fault.words)
        half = max(1, len(run.lines) // 2)
        lines, others = run.lines[:half], {line.name: line.level for line in run.lines[half:]}
        readings = [ClockedReading(at, word & (1 << half) - 1, 0) for at, word in enumerate(words)]
        states, clips = States(build_system(run.contents), [line.level for line in lines], others.values()), \
            Clips(range(half))
        if follow(states, clips, readings, states.running()).broken is None:
            continue                            # a capture of these lines cannot show it
        shown += 1
        found = suspects(states, clips, readings, faults(run.contents, built.images))
        whole = [one for one in found if one.clocks == len(readings)]
        (place,) = [at for at, one in enumerate(whole) if fault.text in [same.text for same in one.faults]]
        apart = look(states, clips, readings, whole, others, "control").apart if len(whole) > 1 else None
        if apart is not None and apart.clock and place in (*apart.ones, *apart.zeros):
            told += 1
            at = next(number for number, line in enumerate(run.lines) if line.name == apart.line)
            assert words[apart.clock - 1] >> at & 1 == (place in apart.ones)
    assert shown >= 3, shown


PAIR = """\
machine pair
store control 2 words of 2 bits
    address upc
field a 1 bit
field b 1 bit
state upc 1 bit, reset 0
    next not upc
home upc is 0
chip U1 2 x 2
    holds a, b
    address upc
"""
PAIR_MICRO = "routine main at 0\n    a\n    b\n"


def test_faults_of_a_chip_by_hand() -> None:
    """One word of four: the chip holds it with the pins crossed, D0 inverted behind the pin."""
    contents = contents_of(PAIR.replace("holds a, b", "holds b, not a"), PAIR_MICRO)
    assert contents.words["control"] == (0b10, 0b01)
    found = {fault.text: fault.words.get("control") for fault in faults(contents, {"U1": bytes([0b00, 0b11])})}
    assert found == {
        "U1 missing or blank": (0b01, 0b01), "U1.D0 stays at 0": (0b10, 0b11), "U1.D0 stays at 1": (0b00, 0b01),
        "U1.D1 stays at 0": (0b10, 0b00), "U1.D1 stays at 1": (0b11, 0b01), "U1.A0 stays at 0": (0b10, 0b10),
        "U1.A0 stays at 1": (0b01, 0b01), "upc stays at 0": None, "upc stays at 1": None}


def test_the_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """The lathe with the second bit of its counter at 0 reads 0, 1, 0, 1 and so on: after word 1 comes word 0."""
    (tmp_path / "lathe.machine").write_text(MACHINE)
    (tmp_path / "lathe.micro").write_text(MICRO)
    monkeypatch.chdir(tmp_path)
    session(tmp_path / "c.sr", NAMES, seen(run_of(*[0, 1] * 20)))
    assert command(["diagnose", "c.sr"]) == 1
    text = capsys.readouterr().out
    assert "explain all of it:" in text and "upc[1] stays at 0" in text
    session(tmp_path / "c.sr", NAMES, seen(run_of(*[0, 1, 2, 3] * 20)))
    assert command(["diagnose", "c.sr"]) == 0
    assert "a sound machine explains all" in capsys.readouterr().out
    session(tmp_path / "c.sr", NAMES, seen([0b11000, 0b00111, 0b11010] * 20))
    assert command(["diagnose", "c.sr"]) == 1
    assert "none of them explains more than a sound machine does" in capsys.readouterr().out
    (tmp_path / "c.sr").write_bytes(b"PK\x03\x04")
    assert command(["diagnose", "c.sr"]) == 2
    assert "archive is broken" in capsys.readouterr().out
