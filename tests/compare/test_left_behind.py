"""What pointers hold where a way ends, and who asks for it later: a row of return addresses, a step that was kept, an
opcode that only some of those have who come by."""

import pytest

from tests.compare.judged import Texts, after, between, edited, moved, unit

# ---------------------------------------------------------------- two return addresses in a row

CARAVAN: Texts = ("""machine caravan
microprogram "m.micro"
store control 64 words of 14 bits
    address upc
field branch 3 bits
    step 0 idle
    jump 1
    call 2
    back 3
    look 4
    park 5
field target 6 bits address, idle 0
field out 2 bits, idle 0
field load 1 bit
spare 2 bits
store entry 4 words of 6 bits
    address ir
    word start of instruction
register ir 2 bits, loads data when load
state near 6 bits, reset any
    next choose branch
        call: upc + 1
        back: far
        otherwise: near
state far 6 bits, reset any
    next choose branch
        call: near
        park: target
        otherwise: far
state upc 6 bits, reset 0
    next choose branch
        jump: target
        call: target
        back: near
        look: entry
        otherwise: upc + 1
bus data 2 bits, pulled high
    driven by hold when out is 1
    driven by deck when out is 2
    driven by quay when out is 3
home fetch
""", """\
routine fetch at 0
        load
        branch look
routine cast
        out 3
        branch jump, target fetch
routine pier
        out 2, branch jump, target fetch
routine dock
        out 2, branch jump, target fetch
instruction 0 "leave"
        branch call, target cast
        out 1
        branch jump, target fetch
instruction 1 "return"
        branch back
instruction 2 "sink"
        out 1, branch park, target pier
        branch jump, target fetch
instruction 3 "rest"
        branch jump, target fetch
""")
PAD = ("routine pier\n", "routine pad\n        out 3, branch jump, target fetch\nroutine pier\n")


@pytest.mark.parametrize(("edits", "told"), [
    ((PAD,), {}),                                                       # where a place stands is nothing
    ((("park, target pier", "park, target dock"),), {}),                # which is another one with the same words
    ((("park, target pier", "park, target cast"),), {"sink": "changed"}),
    ((PAD, ("park, target pier", "park, target cast")), {"sink": "changed"}),
    ((("pier\n        out 2", "pier\n        out 1"),), {"sink": "changed"}),
    ((PAD, ("pier\n        out 2", "pier\n        out 1")), {"sink": "changed"}),
    ((("        out 1\n", "        out 2\n"),), {"leave": "changed"}),
])
def test_a_place_two_returns_away_counts_by_where_it_leads(edits: tuple[tuple[str, str], ...],
                                                           told: dict[str, str]) -> None:
    """`return` goes to `near`, and takes `far` for the next one: what `sink` parks there acts after two of it."""
    for old, new in ((CARAVAN, edited(CARAVAN, *edits)), (edited(CARAVAN, *edits), CARAVAN)):
        assert moved(between(old, new)) == told




SLOT = "        out 1, branch park, target pier\n        branch jump, target fetch\n"


def test_what_is_left_behind_is_told_where_nothing_shows_it_at_once() -> None:
    """`sink` parks a place and ends, or goes on to words that show something: these are told, though they come later.
    Both ends are the boundary, so what stands there is not told."""
    fork = edited(CARAVAN, ("    park 5\n", "    park 5\n    fork 6\n"), ("home fetch", "input stop 1 bit\nhome fetch"),
                  ("        park: target\n", "        park: target\n        fork: target\n"),
                  ("        look: entry\n", "        look: entry\n        fork: 0 if stop else upc + 1\n"),
                  (SLOT, "        out 1, branch fork, target pier\n        out 1\n        out 3\n"
                   "        branch jump, target fetch\n"))
    parked, shown = ("fork, target pier", "fork, target cast"), ("        out 3\n        branch jump, target fetch\n"
                                                                "instruction 3", "        out 2\n        branch jump, "
                                                                "target fetch\ninstruction 3")
    first = unit(after(fork, parked), "sink").difference
    assert first is not None and (first.cycle, first.old, first.new) == (2, (), ())
    assert [(change.what.split(",")[0], change.old, change.new) for change in first.changes] == [
        ("where `far` leads later", "pier", "cast")]
    assert first.old_end == first.new_end == "the instruction boundary"
    first = unit(after(fork, parked, shown), "sink").difference
    assert first is not None and (first.cycle, [str(change) for change in first.changes]) == (3, ["out: 3 -> 2"])
    assert first.old_end == first.new_end == "" and [len(place) for place in (first.old, first.new)] == [1, 1]


def left(old: Texts, new: Texts) -> tuple[int, list[tuple[str, str, str]]]:
    """The cycle in which `sink` is said to end otherwise, and what it leaves: what holds it, before, now."""
    first = unit(between(old, new), "sink").difference
    assert first is not None and (first.old, first.new) == ((), ())
    return first.cycle, [(change.what.split(",")[0], change.old, change.new) for change in first.changes]


def test_the_nearest_of_several_ends_is_told_of_those_that_leave_something_else() -> None:
    """`sink` keeps a place and ends, or keeps another one, or the same, and ends later."""
    early, late = "        out 1, branch fork, target pier\n", "        out 3, branch park, target dock\n"
    fork = edited(CARAVAN, ("    park 5\n", "    park 5\n    fork 6\n"), ("home fetch", "input stop 1 bit\nhome fetch"),
                  ("        park: target\n", "        park: target\n        fork: target\n"),
                  ("        look: entry\n", "        look: entry\n        fork: 0 if stop else upc + 1\n"),
                  (SLOT, f"{early}{late}        branch jump, target fetch\n"),
                  ("dock\n        out 2", "dock\n        out 1"))
    for change in (((early, early.replace("pier", "cast")), (late, late.replace("dock", "cast"))),
                   ((early, early.replace("pier", "cast")),)):
        cycle, told = left(fork, edited(fork, *change))
        assert (cycle, told) == (2, [("where `far` leads later", "pier", "cast")])
    cycle, told = left(fork, edited(fork, (late, late.replace("dock", "cast"))))
    assert (cycle, told) == (4, [("where `far` leads later", "dock", "cast")])


def test_a_place_that_only_one_side_leaves_behind() -> None:
    """On the other the latch is not wired for that, and holds what it held."""
    nothing = edited(CARAVAN, ("        park: target\n", ""))
    assert left(CARAVAN, nothing) == (3, [("where `far` leads later", "pier", ""), ("what is left in `far`", "", "")])
    assert left(nothing, CARAVAN) == (3, [("where `far` leads later", "", "pier"), ("what is left in `far`", "", "")])


def test_of_two_places_only_the_one_that_is_another_is_told() -> None:
    """A word that keeps the place behind it, and one to go to after that."""
    both = edited(CARAVAN, ("    park 5\n", "    park 5\n    keep 6\n"),
                  ("        call: upc + 1\n", "        call: upc + 1\n        keep: upc + 1\n"),
                  ("        park: target\n", "        park: target\n        keep: target\n"),
                  ("        out 1, branch park, target pier\n", "        out 1, branch keep, target pier\n"))
    cycle, told = left(both, edited(both, ("keep, target pier", "keep, target cast")))
    assert (cycle, told) == (3, [("where `far` leads later", "pier", "cast")])


def test_nothing_is_left_to_nobody() -> None:
    """No word returns: whatever pointers hold, they lead nowhere."""
    nobody = edited(CARAVAN, ("        branch back\n", "        branch jump, target fetch\n"))
    assert moved(after(nobody, ("park, target pier", "park, target cast"))) == {}
    assert moved(after(nobody, ("        out 1\n", "        out 2\n"))) == {}


@pytest.mark.parametrize(("rows", "name"), [
    ("        back: far + 1\n        otherwise: near\n", "far"),
    ("        back: far\n        otherwise: near\n", "deep"),
    ("        back: far + 1\n        otherwise: near\n", "deep")])
def test_a_place_further_away_or_behind_a_count(rows: str, name: str) -> None:
    """A third level, from which the second is filled; and a return that skips a word, so that by calls and returns in
    turn control comes from the place that `leave` keeps to every word behind it."""
    deeper = edited(CARAVAN, ("        back: far\n        otherwise: near\n", rows),
                    ("        call: near\n        park: target\n        otherwise: far\n",
                     "        call: near\n        back: deep\n        otherwise: far\n"
                     "state deep 6 bits, reset any\n    next target if branch is park else deep\n"
                     if name == "deep" else "        call: near\n        park: target\n        otherwise: far\n"))
    assert moved(after(deeper)) == {}
    sink, leave = dict.fromkeys(("sink",), "changed"), dict.fromkeys(("leave",), "changed")
    both = {**sink, **leave}
    counts = "+ 1" in rows
    assert moved(after(deeper, ("park, target pier", "park, target cast"))) == (both if counts else sink)
    assert moved(after(deeper, ("        out 1\n", "        out 2\n"))) == (both if counts else leave)


SKIPPING = edited(CARAVAN, ("        back: far\n        otherwise: near\n",
                            "        back: far + 1\n        otherwise: near\n"),
                  ("        call: near\n        park", "        park"),
                  ("pier\n        out 2", "pier\n        out 1, branch jump, target fetch\n  behind: out 2"))


@pytest.mark.parametrize(("edits", "told"), [
    ((), {}),
    ((("behind: out 2", "behind: out 1"),), {"sink": "changed"}),       # which is where control comes to
    ((("pier\n        out 1", "pier\n        out 2"),), {}),             # and this is where it does not
    ((PAD,), {}),
    ((PAD, ("behind: out 2", "behind: out 1")), {"sink": "changed"})])
def test_a_place_counts_by_where_control_comes_that_skips_a_word(edits: tuple[tuple[str, str], ...],
                                                                 told: dict[str, str]) -> None:
    """`return` takes for the next one not the place that `sink` has parked but the one behind it."""
    for old, new in ((SKIPPING, edited(SKIPPING, *edits)), (edited(SKIPPING, *edits), SKIPPING)):
        assert moved(between(old, new)) == told


COUNTED = edited(SKIPPING, ("far + 1\n        otherwise: near\n", "far + 1\n        otherwise: near + 1\n"))


def test_a_place_that_is_counted_on_and_on_counts_by_every_place_behind_it() -> None:
    """`near` goes on by itself while nothing returns."""
    assert moved(after(COUNTED)) == {}
    assert "sink" in moved(after(COUNTED, ("cast\n        out 3", "cast\n        out 1")))


@pytest.mark.parametrize(("most", "same"), [(1, False), (100, False), (127, False), (128, True), (256, True)])
def test_what_is_counted_too_far_is_unlike_anything_else(most: int, same: bool,
                                                         monkeypatch: pytest.MonkeyPatch) -> None:
    """But the same in builds with the same contents. `near` may be any of 64 places, and control come to each."""
    monkeypatch.setattr("ordain.compare.graph.MOST_LATER", most)
    assert moved(after(COUNTED)) == {}
    free = ("spare 2 bits", "field free 2 bits, idle 0")        # nothing else is another
    assert ("sink" not in moved(after(COUNTED, free))) == same


def test_a_return_beside_another_place_that_is_held() -> None:
    """`return` parks a place of its own before it goes back: where that stands is nothing, where it leads is."""
    parking = edited(CARAVAN, ('"return"\n        branch back', '"return"\n        branch park, target pier\n'
                                                                '        branch back'))
    assert moved(after(parking, PAD)) == {}
    for change in (("target pier\n        branch back", "target cast\n        branch back"),
                   ("target pier\n        branch back", "target idle\n        branch back")):
        other = edited(parking, change, ("routine pier\n", "routine idle\n        branch jump, target idle\n"
                                                            "routine pier\n"))
        assert moved(between(parking, other)) == {"return": "changed"} == moved(between(other, parking))
