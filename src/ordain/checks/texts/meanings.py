"""Findings about what the `means` lines of instructions say."""

from ordain.checks.check import Explanation

EXPLANATIONS = (
    Explanation(
        "meaning-of-nothing", "a `means` line that belongs to no instruction",
        "A meaning is about what happens from an instruction's first word to the next boundary. Routines and sequences "
        "are parts of many instructions.",
        "routine fetch\n    means pc <- pc + 1\n        mar <- pc",
        "Put the line under the instruction."),
    Explanation(
        "no-visible", "meanings, and nothing says what a programmer sees",
        "All that is visible and that a meaning does not name has to stay as it was. Without a `visible` line scratch "
        "registers would have to stay, too.",
        'machine small\n...\ninstruction 1 "clear"\n    means acc <- 0',
        "Name registers, flags and memories in the machine file: `visible acc, flags, pc, memory`."),
    Explanation(
        "no-old-value", "a meaning reads something that stores nothing",
        "Meanings are about what registers, states and memories held before the instruction. Fields, buses and inputs "
        "change while it runs.",
        "means acc <- data                    # which data, in which cycle?",
        "Say it with what is stored, a word of memory as `memory[pc]`; of what comes from outside say `undefined`."),
    Explanation(
        "effect-call", "effects are called with another number of values than they name",
        "The values stand for the names in the first line of the `effect`, one for each.",
        "effect add(n)\n    acc <- acc + n\n...\n    means add(memory[pc], 1)",
        "Give as many values as there are names."),
    Explanation(
        "effect-cycle", "effects that call themselves",
        "Effects are written out where they are called, so that would never come to an end.",
        "effect push(v)\n    memory[sp] <- v, push(v)",
        "Write out what is to happen."),
)
