"""Meanings held against words: each pair is one bit apart, the one proved, the other with the values that tell them
apart. All of it can be worked by hand."""

import pytest

from ordain.control.system import build_system
from ordain.machine.expression import leaves
from ordain.meaning import equality
from ordain.meaning.following import NotFollowed
from ordain.meaning.guessing import under_guesses
from ordain.meaning.model import Equality, Question
from ordain.meaning.proof import Counterexample, questions
from ordain.meaning.run import outcomes as meanings_of
from ordain.meaning.solver import solved
from ordain.prover.decide import decide
from tests.meaning.till import FETCH, MACHINE, outcome_of, outcomes
from tests.workshop import contents_of

ADD = """\
    means let s = acc + memory[pc], acc <- s, zero <- s is 0, pc <- pc + 1
        fetched, load temp
        put sum, load acc, flag, branch home
"""


def difference(text: str, machine: str = MACHINE) -> Counterexample:
    found = outcome_of(text, machine)
    assert found.difference is not None, found
    return found.difference


def proved(text: str, machine: str = MACHINE) -> str:
    found = outcome_of(text, machine)
    assert found.difference is None and not found.why, found
    assert found.way is not None
    return found.way


def test_a_sum_its_flag_and_the_counted_pc_are_proved_by_rewriting() -> None:
    assert proved(ADD) == "rewriting"
    found = outcome_of(ADD)
    assert (found.paths, found.cycles) == (1, 2)


@pytest.mark.parametrize("old, new, name, cycle", [
    ("put sum, load acc, flag", "put sum, load acc, flag, less", "acc", 2),     # the adder takes away
    ("put sum, load acc, flag", "put sum, load acc", "zero", 0),                # nobody keeps the flag
    ("put sum, load acc, flag", "put temp, load acc, flag", "acc", 2),
    ("fetched, load temp", "put memory, by_pc, load temp", "pc", 0),            # nothing counts pc
    ("fetched, load temp", "put memory, count, load temp", "acc", 2),           # from where mar points
    ("fetched, load temp", "fetched, load temp, write", "memory", None),        # no change to memory: proved
    ("pc <- pc + 1", "pc <- pc + 2", "pc", 1),
    ("zero <- s is 0", "zero <- s is 1", "zero", 2),
    ("acc <- s,", "acc <- s + 1,", "acc", 2),
])
def test_one_bit_away_the_values_that_tell_them_apart(old: str, new: str, name: str, cycle: int | None) -> None:
    assert ADD.count(old) == 1
    changed = ADD.replace(old, new)
    if cycle is None:
        assert proved(changed)                          # what is written is what stood there
        return
    found = difference(changed)
    assert (found.name, found.cycle) == (name, cycle)
    assert found.expected != found.came


def test_the_values_of_a_difference_are_those_that_the_words_give() -> None:
    """acc - memory[pc] instead of the sum, worked out here from the values that are shown."""
    found = difference(ADD.replace("put sum, load acc, flag", "put sum, load acc, flag, less"))
    before = {leaf.name: value for leaf, value in found.before.leaves.items()}
    byte = found.before.words["memory", before["pc"]]
    assert found.expected == (before["acc"] + byte) % 256
    assert found.came == (before["acc"] - byte) % 256


def test_what_is_visible_and_not_named_has_to_stay_and_scratch_has_not() -> None:
    assert proved("    means pc <- pc + 1\n        fetched, load temp\n        branch home\n")
    assert difference("    means pc <- pc + 1\n        fetched, load acc\n        branch home\n").name == "acc"
    found = difference("    means nothing\n        put acc, write\n        branch home\n")
    assert (found.name, found.cycle) == ("memory", 1)


def test_scratch_that_an_instruction_depends_on_is_a_difference() -> None:
    """temp holds what an earlier instruction left there."""
    found = difference("    means acc <- acc + acc\n        put sum, load acc\n        branch home\n")
    assert "temp" in {leaf.name for leaf in found.before.leaves}


STORE = """\
    means memory[memory[pc][3:0]] <- acc, pc <- pc + 1
        fetched, load mar
        put acc, write
        branch home
"""


def test_a_word_is_written_at_an_address_that_stands_in_memory() -> None:
    assert proved(STORE) == "rewriting"
    found = difference(STORE.replace("memory[memory[pc][3:0]]", "memory[memory[pc][3:0] + 1]"))
    assert found.name == "memory" and found.address is not None


def test_what_is_read_after_a_write_may_be_what_was_written() -> None:
    """The second byte is read after the store, which may have been to its place."""
    words = """\
        fetched, load mar
        put acc, write
        fetched, load acc
        branch home
"""
    right = "    means let a = memory[pc][3:0], memory[a] <- acc, pc <- pc + 2,\n" \
            "          acc <- acc if a is pc + 1 else memory[pc + 1]\n"
    assert proved(right + words)
    naive = right.replace("acc if a is pc + 1 else memory[pc + 1]", "memory[pc + 1]")
    found = difference(naive + words)
    before = {leaf.name: value for leaf, value in found.before.leaves.items()}
    assert found.before.words["memory", before["pc"]] % 16 == (before["pc"] + 1) % 16, "only then do they differ"


@pytest.mark.parametrize("means, cycle", [
    ("memory[mar] <- acc, memory[pc] <- temp", None), ("memory[pc] <- temp", 1), ("memory[mar] <- acc", 2),
    ("memory[mar] <- acc, memory[pc] <- undefined", None), ("memory[pc] <- undefined", 1),
    ("memory[mar] <- undefined, memory[pc] <- temp", None), ("memory[mar] <- undefined", 2)])
@pytest.mark.parametrize("words", [16, 10])
def test_of_two_words_each_has_to_be_said(means: str, cycle: int | None, words: int) -> None:
    """The one where `mar` points comes first. A memory may be shorter than its address."""
    machine = MACHINE.replace("memory memory 16 words", f"memory memory {words} words")
    found = outcome_of(f"    means {means}\n        put acc, write\n        put temp, by_pc, write\n"
                       "        branch home\n", machine)
    if cycle is None:
        assert found.way is not None
    else:
        assert found.difference is not None
        assert (found.difference.name, found.difference.cycle) == ("memory", cycle)
        assert found.difference.address in {value for leaf, value in found.difference.before.leaves.items()
                                            if leaf.name == ("mar" if cycle == 1 else "pc")}
        assert found.difference.address < words


def test_the_hardest_way_is_told() -> None:
    """The flag is said in two halves, what comes after it plainly."""
    halves = ADD.replace("zero <- s is 0", "zero <- (pc[0] and s is 0) or (not pc[0] and s is 0)")
    assert proved(halves) == "cases"


BRANCH = """\
    means pc <- memory[pc][3:0] if zero else pc + 1
        branch if_zero, target taken
        count, branch home
  taken: put memory, by_pc, load pc, branch home
"""


def test_every_path_is_held_against_the_text() -> None:
    found = outcome_of(BRANCH)
    assert found.way == "rewriting" and found.paths == 2
    assert difference(BRANCH.replace("if zero", "if not zero")).name == "pc"
    assert difference(BRANCH.replace("count, branch home", "branch home")).name == "pc"


def test_effects_under_a_condition() -> None:
    said = BRANCH.replace("pc <- memory[pc][3:0] if zero else pc + 1",
                          "pc <- pc + 1, pc <- memory[pc][3:0] when zero")
    assert proved(said) == "rewriting", "the later of two counts"
    assert difference(said.replace("pc <- pc + 1, pc <- memory[pc][3:0] when zero",
                                   "pc <- memory[pc][3:0] when zero, pc <- pc + 1")).name == "pc"


def test_undefined_is_satisfied_by_anything_and_says_nothing_of_the_rest() -> None:
    text = ADD.replace("zero <- s is 0", "zero <- undefined").replace(", flag", "")
    assert proved(text)
    nibble = ADD.replace("acc <- s,", "acc[7:4] <- undefined, acc[3:0] <- s[3:0],")
    assert proved(nibble)
    assert difference(nibble.replace("acc[3:0] <- s[3:0]", "acc[2:0] <- s[2:0]")).name == "acc", "bit 3 has to stay"
    assert proved(ADD.replace("zero <- s is 0", "zero <- s is 0, zero <- undefined when pc is 0"))
    assert difference(ADD.replace("zero <- s is 0", "zero <- undefined when pc is 0")).name == "zero"


def test_memory_may_be_said_to_be_undefined() -> None:
    assert proved(STORE.replace("memory[memory[pc][3:0]] <- acc", "memory <- undefined"))


def test_what_a_floating_bus_gives_is_never_proved_to_be_anything() -> None:
    """Nobody drives data while acc loads it."""
    for said in ("acc <- acc", "acc <- 0", "acc <- 0xFF"):
        found = outcome_of(f"    means {said}\n        load acc\n        branch home\n")
        assert found.way is None
    assert proved("    means acc <- undefined\n        load acc\n        branch home\n")


def test_what_two_drivers_leave_is_never_proved_to_be_anything() -> None:
    machine = MACHINE.replace("driven by temp   when put is temp", "driven by temp   when put in (temp, sum)")
    assert outcome_of(ADD, machine).way is None


def test_an_instruction_that_turns_a_few_rounds_is_followed_to_its_end() -> None:
    """Doubled three times, the rounds counted by a register that says when to stop: the adder's flag."""
    text = ("    means acc <- acc + acc\n        put acc, load temp\n        put sum, load acc\n        branch home\n")
    assert proved(text) == "rewriting"
    twice = text.replace("acc + acc\n", "acc + acc + acc + acc\n").replace(
        "put sum, load acc\n        branch", "put sum, load acc\n        put acc, load temp\n"
        "        put sum, load acc\n        branch")
    assert proved(twice) == "rewriting"
    assert difference(twice.replace("acc + acc + acc + acc", "acc + acc + acc")).name == "acc"


def test_a_loop_over_data_is_not_proved() -> None:
    """It goes round while the flag, which it sets anew, is 1."""
    text = """\
    means acc <- undefined, zero <- 0, pc <- undefined
  again: fetched, load temp
        put sum, load acc, flag
        branch if_zero, target again
        branch home
"""
    found = outcome_of(text)
    assert found.way is None and found.difference is None and "round" in found.why


def test_a_loop_in_which_nothing_changes_any_more_is_followed_to_there() -> None:
    """When the sum was 0 twice, both were 0, and it goes round for ever as it is; else it ends after a round or two."""
    text = """\
    means acc <- acc + temp if acc + temp is not 0 else temp, zero <- 0
  again: put sum, load acc, flag
        branch if_zero, target again
        branch home
"""
    assert proved(text)
    assert difference(text.replace("else temp", "else 0")).name == "acc"


LOOPS = MACHINE.replace("field branch 2 bits", "field branch 3 bits").replace("words of 20 bits", "words of 21 bits") \
    .replace("    if_zero  3\n", "    if_zero  3\n    if_not   4\n") \
    .replace("target if zero else upc + 1\n",
             "target if zero else upc + 1\n        if_not   : upc + 1 if zero else target\n        otherwise: 0\n")
ROUNDS = """\
    means while not zero: let s = acc + memory[pc], acc <- s, zero <- s is 0, pc <- pc + 1
  again: branch if_zero, target done
        fetched, load temp
        put sum, load acc, flag
        branch if_not, target again
  done: branch home
"""


def test_rounds_are_proved_by_induction() -> None:
    found = outcome_of(ROUNDS, LOOPS)
    assert found.way == "rewriting" and found.difference is None
    without = outcome_of(ROUNDS.replace("while not zero: ", ""), LOOPS)
    assert without.way is None


@pytest.mark.parametrize("old, new", [
    ("while not zero", "while zero"), ("acc <- s", "acc <- s + 1"), ("pc <- pc + 1", "pc <- pc + 2"),
    ("pc <- pc + 1\n", "pc <- pc + 1, memory[pc] <- 0\n"), ("zero <- s is 0", "zero <- s is 1"),
    ("put sum, load acc, flag", "put sum, load acc, flag, less"),
    ("fetched, load temp", "put memory, by_pc, load temp"),
    ("done: branch home", "done: count, branch home"), ("  again: branch if_zero, target done\n", "  again: count\n"),
    ("        put sum, load acc, flag\n", "        put sum, load acc, flag\n        put acc, by_pc, write\n"),
])
def test_a_round_that_is_not_as_said(old: str, new: str) -> None:
    """One word or one effect apart."""
    assert ROUNDS.count(old) == 1
    assert outcome_of(ROUNDS.replace(old, new), LOOPS).way is None


def test_rounds_that_may_be_stopped() -> None:
    """A key lets it leave after each round."""
    keyed = LOOPS.replace("if_not   : upc + 1 if zero else target", "if_not   : target if key else upc + 1") + \
        "input key 1 bit\n"
    stopped = ROUNDS.replace("pc <- pc + 1\n", "pc <- pc + 1\n    means stopped: nothing\n")
    assert outcome_of(stopped, keyed).way is not None
    assert outcome_of(ROUNDS, keyed).way is None, "it is not said that it may leave"
    assert outcome_of(stopped.replace("stopped: nothing", "stopped: acc <- 0"), keyed).way is None


def test_a_loop_that_waits_needs_no_word() -> None:
    waits = LOOPS.replace("if_not   : upc + 1 if zero else target", "if_not   : upc + 1 if key else target") + \
        "input key 1 bit\n"
    text = "    means acc <- memory[pc], pc <- pc + 1\n        fetched, load acc\n" \
           "  wait: branch if_not, target wait\n        branch home\n"
    assert outcome_of(text, waits).way == "rewriting"
    assert outcome_of(text.replace("wait: branch if_not", "wait: count, branch if_not"), waits).way is None


def test_others_have_a_meaning_of_their_own() -> None:
    assert outcomes(FETCH)["nothing"].way == "rewriting"


@pytest.mark.parametrize("turns", [0, 1, 2])
def test_no_meaning_is_begun_once_time_is_out(turns: int) -> None:
    contents = contents_of(MACHINE, FETCH + 'instruction 1 "tried"\n    means nothing\n        branch home\n')
    system, begun = build_system(contents), iter(range(2))

    def out() -> bool:
        return next(begun) >= turns

    found, _ = meanings_of(contents, lambda asked: decide(system, asked), out)
    assert [one.way is not None for one in found.values()] == [number < turns for number in range(2)]
    assert all(one.difference is None and bool(one.why) == (one.way is None) for one in found.values())


GUEST = """\
agent guest
    input asks 1 bit
    state mode (away, here), reset away
        next here if asks and lent else away
signal guest_writes = guest.mode is here
"""
LENT = MACHINE.replace("field less     1 bit\n", "field less     1 bit\nfield lent     1 bit\n") \
    .replace("words of 20 bits", "words of 21 bits") \
    .replace("writes  data when write", "writes  data when write or guest_writes") + GUEST


def test_a_guest_that_cannot_be_there_leaves_memory_alone() -> None:
    assert proved(ADD, LENT) == "rewriting"


def test_a_guest_that_may_write_leaves_nothing_known_of_memory() -> None:
    """The bus is lent in the first word, so the guest may write in the second."""
    lent = ADD.replace("fetched, load temp", "fetched, load temp, lent")
    assert outcome_of(lent, LENT).way is None
    assert proved(lent.replace("pc <- pc + 1", "pc <- pc + 1, memory <- undefined"), LENT)


def test_a_word_that_two_instructions_share_is_asked_about_for_both() -> None:
    """Both lend the bus, and it is in their tail that the guest writes. One that does not lend it comes to the same
    tail, where a guest may be; but not on its own way."""
    both = FETCH + """\
instruction 1 "lends"
    means nothing
        lent, branch if_zero, target tail
        lent, branch if_zero, target tail
        branch home
instruction 2 "lends, too"
    means nothing
        lent, branch if_zero, target tail
        branch home
instruction 3 "keeps"
    means nothing
        branch if_zero, target tail
        branch home
routine tail
        branch home
"""
    found = outcomes(both, LENT)
    assert found["lends"].way is None and found["lends, too"].way is None
    assert found["keeps"].way == "rewriting"
    assert outcomes(both.replace("        lent, ", "        "), LENT)["lends, too"].way == "rewriting"


def test_what_a_kept_bus_or_a_latch_decides_is_no_question_for_the_prover() -> None:
    """Whether memory is written depends on a level that the bus has kept: that is a value, and not known here."""
    kept = MACHINE.replace("bus data 8 bits, floats", "bus data 8 bits, kept") \
        .replace("writes  data when write", "writes  acc when data[0]")
    assert outcome_of("    means nothing\n        branch home\n", kept).way is None
    latched = MACHINE.replace("register temp 8 bits", "latch temp 8 bits") \
        .replace("writes  data when write", "writes  acc when temp[0]")
    assert outcome_of("    means nothing\n        branch home\n", latched).way is None
    assert outcome_of("    means memory[mar] <- acc when temp[0]\n        branch home\n", latched).way == "rewriting"


# ---------------------------------------------------------------- a clock that can be held

HELD = MACHINE.replace("machine till", "machine till\nclock clk (first, second)\n    held while slow and not ready\n"
                       "input ready 1 bit\nsignal slow = put is memory{only}\n{more}")


@pytest.mark.parametrize("only", ["", " and second"])
def test_while_the_clock_is_held_nothing_changes(only: str) -> None:
    """What is loaded at the end of the phase is not loaded while it goes on: it was taken for a round that data end."""
    found = outcome_of(ADD, HELD.format(only=only, more=""))
    assert (found.why, found.difference, found.way, found.cycles) == ("", None, "rewriting", 2)
    assert difference(ADD.replace("acc <- s,", "acc <- s + 1,"), HELD.format(only=only, more="")).name == "acc"


def test_what_goes_on_while_the_clock_is_held_is_a_round() -> None:
    more = "register turns 4 bits, loads turns + 1 when slow, on oscillator\nvisible turns\n"
    assert difference(ADD, HELD.format(only="", more=more)).name == "turns"
    unsaid = ADD.replace("pc <- pc + 1", "pc <- pc + 1, turns <- undefined")
    assert "as often as its data say" in outcome_of(unsaid, HELD.format(only="", more=more)).why


# ---------------------------------------------------------------- somebody else takes cycles, or the whole machine

STOLEN = MACHINE.replace("""    next choose branch
        step     : upc + 1
        dispatch : entry.word
        home     : 0
        if_zero  : target if zero else upc + 1
""", """    next 0 if bites else upc if steal else 5 if bad else wanted
signal wanted = choose branch
    step     : upc + 1
    dispatch : entry.word
    home     : 0
    if_zero  : target if zero else upc + 1
input ask 1 bit, bad 1 bit
state steal 1 bit, reset 0
    next ask
state watchdog 2 bits, reset 0
    next 0 if steal else watchdog + 1
signal bites = watchdog is 3
signal live = not steal and not bites
""").replace("when load is", "when live and load is").replace("when count", "when live and count").replace(
    "sum_zero when flag", "sum_zero when live and flag").replace("data when write", "data when live and write")
STORE = """\
    means memory[memory[pc][3:0]] <- acc, pc <- pc + 1
        fetched, load mar
        put acc, write
        put acc, branch home
"""


def test_a_stolen_cycle_and_what_breaks_an_instruction_off_change_nothing() -> None:
    """In a chain of priorities what broke the instruction off was asked about twice, and followed as a path of it; a
    write that waits while a cycle is stolen was taken for one that comes in every round."""
    found = outcome_of(STORE, STOLEN)
    assert (found.why, found.difference, found.paths, found.cycles) == ("", None, 1, 3)
    assert proved(ADD, STOLEN)


@pytest.mark.parametrize("old, new", [
    ("data when live and write", "acc + 1 when live and write"),
    ("data when live and write", "data when write"),                 # in stolen cycles, too: elsewhere
    ("pc + 1    when live and count", "pc + 1    when count"),
])
def test_one_bit_away_a_stolen_cycle_is_not_proved_to_change_nothing(old: str, new: str) -> None:
    assert STOLEN.count(old) == 1
    machine = STOLEN.replace(old, new).replace("address pc", "address temp[3:0] if steal else pc")
    assert outcome_of(STORE, machine).way is None


@pytest.mark.parametrize("ends, kind, holds", [
    ("bites", "", True), ("bites or zero", "", False), ("bites or ask", "", True),
    ("bites or mode", "state mode 1 bit, reset 0\n    next ask\n", True),
    ("bites or mode", "state mode 1 bit, reset 0\n    next ask\nvisible mode\n", False),
    ("bites or mode", "register mode 1 bit, loads ask when not count\n", False),
    ("bites or mode or zero", "state mode 1 bit, reset 0\n    next ask\n", False)])
def test_what_an_instruction_works_on_does_not_break_it_off_from_outside(ends: str, kind: str, holds: bool) -> None:
    """Where a flag sends control home whatever the word says, the sum is left out; that was excused as a trap is."""
    machine = STOLEN.replace("next 0 if bites else", f"next 0 if {ends} else") + kind
    text = ADD.replace(", zero <- s is 0", "").replace(", flag", "").replace("let s = acc + memory[pc], acc <- s",
                                                                             "acc <- acc + memory[pc]")
    text = text.replace("means", "means mode <- undefined,") if "visible" in kind else text
    found = outcome_of(text, machine)
    assert (found.way is not None) == holds, found


# ---------------------------------------------------------------- words that pick rows of another store

ROWS = """\
machine till
store control 16 words of 7 bits
    address upc
field row 2 bits address, idle 0
field branch 2 bits
    step     0 idle
    dispatch 1
    home     2
spare 3 bits
store rows 3 words of 4 bits
    address row
field put 2 bits
    nothing 0 idle
    acc     1
    memory  2
field load_acc 1 bit
field count    1 bit
store drives 4 words of 2 bits
    address put
    word {put is acc, put is memory}
state upc 4 bits, reset 0
    next choose branch
        step     : upc + 1
        dispatch : entry.word
        home     : 0
        otherwise: upc
store entry 4 words of 4 bits
    address ir
    word    start of instruction
register ir  2 bits, loads data[1:0] when upc is 0
register acc 4 bits, loads data when load_acc
register pc  4 bits, reset 0
    loads pc + 1 when count
bus data 4 bits, pulled low
    driven by acc    when drives[1]
    driven by memory when drives[0]
memory memory 16 words of 4 bits
    address pc
visible acc, pc
home upc is 0
"""
ROW_WORDS = """\
routine kinds in rows at 0
  none:  put nothing
  take:  put memory, load_acc
  fetch: put memory, count
routine fetched at 0
        row fetch
        branch dispatch
instruction others "nothing"
        branch home
instruction 1 "tried"
    means acc <- memory[pc]
        row take
        row none, branch home
"""


def test_words_that_pick_rows_of_a_second_store() -> None:
    """Where control goes was said to depend on the rows, and nothing was told of any instruction of such a machine."""
    found = outcomes(ROW_WORDS, ROWS)["tried"]
    assert (found.why, found.difference, found.paths, found.cycles) == ("", None, 1, 2)


@pytest.mark.parametrize("old, new, name", [
    ("take:  put memory, load_acc", "take:  put memory", "acc"),
    ("take:  put memory, load_acc", "take:  put memory, load_acc, count", "pc"),
    ("row take", "row fetch", "acc"),
    ("row none, branch", "row fetch, branch", "pc"),
])
def test_one_row_away_the_values_that_tell_them_apart(old: str, new: str, name: str) -> None:
    assert ROW_WORDS.count(old) == 1
    difference = outcomes(ROW_WORDS.replace(old, new), ROWS)["tried"].difference
    assert difference is not None and difference.name == name


WICK = """\
machine wick "a register of the first half of the cycle"
microprogram "m.micro"
clock clk (first, second)
    moves in second
store control 16 words of 12 bits
    address upc
field put_t 1 bit
field put_a 1 bit
field seq 2 bits
    next 0 idle
    jump 1
    dispatch 2
field target 4 bits address, idle 0
spare 4 bits
store entry 2 words of 4 bits
    address ir
    word start of instruction
state upc 4 bits, reset 0
    next choose seq
        next: upc + 1
        jump: target
        dispatch: entry
input op 1 bit
state ir 1 bit, reset 0
    next op
register a 4 bits, loads t when put_a
register b 4 bits, changes when seq is dispatch
register t 4 bits, loads b when put_t, on first
visible a, b
home fetch
"""
COPY = """\
routine fetch at 0
        seq next
        seq dispatch
instruction 0 "copy"
    means {means}
        put_t, put_a, seq jump, target fetch
instruction 1 "rest"
        seq jump, target fetch
"""


@pytest.mark.parametrize("means, on, holds", [
    ("a <- b", "", True),               # the word comes up with the first half, in which t is loaded
    ("a <- t", "", False),
    ("a <- b", ", on first", False),    # with the second: a is loaded before t is
    ("a <- t", ", on first", True),
])
def test_an_instruction_begins_with_the_phase_in_which_its_word_comes_up(means: str, on: str, holds: bool) -> None:
    machine = WICK.replace("state upc 4 bits, reset 0\n", f"state upc 4 bits, reset 0{on}\n")
    contents = contents_of(machine, COPY.format(means=means))
    found, _ = meanings_of(contents, lambda asked: decide(build_system(contents), asked))
    assert (found["copy"].difference is None) == holds and not found["copy"].why


STEPPED = """\
machine wick "the opcode comes in the first half, the steps go on in the second"
microprogram "m.micro"
clock clk (first, second)
    moves in second
store control 8 words of 4 bits
    address {ir, step}
    instruction ir
    step step
field put_t 1 bit
field put_a 1 bit
field take 1 bit
field clear 1 bit
state step 2 bits, reset 0
    next 0 if clear else step + 1
input op 1 bit
state ir 1 bit, reset 0, on first
    next TAKEN
register a 4 bits, loads t when put_a
register b 4 bits, changes when take
register t 4 bits, loads b when put_t, on first
visible a, b
home step is 0
"""


@pytest.mark.parametrize("taken, holds", [
    ("op if take else ir", True),       # while `take` stands in all columns
    ("op", False),                      # a word comes up with the second half, from the other column
])
def test_where_the_opcode_comes_in_the_middle_of_a_cycle_the_prover_is_asked(taken: str, holds: bool) -> None:
    contents = contents_of(STEPPED.replace("TAKEN", taken), """\
prologue
        take
instruction 0 "copy"
    means a <- b
        put_t, put_a, clear
instruction 1 "rest"
        clear
""")
    found, _ = meanings_of(contents, lambda asked: decide(build_system(contents), asked))
    assert (found["copy"].difference is None) == holds and not found["copy"].why


@pytest.mark.parametrize("means, holds", [("a <- b when ir is 0", True), ("a <- b when ir is 1", False)])
def test_an_opcode_that_is_in_the_address_is_known(means: str, holds: bool) -> None:
    machine = STEPPED.replace("TAKEN", "op if take else ir").replace(", on first\n    next", "\n    next")
    contents = contents_of(machine, f"""\
prologue
        take
instruction 0 "copy"
    means {means}
        put_t, put_a, clear
instruction 1 "rest"
        clear
""")
    found, _ = meanings_of(contents, lambda asked: decide(build_system(contents), asked))
    assert (found["copy"].way is not None) == holds and (found["copy"].difference is None) == holds, found


@pytest.mark.parametrize("means, holds", [
    ("memory[a] <- t, a <- b", True), ("memory[b] <- t, a <- b", False)])
def test_a_word_that_the_clock_is_held_in_writes_once_where_it_then_loads_the_pointer(means: str, holds: bool) -> None:
    """However long the second half lasts, `a` is the old one in all of it."""
    machine = WICK.replace("    moves in second\n", "    moves in second\n    held while waits\ninput waits 1 bit\n") \
        .replace("loads t when put_a", "loads b when put_a").replace("visible a, b", """\
memory memory 16 words of 4 bits
    address a
    writes t when put_a and second
visible a, b, memory""")
    contents = contents_of(machine, COPY.format(means=means).replace("put_t, put_a", "put_a"))
    found, _ = meanings_of(contents, lambda asked: decide(build_system(contents), asked))
    assert (found["copy"].difference is None) == holds and not found["copy"].why


@pytest.mark.parametrize("moves", ["first", "second"])
@pytest.mark.parametrize("means, holds", [("a <- a - 1", True), ("a <- a - 1, b <- a", False)])
def test_a_clock_that_is_held_goes_no_round(means: str, holds: bool, moves: str) -> None:
    """The word with which a round begins stays as long as somebody holds the clock; nothing comes of it."""
    machine = WICK.replace("    moves in second\n", f"    moves in {moves}\n    held while hand\ninput hand 1 bit\n") \
        .replace("    dispatch 2\n", "    dispatch 2\n    done 3\n") \
        .replace("        dispatch: entry\n", "        dispatch: entry\n        done: target if a is 0 else upc + 1\n"
                 ).replace("loads t when put_a", "loads a - 1 when put_a").replace(", on first", "")
    contents = contents_of(machine, f"""\
routine fetch at 0
        seq next
        seq dispatch
instruction 0 "count"
    means while a is not 0: {means}
  again: seq done, target fetch
        put_a, seq jump, target again
instruction 1 "rest"
        seq jump, target fetch
""")
    found, _ = meanings_of(contents, lambda asked: decide(build_system(contents), asked))
    assert (found["count"].difference is None) == holds and not found["count"].why


@pytest.mark.parametrize("loaded, holds", [("t", True), ("a", False)])
@pytest.mark.parametrize("kind", ["latch", "register"])
def test_a_latch_stands_for_what_it_has_kept_in_rounds_as_elsewhere(kind: str, loaded: str, holds: bool) -> None:
    """A round begins with what it showed last, which is not what it shows when it is open."""
    machine = WICK.replace("    dispatch 2\n", "    dispatch 2\n    done 3\n").replace(", on first", "") \
        .replace("        dispatch: entry\n", "        dispatch: entry\n        done: target if a is 0 else upc + 1\n"
                 ).replace("loads t when put_a", "loads a - 1 when put_a") \
        .replace("b 4 bits, changes when seq is dispatch", "b 4 bits, loads t when put_a") \
        .replace("register t 4 bits, loads b", f"{kind} t 4 bits, loads a").replace("visible a, b", "visible a, b, t") \
        .replace("clock clk (first, second)\n    moves in second\n", "")
    contents = contents_of(machine, f"""\
routine fetch at 0
        seq next
        seq dispatch
instruction 0 "count"
    means while a is not 0: a <- a - 1, b <- {loaded}, t <- a - 1
  again: seq done, target fetch
        put_a
        put_t, seq jump, target again
instruction 1 "rest"
        seq jump, target fetch
""")
    found, _ = meanings_of(contents, lambda asked: decide(build_system(contents), asked))
    assert (found["count"].difference is None) == holds and not found["count"].why


MODES = MACHINE.replace("if_zero  : target if zero else upc + 1", "if_zero  : {target[5:2], ir[1:0]}").replace(
    "store entry 16 words of 6 bits\n    address ir\n", "store entry 4 words of 6 bits\n    address ir[3:2]\n")
"""The opcode is two bits; the other two choose among four words side by side."""

MODE = """\
    means acc <- memory[pc] when ir[1:0] is 0, pc <- pc + 1 when ir[1:0] is 0, acc <- temp when ir[1:0] is 1,
          pc <- acc[3:0] when ir[1:0] is 3
        branch if_zero, target table(load_it, take_it, keep_it, go_there)
  load_it : fetched, load acc, branch home
  take_it : put temp, load acc, branch home
  keep_it : put acc, load temp, branch home
  go_there: put acc, load pc, branch home
"""


@pytest.mark.parametrize(("old", "new", "name"), [
    ("", "", ""),
    ("is 3", "is 2", "pc"),
    ("acc <- temp when ir[1:0] is 1", "acc <- temp when ir[0]", "acc"),     # of 3 as well
    ("when ir[1:0] is 3", "when ir[1] and ir[0]", ""),
    ("when ir[1:0] is 3", "when ir[1] or ir[0]", "pc"),
    ("when ir[1:0] is 3", "when not (ir[1:0] < 3)", ""),
    ("when ir[1:0] is 3", "when ir[3:0] in (3, 7, 11, 15)", ""),
    ("when ir[1:0] is 3", "when ir[3:0] in (3, 11, 15)", "pc"),             # of 7 it is not said
    ("table(load_it, take_it", "table(take_it, load_it", "acc"),
    ("put acc, load temp", "put acc, load temp, count", "pc")])
def test_bits_that_are_no_part_of_the_opcode_choose_the_words(old: str, new: str, name: str) -> None:
    text = MODE.replace(old, new)
    assert text != MODE or not old
    if name:
        assert difference(text, MODES).name == name
    else:
        assert proved(text, MODES)
        assert outcome_of(text, MODES).paths == 4


LEADING = MACHINE.replace("field branch 2 bits", "field branch 3 bits") \
    .replace("words of 20 bits", "words of 21 bits") \
    .replace("    if_zero  3\n", "    if_zero  3\n    if_last  4\n    by_lead  5\n") \
    .replace("target if zero else upc + 1\n",
             "target if zero else upc + 1\n        if_last  : target if WHEN else upc + 1\n"
             "        by_lead  : target + {0b0000, lead}\n        otherwise: 0\n", 1) \
    .replace("visible acc", "register lead 2 bits, loads data[1:0] when less\nvisible acc")


@pytest.mark.parametrize("when, last, holds", [
    ("lead is 3", 3, True), ("lead is 3", 2, False), ("lead in (0, 1, 2)", 3, False), ("lead in (2, 3)", 3, True),
    ("lead in (2, 3)", 2, True), ("lead in (2, 3)", 1, False), ("lead in (0, 3) and zero", 3, False)])
def test_where_a_sum_leads_agrees_with_what_was_asked_before(when: str, last: int, holds: bool) -> None:
    """Words stand at `target + lead`; who has asked for `lead` before comes to some of them only."""
    table = "".join("        " * (lead > 0) + "  table: " * (not lead) + "put temp, load acc, " * (lead == last)
                    + "branch home\n" for lead in range(4))
    found = outcome_of("    means nothing\n        branch if_last, target on\n        branch by_lead, target table\n"
                       f"{table}  on: branch home\n", LEADING.replace("WHEN", when))
    assert (found.way is not None) == holds and (found.difference is None) == holds, found


def test_what_a_path_turns_out_to_know_is_no_part_of_what_matters() -> None:
    """Which values are shown: those on which what differs depends, and those that lead there."""
    both = difference("""\
    means acc <- temp when zero, acc <- memory[mar] when not zero
        branch if_zero, target on
        put memory, load acc, branch home
  on: put acc, load acc, branch home
""")
    assert {leaf.name for leaf in both.before.leaves} == {"acc", "temp", "zero", "upc"}
    assert (both.cycle, both.word) == (0, "")
    where = difference("    means acc <- 0, acc <- undefined when zero\n        put temp, load acc, branch home\n")
    assert {leaf.name: value for leaf, value in where.before.leaves.items()}["zero"] == 0


@pytest.mark.parametrize("means, cycle", [("ledger[mar] <- acc, memory[mar] <- acc", 0), ("memory[mar] <- acc", 2),
                                          ("ledger[mar] <- acc", 1), ("memory[mar] <- acc, ledger[mar + 1] <- acc", 2)])
def test_of_two_memories_the_one_that_was_written_is_told(means: str, cycle: int) -> None:
    machine = MACHINE.replace("visible acc", "memory ledger 16 words of 8 bits\n    address mar\n"
                              "    writes data when less\nvisible ledger, acc")
    text = f"    means {means}\n        put acc, write\n        put acc, less, branch home\n"
    if not cycle:
        assert proved(text, machine)
        return
    found = difference(text, machine)
    assert (found.name, found.cycle, found.word) == (("ledger", 2, "tried+1") if cycle == 2 else ("memory", 1, "tried"))


def test_a_write_that_did_not_come_is_not_told_as_the_one() -> None:
    """The second one comes with `zero` alone, and then all is as said."""
    machine = MACHINE.replace("writes  data when write", "writes  data when write and (less or zero)")
    found = difference("    means memory[mar] <- temp + 1, memory[mar] <- acc when zero\n"
                       "        put temp, write, less\n        put acc, write, branch home\n", machine)
    assert (found.name, found.cycle) == ("memory", 1)


def test_undefined_beside_a_latch() -> None:
    latched = MACHINE.replace("register temp", "latch temp")
    text = "    means acc <- undefined, memory <- undefined, pc <- temp[3:0]\n        put temp, load pc, branch home\n"
    assert proved(text, latched)
    assert difference(text.replace("temp[3:0]", "temp[7:4]"), latched).name == "pc"


@pytest.mark.parametrize("words, why, paths, cycles", [
    ("        branch if_zero, target on\n        count\n        branch home\n  on: count, branch home\n", "", 2, 3),
    ("        branch if_zero, target on\n        count, branch home\n  on: count\n        branch home\n", "", 2, 3),
    ("  on: branch home, target on\n", "no path of it comes to a boundary", 0, 0)])
def test_how_many_paths_and_how_long(words: str, why: str, paths: int, cycles: int) -> None:
    machine = MACHINE.replace("home     : 0", "home     : target").replace("home fetch", "home upc is 0")
    found = outcome_of(f"    means pc <- pc + 1\n{words}", machine)
    assert (found.why, found.paths, found.cycles) == (why, paths, cycles) and (found.way is None) == bool(why)


def test_why_it_is_not_known(monkeypatch: pytest.MonkeyPatch) -> None:
    """`a + b` is `(a or b) + (a and b)`, which no rewriting says; and of several parts the hardest is told."""
    monkeypatch.setattr(equality, "solved", lambda question: Equality(None, None, "no solver"))
    text = ADD.replace("acc + memory[pc]", "(acc or memory[pc]) + (acc and memory[pc])") \
        .replace("zero <- s is 0", "zero <- undefined")
    found = outcome_of(text)
    assert (found.way, found.difference, found.why) == (None, None, "no solver")
    monkeypatch.setattr(equality, "solved", lambda question: Equality("solver"))
    halves = "acc <- s, zero <- (pc[0] and acc + memory[pc] is 0) or (not pc[0] and acc + memory[pc] is 0)"
    assert proved(text.replace("acc <- s, zero <- undefined", halves)) == "solver"
    assert proved(text.replace("acc <- s, zero <- undefined", halves).replace(
        "(acc or memory[pc]) + (acc and memory[pc])", "acc + memory[pc]")) == "cases"


def test_what_does_not_hang_on_the_opcode_is_told_without_it() -> None:
    text = "    means acc <- temp + 1\n        put temp, load acc, branch home\n"
    by_opcode = MACHINE.replace("driven by temp   when put is temp", "driven by temp   when put is temp and not ir[3]")
    for machine, shown in ((MACHINE, set()), (by_opcode, {"ir"})):
        assert {leaf.name for leaf in difference(text, machine).before.leaves} == {"temp", "upc"} | shown
    assert proved(text.replace("temp + 1", "temp"), by_opcode)


def asked(text: str, machine: str = MACHINE) -> list[tuple[str, Question]]:
    contents = contents_of(machine, FETCH + 'instruction 1 "tried"\n' + text)
    system = build_system(contents)
    found, _, _ = under_guesses(contents, lambda properties: decide(system, properties), ["tried"],
                                lambda following, title: questions(following, title, contents.meanings[title]))
    return found["tried"]


def test_what_is_asked_is_what_is_proved() -> None:
    pytest.importorskip("z3")
    names = ["acc", "zero", "pc", "memory"]
    found = asked(BRANCH)
    assert [name for name, _ in found] == [f"path {number}, {name}" for number in (1, 2) for name in names]
    assert all(solved(question).way for _, question in found)
    wrong = [name for name, question in asked(BRANCH.replace("if zero", "if not zero")) if solved(question).apart]
    assert wrong == ["path 1, pc", "path 2, pc"]
    with pytest.raises(NotFollowed, match="as often as its data say"):
        asked("    means acc <- undefined, zero <- 0, pc <- undefined\n  again: fetched, load temp\n"
              "        put sum, load acc, flag\n        branch if_zero, target again\n        branch home\n")


def test_the_opcode_is_taken_for_known_where_it_has_to_be() -> None:
    pytest.importorskip("z3")
    by_opcode = MACHINE.replace("driven by temp   when put is temp", "driven by temp   when put is temp and not ir[3]")
    for machine, known in ((MACHINE, False), (by_opcode, True)):
        found = asked("    means acc <- temp\n        put temp, load acc, branch home\n", machine)
        assert all(solved(question).way for _, question in found)
        assert all(("ir" in {leaf.name for leaf in leaves(question.under)}) == known for _, question in found)
