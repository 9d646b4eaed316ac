"""The text about an instruction that does something else than its meaning says; `ordain.meaning` finds it."""

from ordain.checks.check import Explanation

EXPLANATION = Explanation(
    name="meaning",
    fault="an instruction that does something else than its `means` line says",
    about="""\
The words of the instruction were followed from its first one to the next boundary, over every path, with terms for
what registers and memories hold. For some values of these the instruction leaves another value than its text says; or
it changes what is visible and not named there. Shown are such values, what was expected, what came, and the cycle in
which the wrong value was loaded.""",
    example="""\
instruction 0x61 "add a, n"
    means acc <- acc + memory[pc], pc <- pc + 1
        mar <- pc
        temp <- memory                      # and nothing counts pc
        acc <- sum, goto fetch""",
    repair="""\
Correct the words, or the meaning: `ordain meaning "add a, n"` prints what the instruction does, in the form of such
a line. Of what does not matter say `flags <- undefined`.""",
)
