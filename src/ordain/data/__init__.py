"""Values: what the words of a microprogram do to registers, buses and memories, with what is not known kept apart.

Relies on machine, rom, logic and control; the prover knows nothing of it. `partial`: values with unknown bits.
`datapath`: one cycle of the whole machine. `run`: cycle after cycle, with a script of what comes from outside.
"""
