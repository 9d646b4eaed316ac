"""What differs about a machine whatever word is executed: each thing said once, with what it was and is; and a twin of
each change that is none."""

import pytest

from tests.compare.judged import Texts, between, edited, moved
from tests.compare.test_how_it_is_told import hoist

WHOLE: Texts = edited(hoist(), ("input dial", """\
memory chest 4 words of 2 bits
    address op
    writes rope when up
    holds zeros
state mood (calm, wild, torn), reset calm
    next wild if stop else torn
state stirred 2 bits, reset 1
    next stirred and {stop, stop}
register worn 2 bits, reset 2
    loads rope when down
input wind (north, east, south)
input gust 2 bits
condition shut 1 bit = stop
bus line 2 bits, floats
    driven by cleat when up
input dial"""))


@pytest.mark.parametrize(("edits", "told"), [
    ((), ()),
    ((("chest 4 words", "chest 3 words"),), ("memory `chest` has 3 words of 2 bits, had 4 of 2",)),
    ((("    holds zeros\n", ""),), ("memory `chest` holds anything at power-up, held zeros",)),
    ((("    holds zeros\n", '    holds "chest.bin"\n'),),
     ('memory `chest` holds "chest.bin" from 0 on at power-up, held zeros',)),
    ((("(calm, wild, torn), reset calm", "(calm, wild, torn), reset torn"),), ("state `mood` starts as 2, was 0",)),
    ((("(calm, wild, torn), reset calm", "(calm, wild, torn), reset any"),),
     ("state `mood` starts as any value, was 0",)),
    ((("(calm, wild, torn)", "(calm, wild, torn, mild)"),), ("state `mood` has 4 values, had 3",)),
    ((("stirred 2 bits, reset 1", "stirred 2 bits, reset 3"),), ("state `stirred` starts as 3, was 1",)),
    ((("worn 2 bits, reset 2", "worn 2 bits, reset 0"),), ("register `worn` starts as 0, was 2",)),
    ((("worn 2 bits, reset 2", "worn 2 bits, reset any"),), ("register `worn` starts as any value, was 2",)),
    ((("(north, east, south)", "(north, east, south, west)"),), ("input `wind` has 4 values, had 3",)),
    ((("input gust 2 bits", "input gust (weak, some, strong)"),), ("input `gust` has 3 values, had 4",)),
    ((("input gust 2 bits", "input gust (none, weak, some, strong)"),), ()),
    ((("shut 1 bit = stop", "shut 1 bit = not stop"),),
     ("condition `shut` means something else; it is taken for the same line",)),
    ((("shut 1 bit = stop", "shut 1 bit"),), ("condition `shut` means something else; it is taken for the same line",)),
    ((("shut 1 bit = stop", "shut 1 bit = stop is 1"),), ()),
    ((("bus line 2 bits, floats", "bus line 2 bits, kept"),), ("bus `line`: kept, was floats",)),
    ((("bus line 2 bits, floats", "bus line 2 bits, pulled low"),), ("bus `line`: pulled low, was floats",)),
    ((("wild if stop else torn", "wild if stop else calm"),),
     ("how `mood` steps has changed, whatever word is executed",)),
    ((("state upc 4 bits, reset 0", "state upc 4 bits, reset 4"),), ()),       # that is the way from reset
])
def test_what_differs_whatever_word_is_executed(edits: tuple[tuple[str, str], ...], told: tuple[str, ...]) -> None:
    new = edited(WHOLE, *edits)
    assert between(WHOLE, new).machine == told
    assert len(between(new, WHOLE).machine) == len(told)


@pytest.mark.parametrize("gone", ["condition shut 1 bit = stop\n", "input gust 2 bits\n"])
def test_what_one_machine_alone_has_is_held_against_nothing(gone: str) -> None:
    less = edited(WHOLE, (gone, ""))
    assert between(WHOLE, less).machine == () == between(less, WHOLE).machine


def test_an_effect_that_one_machine_alone_has() -> None:
    """Both have the line that is asked, so it is the machine that differs, and no word."""
    less = edited(WHOLE, ("bus line 2 bits, floats\n    driven by cleat when up\n", ""))
    said = "`cleat` drives `line`: only in the {} machine; elsewhere words that order nothing about it are taken to " \
           "leave it alone"
    assert said.format("old") in between(WHOLE, less).machine and said.format("new") in between(less, WHOLE).machine
    assert moved(between(WHOLE, less)) == {} == moved(between(less, WHOLE))
