"""Which words a change touched, and who executes them: shortest ways, counted by hand."""

import pytest

from ordain.compare.reach import ReachedWords, reach_of_change
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import after, between, compared, edited
from tests.compare.test_how_it_is_told import TOLLING, hoist

SHARED = hoist(("        up, branch jump, target wait\n", "        up, branch jump, target tail\n"),
               ("        branch test, target wait\n        down, branch jump, target wait\n",
                "        branch test, target wait\n        down, branch jump, target tail\nroutine tail\n"
                "        note bell\n        branch jump, target wait\n"))
"""`lift` comes to the tail after one cycle, `lower` after two, and only when the dial says so."""


def told(reach: ReachedWords) -> list[tuple[str, list[tuple[str, tuple[str, ...], int]]]]:
    return [(word.title, [(via.title, via.way, via.cycles) for via in word.executed_by]) for word in reach.words]


def test_who_executes_a_changed_word_nearest_first() -> None:
    assert told(reach_of_change(after(SHARED, ("note bell", "note horn")))) == [
        ("tail", [("lift", ("lift", "tail"), 1), ("lower", ("lower", "tail"), 2)])]


def test_nothing_is_touched_where_nothing_changed() -> None:
    assert reach_of_change(after(SHARED)) == ReachedWords((), 0)
    assert reach_of_change(after(SHARED, ("routine tail\n", "routine pad\n        up, branch jump, target wait\n"
                                                            "routine tail\n"))) == ReachedWords((), 0)


def test_words_behind_a_changed_one_belong_to_it() -> None:
    """`lift` leaves the tail out: its word sends control elsewhere. The tail itself is as it was."""
    reach = reach_of_change(after(SHARED, ("up, branch jump, target tail", "up, branch jump, target wait")))
    assert told(reach) == [("lift", [("lift", ("lift",), 0)])]


def test_both_addresses_of_a_word_that_moved() -> None:
    """The word that sends control to the boundary at once stands somewhere else as well; so do those after it."""
    pad = "routine pad\n        up, branch jump, target wait\n"
    order = "up, branch jump, target tail"
    for change in ((order, "up, branch jump, target wait"), (order, "branch jump, target tail")):
        found = after(SHARED, change, ("instruction 1, 2", f"{pad}instruction 1, 2"))
        (word,) = reach_of_change(found).words
        old, new = (dict.fromkeys(addresses) for addresses in (word.old, word.new))
        sites = [side.contents.sites["control"] for side in found.joint.common.sides]
        assert [sites[0][address].owner for _, address in old] == ["lift"]
        assert [sites[1][address].owner for _, address in new] == ["lift"]
        assert word.old != word.new


def test_more_words_than_are_followed(monkeypatch: pytest.MonkeyPatch) -> None:
    """In the order in which they are met; `lower` has the lowest opcode."""
    found = after(SHARED, ("        branch go\n", "        up, branch go\n"),
                  ("        down, branch", "        up, branch"), ("        note bell\n", "        note horn\n"))
    titles = ["wait", "lower+1", "tail"]
    assert [word.title for word in reach_of_change(found).words] == titles
    for most, more in ((2, 1), (3, 0)):
        monkeypatch.setattr("ordain.compare.reach.MOST", most)
        reach = reach_of_change(found)
        assert ([word.title for word in reach.words], reach.more) == (titles[:most], more)


def test_an_instruction_that_could_not_be_before() -> None:
    """Opcode 2 was tied away and has an instruction of its own now: there is nothing to hold it against."""
    tied = edited(SHARED, ("    address op\n", "    address {0b0, op[0]}\n"), ("instruction 1, 2", "instruction 1"))
    sway = 'instruction 2 "sway"\n        down, branch jump, target wait\n'
    found = between(tied, edited(SHARED, ("instruction 1, 2", f"{sway}instruction 1"), ("note bell", "note horn")))
    assert [word.title for word in reach_of_change(found).words] == ["tail"]


def test_the_boundary_is_executed_by_reset_and_itself() -> None:
    (word,) = reach_of_change(after(SHARED, ("        branch go\n", "        up, branch go\n"))).words
    assert [(via.kind, via.title, via.cycles) for via in word.executed_by] == [("reset", "reset", 0),
                                                                             ("boundary", "wait", 0)]


def test_of_two_ways_into_an_instruction_the_nearer_counts() -> None:
    """`ring` goes on to the side, at which it can be entered as well."""
    rings = edited(TOLLING, ("        chime, branch jump, target fetch", "        chime, branch jump, target side"))
    found = after(rings, ("at 5\n        branch", "at 5\n        chime, branch"))
    assert told(reach_of_change(found)) == [("side", [("ring", ("side",), 0)])]
    plain = edited(rings, ("  last: branch late", "  last: branch go"))
    found = after(plain, ("at 5\n        branch", "at 5\n        chime, branch"))
    assert told(reach_of_change(found)) == [("side", [("ring", ("ring", "side"), 1)])]


@pytest.mark.parametrize("turned", [False, True])
def test_every_opcode_of_an_instruction_is_held_against_what_it_was(turned: bool) -> None:
    """Opcodes 1 and 2 were one word; now the second begins at a word of its own, which does something else."""
    back: dict[str, int | str] = {"branch": "jump", "target": 0}
    words = {0: Word("wait", {"branch": "go"}), 4: Word("lift", {"up": 1, **back}),
             6: Word("lift", {"down": 1, **back}, "other"), 8: Word("lower", {"down": 1, **back})}
    old, new = (burned(resolved(hoist()[0]), words, tables={"entry": {0: 8, 1: 4, 2: second, 3: 8}})
                for second in (4, 6))
    (word,) = reach_of_change(compared(new, old) if turned else compared(old, new)).words
    ours, theirs = (("control", 4),), (("control", 6),)
    assert (word.old, word.new) == ((theirs, ours) if turned else (ours, theirs))
    assert [via.title for via in word.executed_by] == ["lift"]
