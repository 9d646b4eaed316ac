"""Which entrances are paired, step by step: by what follows them, by titles, by addresses, by being the only ones."""

from collections.abc import Mapping
from typing import NamedTuple

import pytest

from ordain.compare.entrances import Entrance, Groups, _addresses, _matched, _parted, _released, _titles
from ordain.compare.graph import End
from ordain.compare.roots import Root
from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import compared, moved, unit


def place(title: str, node: int, at: int = -1) -> Root:
    return Root("wired", "", -1, 0, title, node, (node if at < 0 else at,))


def entrance(*roots: Root) -> Entrance:
    return Entrance(tuple(End("wired", f"to {root.node}", ()) for root in roots), roots)


def led(*entrances: Entrance) -> dict[int, list[End]]:
    return {root.node: [end] for each in entrances for end, root in zip(each.ends, each.roots)}


def titles(found: list[tuple[Entrance, Entrance]]) -> list[tuple[list[str], list[str]]]:
    return [([root.title for root in ours.roots], [root.title for root in theirs.roots]) for ours, theirs in found]


def test_what_is_in_one_block_is_paired_whatever_it_is_called() -> None:
    ours: Groups = {1: entrance(place("a", 1)), 2: entrance(place("b", 2))}
    theirs: Groups = {2: entrance(place("a", 7)), 1: entrance(place("b", 8))}
    pairs, left = _matched(ours, theirs, (_titles, _addresses))
    assert titles(pairs) == [(["a"], ["b"]), (["b"], ["a"])] and left == ([], [])


def test_what_is_left_is_paired_by_title_then_by_address_then_as_the_only_one() -> None:
    ours: Groups = {1: entrance(place("a", 1)), 2: entrance(place("b", 2)), 3: entrance(place("c", 3))}
    theirs: Groups = {4: entrance(place("d", 5)), 5: entrance(place("e", 2)), 6: entrance(place("a", 6))}
    pairs, left = _matched(ours, theirs, (_titles, _addresses))
    assert titles(pairs) == [(["a"], ["a"]), (["b"], ["e"]), (["c"], ["d"])] and left == ([], [])
    theirs[7] = entrance(place("f", 9))
    pairs, left = _matched(ours, theirs, (_titles, _addresses))
    assert titles(pairs) == [(["a"], ["a"]), (["b"], ["e"])]
    assert [[root.title for each in side for root in each.roots] for side in left] == [["c"], ["d", "f"]]


def test_what_looks_like_two_others_is_paired_with_neither() -> None:
    one, two = entrance(place("a", 1)), entrance(place("a", 2))
    for ours, theirs in (([one, two], [one]), ([one], [one, two])):
        pairs, left = _matched({("old", number): each for number, each in enumerate(ours)},
                               {("new", number): each for number, each in enumerate(theirs)}, (_titles,))
        assert pairs == [] and left == (ours, theirs)


def test_titles_and_addresses_are_those_of_all_places() -> None:
    both = entrance(place("b", 3), place("a", 2), place("b", 1, 3))
    assert (_titles(both), _addresses(both)) == (("a", "b"), ((2,), (3,)))


def test_places_that_stand_alone_on_the_other_side_leave_the_pair() -> None:
    """`b` does something else now, `d` has done until now; `x` is on one side alone and stays where it is."""
    ours, theirs = (entrance(*(place(title, node) for node, title in enumerate(names, base)))
                    for names, base in (("abx", 0), ("acd", 10)))
    elsewhere = ([entrance(place("d", 20))], [entrance(place("b", 21))])
    sides = (led(ours, *elsewhere[0]), led(theirs, *elsewhere[1]))
    left = (list(elsewhere[0]), list(elsewhere[1]))
    pair = _released((ours, theirs), left, sides)
    assert titles([pair]) == [(["a", "x"], ["a", "c"])]
    assert [end.store for end in pair[0].ends] == ["to 0", "to 2"] and [end.store for end in pair[1].ends] == [
        "to 10", "to 11"]
    assert [[root.title for each in side for root in each.roots] for side in left] == [["d", "b"], ["b", "d"]]
    again = _parted(left, sides)
    assert titles(again) == [(["d"], ["d"]), (["b"], ["b"])] and left == ([], [])
    assert [end.store for end in again[0][0].ends] == ["to 20"] and [end.store for end in again[0][1].ends] == ["to 12"]


def test_a_pair_of_which_all_have_other_names_stays_whole() -> None:
    ours, theirs = entrance(place("a", 1)), entrance(place("b", 2))
    left = ([entrance(place("b", 3))], [entrance(place("a", 4))])
    before = (list(left[0]), list(left[1]))
    assert _released((ours, theirs), left, (led(ours, *left[0]), led(theirs, *left[1]))) == (ours, theirs)
    assert left == before


def test_parts_with_titles_in_common_are_taken_out_of_what_is_left() -> None:
    """`a` and `b` of one place are `a` of one and `b` of another; `c` is at two places of one side."""
    ours = [entrance(place("a", 1), place("b", 2), place("x", 3)), entrance(place("c", 4))]
    theirs = [entrance(place("a", 11)), entrance(place("b", 12), place("c", 13)), entrance(place("c", 14))]
    left = (list(ours), list(theirs))
    found = _parted(left, (led(*ours), led(*theirs)))
    assert titles(found) == [(["a"], ["a"]), (["b"], ["b"])]
    assert [[root.title for root in each.roots] for each in left[0]] == [["x"], ["c"]]
    assert [[root.title for root in each.roots] for each in left[1]] == [["c"], ["c"]]
    assert [end.store for end in left[1][0].ends] == ["to 13"]


# ---------------------------------------------------------------- whole machines in which pairing decides what is told

GALLERY = """\
machine gallery
microprogram "m.micro"
store control 64 words of 18 bits
    address upc
field go 3 bits
    step 0 idle
    jump 1
    ask  2
    low  3
    high 4
    row  5
    ring 6
    rope 7
field target 6 bits address, idle 0
field load 1 bit
field up   1 bit
field down 1 bit
spare 6 bits
store entry 2 words of 4 bits
    address op
    word start of instruction
store table 32 words of 6 bits
    address dial
input lever 1 bit, dial 5 bits
register op 1 bit, loads lever when load
state upc 6 bits, reset 0
    next choose go
        step: upc + 1
        jump: target
        ask : target if lever else upc + 1
        low : {LOW, entry}
        high: {HIGH, entry}
        row : table.word
        ring: RING
        rope: ROPE
        otherwise: 0
bus line 1 bit, pulled low
    driven by drum when up
    driven by cask when down
home upc in (0, 32)
"""
UP, DOWN, BOTH, NONE = {"up": 1}, {"down": 1}, {"up": 1, "down": 1}, dict[str, int]()


class Gallery(NamedTuple):
    """`fetch` asks the lever and dispatches by one of two ways, each into a page of its own, where `lift` and `hoist`
    have opcode 0, `lower` and `drop` opcode 1; `lower` and `drop` end at wired places, `bell` and `cord`."""

    near: str = "low"
    far: str = "high"
    load: int = 0
    pages: tuple[int, int] = (0, 1)
    lift: Mapping[str, int] = UP
    hoist: Mapping[str, int] = NONE
    wired: tuple[int, int] = (48, 56)
    bell: Mapping[str, int] = UP
    cord: Mapping[str, int] = DOWN
    names: tuple[str, str] = ("bell", "cord")
    row: Mapping[str, int] = BOTH

    def made(self) -> Contents:
        low, high = (16 * page for page in self.pages)
        text = GALLERY
        for name, value, width in (("LOW", self.pages[0], 2), ("HIGH", self.pages[1], 2), ("RING", self.wired[0], 6),
                                   ("ROPE", self.wired[1], 6)):
            text = text.replace(name, f"0b{value:0{width}b}")
        back: dict[str, int | str] = {"go": "jump", "target": 0}
        rows = {40: Word("first", {**self.row, **back}), 42: Word("second", {**DOWN, **back})}
        return burned(resolved(text), {
            0: Word("fetch", {"go": "ask", "target": 2}), 1: Word("near", {"go": "jump", "target": 44}),
            2: Word("far", {"go": self.far, "load": self.load}), 44: Word("nigh", {"go": self.near, "load": self.load}),
            32: Word("other", {"go": "row"}),
            low + 4: Word("lift", {**self.lift, "go": "jump", "target": 32}),
            low + 6: Word("lower", {**DOWN, "go": "ring"}),
            high + 4: Word("lift", {**self.hoist, **back}), high + 6: Word("lower", {**BOTH, "go": "rope"}), **rows,
            self.wired[0]: Word(self.names[0], {**self.bell, **back}),
            self.wired[1]: Word(self.names[1], {**self.cord, **back})},
            tables={"entry": {0: 4, 1: 6}, "table": {dial: 40 if dial < 8 else 42 for dial in range(32)}})


FETCH = {"reset", "fetch"}
OTHERS = Gallery(lift=BOTH, hoist=DOWN)


@pytest.mark.parametrize(("was", "now", "told"), [
    (Gallery(), Gallery(), set()),
    # ways to dispatch that lead to the same instructions are one, wherever these stand
    (Gallery(), Gallery(pages=(1, 0)), set()),
    # ways of which all lead to something else are known by the page that they lead to, in whatever order they are met
    (Gallery(), OTHERS, {"lift"}),
    (Gallery(near="high", far="low"), OTHERS, {*FETCH, "lift"}),
    # and whether or not the opcode is loaded as it is asked about
    (Gallery(near="high", far="low"), OTHERS._replace(load=1), {*FETCH, "lift"}),
    (Gallery(), OTHERS._replace(load=1), {*FETCH, "lift"}),
    # a way that is gone is told of those who took it
    (Gallery(), Gallery(near="high"), FETCH),
    (Gallery(), Gallery(far="low"), FETCH),
    # wired places are what is done there, whatever they are called and wherever they stand
    (Gallery(), Gallery(wired=(56, 48)), set()),
    (Gallery(), Gallery(names=("cord", "bell")), set()),
    (Gallery(), Gallery(wired=(56, 48), names=("cord", "bell")), set()),
    # if they do something else as well, they are known by their names, whatever their addresses
    (Gallery(), Gallery(bell=BOTH, cord=NONE), {"bell", "cord"}),
    (Gallery(), Gallery(wired=(56, 48), bell=BOTH), {"bell"}),
    (Gallery(), Gallery(wired=(56, 48), bell=BOTH, cord=NONE), {"bell", "cord"}),
    # a row by itself
    (Gallery(), Gallery(row=UP), {"first"}),
])
def test_which_entrances_are_told_as_changed(was: Gallery, now: Gallery, told: set[str]) -> None:
    for old, new in ((was, now), (now, was)):
        found = moved(compared(old.made(), new.made()))
        assert {title for title, status in found.items() if status == "changed"} == told


def test_a_wired_place_that_has_another_name_and_does_something_else() -> None:
    """By its address; of two the other is known by what is done there."""
    found = compared(Gallery().made(), Gallery(bell=BOTH, names=("tone", "cord")).made())
    assert moved(found) == {"tone": "changed"} and unit(found, "tone").was == "bell"


def test_what_is_on_one_side_alone_is_told_there() -> None:
    """Without the low page nothing leads to `bell`, to `other` and so to the rows."""
    for was, now, status in ((Gallery(), Gallery(near="high"), "gone"), (Gallery(near="high"), Gallery(), "new")):
        found = moved(compared(was.made(), now.made()))
        assert {title for title, what in found.items() if what == status} == {"bell", "other", "first", "second"}


# ---------------------------------------------------------------- boundaries that differ in how they go on

QUAY = """\
machine quay
microprogram "m.micro"
store control 64 words of 13 bits
    address upc
field flow 3 bits
    jump  0
    near  1
    far   2
    left  3
    right 4
    dial  5
    ask   6
field target 6 bits address
field up   1 bit
field down 1 bit
spare 2 bits
input dial 2 bits
state upc 6 bits, reset 40
    next choose flow
        jump : target
        near : target
        far  : target
        left : port
        right: star
        dial : {dial, 0b0000}
        ask  : ASK
        otherwise: 0
state port 6 bits, reset 1
    next upc + 1 if flow is near else port
state star 6 bits, reset 2
    next upc + 1 if flow is far else star
bus rope 1 bit, pulled low
    driven by drum when up
    driven by cask when down
home upc[3:0] is 0
"""
Quay = Mapping[int, tuple[str, str, int, Mapping[str, int]]]
"""Address -> name of the word, how it goes on, where to, and what it does. The dial leads to 0, 16, 32 and 48."""


def quay(words: Quay, ask: str = "0") -> Contents:
    words = {40: ("start", "dial", 0, {}), **words}
    return burned(resolved(QUAY.replace("ASK", ask)), {
        at: Word(name, {"flow": flow, "target": to, **does}) for at, (name, flow, to, does) in words.items()})


BACK = ("low", "left", 0, {})
FORTH = ("high", "right", 0, {})
RISE, FALL = ("up", "jump", 0, {"up": 1}), ("down", "jump", 0, {"down": 1})


def test_boundaries_from_which_control_returns_by_different_addresses() -> None:
    """Nobody knows who called: by which register it is makes two of them, whatever they are called, wherever they
    stand, and however many words there are beside them."""
    old = quay({0: BACK, 16: FORTH, 32: RISE, 48: RISE})
    moved_on = quay({0: ("b", *FORTH[1:]), 16: ("a", *BACK[1:]), 32: RISE, 48: ("up", "jump", 5, {"up": 1}), 5: RISE})
    assert moved(compared(old, quay({0: BACK, 16: FORTH, 32: RISE, 48: RISE}))) == {}
    assert moved(compared(old, quay({0: BACK, 16: ("high", *BACK[1:]), 32: RISE, 48: RISE})))["high"] == "changed"
    assert moved(compared(quay({0: BACK, 16: ("high", *BACK[1:]), 32: RISE, 48: RISE}), old))["high"] == "changed"
    named = compared(old, quay({0: ("b", *FORTH[1:]), 16: ("a", *BACK[1:]), 32: RISE, 48: RISE}))
    assert {one.title: (one.status, one.was) for one in named.units if one.title in ("a", "b")} == {
        "a": ("same", "low"), "b": ("same", "high")}
    for one, other in ((old, moved_on), (moved_on, old)):
        told = moved(compared(one, other))
        assert "up" in told and not {"a", "b", "low", "high"} & told.keys()


def test_words_that_are_copies_are_one_however_many_lines_choose_between_them() -> None:
    """`start` asks two lines of the dial in one machine, and goes to one of two copies; one condition in the other."""
    words: Quay = {40: ("start", "ask", 0, {}), 8: RISE, 9: ("upper", *RISE[1:]), 10: FALL, 0: ("home", "jump", 0, {})}
    split = quay(words, "8 if dial[0] else 9 if dial[1] else 10")
    for either, same in (("dial[0] or dial[1]", True), ("dial[0] and dial[1]", False), ("dial[0]", False)):
        whole = quay(words, f"8 if {either} else 10")
        for one, other in ((split, whole), (whole, split)):
            assert (moved(compared(one, other)) == {}) == same, either
