"""A mill: two pilots who take turns at one line, a chain of latches and an adder. Faults of hand-over, latches, other
kinds of buses and pulses of several cycles are planted here."""

from tests.planted.plant import Planted, Sound

MACHINE = """\
machine mill "two pilots and a row of latches"
microprogram "m.micro"

store control 16 words of 16 bits
    address upc
    unused  goto grind

field branch 2 bits
    step    0 idle
    jump    1
    if_red  2
    if_blue 3
field target 4 bits address, idle 0
field give 2 bits
    none 0 idle
    red  1
    blue 2
field show   1 bit
field hold   1 bit
field pass   1 bit
field take   1 bit
field stamp  1 bit
field numbered 1 bit
field number 2 bits, idle 0

state upc 4 bits, reset 0
    next choose branch
        step   : upc + 1
        jump   : target
        if_red : target if red.asks else upc + 1
        if_blue: target if blue.asks else upc + 1

latch first 2 bits, loads sum when hold
latch second 2 bits, loads line when pass
register kept 2 bits, loads line when take

bus line 2 bits, pulled low, turnaround 1
    driven by first when show
    driven by red   when red.owns, steady while red.owns
    driven by blue  when blue.owns, steady while blue.owns
    sampled by kept   when take
    sampled by second when pass
bus sum 2 bits, kept
    driven by adder  when not numbered, follows product
    driven by number when numbered
    sampled by first when hold
    sampled by press when stamp
bus product 2 bits, wired or
    driven by second when not take
    driven by kept   when take or pass

strobe stamp
    sum steady 0 cycles before, 1 cycle after
    line steady 2 cycles before, 2 cycles after
keep kept, first while red.owns or blue.owns
exclusive hold, pass

agent red "pilot"
    input want 1 bit
    state mode (idle, asking, steering, leaving), reset idle
        next choose mode
            idle    : asking if want else idle
            asking  : steering if give is red else asking
            steering: leaving if not want else steering
            leaving : idle
    signal asks = mode in (asking, steering)
    signal owns = mode is steering
agent blue "pilot who waits"
    input want 1 bit
    state mode (idle, asking, steering, leaving), reset idle
        next choose mode
            idle    : asking if want else idle
            asking  : steering if give is blue else asking
            steering: leaving if not want else steering
            leaving : idle
    signal asks = mode in (asking, steering)
    signal owns = mode is steering

home grind

order goto <there>     : branch jump, target <there>
order if red <there>   : branch if_red, target <there>
order if blue <there>  : branch if_blue, target <there>
order quiet            : branch step
"""

MICRO = """\
routine grind at 0
        hold
        show, pass
        quiet
        quiet
        numbered, number 2, stamp
        stamp, numbered, number 2
        numbered, number 2
        take, if red lend
        if blue yield
        goto grind
routine lend
  wait: give red, if red wait
        quiet
        goto grind
routine yield
  wait: give blue, if blue wait
        quiet
        goto grind
"""

MILL = Sound(MACHINE, MICRO)

PLANTED = (
    Planted("a register with two inputs selected", MILL, "double-load",
            (("register kept 2 bits, loads line when take",
              "register kept 2 bits\n    loads line when take\n    loads product when hold"),
             ("        take, if red lend", "        take, hold, if red lend")), "take, hold",
            "with `line` and with `product`"),
    Planted("one pilot hands over straight to the other", MILL, "turnaround",
            (("steering if give is blue else asking",
              "steering if give is blue or red.mode is steering and not red.want "
              "else asking"),), "wait: give red", "from `red` to `blue`",
            also=("contention", "missing-hold", "lost-state")),
    Planted("both pilots are told to steer", MILL, "contention",
            (("steering if give is blue else asking", "steering if give is not none else asking"),), "wait: give",
            "`red` and `blue`", also=("turnaround", "missing-hold", "lost-state")),
    Planted("a latch passes on what it drives", MILL, "race",
            (("latch second 2 bits, loads line", "latch second 2 bits, loads sum"),), "show, pass",
            "latch `second`"),
    Planted("a ring of two open latches", MILL, "race",
            (("        show, pass\n", "        show, pass, hold\n"),), "show, pass, hold", "latch `first`",
            also=("race", "conflicting-enables")),
    Planted("the latch opens under the pilot", MILL, "lost-state",
            (("wait: give red, if red", "wait: give red, hold, if red"),), "wait: give red", "`first` is to be kept"),
    Planted("the number changes in the middle of the pulse", MILL, "missing-hold",
            (("stamp, numbered, number 2", "stamp, numbered, number 3"),), "stamp, numbered, number 3",
            "`sum` is not steady during"),
    Planted("the number goes with the pulse", MILL, "missing-hold",
            (("        numbered, number 2\n", "        numbered, number 0\n"),), "numbered, number 0",
            "`sum` is not held for 1 cycle after"),
    Planted("a pulse too soon after the line moved", MILL, "missing-hold",
            (("        quiet\n        quiet\n        numbered", "        quiet\n        numbered"),), "number 2, stamp",
            "`line` is not steady for 2 cycles before"),
    Planted("the line moves two cycles after the pulse", MILL, "missing-hold",
            (("        take, if red lend", "        take, show, if red lend"),), "take, show",
            "`line` is not held for 2 cycles after"),
    Planted("the pilot takes over right after the pulse", MILL, "missing-hold",
            (("stamp, numbered, number 2", "stamp, numbered, number 2, give red"),), "numbered, number 2",
            "`line` is not held", also=("lost-state",)),
    Planted("the pull resistors are gone", MILL, "floating",
            (("bus line 2 bits, pulled low", "bus line 2 bits, floats"),), "take, if red",
            "`line` is sampled by `kept`", also=("missing-hold",)),
)
