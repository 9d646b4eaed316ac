"""A strobe that is said by a place: the word that a label stands at, the words of a routine."""

import pytest

from tests.compare.judged import Texts, after, edited, moved
from tests.compare.test_how_it_is_told import hoist

PLACED: Texts = edited(hoist(), ("input dial", "strobe clang\nsignal clang = ASKED\ninput dial"),
                       ("        branch go\n", "        note bell\n        note bell, branch go\n"),
                       ("        branch test, target wait\n", "  mark: note bell, branch test, target wait\n"))
LABEL = (("  mark: note bell, branch test", "        note bell, branch test"),
         ("        down, branch jump, target wait", "  mark: down, branch jump, target wait"))


@pytest.mark.parametrize(("was", "now", "told"), [
    ("at wait", "in wait", {"wait"}), ("at wait", "note is bell and in wait and upc is 0", set()),
    ("in wait", "note is bell and not at mark", set()), ("at wait", "0b0", {"reset", "wait"}),
    ("in wait", "0b0", {"reset", "wait"}), ('at "lower"', "at mark", set()), ('in "lower"', "at mark", {"lower"}),
    ('in "lower"', 'in "lower" or at mark', set())])
def test_which_words_it_is_said_by(was: str, now: str, told: set[str]) -> None:
    old = edited(PLACED, ("ASKED", was))
    assert set(moved(after(old, (f"clang = {was}\n", f"clang = {now}\n")))) >= told
    assert (moved(after(old, (f"clang = {was}\n", f"clang = {now}\n"))) == {}) == (told == set())
    assert moved(after(old, ('"lift"', '"lift" at 8'), ('others "lower"', 'others "lower" at 10'))) == {}


@pytest.mark.parametrize(("asked", "told"), [("at mark", {"lower"}), ('in "lower"', set()), ("at wait", set())])
def test_a_label_that_stands_at_another_word(asked: str, told: set[str]) -> None:
    assert set(moved(after(edited(PLACED, ("ASKED", asked)), *LABEL))) == told
