"""The names under which words are found again: where routines and instructions stand."""

from tests.workshop import contents_of

PLAIN = ("""\
machine narrow
store control 16 words of 10 bits
    address upc
field go 2 bits
    next 0 idle
    home 1
    dispatch 2
field mark 8 bits, idle 0
store entry 4 words of 4 bits
    address ir
    word start of instruction
register ir 2 bits, loads data when mark is 1
bus data 2 bits, floats
    driven by memory
state upc 4 bits, reset 0
    next choose go
        next: upc + 1
        home: 0
        dispatch: entry
        otherwise: upc
home upc is 0
""", """\
routine fetch at 0
    mark 1
    go dispatch
instruction 0 "one" at 5
    mark 10
  inner:
    mark 11, go home
instruction others "two" at 9
    go home
""")
STEPPED = ("""\
machine lathe
microprogram "m.micro"
store control 32 words of 4 bits
    address     {carry, op, step}
    instruction op
    step        step
field last  1 bit
field a     1 bit
field b     1 bit
spare 1 bit
state op 1 bit, reset 1
    next key if last else op
state step 3 bits, reset 0
    next 0 if last else step + 1
state carry 1 bit, reset 0
    next key if a else carry
input key 1 bit
home step is 0
""", """\
instruction 0 "rest"
        last
instruction 1 "turn"
        when carry
            a
            b, last
        otherwise
            b
            a, last
""")


def test_where_routines_and_instructions_begin() -> None:
    contents = contents_of(*PLAIN)
    assert {name: sorted(where) for name, (_, where) in contents.labels.items()} == {
        "fetch": [0], "one": [5], "inner": [6], "one.inner": [6], "two": [9]}
    assert {name: sorted(where) for name, (_, where) in contents.routines.items()} == {
        "fetch": [0, 1], "one": [5, 6], "two": [9]}


def test_an_instruction_with_arms_begins_in_each_of_them() -> None:
    """carry, op, three bits of step: `turn` at 8 and 9, and at 24 and 25 with carry; `rest` whatever carry is."""
    contents = contents_of(*STEPPED)
    assert {name: sorted(where) for name, (_, where) in contents.labels.items()} == {"rest": [0, 16], "turn": [8, 24]}
    assert sorted(contents.routines["turn"][1]) == [8, 9, 24, 25]
