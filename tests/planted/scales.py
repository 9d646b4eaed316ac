"""Scales with a row of buttons, of which each instruction is said to do something. What goes wrong with values, and
with nothing else, is planted here."""

from tests.planted.plant import Planted, Sound

MACHINE = """\
machine scales "weighs, adds up, keeps"

store control 8 words of 9 bits
    address upc
field branch 2 bits
    step 0 idle
    dispatch 1
    again 2
field put 2 bits
    nothing 0 idle
    button 1
    sum 2
    total 3
field press 1 bit
field add 1 bit
field keep 1 bit
spare 2 bits
state upc 3 bits, reset 0
    next choose branch
        step    : upc + 1
        dispatch: entry.word
        again   : 0
        otherwise: 0
store entry 2 words of 3 bits
    address ir
    word    start of instruction
register ir 1 bit, loads data[0] when press
register total 2 bits, loads data when add
register kept 2 bits, loads data when keep
bus data 2 bits, floats
    driven by button when put is button
    driven by sum = total + kept when put is sum
    driven by total when put is total
visible total, kept
home start
"""

PROGRAM = """\
routine start at 0
    put button, press
    branch dispatch
instruction 0 "add"
    means total <- total + kept
    put sum, add, branch again
instruction 1 "keep"
    means kept <- total
    put total, keep, branch again
"""

SCALES = Sound(MACHINE, PROGRAM)

PLANTED = (
    Planted("an adder wired to subtract", SCALES, "meaning",
            (("sum = total + kept", "sum = total - kept"),), "means total <- total + kept", "`add`"),
    Planted("a word that keeps too much", SCALES, "meaning",
            (("put total, keep, branch again", "put total, keep, branch step\n    put sum, add, branch again"),),
            "means kept <- total", "`keep`"),
)
