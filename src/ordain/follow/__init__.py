"""A capture held against the machine: the set of all states that it can be in, given what has been seen so far.

Relies on machine, rom, logic,
    control and the sets of states of prover.symbolic. `lines`: which bit of a reading is which
line. `states`: the set, clock after clock. `following`: a whole capture,
    with a table of what was met before. `broken`: the
first clock that no sequence explains.
"""
