"""What a strobe asks of the cycle before: that is not what is known of the cycle in which it acts."""

import pytest

from tests.compare.judged import Texts, after, edited, moved, unit
from tests.compare.test_how_it_is_told import hoist

CLANG: Texts = edited(hoist(), ("input dial", "strobe clang\nsignal clang = ASKED\ninput dial"),
                      ("        branch go\n", "        branch go, note bell\n"))


def clang(asked: str) -> Texts:
    return edited(CLANG, ("ASKED", asked))


@pytest.mark.parametrize(("was", "now", "told"), [
    # the word before the first of `lift` is the boundary's: it strobes in one, and not in the other
    ("down and prior(at wait)", "up and prior(at wait)", {"lift", "lower"}),
    ("up and prior(at wait)", "up and prior(at wait) and not up", {"lift"}),
    ("up and prior(upc is 0)", "up and prior(upc is 12)", {"reset", "wait"}),
    # what the boundary's word says is told of it: who comes after may strobe
    ("up and prior(note is bell)", "up and prior(note is horn)", {"reset", "wait"}),
    ("up and prior(note is horn)", "up and prior(note is 3)", set()),               # no word says either
    ("up and prior(up and prior(note is bell))", "up and prior(up and prior(note is none))", {
        "reset", "wait", "lift", "lower"}),
    ("prior(up) and prior(note is bell)", "prior(note is bell) and prior(up)", {"reset", "wait", "lift"}),
    ("up and prior(note is bell)", "up and prior(bell_was)", set()),
])
def test_what_is_asked_of_the_cycle_before(was: str, now: str, told: set[str]) -> None:
    texts = [edited(clang(each), ("home upc", "signal bell_was = note is bell\nhome upc")) for each in (was, now)]
    for old, new in (texts, texts[::-1]):
        assert set(moved(after(old, (f"signal clang = {was if old is texts[0] else now}",
                                     f"signal clang = {now if old is texts[0] else was}")))) == told, new
        assert moved(after(old, ('instruction 1, 2 "lift"', 'instruction 1, 2 "lift" at 9'))) == {}


def test_how_it_is_told() -> None:
    found = after(clang("up and prior(note is bell)"), ("prior(note is bell)", "prior(note is horn)"))
    first = unit(found, "wait").difference
    assert first is not None and first.cycle == 1
    assert [str(change) for change in first.changes] == ["what `clang` asks of the cycle before"]
    more = after(clang("up and prior(up)"), ("prior(up)", "up"))
    assert [line.partition(":")[0] for line in more.machine] == ["what `clang` asks of the cycle before"]
    assert set(moved(more)) == {"lift"}
