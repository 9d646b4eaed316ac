"""Which words a change touched, and who executes them: shortest ways, counted by hand."""

import pytest

from ordain.compare.reach import ReachedWords, reach_of_change
from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import after, between, compared, edited, moved
from tests.compare.test_how_it_is_told import TOLLING, hoist
from tests.compare.test_joint import DRIFT, drift

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
    second = ("note bell\n        branch jump", "note bell\n        note horn, branch jump")      # a body is named once
    assert told(reach_of_change(after(SHARED, second))) == [
        ("tail+1", [("lift", ("lift", "tail"), 2), ("lower", ("lower", "tail"), 3)])]


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


BACK: dict[str, int | str] = {"branch": "jump", "target": 0}


def placed(unused: dict[str, int | str] | None = None, **late: int | str) -> Contents:
    """`lift` waits at 5 as long as the dial says so, and goes on to the tail, or to a cell in which nothing was placed,
    and from there."""
    return burned(resolved(hoist()[0]), {
        0: Word("wait", {"branch": "go"}), 4: Word("lift", {"up": 1}), 5: Word("lift", {"branch": "test", "target": 5}),
        6: Word("lift", {"branch": "jump", "target": "@tail" if unused is None else 12}, "last"),
        8: Word("tail", {**late, **BACK}), 10: Word("lower", {"down": 1, **BACK})},
        tables={"entry": {0: 10, 1: 4, 2: 4, 3: 10}}, unused=unused)


def test_a_word_behind_one_that_waits() -> None:
    """The way round is no way on."""
    (word,) = reach_of_change(compared(placed(), placed(down=1))).words
    assert (word.old, word.title) == ((("control", 8),), "tail")
    assert [(via.title, via.way, via.cycles) for via in word.executed_by] == [("lift", ("lift", "tail"), 3)]


def test_a_way_through_a_cell_in_which_nothing_was_placed() -> None:
    unused: dict[str, int | str] = {"branch": "jump", "target": "@tail"}
    (word,) = reach_of_change(compared(placed(unused=unused), placed(unused=unused, down=1))).words
    assert [(via.way, via.cycles) for via in word.executed_by] == [(("lift", "tail"), 4)]


def test_the_word_before_the_end_of_a_way_is_the_one_that_changed() -> None:
    """One side comes home where the other goes on: either way it is the word that leads there."""
    longer = hoist(("        up, branch jump, target wait\ninstruction",
                    "        up, branch jump, target tail\nroutine tail\n"
                    "        branch jump, target wait\ninstruction"))
    for found in (between(hoist(), longer), between(longer, hoist())):
        assert told(reach_of_change(found)) == [("lift", [("lift", ("lift",), 0)])]


def test_before_a_place_that_cannot_be_told_there_may_be_no_word(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is not known where the machine starts, as if there were too many words to look at each."""
    monkeypatch.setattr("ordain.compare.places.MOST_WORDS", 16)
    anywhere = DRIFT.replace("upc 5 bits, reset 0", "upc 5 bits, reset any")
    found = compared(drift(anywhere), drift(anywhere, spare=1))
    assert moved(found)["reset"] == "changed" and reach_of_change(found) == ReachedWords((), 0)


def test_the_way_from_reset_to_its_own_word() -> None:
    (word,) = reach_of_change(after(SHARED, ("        branch go\n", "        up, branch go\n"))).words
    assert [(via.kind, via.way) for via in word.executed_by] == [("reset", ("wait",)), ("boundary", ("wait",))]
