"""On real terminals of three widths no command says a line that does not fit, and no word is broken over two lines."""

import re
import shutil
from pathlib import Path

import pytest

from ordain.show.page import columns
from tests.cli.shell import call, change
from tests.cli.test_use import on_terminal
from tests.golden.pictures import ROOT, WIDTHS

COMMANDS = (("build",), ("build", "--advice"), ("prove",), ("prove", "--all"), ("cycles",), ("compare", "../sound"),
            ("burned",), ("explain", "contention"), ("explain",), ("--help",), ("prove", "--help"))
MACHINES = {"flapboard": ("examples/pause-fight/broken", "examples/pause-fight/mended", (("step", "refresh"),)),
            "carillon": ("examples/stepper", "examples/stepper", (("step", "wait"),)),
            "heron": ("microcode", "microcode", (("step", "load a, n"), ("decode", "build/U31.bin", "build/U34.bin")))}


@pytest.fixture(scope="module", params=MACHINES)
def machine(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of a machine with a fault in it, and beside it the sound one."""
    faulty, sound, _ = MACHINES[request.param]
    place = tmp_path_factory.mktemp(request.param)
    for name, source in (("mine", faulty), ("sound", sound)):
        shutil.copytree(ROOT / source, place / name, ignore=shutil.ignore_patterns("build"))
    if request.param == "flapboard":
        shutil.copy(ROOT / "examples" / "pause-fight" / "board.machine", place)
        shutil.copy(ROOT / "examples" / "pause-fight" / "refresh.micro", place)
    elif request.param == "heron":
        change(place / "mine" / "pause.micro", "lend: release, grant_console,", "lend: point pc, grant_console,")
    else:
        change(place / "mine" / "carillon.micro", "    when beat_2\n        over\n", "    when beat_2\n        stay\n")
    return place / "mine"


def commands(machine: Path) -> list[tuple[str, ...]]:
    name = next(name for name in MACHINES if machine.parent.name.startswith(name))
    return [*COMMANDS, *MACHINES[name][2]]


def test_every_line_fits_and_no_word_is_broken(machine: Path) -> None:
    for command in commands(machine):
        whole = words_of(on_terminal(machine, *command, columns=WIDE)[1] + call(machine, *command).stdout)
        for width in WIDTHS:
            status, shown = on_terminal(machine, *command, columns=width)
            lines = shown.replace("\r", "\n").replace("\x1b[K", "").split("\n")
            assert status in (0, 1), (command, shown)
            assert [line for line in lines if columns(line) > width] == [], command
            broken = {word for word in words_of(shown) if word not in whole and not ENDS_EARLY.search(word)}
            assert broken == set(), (command, width)


WIDE = 900
ENDS_EARLY = re.compile(r"\.\.\.`?$|^[\^~|]+$|^[▔▁·|]")
"""A snippet that was cut says so; marks and diagrams have the width that there is."""


def words_of(shown: str) -> set[str]:
    """What is between blanks, without the punctuation at its ends: a list may be one of lines or of cells."""
    kept = re.sub(r"[^\n]*\r\x1b\[K", "", shown)      # what was done meanwhile is written over
    return {word.rstrip("`") if word.endswith(("...", "...`")) else word.strip(",;:.()")
            for word in re.sub(r"\x1b\[[0-9;]*[A-Za-z]", "", kept).split()}
