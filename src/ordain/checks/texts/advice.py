"""Advice: nothing is wrong, but there may be something to gain or to look at. `ordain build --advice` shows it."""

from ordain.checks.check import Explanation

EXPLANATIONS = (
    Explanation(
        "shared-tail", "the end of a body stands word for word in another one",
        "Both ends do the same, so one of them could be left out: the word before it goes on in the other. It is "
        "reported only where that word's address field is free, or where the whole body is the same.",
        'instruction 0x20 "push x"\n    sp out, x low\n    sp down, finish     # the same two words end `push y`',
        "Go on in the other body, with a jump in the word before. If the two are kept apart on purpose, write "
        '`allow shared-tail at "push x" "REASON"`.'),
    Explanation(
        "opcode-in-family", "an instruction has an opcode from among those of a family",
        "All members of the family share some bits, and so does this opcode. Hardware that decodes those bits, for a "
        "register or a function, takes it for a member.",
        'instruction 0b01_ss_1ddd "sum {d}, {s}" ...\ninstruction 0b01_11_1000 "rest"',
        "See what the hardware makes of those bits; give the instruction another opcode, or allow it with the reason."),
    Explanation(
        "unpolled", "no way from an instruction looks at a request in time",
        "A rule says within how many cycles a request is to be answered, and words ask about it by branching. No way "
        "from its first word comes to such a word within that time. The rule may hold all the same: `ordain "
        "prove` decides that; this says where the time goes.",
        'rule "the console gets in"   when asked then granted within 20 cycles\n# an instruction of 30 words that asks '
        "at its end only",
        "Ask about the request on the way and go on where it is answered, or finish earlier and repeat."),
    Explanation(
        "unused-order", "no word is written with an order",
        "The machine file explains words that the microprogram does not have.",
        "order release bus : bus_out 0           # never written",
        "Leave it out, unless it is kept for later."),
    Explanation(
        "unused-code", "no word sets a field to one of its codes",
        "The wire or part behind the code never does anything; or a word was meant to use it and does not.",
        "field load 4 bits\n    y_high 13                           # nothing ever loads it",
        "Look whether a word has the wrong code; else nothing."),
    Explanation(
        "unused-label", "nothing leads to a label",
        "No address field, no map row and nothing in the machine file names it. Perhaps a branch is missing.",
        "routine hold\n  again: release                        # nobody goes to again",
        "Leave the label out, or correct the word that was meant to go there."),
    Explanation(
        "room-left", "how much room is left",
        "Free words of each control store and the longest run of them; steps; opcodes without an instruction of their "
        "own.",
        "`control`: 232 of 1024 words are free, at most 128 of them in a row",
        "There is nothing to do."),
)
