"""Findings about microprograms: sequences, families, orders, opcodes, placement."""

from ordain.checks.check import Explanation

EXPLANATIONS = (
    Explanation(
        "field-conflict", "two items of a word set one field differently",
        "A field has one value in a word. Both items are shown.",
        "acc <- memory, goto fetch, goto wait",
        "Split the word in two, or drop one of the items."),
    Explanation(
        "opcode-gap", "an opcode has no instruction",
        "On real hardware somebody will execute it: by a typing mistake, by running into data. What happens then "
        "should "
        "be decided, not left to erased cells.",
        "instruction 0x00 \"none\"\n...                                     # and nothing for 0xFF",
        "Add `instruction others \"trap\"`, which takes every opcode that is left."),
    Explanation(
        "opcode-clash", "an opcode has two instructions",
        "Patterns with `x` and families overlap easily; both are shown.",
        "instruction 0b0101xxx0 \"load r, n\"\ninstruction 0x56 \"rest\"",
        "Make the patterns disjoint: write the exception out of the family."),
    Explanation(
        "unknown-hole", "nothing fills a `<hole>`",
        "A hole in a phrase gets what stands at its place in the call; a hole in a word outside of a phrase has "
        "no one to "
        "fill it.",
        "sequence push <reg>\n        memory <- <register>, write",
        "Use the name of the phrase's hole."),
    Explanation(
        "unused-hole", "a `<hole>` is filled in and then not used",
        "What the caller writes there would have no effect.",
        "order goto <there>: branch jump",
        "Use it, or take it out of the phrase."),
    Explanation(
        "empty-body", "a routine, instruction, sequence or arm without words",
        "Its label would stand nowhere.",
        "routine hold at 0x3F0",
        "Write at least one word below it, or remove it."),
    Explanation(
        "label-of-nothing", "a label stands before no word",
        "A label names the word on its own line.",
        "  wait:",
        "Write the word behind the label."),
    Explanation(
        "sequence-call", "a sequence is called where it cannot be",
        "The words of a sequence stand in place of the call, so the call is alone on its line and a label goes to the "
        "first of them.",
        "push acc, goto fetch",
        "Give the call a line of its own."),
    Explanation(
        "sequence-cycle", "a sequence calls itself",
        "Sequences are written out where they are called; one that calls itself would never end.",
        "sequence wait\n        wait",
        "Write a loop with a label and a jump."),
    Explanation(
        "too-many-words", "the microprogram is longer than any store",
        "A limit, reached when sequences call sequences that call sequences.",
        "sequence a\n        b\n        b                               # and so on, doubling each time",
        "Use routines and jumps instead of sequences."),
    Explanation(
        "family", "a family of instructions that cannot be written out",
        "`for d in (acc, b)` replaces {d} in title and words and takes the letters d of the opcode as its number. "
        "Letters, "
        "names and counts must agree.",
        'instruction 0b1_dd_00101 "load {d}, n" for e in (acc, b)',
        "Use one letter for a list, as many bits as the list needs, and every letter in the title."),
    Explanation(
        "bad-number", "a number that makes no sense here",
        "Alignments and pages are a number of words, 1 or more.",
        "routine hold align 0",
        "Correct the number."),
    Explanation(
        "unknown-label", "a label that no word has",
        "Labels of other routines are written `routine.label`; a routine's or instruction's own name is its first "
        "word.",
        "goto hold.wiat",
        "Correct the spelling (the message gives near names)."),
    Explanation(
        "placement-conflict", "two words must stand at one address",
        "Fixed addresses and alignments contradict each other; both places are shown.",
        "routine hold at 0x3F0\nroutine trap at 0x3F0",
        "Change one of the constraints."),
    Explanation(
        "page-conflict", "words that must share a page cannot",
        "`page(...)` targets and `same page` tie words together; fixed addresses keep them apart.",
        "routine a at 0x000 same page 256\n        page(far)                       # far is fixed at 0x300",
        "Use a full target, or move one of the fixed words."),
    Explanation(
        "block-conflict", "the words of an aligned block cannot stand together",
        "`pair` and `table` put their labels into neighbouring addresses; a word in two blocks, or one that must "
        "follow "
        "another, may have no such place. Where a copy of the word helps it is made.",
        "target pair(back, wait), ... target pair(wait, back)",
        "Give one of the blocks words of its own."),
    Explanation(
        "out-of-store", "a word is to stand beyond the end of its store",
        "The fixed address, or a word that must follow it, is larger than the last one.",
        "routine trap at 0x400                   # of a store of 1024 words",
        "Correct the address, or make the store larger."),
    Explanation(
        "start-unclear", "a table of start addresses is narrower than an address, and nothing says what the rest is",
        "Where the table's word is joined with constants to an address, instructions are placed where that leads. "
        "Where it goes through a state, or is joined with something that changes, the missing lines are taken as 0.",
        "store start 64 words of 8 bits          # and an address of 9 bits\n    word start of instruction",
        "Write the join where the address is formed, `{0b1, start}`, or make the table as wide as the address."),
    Explanation(
        "over-full", "the words do not fit",
        "The message says which constraint is over-full and by how many words.",
        "store control 256 words of 40 bits      # and 260 words to place",
        "Shorten routines, turn copies into jumps, relax `at`, `align` and `same page`, or use a larger store."),
    Explanation(
        "placement-undecided", "the search for a placement was given up",
        "It is not known whether one exists; the limit keeps a build from taking for ever.",
        "store control 64 words of 24 bits       # 64 words, twelve aligned blocks",
        "Relax a constraint, or leave a few words free."),
    Explanation(
        "ambiguous-label", "a label that words of several routines have, or that something else is called by",
        "From another routine, a label that is not the only one of its name is called by both names. After `home`, a "
        "name may be that of a label and of a signal.",
        "goto wait                               # hold.wait or pause.wait?",
        "Write `hold.wait`; after `home`, `at wait` or `wait is 1`."),
    Explanation(
        "unknown-order", "a clause that is neither an order, a transfer nor a setting",
        "Orders are declared in the machine file, and a clause is read word by word against their phrases.",
        "goto wiat now                           # the order is `goto <there>`",
        "Correct it, separate two clauses by a comma, or declare the order."),
    Explanation(
        "ambiguous-order", "a clause that can be read in two ways",
        "It fits the phrase of an order and also the setting of a field, or two orders.",
        "order branch jump: target 0             # `branch jump` also sets the field `branch`",
        "Change the words of the order."),
    Explanation(
        "wrong-store", "an order sets a field of another store",
        "A word belongs to one store and can only set that store's fields.",
        "routine idle in nano\n        goto fetch                      # `target` is a field of `control`",
        "Say it in a word of the other store."),
    Explanation(
        "no-transfer", "no bus leads from the one to the other",
        "`a <- b` needs a bus that `b` drives and `a` samples or loads from.",
        "pc <- acc                               # acc drives `inner`, pc takes from `address`",
        "Go by way of a register, or correct the drivers and samplers of the bus."),
    Explanation(
        "ambiguous-transfer", "a transfer that several buses could do",
        "The compiler does not choose between them.",
        "temp <- acc                             # over `inner` or over `back`?",
        "Say which: `temp <- acc via inner`."),
    Explanation(
        "nothing-to-set", "a transfer that the word has no part in",
        "Neither the driver's condition nor the taker's reads a field of the word, so the transfer happens, or does "
        "not, whatever the word says.",
        "acc <- memory                           # `driven by memory when clk is low`, `sampled by acc when tick`",
        "Leave it out, or let the conditions read the fields that enable it."),
    Explanation(
        "never-driven", "in this word the source of a transfer does not drive the bus",
        "The transfer sets the fields in the driver's condition. With the rest of the word the condition is "
        "impossible, or it has several ways to hold, and the word chooses none of them.",
        "acc <- memory, write                    # memory drives only when `memory_op is read`",
        "Leave out what contradicts it, or use another word."),
    Explanation(
        "never-sampled", "in this word the target of a transfer does not take the bus",
        "As for `never-driven`, on the other side.",
        "acc <- memory, load temp",
        "Leave out what contradicts it, or use another word."),
    Explanation(
        "field-not-set", "a word does not set a field that has no idle code",
        "Such a field must be set in every word.",
        "field target 10 bits address            # no `idle`, and a word without `goto`",
        "Set it, or give the field an idle code."),
    Explanation(
        "no-order", "nothing says that control goes on to the word below",
        "Words of a body follow each other in the text. That they do so in the machine has to be seen from its "
        "expressions: a state that forms the address and is counted up, or one that always runs ahead of it by the "
        "same number. Here there is none, and a word names no next one. The words stand as they are written, and "
        "control may go elsewhere.",
        "state upc 6 bits, reset 0               # and the address is `active`, which starts at 0, too\n"
        "    next following + 1",
        "Correct the counter, its reset value, or the condition under which it moves; or let every word name its next "
        "one, with an address field that is `idle following`. Where something else steps, such as a ring counter, a "
        "line `step row` in the store's block says what part of the address that is."),
    Explanation(
        "runs-off", "control can go on past the last word of a body",
        "From there the hardware steps to the next address, or to the word that follows in the text, and there is "
        "none.",
        "routine hold\n        release\n        grant                           # and then?",
        "End the body with an order that names the next word. Where a counter steps through the store by itself, and "
        "no order could name one, say `at` which address each routine starts: they may then stand one behind the "
        "other, and the last ends at the last address."),
    Explanation(
        "goes-astray", "a label in a word, or the word below it, is not where control goes from there",
        "A field with some bits of an address does not say the others. The hardware may take them from the place of "
        "the word itself, from a register, or tie them; the label has to stand where that leads. Each label is held "
        "against what forms the address in the next cycles, with the finished word at its finished place; so is the "
        "word below, where the address counts on, or the hardware makes another one of it, by a shift or with lines "
        "that are turned. Of a store with steps it is asked whether any word at all can bring "
        "control from each step to the next; `starts at`, the words of a PROM of start addresses and the rows of a map "
        "are held against the next address.",
        "field to 3 bits address[2:0]            # the fourth bit is that of the word's own address\n"
        "order goto <there>: jump, to <there>    # from 0x9 this goes to 0x8, where the label stands at 0x0",
        "Say `page(<there>)` where the hardware keeps the upper bits, `part(<there>)` where a register has them; else "
        "correct the order, or what the machine file says of the next address. A number in place of the label is taken "
        "as it is. An `unused` word is the same in every page. Where it is the word below: what counts by itself is "
        "the last part of the address, and what counts with its carry stands before it; lines that are turned stand so "
        "in the chip's `address`."),
    Explanation(
        "never-chosen", "a word that no address line leads to",
        "The arms before it take every case.",
        "when zero\n        step\notherwise\n        step\n"
        "when carry                              # nothing is left for it",
        "Leave it out, or ask for less in the arms before."),
    Explanation(
        "no-steps", "a prologue, or an order of steps, in a store that is not addressed by instruction and step",
        "A prologue stands at the first steps of every instruction, and the order of steps is that of its words. "
        "Without instructions at steps there is neither.",
        "prologue\n        ir <- memory, read",
        "Give its words to a routine to which every instruction returns."),
    Explanation(
        "no-opcodes", "instructions in a machine that has no opcodes",
        "Nothing says where the instruction of an opcode starts.",
        "instruction 0x00 \"none\"                  # and no mapping store, no roles, no `starts at`",
        "Add a store with `word start of instruction`, or `instruction` and `step`, or `starts at`."),
    Explanation(
        "unused-others", "`instruction others` where no opcode is left",
        "Every opcode has an instruction of its own, so this one is never placed.",
        "instruction others \"trap\"               # of 16 opcodes, all defined",
        "Leave it out."),
    Explanation(
        "block-size", "a `pair` or `table` with the wrong number of labels",
        "A pair has two labels, a table 2, 4, 8 or 16, in the order of the value that the hardware puts into the low "
        "address bits.",
        "target table(a, b, c)",
        "Give as many labels as there are values; one label may stand several times."),
    Explanation(
        "opcode-pattern", "an opcode that is no pattern",
        "After `0b` come 0, 1, `x` for a bit of any value, and letters of a family, with `_` between them where "
        "wanted.",
        'instruction 0b01?? "load"',
        "Write `0b01xx`."),
)
