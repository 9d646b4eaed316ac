"""Which files are looked at, and when a save counts as one."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from ordain.cli.polling import PAUSE, Snapshot, changed_names, snapshot, source_files, wait_for_change

MAIN = '''machine m "quoted \\"include\\""
# include "not.machine"
microprogram "one.micro",      # the first
             "two.micro"
include "part.machine"
rule "include" never x
'''


@pytest.fixture
def machine(tmp_path: Path) -> Path:
    (tmp_path / "m.machine").write_text(MAIN)
    (tmp_path / "part.machine").write_text('include "deeper.machine"\ninclude "m.machine"\n')
    (tmp_path / "one.micro").write_text("routine a at 0\n")
    return tmp_path / "m.machine"


def test_every_file_that_is_named_counts_whether_it_is_there_or_not(machine: Path) -> None:
    assert {path.name for path in source_files(machine)} == {
        "m.machine", "part.machine", "deeper.machine", "one.micro", "two.micro"}


def test_files_are_named_from_the_machine_file_s_directory(machine: Path) -> None:
    (machine.parent / "sub").mkdir()
    machine.write_text('include "sub/a.machine"\n')
    (machine.parent / "sub" / "a.machine").write_text('include "sub/b.machine"\n')
    assert machine.parent / "sub" / "b.machine" in source_files(machine)


@pytest.mark.parametrize("text", ["", 'include "part.mach', 'microprogram "one.micro",', "\0\xff include", 'include ""',
                                  'include "m.machine"'])
def test_any_text_can_be_looked_at(text: str, machine: Path) -> None:
    machine.write_bytes(text.encode("latin-1"))
    assert machine in source_files(machine)
    assert snapshot(machine)[machine]


def test_content_decides_and_not_the_time(machine: Path) -> None:
    before = snapshot(machine)
    os.utime(machine, (1, 1))
    assert snapshot(machine) == before
    times = os.stat(machine)
    machine.write_text(MAIN.replace("never x", "never y"))
    os.utime(machine, ns=(times.st_atime_ns, times.st_mtime_ns))
    assert changed_names(before, snapshot(machine)) == ["m.machine"]


def test_files_that_come_and_go_are_changes(machine: Path) -> None:
    before = snapshot(machine)
    (machine.parent / "two.micro").write_text("x")
    (machine.parent / "one.micro").unlink()
    (machine.parent / "part.machine").unlink()
    after = snapshot(machine)
    assert changed_names(before, after) == ["one.micro", "part.machine", "two.micro"]
    assert changed_names(after, before) == ["one.micro", "part.machine", "two.micro"]


def test_a_directory_in_the_place_of_a_file_is_no_file(machine: Path) -> None:
    machine.unlink()
    machine.mkdir()
    assert snapshot(machine) == {machine: ""}


class Saves:
    """Snapshots in the order in which they are taken; the last one stays."""

    def __init__(self, *states: Snapshot) -> None:
        self.states: Iterator[Snapshot] = iter(states)
        self.last: Snapshot = {}
        self.slept: list[float] = []

    def __call__(self) -> Snapshot:
        self.last = next(self.states, self.last)
        return self.last


A, B = Path("a"), Path("b")
OLD = {A: "1", B: "1"}


def test_nothing_new_means_waiting() -> None:
    saves = Saves(OLD, OLD, OLD, {A: "2", B: "1"})
    assert wait_for_change(OLD, saves, saves.slept.append) == {A: "2", B: "1"}
    assert saves.slept[:3] == [PAUSE] * 3


def test_a_save_counts_when_nothing_changes_any_more() -> None:
    saves = Saves({A: "half", B: "1"}, {A: "more", B: "1"}, {A: "2", B: "1"}, {A: "2", B: "2"})
    assert wait_for_change(OLD, saves, saves.slept.append) == {A: "2", B: "2"}


def test_a_file_that_is_gone_may_come_back_for_a_moment() -> None:
    """As when an editor saves under another name and renames."""
    saves = Saves({A: "", B: "1"}, {A: "", B: "1"}, {A: "", B: "1"}, {A: "2", B: "1"})
    assert wait_for_change(OLD, saves, saves.slept.append) == {A: "2", B: "1"}


def test_a_file_that_stays_away_is_gone() -> None:
    saves = Saves({A: "", B: "1"})
    assert wait_for_change(OLD, saves, saves.slept.append) == {A: "", B: "1"}
