"""The gates of a weir: a sequencer that counts, a memory on two buses, a panel that may take them. Faults of driving,
holding and keeping are planted here."""

from tests.planted.plant import Planted, Sound

MACHINE = """\
machine weir "gates of a weir, with a panel"
microprogram "m.micro"

store control 16 words of 24 bits
    address upc
    unused  goto watch

field branch 2 bits
    step     0 idle
    jump     1
    if_asked 2
field target 4 bits address, idle 0
field source 3 bits
    none    0 idle
    gauge   1
    memory  2
    copy    3
field load 2 bits
    none  0 idle
    gauge 1
    gate  2
    copy  3
field point  1 bit
field write  1 bit
field grant  1 bit
field count  1 bit
field swap   1 bit
spare 8 bits

state upc 4 bits, reset 0
    next choose branch
        step     : upc + 1
        jump     : target
        if_asked : target if asked else upc + 1
        otherwise: 0
state asked 1 bit, reset 0
    next panel.asks
state turns 2 bits, reset 0
    next turns + 1 if swap else turns

register pointer 4 bits
    loads pointer + 1 when count
register gauge 2 bits
    loads data when load is gauge
register copy 2 bits
    loads data when load is copy
register gate 2 bits
    loads data when load is gate

bus address 4 bits, floats, turnaround 1
    driven by pointer when point
    driven by panel   when panel.owns, steady while panel.owns
    sampled by memory when source is memory or pulse
bus data 2 bits, floats
    driven by gauge  when source is gauge
    driven by copy   when source is copy
    driven by memory when source is memory, follows address
    driven by panel  when panel.owns, steady while panel.owns
    sampled by gauge  when load is gauge
    sampled by copy   when load is copy
    sampled by gate   when load is gate
    sampled by memory when pulse

signal reads = source is memory
signal pulse = write or panel.writes
strobe pulse
    address steady 1 cycle before, 1 cycle after
    data    steady 1 cycle before, 1 cycle after
keep pointer, gauge, copy, turns while panel.owns
exclusive reads, pulse

agent panel "panel with a key"
    input key 1 bit
    state mode (idle, asking, placing, writing, holding), reset idle
        next choose mode
            idle   : asking if key else idle
            asking : placing if grant else asking
            placing: writing
            writing: holding
            holding: idle
    signal asks   = mode in (asking, placing, writing)
    signal owns   = mode in (placing, writing, holding)
    signal writes = mode is writing

home watch

order goto <there>          : branch jump, target <there>
order if asked goto <there> : branch if_asked, target <there>
order quiet                 : branch step
"""

MICRO = """\
routine watch at 0
        point
        point, gate <- memory
        point, copy <- memory, swap
        point, source copy
        point, memory <- copy, write
        point, source copy
        count, if asked goto lend
        gauge <- copy
        goto watch

routine lend
        quiet
  wait: grant, if asked goto wait
        quiet
        goto watch
"""

WEIR = Sound(MACHINE, MICRO)

PLANTED = (
    Planted("a pointer that is wound both ways", WEIR, "double-load",
            (("    loads pointer + 1 when count", "    loads pointer + 1 when count\n    loads pointer - 1 when swap"),
             ("        count, if asked goto lend", "        count, swap, if asked goto lend")), "count, swap",
            "`pointer` is loaded twice"),
    Planted("a gauge that no word reads", WEIR, "inactive",
            (("        gauge <- copy\n", "        gauge <- copy\n        gate <- gauge\n"),
             ("gate <- gauge", "gate <- copy")), "driven by gauge", "`gauge` never drives `data`"),
    Planted("a count of turns that no word counts", WEIR, "inactive",
            (("        gauge <- copy\n", "        gauge <- copy\n        gate <- gauge\n"),
             ("copy <- memory, swap", "copy <- memory")), "state turns", "`turns` never changes"),
    Planted("memory drives while the panel writes", WEIR, "contention",
            (("wait: grant, if asked", "wait: grant, source memory, if asked"),), "wait: grant",
            "`memory` and `panel`", also=("conflicting-enables", "floating")),
    Planted("the panel does not wait for the grant", WEIR, "contention",
            (("asking : placing if grant else asking", "asking : placing"),), "point",
            "`pointer` and `panel`", also=("conflicting-enables", "turnaround", "lost-state")),
    Planted("two sources of one bus in one word", WEIR, "contention",
            (("driven by gauge  when source is gauge",
              "driven by gauge  when source in (gauge, copy)"),), "source copy",
            "`gauge` and `copy`"),
    Planted("a multiplexer told to take two inputs", WEIR, "contention",
            (("bus data 2 bits, floats", "bus data 2 bits, multiplexed"),
             ("driven by gauge  when source is gauge", "driven by gauge  when source in (gauge, memory)")), "<- memory",
            "`gauge` and `memory`"),
    Planted("a word reads and writes", WEIR, "conflicting-enables",
            (("exclusive reads, pulse", "exclusive swap, write"),
             ("memory <- copy, write", "memory <- copy, write, swap")), "write, swap", "`swap` and `write`"),
    Planted("counting under the panel's pulse", WEIR, "conflicting-enables",
            (("exclusive reads, pulse", "exclusive swap, panel.writes"),
             ("wait: grant, if asked", "wait: grant, swap, if asked")), "wait: grant", "`swap` and `panel.writes`",
            also=("lost-state",)),
    Planted("the order to read was forgotten", WEIR, "floating",
            (("point, gate <- memory", "point, load gate"),), "load gate", "`data` is sampled by `gate`"),
    Planted("memory reads without an address", WEIR, "floating",
            (("        point, gate <- memory", "        gate <- memory"),), "gate <- memory",
            "`address` is sampled by `memory`"),
    Planted("a flip-flop takes a bit of a bus at rest", WEIR, "floating",
            (("state turns 2 bits, reset 0", "state flag 1 bit, reset 0\n    next data[0] if source is copy else flag\n"
              "state turns 2 bits, reset 0"),
             ("next data[0] if source is copy else flag", "next data[0] if source in (copy, none) else flag")),
            "point", "`data` is sampled by `flag`"),
    Planted("the grant comes with the last address", WEIR, "turnaround",
            (("        point, source copy\n        count, if asked", "        point, source copy, grant\n"
              "        count, if asked"),), "count, if asked", "from `pointer` to `panel`", also=("lost-state",)),
    Planted("three cycles at rest where four are owed", WEIR, "turnaround",
            (("floats, turnaround 1", "floats, turnaround 3"), ("turnaround 3", "turnaround 4")), "wait: grant",
            "(3 cycles undriven, 4 cycles owed)"),
    Planted("the address comes with the pulse", WEIR, "missing-hold",
            (("        point, source copy\n        point, memory <- copy, write", "        source copy\n"
              "        point, memory <- copy, write"),), "memory <- copy, write",
            "`address` is not steady for 1 cycle before"),
    Planted("the data go with the pulse", WEIR, "missing-hold",
            (("write\n        point, source copy\n        count", "write\n        point\n        count"),), "point",
            "`data` is not held for 1 cycle after"),
    Planted("the pointer counts under the pulse", WEIR, "missing-hold",
            (("point, memory <- copy, write", "point, memory <- copy, write, count"),), "point, source copy",
            "`address` is not held"),
    Planted("the panel lets its switches move", WEIR, "missing-hold",
            (("driven by panel  when panel.owns, steady while panel.owns\n    sampled by gauge",
              "driven by panel  when panel.owns, steady while panel.writes\n    sampled by gauge"),), "wait: grant",
            "`data` is not steady for 1 cycle before"),
    Planted("the panel's hold state is missing", WEIR, "missing-hold",
            (("writing: holding\n", "writing: idle\n"),), "wait: grant", "is not held for 1 cycle after",
            also=("turnaround",)),
    Planted("the pointer runs on through the pause", WEIR, "lost-state",
            (("wait: grant, if asked", "wait: grant, count, if asked"),), "wait: grant", "`pointer` is to be kept"),
    Planted("a state steps in the pause", WEIR, "lost-state",
            (("next turns + 1 if swap else turns", "next turns + 1 if swap or grant else turns"),), "wait: grant",
            "`turns` is to be kept"),
)
