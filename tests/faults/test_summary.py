"""What is told of many faults together, counted by hand."""

import pytest

from ordain.faults.model import Fault, FaultOutcome, Noticed, Tried, with_changes
from ordain.faults.summary import Alike, Changed, Noticing, counts, instructions, line_of, noticing, silent, status
from tests.faults.test_classes import MACHINE, MICRO
from tests.workshop import contents_of


def bit(text: str, outcome: FaultOutcome) -> Tried:
    return Tried(Fault("bit", text, (), {}), outcome)


def noticed(check: str, subject: str, cycles: int | None) -> FaultOutcome:
    return FaultOutcome("noticed", Noticed(check, subject, cycles))


SILENT = [bit("a at control 0: lamp (U1.D3)", FaultOutcome("silent", titles=("add",))),
          bit("b at control 1: tone[1] (U1.D2)", FaultOutcome("silent", titles=("add",))),
          bit("b at control 1: lamp (U1.D3)", FaultOutcome("silent", titles=("add",))),
          bit("b at control 1: tone[0]", FaultOutcome("silent", titles=("sub",))),
          Tried(Fault("pin", "U1.D3 stays 1 [x]: y", (), {}), FaultOutcome("silent", titles=("add",)))]


def test_faults_of_one_line_that_make_the_same_behave_otherwise_are_one_group() -> None:
    rest = [bit("c: lamp", FaultOutcome("harmless")), bit("d: lamp", noticed("never", "x", 3))]
    assert silent([*SILENT, *rest]) == [
        Alike("lamp", ("add",), (SILENT[0], SILENT[2])), Alike("U1.D3 stays 1 [x]: y", ("add",), (SILENT[4],)),
        Alike("tone", ("add",), (SILENT[1],)), Alike("tone", ("sub",), (SILENT[3],))]
    assert [line_of(one) for one in SILENT] == ["lamp", "tone", "lamp", "tone", "U1.D3 stays 1 [x]: y"]


def test_how_many_of_each_class() -> None:
    none = {"noticed": 0, "changed": 0, "harmless": 0, "silent": 0, "undecided": 0}
    assert counts([]) == {}
    assert counts([*SILENT, bit("c: lamp", FaultOutcome("harmless"))]) == {
        "bit": {**none, "silent": 4, "harmless": 1}, "pin": {**none, "silent": 1}}
    assert list(counts([SILENT[4], SILENT[0]])) == ["bit", "pin"]


def test_who_notices_most() -> None:
    tried = [bit("a: x", noticed("never", "one", 5)), bit("b: x", noticed("never", "one", 2)),
             bit("c: x", noticed("never", "one", None)), bit("d: x", noticed("reach", "two", None)),
             bit("e: x", noticed("unreachable", "control 3", None)),
             bit("f: x", noticed("unreachable", "control 5", None)),
             bit("g: x", noticed("stale-allowance", "1", None)), bit("h: x", FaultOutcome("harmless"))]
    assert noticing(tried) == [Noticing("never", "one", 3, 2, 5), Noticing("unreachable", "", 2, None, None),
                               Noticing("reach", "two", 1, None, None), Noticing("stale-allowance", "", 1, None, None)]


def test_instructions_that_most_faults_change() -> None:
    tried = [bit("a: x", FaultOutcome("changed", titles=("add", "sub"), meanings=("sub",))),
             bit("b: x", FaultOutcome("changed", titles=("sub",), meanings=("sub",))),
             bit("c: x", FaultOutcome("changed", titles=("jump",))), *SILENT]
    assert instructions(tried) == [Changed("sub", 2, 2), Changed("add", 1, 0), Changed("jump", 1, 0)]


@pytest.mark.parametrize("kinds, expected", [
    (("harmless", "changed", "noticed"), 0), (("undecided", "harmless"), 3), (("undecided", "silent"), 1),
    (("silent",), 1), ((), 0)])
def test_what_the_command_ends_with(kinds: tuple[str, ...], expected: int) -> None:
    outcomes = {"harmless": FaultOutcome("harmless"), "changed": FaultOutcome("changed"),
                "noticed": noticed("a", "b", 1),
                "undecided": FaultOutcome("undecided"), "silent": FaultOutcome("silent")}
    assert status([bit("a: x", outcomes[kind]) for kind in kinds]) == expected


def test_the_words_of_a_faulty_machine() -> None:
    contents = contents_of(MACHINE, MICRO)
    words = contents.words["control"]
    changed = with_changes(contents, {"control": {1: 7, 6: 9}}).words
    assert changed == {**contents.words, "control": (words[0], 7, *words[2:6], 9, words[7])}
    assert contents.words["control"] is words
