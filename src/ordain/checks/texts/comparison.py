"""Findings of a comparison with an earlier version."""

from ordain.checks.check import Explanation

EXPLANATIONS = (
    Explanation(
        "behaviour-changed", "something behaves differently that was not named as meant to",
        "An instruction, a routine that is entered from outside, or what happens at reset does something else in some "
        "cycle, under some conditions, than in the version that was compared with. Words that only moved, other "
        "labels, shared or copied tails are no change.",
        "ordain compare HEAD --expect \"load a, n\"      # and `store a, [nn]` has changed, too",
        "Look at the first cycle that differs. If the change is meant, name it with `--expect`; else put the word "
        "back."),
    Explanation(
        "machine-changed", "the machine itself does something else, whatever word is executed",
        "What no microinstruction can influence has changed: how a synchroniser steps, when an agent drives a bus, "
        "what a state holds after reset.",
        "state asks_1 1 bit, reset 0\n    next console.asks and reader.asks        # was: or",
        "If it is meant, say so with `--expect machine`; else put the line back."),
    Explanation(
        "verdict-worse", "a check or rule that held does not hold any more",
        "It is broken, vacuous or undecided now, or broken in more places than before.",
        "ordain compare HEAD                             # contention: data was proved, is broken",
        "`ordain prove` shows the shortest sequence that breaks it."),
)
