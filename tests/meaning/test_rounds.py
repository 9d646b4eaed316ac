"""Rounds held against words: whatever way a loop is begun, gone round and left, each pair is one word apart."""

import pytest

from ordain.control.system import build_system
from ordain.meaning.proof import Outcome
from ordain.meaning.run import outcomes as meanings_of
from ordain.prover.decide import decide
from tests.meaning.till import MACHINE
from tests.meaning.till import outcome_of as of_till
from tests.workshop import contents_of

WAYS = {"if_not": "upc + 1 if zero else target", "if_key": "target if key else upc + 1", "jump": "target",
        "if_null": "target if data is 0 else upc + 1", "if_data": "upc + 1 if data is 0 else target"}
TILL = MACHINE.replace("field branch 2 bits", "field branch 4 bits").replace("words of 20 bits", "words of 22 bits") \
    .replace("    if_zero  3\n", "    if_zero  3\n" + "".join(
        f"    {name} {code}\n" for code, name in enumerate(WAYS, 4))) \
    .replace("target if zero else upc + 1\n", "target if zero else upc + 1\n" + "".join(
        f"        {name} : {way}\n" for name, way in WAYS.items()) + "        otherwise: 0\n", 1) + "input key 1 bit\n"


def outcome_of(words: str, machine: str = TILL) -> Outcome:
    return of_till(words, machine)


SUMS = "    means while not zero: let s = acc + memory[pc], acc <- s, zero <- s is 0, pc <- pc + 1\n"


@pytest.mark.parametrize("first, holds", [("fetched", False), ("branch if_zero, target done\n        fetched", True)])
def test_a_last_round_is_done_only_where_one_comes(first: str, holds: bool) -> None:
    """With the key down it is done without asking for the flag; then it only ends when the flag is set."""
    found = outcome_of(f"""{SUMS}\
  again: branch if_key, target once
        branch if_zero, target done
        fetched, load temp
        put sum, load acc, flag
        branch if_not, target again
  done: branch home
  once: {first}, load temp
        put sum, load acc, flag
  hang: branch if_not, target hang
        branch home
""")
    assert (found.way is not None) == holds and (found.difference is None) == holds
    if found.difference is not None:
        assert {leaf.name: value for leaf, value in found.difference.before.leaves.items()}["zero"] == 1


@pytest.mark.parametrize("write, holds", [("write, ", False), ("", True)])
def test_what_may_be_written_while_it_waits_for_its_first_round(write: str, holds: bool) -> None:
    """Whether it is written is for a register to say; so neither loop changes anything for certain."""
    machine = TILL.replace("writes  data when write", "writes  data when write and (zero or sly)") + \
        "register sly 1 bit, loads 0 when load is ir\n"
    found = outcome_of(f"""\
    means while memory[pc] is not 0: memory[pc] <- temp when zero or sly
  wait: branch if_key, target again
        put acc, by_pc, {write}branch jump, target wait
  again: put memory, by_pc, branch if_null, target done
        put temp, by_pc, write
        put memory, by_pc, branch if_data, target again
  done: branch home
""", machine)
    assert (found.way is not None) == holds and found.difference is None


@pytest.mark.parametrize("never, outcome", [(3, "undecided"), (2, "broken"), (None, "proved")])
def test_what_a_state_never_is_while_it_waits_in_a_round_breaks_nothing(never: int | None, outcome: str) -> None:
    """The state is 0 or 2 where the sum is taken, which its numbers alone do not say."""
    machine = TILL.replace("acc - temp if less", f"acc - temp if odd is {never}" if never else "acc - temp if less") + \
        "state odd 2 bits, reset 0\n    next 0 if branch is if_zero else 2 - odd if branch is if_key else odd\n"
    found = outcome_of(f"""{SUMS}\
  again: branch if_zero, target done
        fetched, load temp
  hold: branch if_key, target hold
        put sum, load acc, flag
        branch if_not, target again
  done: branch home
""", machine)
    assert ("broken" if found.difference else "proved" if found.way else "undecided") == outcome, found


COUNTS = """\
    means while temp is not 0: pc <- pc + 1, acc <- acc + temp
  again: put temp, branch if_null, target done
        put sum, load acc
        count
        put temp, branch if_data, target again
  done: branch home
"""


@pytest.mark.parametrize("old, new", [
    ("  again:", "        put acc, load temp\n  again:"),
    ("        count\n", "        put memory, count, load temp\n")])
def test_what_a_round_reads_is_what_the_one_before_has_left_of_it(old: str, new: str) -> None:
    """`temp` is not visible and not named by an effect."""
    assert outcome_of(COUNTS).way == "rewriting"
    assert COUNTS.count(old) == 1 and outcome_of(COUNTS.replace(old, new)).way is None


@pytest.mark.parametrize("old, new, why", [
    ("", "", ""),
    ("jump, target again", "home", "no loop that its data end"),
    ("  again:", "  again: branch if_key, target body\n       ", "another round"),      # with the flag set as well
    ("  again:", "        branch if_key, target done\n  again:", "may end before its first round"),
    ("  body: fetched", "  body: fetched, branch if_key, target done\n        fetched", "it ends"),
    ("jump, target again", "if_key, target again\n        branch home", "it ends"),
    ("pc <- pc + 1\n", "pc <- pc + 1, memory[pc] <- undefined\n", "undefined"),
    ("pc <- pc + 1\n", "pc <- pc + 1, temp <- undefined\n", "undefined"),
    ("put sum, load acc, flag", "put sum, load acc, flag, write", "memory"),
])
def test_each_thing_that_is_asked_about_a_round_by_itself(old: str, new: str, why: str) -> None:
    words = f"""{SUMS}\
  again: branch if_zero, target done
  body: fetched, load temp
        put sum, load acc, flag
        branch jump, target again
  done: branch home
"""
    assert not old or words.count(old) == 1
    found = outcome_of(words.replace(old, new))
    assert (found.way is not None) == (not why), found
    assert why in (found.difference.name if found.difference else found.why), found


@pytest.mark.parametrize("asks, holds", [("branch if_zero, target done\n        ", True), ("", False)])
def test_it_is_stopped_only_after_a_round_that_comes(asks: str, holds: bool) -> None:
    stopped = SUMS + "    means stopped: nothing\n"
    found = outcome_of(f"""{stopped}\
  again: branch if_key, target last
        branch if_zero, target done
        fetched, load temp
        put sum, load acc, flag
        branch jump, target again
  done: branch home
  last: {asks}fetched, load temp
        put sum, load acc, flag
        branch home
""")
    assert (found.way is not None) == holds, found
    assert holds or (found.difference is not None and found.difference.name == "whether it may be stopped")


@pytest.mark.parametrize("write, holds", [("put temp, by_pc, write", True), ("put temp, write", False),
                                          ("put acc, by_pc, write", False)])
def test_a_round_writes_into_a_memory_that_is_shorter_than_its_address(write: str, holds: bool) -> None:
    machine = TILL.replace("memory memory 16 words", "memory memory 10 words")
    found = outcome_of(f"""\
    means while temp is not acc: memory[pc] <- temp, pc <- pc + 1, acc <- acc + temp
  again: put sum, less, branch if_null, target done
        {write}
        put sum, load acc, count, branch jump, target again
  done: branch home
""", machine)
    assert (found.way is not None) == holds, found


@pytest.mark.parametrize("loaded, written", [("data", "data"), ("{data[7:1], not data[0]}", "data"),
                                             ("{not data[7], data[6:0]}", "data"), ("data", "{data[7:1], not data[0]}"),
                                             ("data", "{not data[7], data[6:0]}")])
def test_every_bit_of_a_round_counts(loaded: str, written: str) -> None:
    machine = TILL.replace("acc  8 bits, loads data when", f"acc  8 bits, loads {loaded} when") \
        .replace("writes  data when", f"writes  {written} when")
    found = outcome_of("""\
    means while temp is not 0: memory[pc] <- temp, pc <- pc + 1, acc <- acc + temp
  again: put temp, branch if_null, target done
        put temp, by_pc, write
        put sum, load acc, count, branch jump, target again
  done: branch home
""", machine)
    holds = loaded == written
    assert (found.way == "rewriting") == holds and (found.difference is None) == holds
    if found.difference is not None:
        name = "acc" if loaded != "data" else "memory"
        assert (found.difference.name, found.difference.cycle, found.difference.word) == (
            (name, 3, "tried.again+2") if name == "acc" else (name, 2, "tried.again+1"))
        assert found.difference.key == ((5,) if name == "acc" else (4,)) and found.difference.span.start


@pytest.mark.parametrize("stopped, holds", [("acc <- temp", True), ("acc <- acc + temp", False)])
@pytest.mark.parametrize("kind", ["latch", "register"])
def test_what_is_done_when_it_is_stopped_reads_what_a_latch_has_kept(kind: str, stopped: str, holds: bool) -> None:
    machine = TILL.replace("register temp", f"{kind} temp").replace("visible acc", "visible temp, acc")
    found = outcome_of(f"""\
    means while not zero: pc <- pc + 1, zero <- acc + temp is 0
    means stopped: {stopped}
  again: branch if_zero, target done
        count, flag
        branch if_key, target last
        branch jump, target again
  done: branch home
  last: put temp, load acc, branch home
""", machine)
    assert (found.way is not None) == holds, found


STEPS = """\
machine wick "the opcode is in the address, steps go on"
microprogram "m.micro"
store control 16 words of 5 bits
    address {ir, step}
    instruction ir
    step step
field more 1 bit
field down 1 bit
field take 1 bit
field clear 1 bit
field still 1 bit
state step 2 bits, reset 0
    next 0 if clear or (more and a is 0) else step if more and WAITS else step + 1
input op 2 bits
register ir 2 bits, loads op when take
register a 4 bits, loads a - 1 when down and a is not 0
visible a, ir
home step is 0
"""


def of_steps(words: str, waits: str = "1", machine: str = STEPS, opcode: str = "0bx1") -> Outcome:
    contents = contents_of(machine.replace("WAITS", waits), f"""\
prologue
        take
instruction {opcode} "tried"
{words}instruction others "rest"
        clear
""")
    return meanings_of(contents, lambda asked: decide(build_system(contents), asked))[0]["tried"]


@pytest.mark.parametrize("first, why", [("", ""), ("        still\n", ""), ("        down\n", "`a` changes before")])
def test_what_says_the_address_may_be_visible(first: str, why: str) -> None:
    """It is known when the instruction begins, and has not changed before the first round."""
    found = of_steps(f"    means while a is not 0: a <- a - 1\n{first}        down, more\n")
    assert (found.way is not None) == (not why) and why in found.why, found


@pytest.mark.parametrize("waits, loops", [("ir[1]", True), ("not ir[1]", True), ("not ir[0]", False)])
def test_a_loop_that_one_opcode_of_several_comes_to_is_none_of_a_few_rounds(waits: str, loops: bool) -> None:
    """Of 1 and 3 the words are the same."""
    undefined = waits if loops else "a is 0"
    found = of_steps(f"    means a <- a - 1 when a is not 0, a <- undefined when {undefined}\n"
                     "        down, more\n        clear\n", waits)
    assert (found.way is None) == loops and found.difference is None and ("as often as" in found.why) == loops, found
    assert loops or found.cycles == 2


HALF = STEPS.replace("address {ir, step}", "address {ir[1], step}").replace("instruction ir", "instruction ir[1]") \
    .replace("control 16", "control 8") \
    .replace("loads op when take", "loads op when take\n    loads {ir[1], 0b0} when down and a is not 0")


@pytest.mark.parametrize("less", ["a - 1", "a - 1 if ir[1] else 0"])
def test_no_values_break_a_meaning_that_the_address_rules_out(less: str) -> None:
    """The opcode is the higher bit of `ir`, a round changes the lower one: nothing breaks with another opcode."""
    found = of_steps("    means while a is not 0: a <- a - 1, ir[0] <- 0\n        down, more\n",
                     machine=HALF.replace("loads a - 1", f"loads {less}"), opcode="1")
    assert found.way is None and found.difference is None and "may not occur" in found.why, found


@pytest.mark.parametrize("said, word, cycle", [
    ("memory[pc] <- acc, memory[pc] <- temp", "put temp, by_pc", None),
    ("memory[pc] <- temp, memory[pc] <- acc", "put temp, by_pc", 2),
    ("memory[mar] <- temp, memory[pc] <- temp", "put temp", 0)])
def test_of_two_effects_of_a_round_on_one_place_the_later_counts(said: str, word: str, cycle: int | None) -> None:
    """What rounds before have written is written in no cycle that could be named."""
    found = outcome_of(f"""\
    means while temp is not 0: {said}, pc <- pc + 1, acc <- acc + temp
  again: put temp, branch if_null, target done
        {word}, write
        put sum, load acc, count, branch jump, target again
  done: branch home
""")
    assert (found.way is not None) == (cycle is None)
    assert (None if found.difference is None else found.difference.cycle) == cycle, found
