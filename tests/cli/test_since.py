"""What a save has changed, in lines."""

from typing import Any

from ordain.checks.check import Report, Row
from ordain.cli.since import chip_changes, finding_changes, instruction_changes, some, verdict_changes
from ordain.show.page import PLAIN
from ordain.text.findings import error
from tests.rom.machines import machine_of
from tests.show.builds import WINDMILL
from tests.show.crane import MACHINE, MICRO, span
from tests.workshop import contents_of


def report(**rows: Any) -> Report:
    """Questions by name: an outcome, or an outcome and a worst case."""
    made = []
    for name, said in rows.items():
        outcome, worst = said if isinstance(said, tuple) else (said, 0)
        made.append(Row("check", name, outcome, 1, 1, worst, 9, None, "", span(MACHINE, "bus data")))
    return Report((), tuple(made), (), {}, 1, 1, 1, "", "")


def test_verdicts_that_moved_are_said_as_by_compare() -> None:
    old = report(a="proved", b="broken", e=("proved", 24), f="proved")
    new = report(a="broken", b="proved", e=("proved", 31), f="proved")
    lines = verdict_changes(old, new, PLAIN)
    assert lines[0].startswith("verdicts: ") and lines[0].endswith("1 as before")
    assert "  newly broken: check: a (was proved)" in lines
    assert "  repaired: check: b (was broken)" in lines
    assert "  worst case grew: check: e: 24 -> 31 cycles" in lines


def test_no_verdict_that_moved() -> None:
    assert verdict_changes(report(a="proved"), report(a="proved"), PLAIN) == ["verdicts: 1 as before"]


def test_findings_that_came_and_went() -> None:
    one, two = error("one", "first", span(MICRO, "lift")), error("two", "second", span(MICRO, "lend"))
    moved = error("two", "second", span("\n" + MICRO, "lend"))
    assert finding_changes([one, two], [moved]) == ["gone: one: first"]
    assert finding_changes([], [one, two]) == ["new findings: 2"]
    assert finding_changes([one], [one]) == []
    many = [error("n", f"number {number}", None) for number in range(10)]
    assert finding_changes(many, [])[-1] == "gone: 2 more findings"


def test_instructions_that_behave_differently() -> None:
    before = contents_of(MACHINE, MICRO)
    assert instruction_changes(before, contents_of(MACHINE, MICRO.replace("hook", "other"))) == [
        "every instruction behaves as before"]
    changed = instruction_changes(before, contents_of(MACHINE, MICRO.replace("lend\n", "lend, lift\n")))
    assert changed == ["changed: reset"]


def test_chips_that_would_hold_something_else() -> None:
    machine = machine_of(WINDMILL)
    old = {"U1": bytes(64), "U2": bytes(32), "U3": bytes(32), "U4": b""}
    new = {"U1": bytes(63) + b"\1", "U2": bytes(32), "U3": b"\1\1" + bytes(28) + b"\0\1"}
    assert chip_changes(machine, old, new) == ["chips: U1 (1 word), U3 (2 words), U4 (gone)"]
    assert chip_changes(machine, new, new) == ["chips: all as before"]
    assert chip_changes(machine, {}, {"U1": bytes(64)}) == ["chips: U1 (all)"]


def test_long_lists_are_cut_and_say_so() -> None:
    assert some(["a"] * 8) == "a, a, a, a, a, a, a, a"
    assert some(["a"] * 10) == "a, a, a, a, a, a, a, a and 2 more"
