"""Findings about what a machine file says: names, widths, words, states, wiring of chips."""

from ordain.checks.check import Explanation

EXPLANATIONS = (
    Explanation(
        "unknown-name", "a name that nothing has",
        "Everything used in an expression, an order or a rule is declared somewhere: fields, states, inputs, "
        "conditions, "
        "signals, constants, registers, buses, agents. What belongs to an agent is called `agent.name`.",
        "signal busy = granded                   # `granted` is declared",
        "Correct the spelling (the message gives near names), or declare it."),
    Explanation(
        "unknown-code", "a code that the field or state does not have",
        "Codes of a field are those of its block, codes of a state those in its brackets.",
        "signal jumping = branch is jmp          # the code is called `jump`",
        "Correct the spelling, or add the code."),
    Explanation(
        "wrong-kind", "a name is that of something else than is wanted here",
        "Only buses can be followed, only registers, latches and states can be kept, only fields can be set by orders.",
        "keep grant while pause                  # `grant` is a signal and stores nothing",
        "Name something of the kind that the message asks for."),
    Explanation(
        "no-clock", "a phase is meant, and there is no clock that has any",
        "What is `on` a phase, and a length that is counted in phases, need a clock that names them.",
        "strobe write on second                  # which clock's second half?",
        "Declare the clock: `clock clk (first, second)`."),
    Explanation(
        "held-for-ever", "nothing could ever let go of a clock that is held",
        "While a clock is held nothing that hangs on it moves. Where all that holds it hangs on it, it stands for "
        "ever.",
        "clock clk\n    held while waits\nstate waits 1 bit, reset 0   # moves with clk, so not while it is held\n"
        "    next slow and not waits",
        "Let what releases it run on: an input from outside, or a state `on oscillator`."),
    Explanation(
        "out-of-phase", "something moves with one phase of the clock, and asks for another",
        "What hangs on the clock moves at the end of one of its phases, a latch is open in it: the last, if nothing "
        "else is said. A load, or a change, that is possible in other phases alone would never come about, and all "
        "that is asked of it would be proved of nothing.",
        "clock clk (early, late)\nlatch held 8 bits, loads data when ale and early   # open in late",
        "Say when it moves: `latch held 8 bits, loads data when ale, on early`; or leave the phase out."),
    Explanation(
        "latch-phase", "nothing says in which phase of the clock a latch is open",
        "A latch hangs on the clock like a register: it is open in one phase, the last if nothing else is said. One "
        "that its condition alone opens, in every phase, is another machine, and a set/reset latch hangs on no clock.",
        "clock clk (early, late)\nlatch alarm 1 bit          # open in late alone: does the clock open it?\n"
        "    loads 1 when pressed\n    loads 0 when clear_alarm",
        "Say `on late`, or `on oscillator` for one that is open whenever its condition holds."),
    Explanation(
        "defined-twice", "a name is declared twice",
        "Both places are shown. Names are shared by all statements of a machine and its includes.",
        "state granted 1 bit, reset 0\nsignal granted = console_2",
        "Rename or remove one of them."),
    Explanation(
        "pin-twice", "a pin is used for two things",
        "A pin is soldered to one net. Found are also pins of a store's chip of which its `holds` or `address` line "
        "says something else, and two pins of one part with the same number.",
        "wire acc_out at U4.Y1\nwire pc_out  at U4.Y1",
        "Look at the board, and correct the line that is wrong."),
    Explanation(
        "channel-twice", "a channel of an analyzer is clipped to two lines",
        "A channel sees one line at a time; in a set of probes each stands once, the clock's among them.",
        "probes pod\n    D0 upc[0], D1 upc[1]\n    D1 read",
        "Look at the clips, and correct the line that is wrong."),
    Explanation(
        "unknown-pin", "a part has no pin of this name",
        "Where a `part` lists its pins, these are all it has; a store's chip has D0, D1, ... and A0, A1, ...",
        'part U4 "74LS138"\n    A 1, B 2, C 3, Y0 15\nwire acc_out at U4.Y9',
        "Correct the name, or add the pin to the part."),
    Explanation(
        "bad-size", "a size that cannot be",
        "Words, bits and cycles have a smallest and a largest number that makes sense.",
        "store control 0 words of 40 bits",
        "Correct the number."),
    Explanation(
        "no-width", "nothing says how wide a number is here",
        "A number takes the width that its place asks for; where the place asks for none, its digits must say it.",
        "signal both = {1, upc}                  # 1 of how many bits?",
        "Write the number with all its digits: `0b1`, `0x01`."),
    Explanation(
        "width-mismatch", "two vectors of different width meet",
        "Vectors never get wider or narrower in silence: the bits that would be lost or invented are somebody's fault.",
        "signal next_page = upc + page           # 10 bits and 4 bits",
        "Cut with a slice, `upc[3:0]`, or join zeros, `{0b000000, page}`."),
    Explanation(
        "too-wide", "a number does not fit",
        "It has more bits than its place.",
        "constant vector = 0x400                 # in a 10-bit address",
        "Correct the number, or make the place wider."),
    Explanation(
        "bad-slice", "a slice of bits that are not there",
        "Bits are numbered from 0, the lowest; a slice is written [high:low].",
        "signal page = upc[10:8]                 # upc has 10 bits: [9:0]",
        "Correct the numbers."),
    Explanation(
        "choose-incomplete", "a `choose` does not say what happens for every code",
        "The missing codes are listed. Codes without a name count: erased words have them.",
        "next choose branch\n    step: upc + 1\n    jump: target                        # and codes 2 and 3?",
        "Add the missing cases, or `otherwise: ...`."),
    Explanation(
        "case-twice", "a code has two cases in one `choose`",
        "Only one of them could count.",
        "next choose branch\n    step: upc + 1\n    step: target",
        "Remove one of them."),
    Explanation(
        "combinational-loop", "signals, addresses or open latches that depend on themselves within one cycle",
        "The circle is shown. In hardware such a loop oscillates or sticks; only a flip-flop (a state or a register) "
        "breaks it. Constants that need each other are the same mistake.",
        "signal a = b and key\nsignal b = a or flag",
        "Put a state into the circle, or take one of the signals out of it."),
    Explanation(
        "prior-in-hardware", "`prior` in a description of hardware",
        "`prior(X)` looks one cycle back, and hardware remembers only what it stores. It is for rules.",
        "bus data 8 bits, floats\n    driven by memory when prior(read)",
        "Declare a state that stores the value, `state read_before 1 bit, reset 0` with `next read`."),
    Explanation(
        "not-constant", "a constant that is not a number known beforehand",
        "A constant may be computed from other constants, without a sign, and from nothing else.",
        "constant limit = upc + 1",
        "Make it a signal, or give the number."),
    Explanation(
        "no-next", "nothing says what becomes of a state at the end of a cycle",
        "Every state steps in every cycle.",
        "state granted 1 bit, reset 0",
        "Add `next` with an expression under it; `next granted` keeps the value for ever."),
    Explanation(
        "not-a-code", "a state with named values could get a value without a name",
        "An enumerated state is always one of its codes, so its next value has to be one as well.",
        "state mode (idle, busy, done), reset idle\n    next mode + 1",
        "Choose between the names, or declare a plain vector of bits."),
    Explanation(
        "no-store", "the machine has no control store",
        "At least one store holds the microprogram.",
        "machine weir \"gates of a weir\"          # and no `store` line",
        "Add `store NAME n words of m bits` with its address and fields."),
    Explanation(
        "no-address", "nothing says how a store, or the address pins of a chip, are addressed",
        "A store is addressed by an expression over states, registers and inputs; a chip's pins by lines of that "
        "address.",
        "store control 16 words of 8 bits        # and no `address` under it",
        "Add an `address` line to the block."),
    Explanation(
        "not-in-address", "something is needed of an address that its lines do not carry",
        "Roles (`instruction`, `step`), words of computed stores and conditions of arms can only ask for what the "
        "store "
        "sees on its address lines.",
        "store glue 16 words of 4 bits\n    address source\n"
        "    word {not write, not read, 0b00}     # write and read are not address lines",
        "Add the lines to the address, or ask for less."),
    Explanation(
        "not-in-word", "a derived field depends on something outside its word",
        "Parity and its like are computed once, when the word is made.",
        "field check 1 bit = parity(upc)",
        "Compute it from bits of the same word."),
    Explanation(
        "derived-loop", "a derived field is computed from itself",
        "Its slice of the word contains the field.",
        "field parity 1 bit = even parity of control[39:0]   # the field is bit 0",
        "Leave the field's own bits out of the slice: `control[39:1]`."),
    Explanation(
        "no-fields", "the word of a store is not described",
        "A store for a microprogram needs fields; a computed store needs `word`.",
        "store control 16 words of 8 bits\n    address upc",
        "Describe the word with `field` and `spare` lines below the store."),
    Explanation(
        "field-without-store", "a field stands before any store",
        "Fields belong to the nearest store above them.",
        "field branch 2 bits\nstore control 16 words of 8 bits",
        "Move the field below its store."),
    Explanation(
        "field-overlap", "two fields lie on the same bits",
        "One of them is pinned with `at [high:low]` onto the other.",
        "field source 4 bits at [7:4]\nfield load 4 bits at [5:2]",
        "Correct the place of one of them."),
    Explanation(
        "word-overfull", "the fields need more bits than the word has",
        "All fields and spares of a store together are as wide as its word.",
        "store control 16 words of 8 bits\n    address upc\nfield target 10 bits address, idle 0",
        "Make the word wider or a field narrower."),
    Explanation(
        "word-underfull", "bits of the word are not described",
        "Every bit of a word has a meaning or is declared to have none, so that none is forgotten.",
        "store control 16 words of 8 bits        # with fields for 6 of them",
        "Add `spare 2 bits`."),
    Explanation(
        "code-clash", "two codes of a field have the same number",
        "A word with that number would have two readings.",
        "field load 2 bits\n    acc 1\n    temp 1",
        "Correct one of the numbers, or use one name for both."),
    Explanation(
        "two-idles", "a field has more than one idle code",
        "A word that does not mention the field gets its idle code, so there can be one.",
        "field load 2 bits\n    none 0 idle\n    hold 3 idle",
        "Mark one of them."),
    Explanation(
        "bad-idle", "an idle code that the field cannot have",
        "`idle following` is for fields that hold an address.",
        "field number 8 bits, idle following",
        "Give a number, or `idle any` when the field does not matter where no order sets it."),
    Explanation(
        "order-loop", "an order contains itself",
        "Orders may be made of other orders, as long as the circle is not closed.",
        "order read: fetch, drive_address\norder fetch: read, count_pc",
        "Write out the fields in one of them."),
    Explanation(
        "no-value", "a field is set to nothing",
        "Only a field of one bit without codes is set by its name alone.",
        "order go: branch",
        "Say which code or number."),
    Explanation(
        "too-few", "a line needs at least two names",
        "One signal alone excludes nothing.",
        "exclusive read_enable",
        "Name the signals that must never be active together."),
    Explanation(
        "empty-chip", "a chip holds nothing",
        "A `chip` block says with `holds` which bits stand on its data pins.",
        "chip U21 2048 x 8",
        "Add `holds` and `address`, or remove the chip."),
    Explanation(
        "two-stores", "the pins of one bank belong to different stores",
        "One `holds` line is about one store, since it has one address. A chip may have several `holds`.",
        "holds branch, entry[9:8]",
        "Give each store a `holds` and an `address` of its own."),
    Explanation(
        "pin-count", "the pins named are more or fewer than the chip has",
        "Data and address pins are listed all, highest first; `spare` for an unused data pin, `any`, 0 or 1 for "
        "an address "
        "pin that is not a line of the address.",
        "chip U21 2048 x 8\n    holds branch, target                # 12 bits on 8 pins",
        "Count again against the schematic."),
    Explanation(
        "not-a-pin", "something on a pin that is no bit of a store",
        "Data pins hold bits of the store's word, `spare`, 0 or 1, each possibly inverted.",
        "holds branch + 1",
        "Name fields, slices of fields, or bits of the word."),
    Explanation(
        "inverted-twice", "the pin of an active-low field is inverted again",
        "`active low` already says that the stored bit is the complement; `not` on top of it turns it back. Once in a "
        "while that is meant, more often it is a misunderstanding.",
        "field write 1 bit, active low\n...\n    holds not write",
        "Leave one of the two out."),
    Explanation(
        "bit-twice", "a bit of the word stands on two pins",
        "The second chip would have to be burned with every change of the first.",
        "chip U1 16 x 8\n    holds control[7:0]\nchip U2 16 x 8\n    holds control[9:2]",
        "Correct the slices; when it is meant, say `repeats` instead of `holds` in the second chip."),
    Explanation(
        "bit-without-chip", "a bit of the word stands in no chip",
        "Once a store has chips, every bit must be in one, or nobody would notice that a control line is never driven.",
        "store control 16 words of 16 bits\n...\nchip U1 16 x 8\n    holds control[15:8]",
        "Add the bits to a chip, or declare them `spare`."),
    Explanation(
        "bank-overlap", "two banks of a chip use the same cells",
        "Different `holds` of one chip must differ in a constant address pin or use other data pins.",
        "chip U1 64 x 8\n    holds control[15:8]\n    address {0b0, 0b0, upc}\n    holds control[7:0]\n"
        "    address {0b0, 0b0, upc}",
        "Tie a high address pin to 0 in one bank and to 1 in the other."),
    Explanation(
        "address-line-missing", "a chip does not see a line of the store's address",
        "Two words that differ only in that line would share a cell.",
        "chip U1 8 x 8\n    holds control[7:0]\n    address upc[2:0]                   # upc has four lines",
        "Wire the line to an address pin, or use a larger chip. Two chips of which the line enables one or the other "
        "are written as one of twice the words with the line as its highest pin; its image is cut in two for burning."),
    Explanation(
        "counter-not-low", "an address is counted up, but not in its lowest bits",
        "Words that follow each other must stand one apart for the compiler to place them.",
        "store control 64 words of 8 bits\n    address {upc, page}                # upc + 1 is 4 words further",
        "Put the counter at the low end of the address: `{page, upc}`."),
    Explanation(
        "label-in-hardware", "a description of hardware asks where control is by a label",
        "Labels are names in the microprogram; hardware sees addresses and fields. `at` and `in` are for rules, "
        "`keep`, "
        "`assume` and the like.",
        "bus data 8 bits, floats\n    driven by memory when at fetch",
        "Set a field in those words and read that, or compare the state that forms the address."),
)
