"""How a difference is told that comes with what an end leaves behind: where an interrupt goes back to."""

from ordain.compare.behaviour import behaviour
from ordain.compare.difference import Change, Difference
from ordain.compare.joint import join
from tests.workshop import contents_of

MACHINE = """\
machine bells
store control 16 words of 6 bits
    address here
field next 4 bits address, idle following
field again 1 bit
field quick 1 bit
input bell 1 bit
signal usual = ret if again else next
state here 4 bits, reset 0
    next 0xF if bell{only} else usual
state ret 4 bits, reset 0
    next usual if bell else ret
home first
"""
MICRO = """\
routine first at 0
        {first}
        next first
routine other at 8
        quick, next first
routine ring at 0xF
        again, next 0
"""


def told(now: str, only: str = "") -> Difference | None:
    """What `first` does otherwise when its words are those."""
    machine = MACHINE.format(only=only)
    old, new = contents_of(machine, MICRO.format(first="quick")), contents_of(machine, MICRO.format(first=now))
    (one,) = (unit for unit in behaviour(join(old, new)).units if unit.title == "first")
    return one.difference


def test_what_shows_at_once_is_told_before_what_is_left_behind() -> None:
    """One word more. An interrupt in the first cycle leaves another place as well, and comes a cycle earlier: one wired
    place against another was told."""
    found = told("quick\n        again 0")
    assert found is not None and found.cycle == 3
    assert (found.old_end, found.new_end, found.changes) == ("the instruction boundary", "", ())


def test_where_control_comes_back_to_is_told() -> None:
    """The bell rings whenever it may: what differs is only seen when control has come back."""
    found = told("quick, next other", only=" or quick")
    assert found is not None and (found.cycle, found.old_end, found.new_end) == (2, "ring (wired)", "ring (wired)")
    assert found.changes == (Change("return by ret", "first+1", "other"),)
    assert told("quick", only=" or quick") is None
