"""The table of cycles. A word of a store addressed by instruction and step stands in every column of flags, and is one
word for who reads the table."""

from collections.abc import Sequence

import pytest

from ordain.control.system import build_system
from ordain.measure.cycles import Cycles, Decision, Taken, cycles_of
from ordain.show.cycle_table import Listed, cycle_lines
from tests.workshop import contents_of

MACHINE = """\
machine toll "of a bridge"
microprogram "m.micro"
store control 32 words of 2 bits
    address {wind, fog, op, step}
    instruction op
    step step
field look 1 bit
field last 1 bit
input wind 1 bit, fog 1 bit, ready 1 bit, next_op 1 bit
state op 1 bit, reset 0
    next next_op if last else op
state step 2 bits, reset 0
    next 0 if last else (step if look and not ready else step + 1)
home step is 0
"""
MICRO = """\
prologue
        look
instruction 0 "raise"
        look
        last
instruction 1 "lower"
        last
"""


def test_a_word_in_which_control_waits_is_named_once_however_many_columns_hold_it() -> None:
    contents = contents_of(MACHINE, MICRO)
    found = cycles_of(build_system(contents), ["raise", "lower"])
    assert found is not None
    listed = {"raise": Listed((0,), "raise", 1), "lower": Listed((1,), "lower", 1)}
    table = [line.split("  ")[-1].strip() for line in cycle_lines("toll", found, listed, 120)[3:]]
    assert table == ["waits for ready at prologue", "waits for ready at raise", "2+"]


def test_what_is_asked_of_word_after_word_is_said_once() -> None:
    """`raise` has three words with the wind, at steps 1 to 3, and one without."""
    machine = MACHINE.replace("(step if look and not ready else step + 1)", "step + 1").replace("input wind 1 bit,",
        "state wind 1 bit, reset any\n    next wind\ninput")
    contents = contents_of(machine, """\
prologue
        look
instruction 0 "raise"
        when wind
                look
                look
                last
        otherwise
                last
instruction 1 "lower"
        last
""")
    found = cycles_of(build_system(contents), ["raise", "lower"])
    assert found is not None
    listed = {"raise": Listed((0,), "raise", 1), "lower": Listed((1,), "lower", 1)}
    [said] = [line for line in cycle_lines("toll", found, listed, 160) if " raise " in line]
    # {wind, fog, op, step}: it goes on from 0b10001 and 0b10010 to the next word
    assert said.endswith("3 if wind at raise when wind (11-12)")


def decision(address: int, lines: str = "", **values: int) -> Decision:
    return Decision(address, "", tuple(values.items()), frozenset(lines.split()))


def table(least: Sequence[Decision], most: Sequence[Decision]) -> str:
    taken = Taken("instruction", "shift", 9, 12, (), tuple(least), tuple(most))
    lines = cycle_lines("toll", Cycles(None, None, "", (taken,)), {"shift": Listed((0,), "shift", 1)}, 200, False)
    return " ".join(lines[-1].split())


def test_a_counter_that_goes_on_in_a_word_is_told_once() -> None:
    counted = [decision(3, "ask", ask=1, bit=bit) for bit in range(12)]
    assert table([decision(3, "ask", ask=0, bit=0)], [*counted, decision(3, "ask", ask=0, bit=12)]) == (
        "0 shift 9-12 9 if not ask and bit=0 at 3; "
        "12 if ask and bit=0 to 0xB at 3, 12 times, then not ask and bit=0xC at 3")
    assert table([], [decision(3, left=left) for left in (3, 2, 1)]).endswith("12 if left=3 to 1 at 3, 3 times")
    assert table([], [decision(3 + bit, bit=bit) for bit in range(3)]).endswith("12 if bit=0 to 2 at 3-5")


@pytest.mark.parametrize("steps", [
    [decision(3, bit=0), decision(3, bit=1)],                                       # too few to be shorter so
    [decision(3, bit=0), decision(3, bit=2), decision(3, bit=4)],
    [decision(3, bit=0), decision(3, bit=1), decision(3, bit=0)],                   # there and back
    [decision(3, bit=0), decision(4, bit=1), decision(6, bit=2)],                   # other words
    [decision(3, bit=0), decision(4, bit=1)._replace(where="other"), decision(5, bit=2)],
    [decision(3, "ask", ask=0, bit=0), decision(3, "ask", ask=1, bit=1), decision(3, "ask", ask=0, bit=2)],
    [decision(3, bit=0), decision(3, bit=1, ask=1), decision(3, bit=2)],
])
def test_what_does_not_count_is_told_word_by_word(steps: list[Decision]) -> None:
    assert table([], steps).count(", then ") == len(steps) - 1


def test_what_both_ways_have_alike_from_the_beginning_decides_nothing() -> None:
    both = [decision(3, bit=0), decision(3, bit=1)]
    assert table(both, [*both, decision(4, zero=1)]).endswith("9-12 12 if zero=1 at 4")
    assert table([decision(4, zero=0)], [decision(4, zero=1)]).endswith("9 if zero=0 at 4; 12 if zero=1 at 4")
