"""What is said of one unit beside whether it has changed: where it stands, at which opcodes, what it was, and when an
opcode or a row is on one side alone."""

import pytest

from ordain.compare.behaviour import _all_same, _by_opcode, _first_of
from ordain.rom.contents import Contents
from tests.compare.bench import burned, resolved
from tests.compare.judged import between, compared, edited, moved, unit
from tests.compare.test_entrances import DOWN, GALLERY, Gallery
from tests.compare.test_how_it_is_told import hoist
from tests.compare.test_names_of_opcodes import BEFORE, named


def test_what_is_on_one_side_alone_has_its_place_there() -> None:
    """Without the low page nothing leads to `bell`, which is wired, to the boundary `other`, and so to the rows."""
    whole, less = Gallery().made(), Gallery(near="high").made()
    for old, new, status in ((whole, less, "gone"), (less, whole, "new")):
        found = compared(old, new)
        roots = {root.title: root for root in found.joint.entered[status == "new"].roots}
        for title in ("bell", "other"):
            one = unit(found, title)
            assert (one.status, one.opcodes, one.differing, one.store) == (status, (), (), "")
            assert (one.pairs, one.new_nodes) == ((), () if status == "gone" else (roots[title].node,))
        ours, theirs = (next(root.node for root in each.roots if root.kind == "reset") for each in found.joint.entered)
        assert (unit(found, "reset").pairs, unit(found, "reset").new_nodes) == (((ours, theirs),), (theirs,))
    first = [one.opcodes for one in compared(whole, less).units if one.title == "first"]
    assert first == [(dial,) for dial in range(8)]


def test_each_way_to_dispatch_is_looked_at_for_a_difference() -> None:
    """`lift` does the same when it is come to by the low page."""
    found = compared(Gallery().made(), Gallery(hoist=DOWN).made())
    assert moved(found) == {"lift": "changed"}
    first = unit(found, "lift").difference
    assert first is not None and [str(change) for change in first.changes] == ["down: 0 -> 1"]
    assert unit(compared(Gallery().made(), Gallery().made()), "lift").difference is None


def test_an_opcode_that_is_dispatched_in_other_ways_is_another() -> None:
    joint = compared(Gallery().made(), Gallery().made()).joint
    old, new = _by_opcode(joint, "instruction")
    near, far = old["entry", 1], new["entry", 1]
    assert [*near] == [0, 1] and _all_same(joint, near, far)
    assert not _all_same(joint, near, {0: far[0]}) and not _all_same(joint, {0: near[0]}, far)
    assert not _all_same(joint, {0: near[0]}, {1: far[0]}) and _all_same(joint, {0: near[0]}, {0: far[0]})
    other = compared(Gallery().made(), Gallery(hoist=DOWN).made()).joint
    near, far = (side["entry", 0] for side in _by_opcode(other, "instruction"))
    assert _first_of(other, [(near, {0: far[0]})]) is None is _first_of(other, [({0: near[0]}, {1: far[1]})])
    assert _first_of(other, [({0: near[0]}, far), (near, {1: far[1]})]) is not None


def rows(wide: bool, upper: int) -> Contents:
    """A table of 32 rows by the dial, or of 64 by the lever as well; `upper`: where the rows lead that the lever
    chooses."""
    made = Gallery().made()
    if not wide:
        return made
    text = GALLERY
    for name, value in (("LOW", "0b00"), ("HIGH", "0b01"), ("RING", "0b110000"), ("ROPE", "0b111000")):
        text = text.replace(name, value)
    machine = resolved(text.replace("table 32 words of 6 bits\n    address dial", "table 64 words of 6 bits\n    "
                                    "address {lever, dial}"))
    tables = {"entry": (4, 6), "table": (*made.words["table"], *[upper] * 32)}
    return made._replace(machine=machine, words={**burned(machine, {}).words, **{
        name: tuple(tables.get(name, words)) for name, words in made.words.items()}})


def test_rows_that_are_on_one_side_alone() -> None:
    """What leads to `first` at numbers that were not there before has changed, though at all others it is the same."""
    old, new = rows(False, 0), rows(True, 40)
    found = compared(old, new)
    assert (unit(found, "first").status, unit(found, "first").differing) == ("changed", ())
    assert unit(found, "first").opcodes == (*range(8), *range(32, 64)) and unit(found, "second").status == "same"
    assert unit(found, "first").difference is None
    back = [(one.status, one.opcodes) for one in compared(new, old).units if one.title == "first"]
    assert back == [("same", tuple(range(8))), *(("gone", (dial,)) for dial in range(32, 64))]
    fresh = compared(old, rows(True, 5))
    assert [(one.title, one.status) for one in fresh.units if one.kind == "row"][-1] == ("control 5", "new")


@pytest.mark.parametrize(("was", "now", "told"), [
    # two that do the same become one: the second is gone, and what stands there is said
    (("lift", "hoist", "lower"), ("lift", "lift", "lower"), {"hoist": ("gone", "", "its opcode is now `lift`")}),
    (("lift", "hoist", "lower"), ("raise", "raise", "lower"),
     {"lift": ("gone", "", "its opcode is now `raise`"), "hoist": ("gone", "", "its opcode is now `raise`")}),
    # one of two that do the same has another name
    (("lift", "hoist", "lower"), ("raise", "hoist", "lower"), {}),
    # a new one takes over from two, and does something else
    (("lift", "lower", "lower"), ("raise", "raise", "lower"),
     {"raise": ("new", "lift, lower", ""), "lift": ("gone", "", "its opcode is now `raise`")}),
    # one that stays takes over from one that goes
    (("hoist", "lift", "lower"), ("lift", "lower", "lower"),
     {"hoist": ("gone", "", "its opcode is now `lift`"), "lower": ("changed", "", "")}),
    # of two that do the same as one does now, one has another name at the rest of its opcodes
    (("hoist", "hoist", "lift", "lower"), ("swing", "raise", "raise", "lower"),
     {"lift": ("gone", "", "its opcode is now `raise`")}),
    (("lift", "lift", "lower"), ("lower", "lower", "lift"), {
        "lift": ("changed", "", "opcode 0x00, 0x01 is now 0x02, where it does the same"),
        "lower": ("changed", "", "opcode 0x02 is now 0x00, 0x01, where it does the same")}),
])
def test_what_is_said_of_names(was: tuple[str, ...], now: tuple[str, ...], told: dict[str, tuple[str, ...]]) -> None:
    does = {**BEFORE, "hoist": "up", "raise": "up", "swing": "up"}
    old, new = (named(titles, **{title: does[title] for title in titles}) for titles in (was, now))
    found = compared(old, new)
    assert {one.title: (one.status, one.was, one.note) for one in found.units if one.status != "same"} == told
    assert {(one.title, one.was) for one in found.units if one.status == "same" and one.was} <= {
        ("raise", "lift"), ("swing", "hoist")}
    assert all(one.difference is None for one in found.units if one.status != "changed")


FOUR = """routine wait at 0
        branch go
instruction 0 "lift"
        up, branch jump, target wait
instruction 2 "hoist"
        up, branch jump, target wait
instruction others "lower"
        down, branch jump, target wait
"""
TWO = FOUR.replace('instruction 2 "hoist"\n        up, branch jump, target wait\n', "")


def test_an_instruction_of_which_no_opcode_is_told_apart_any_more() -> None:
    """The upper line of the opcode is asked about by one machine alone: nothing is done otherwise at either level."""
    fewer = edited((hoist()[0], TWO), ("store entry 4 words of 4 bits\n    address op\n",
                                       "store entry 2 words of 4 bits\n    address op[0]\n"))
    found = between((hoist()[0], FOUR), fewer)
    assert {one.title: (one.status, one.note) for one in found.units if one.kind == "instruction"} == {
        "lift": ("same", ""), "lower": ("same", ""), "hoist": ("gone", "")}


def test_an_instruction_that_has_more_opcodes_than_there_were() -> None:
    """The upper line was tied: at two numbers there was nothing before."""
    tied = edited((hoist()[0], TWO), ("    address op\n", "    address {0b0, op[0]}\n"))
    more = hoist()[0], TWO.replace("0 \"lift\"", "0, 2 \"raise\"")
    found = between(tied, more)
    assert {one.title: (one.status, one.was, one.differing) for one in found.units if one.kind == "instruction"} == {
        "raise": ("new", "lift", (2,)), "lower": ("changed", "", (3,)),
        "lift": ("gone", "", ())}
    assert unit(found, "lift").note == "its opcode is now `raise`"


def test_a_store_of_starts_that_one_machine_alone_has() -> None:
    """`go` leads to one place; there is nothing to dispatch."""
    entry = "store entry 4 words of 4 bits\n    address op\n    word start of instruction\n"
    single = edited((hoist()[0], "routine wait at 0\n        branch go\nroutine lift at 4\n"
                                 "        up, branch jump, target wait\n"), (entry, ""), ("go  : entry", "go  : 4"))
    for old, new, status in ((hoist(), single, "gone"), (single, hoist(), "new")):
        found = between(old, new)
        assert {one.title: one.status for one in found.units if one.kind == "instruction"} == {
            "lift": status, "lower": status}
