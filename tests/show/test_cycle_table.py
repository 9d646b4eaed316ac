"""The table of cycles. A word of a store addressed by instruction and step stands in every column of flags, and is one
word for who reads the table."""

from ordain.control.system import build_system
from ordain.measure.cycles import cycles_of
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
