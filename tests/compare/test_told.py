"""Which values of a field a machine tells from others by what it says of them: by hand, of one field each."""

import pytest

from ordain.compare.told import Told
from ordain.machine.expression import Node
from tests.compare.bench import resolved
from tests.compare.judged import Texts, between, edited, moved
from tests.compare.test_correspondence import LATHE

MILL = """machine mill
store control 16 words of 8 bits
    address upc
field mode 2 bits
    rest  0 idle
    grind 1
    sift  2
    stop  3
field gap 3 bits, IDLE
field lamp 1 bit
spare 2 bits
input rain 1 bit, wind 1 bit
state upc 4 bits, reset 0
    next upc + 1
register hopper 4 bits
    loads sack when HOPPER
register bin 4 bits
    loads sack when BIN
register dust 4 bits
    loads sack when dust is 0
bus sack 4 bits, floats
    driven by chute when upc is 3
home upc is 0
"""


def told(hopper: str, bin: str = "upc is 1", idle: str = "idle 0") -> Told:
    """By when two registers are loaded, of which the second has nothing to do with a field."""
    text = MILL.replace("HOPPER", hopper).replace("BIN", bin).replace("IDLE", idle)
    machine = resolved(text)
    terms: list[Node] = [load.when for register in machine.registers.values() for load in register.loads]
    return Told(machine, terms)


@pytest.mark.parametrize(("hopper", "values"), [
    ("mode is grind", {1}),                                             # of the others nothing is said
    ("mode is not rest", {0}),                                          # each of the others differs from idle alone
    ("mode in (grind, sift)", set()), ("mode[0]", set()),
    ("upc[1:0] is mode", {0, 1, 2, 3}),
    ("upc is 2", set()),
])
def test_a_code_is_told_from_every_other_one(hopper: str, values: set[int]) -> None:
    found = told(hopper)
    assert {value for value in range(4) if found.tells("mode", value)} == values
    names = ["rest", "grind", "sift", "stop"]
    assert found.untold("mode") == [names[value] for value in (1, 2, 3) if value not in values]     # idle says nothing
    assert found.speaks_of("mode") == ("mode" in hopper) and not found.speaks_of("lamp")
    assert not found.tells("lamp", 1) and not found.speaks_of("dust")


def test_a_code_is_told_by_all_that_is_said_together() -> None:
    assert {value for value in range(4) if told("mode[0]", "mode[1]").tells("mode", value)} == {0, 1, 2, 3}
    assert {value for value in range(4) if told("mode is grind", "mode is sift").tells("mode", value)} == {1, 2}


@pytest.mark.parametrize(("hopper", "idle", "values"), [
    ("gap[2]", "idle any", set()), ("gap[0]", "idle any", set()),       # the other bits say nothing
    ("upc[2:0] is gap", "idle any", set(range(8))),
    ("gap is 5", "idle any", {5}),                                      # bits of others say nothing
    ("gap[2] xor gap[1] xor gap[0]", "idle any", set(range(8))),        # of one bit turned, of whichever
    ("gap[2] xor gap[1] xor gap[0]", "idle 0", {0, 1, 2, 4, 7}),        # and of what it is when nothing is ordered
    ("gap[2] xor gap[1] xor gap[0]", "idle 5", {1, 2, 4, 5, 7}),
])
def test_a_number_is_told_by_every_bit_of_it(hopper: str, idle: str, values: set[int]) -> None:
    found = told(hopper, idle=idle)
    assert {value for value in range(8) if found.tells("gap", value)} == values
    assert found.untold("gap") == []                                    # it has no codes


@pytest.mark.parametrize(("one", "other", "values"), [
    ("rain xor wind", "rain xor wind", set()), ("rain xor wind", "(rain and not wind) or (wind and not rain)", set()),
    ("rain and wind", "not (not wind or not rain)", set()), ("rain", "rain and (wind or not wind)", set()),
    ("rain xor wind", "(rain and not wind) or wind", {1, 2}), ("rain", "not rain", {1, 2}),
    ("upc[1:0] + 1 is 3", "upc[1:0] is 2", set()), ("upc[1:0] + 1 is 3", "upc[1:0] is 3", {1, 2})])
def test_one_thing_said_in_two_ways_tells_nothing(one: str, other: str, values: set[int]) -> None:
    """Two codes that do the same by all that is said are told from the others, and not from each other."""
    found = told(f"(mode is grind and ({one})) or (mode is sift and ({other}))", "mode is stop")
    assert {value for value in (1, 2) if found.tells("mode", value)} == values


def test_codes_that_the_machine_does_not_tell_are_known_by_their_names() -> None:
    """The decoder says of both that the chime strikes when one switch is up, in other words; the codes have new names
    and numbers. What `bell` is now, nobody has said."""
    one, other = "(hot xor stop)", "((hot and not stop) or (stop and not hot))"

    def chimes(first: tuple[str, int], second: tuple[str, int], said: tuple[str, str], word: str) -> Texts:
        return edited(LATHE, ("spare 3 bits", f"field note 2 bits\n    none 3 idle\n    {first[0]} {first[1]}\n"
                                              f"    {second[0]} {second[1]}\nspare 1 bit"),
                      ("home upc", f"strobe chime\nsignal chime = (note is {first[0]} and {said[0]}) or "
                                   f"(note is {second[0]} and {said[1]})\nhome upc"),
                      ("start at 0\n        feed slow", f"start at 0\n        note {word}, feed slow"))

    for said in ((one, one), (one, other), (other, one)):
        old = chimes(("bell", 1), ("horn", 2), said, "bell")
        assert moved(between(old, chimes(("ring", 1), ("toot", 0), said, "toot"))).keys() == {"reset", "start"}
    told_apart = (one, f"not {one}")
    old = chimes(("bell", 1), ("horn", 2), told_apart, "bell")
    new = chimes(("ring", 2), ("toot", 0), told_apart, "ring")
    assert moved(between(old, new)) == {}
    assert moved(between(old, edited(new, ("note ring", "note toot")))).keys() == {"reset", "start"}


def test_whether_a_code_counts_is_asked_of_it_by_its_number_on_either_side() -> None:
    """`bell` has another number, and `buzz` is gone. What has the number of `bell` on the other side, `horn` or
    `click`, may be told or not; it is another code."""
    note = "field note 2 bits\n    none 0 idle\n    bell 1\n    horn 2\n    buzz 3\nspare 1 bit"
    old = edited(LATHE, ("spare 3 bits", note),
                 ("start at 0\n        feed slow", "start at 0\n        note bell, feed slow"),
                 ("home upc", "strobe chime\nsignal chime = note is bell\nstrobe honk\nsignal honk = note is horn\n"
                              "home upc"))
    new = edited(old, ("    bell 1\n    horn 2\n    buzz 3\n", "    click 1\n    bell 2\n    horn 3\n"))
    for one, two in ((old, new), (new, old)):
        assert moved(between(one, two)) == {}
    for other in ("horn", "click"):
        rung = edited(new, ("note bell, feed", f"note {other}, feed"))
        for one, two in ((old, rung), (rung, old)):
            assert moved(between(one, two)).keys() == {"reset", "start"}


def test_what_has_a_name() -> None:
    found = told("mode is grind")
    assert all(found.names("mode", value) for value in range(4)) and all(found.names("gap", value) for value in (0, 7))
    three = Told(resolved(MILL.replace("    stop  3\n", "").replace("IDLE", "idle 0").replace("HOPPER", "lamp")
                          .replace("BIN", "lamp")), ())
    assert [three.names("mode", value) for value in range(4)] == [True, True, True, False]
