"""Every state that can be reached, and what that says about each property.

In: `rom.contents.Contents` (the machine, and what its chips hold) and `Property` values made by `checks`.
Out: `Verdicts` (`prover.model`). Relies on machine, rom and logic only; never sees the compiler.
"""
