"""A winch on a clock of two halves, with a wait state, a button that stops it and a register that moves early. What
goes wrong only because a cycle has halves is planted here."""

from tests.planted.plant import Planted, Sound

STORE = """\
machine winch "lets down a load, step by step"

store control 16 words of 14 bits
    address upc
field branch 2 bits
    step 0 idle
    jump 1
    back 2
field target 4 bits address, idle 0
field load 2 bits
    none 0 idle
    acc 1
    mar 2
    tally 3
field source 2 bits
    none 0 idle
    acc 1
    memory 2
field write 1 bit
field slow 1 bit
spare 2 bits

input ready 1 bit
order goto <there>: branch jump, target <there>
home start
"""

CLOCKED = STORE + """\
clock clk (first, second)
    held while (slow and not ready) or panel.stops
agent panel "start and stop", on own clock
    input press 1 bit
    state mode (runs, stands), reset runs
        next choose mode
            runs  : stands if press else runs
            stands: runs if not press else stands
    signal stops = mode is stands
state upc 4 bits, reset 0
    next choose branch
        step     : upc + 1
        jump     : target
        back     : {0b00, tally}
        otherwise: upc
register acc 8 bits, loads data when load is acc
register mar 8 bits, loads data when load is mar
register tally 2 bits, loads data[1:0] when load is tally, on first, reset 0
state ticks 2 bits, reset 0, on oscillator
    next ticks + 1 if slow else 0
bus data 8 bits, floats, turnaround 1 phase
    driven by acc when source is acc and second
    driven by memory when source is memory
    sampled by acc when load is acc
    sampled by mar when load is mar
    sampled by memory when write and second
bus address 8 bits, floats
    driven by mar
strobe write on second
    address steady 1 cycle before
    data steady 0 phases before
rule "written in time" when write then at start within 3 cycles unless panel.stops
rule "not twice" never write and prior(write)
rule "stretched" reach ticks is 3
rule "stopped" always reach panel.stops
rule "once a round" between at start and at start never write and first after write and second
"""

PROGRAM = """\
routine start at 0
    mar <- memory
    acc <- memory, slow
    memory <- acc, write
    goto start
"""

WINCH = Sound(CLOCKED, PROGRAM)

PLANTED = (
    Planted("a pulse without its half of the clock", WINCH, "missing-hold",
            (("strobe write on second\n", "strobe write\n"),), "memory <- acc, write", "not steady during"),
    Planted("the address comes a cycle late", WINCH, "missing-hold",
            (("    acc <- memory, slow\n    memory <- acc", "    acc <- memory, slow\n    mar <- memory\n"
              "    memory <- acc"),), "memory <- acc, write", "`address` is not steady for 1 cycle before"),
    Planted("a driver without its half of the clock", WINCH, "turnaround",
            (("driven by acc when source is acc and second", "driven by acc when source is acc"),),
            "memory <- acc, write", "(0 cycles undriven, 1 phase owed)"),
    Planted("a pause of half a cycle where a whole one is owed", WINCH, "turnaround",
            (("turnaround 1 phase", "turnaround 1 cycle"),), "memory <- acc, write",
            "(1 phase undriven, 1 cycle owed)"),
    Planted("taken in the half in which nobody drives", WINCH, "floating",
            (("sampled by memory when write and second", "sampled by memory when write"),), "memory <- acc, write",
            "sampled by `memory` while nobody drives it"),
    Planted("two drivers in one half", WINCH, "contention",
            (("driven by memory when source is memory\n",
              "driven by memory when source is memory or (write and second)\n"),), "memory <- acc, write",
            "`acc` and `memory`"),
    Planted("a wait state counter on the clock that it holds", WINCH, "reach",
            (("reset 0, on oscillator", "reset 0"),), 'rule "stretched"'),
    Planted("a latch that opens in the half in which it drives", WINCH, "missing-hold",
            (("register acc 8 bits, loads data when load is acc\n",
              "latch acc 8 bits, loads data when load is acc, on second\n"),
             ("loads data when load is acc, on second", "loads data when load is acc or write, on second")),
            "memory <- acc, write", "not steady during", also=("race",)),
    Planted("a button that stops only one half", WINCH, "lost-state",
            (("bus address 8", "keep acc while panel.stops\nbus address 8"),
             ("or panel.stops\nagent", "or (panel.stops and first)\nagent")), "acc <- memory, slow",
            "`acc` is to be kept while panel.stops"),
)
