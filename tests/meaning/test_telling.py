"""What `ordain meaning` prints, pasted in as the meaning, is proved: the two ways through the words agree."""

from pathlib import Path

import pytest

from ordain.control.system import build_system
from ordain.language import tree
from ordain.language.effects import read_effects
from ordain.meaning import follow
from ordain.meaning.following import Following
from ordain.meaning.guessing import under_guesses
from ordain.meaning.model import Telling
from ordain.meaning.run import outcomes
from ordain.meaning.telling import told
from ordain.pipeline import build_model
from ordain.prover.decide import ProofRounds
from ordain.rom.contents import Contents
from ordain.text.lines import Placed
from ordain.text.source import Source
from tests.meaning.test_proof import LEADING
from tests.meaning.test_rounds import HALF, TILL
from tests.meaning.till import FETCH, MACHINE
from tests.workshop import contents_of

ROOT = Path(__file__).parents[2]


def pasted(contents: Contents, effects: tuple[str, ...]) -> Contents:
    """The contents, with these effects for the meaning of each instruction that has some."""
    text = ", ".join(effects or ("nothing",))
    placed = Placed(text, Source("pasted", text), 0)
    meaning, findings = contents.machine.understand(tree.Meaning(read_effects(placed, 0), placed.whole()), {})
    assert meaning is not None and not findings, (text, findings)
    return contents._replace(meanings={"": meaning})


def held(contents: Contents, titles: list[str]) -> dict[str, Telling]:
    """Everything that is told of the instructions is pasted and proved; what was told."""
    decide = ProofRounds(build_system(contents)).decide
    found, unsure, _ = under_guesses(contents, decide, titles, told)
    assert not unsure
    meanings = {title: pasted(contents, one.effects).meanings[""] for title, one in found.items() if not one.why}
    proved, _ = outcomes(contents._replace(meanings=meanings), decide)
    wrong = {title: one for title, one in proved.items() if one.way is None}
    assert not wrong, {title: (found[title].effects, one.why, one.difference) for title, one in wrong.items()}
    return found


MACHINES = ("microcode/heron", "examples/stepper/carillon", "examples/half-clock/mended/barograph")


@pytest.mark.parametrize("where", MACHINES)
def test_what_is_told_can_be_pasted_in_and_is_proved(where: str) -> None:
    path = ROOT / f"{where}.machine"
    built, _ = build_model(path)
    assert built is not None
    titles = list(dict.fromkeys(use.title for use in built.program.opcodes))
    found = held(built.contents, titles)
    assert {title for title, one in found.items() if one.why} <= {"move", "fill"}
    changing = [title for title, one in found.items() if one.effects]
    assert len(changing) > len(titles) // 3


@pytest.mark.parametrize("words, effects", [
    ("        fetched, load temp\n        put sum, load acc, flag, branch home\n",
     ("let t = acc + memory[pc]", "acc <- t", "zero <- t is 0", "pc <- pc + 1")),
    ("        put acc, write\n        branch home\n", ("memory[mar] <- acc",)),
    ("        branch if_zero, target taken\n        count, branch home\n"
     "  taken: put acc, by_pc, write, branch home\n",
     ("pc <- pc if zero else pc + 1", "memory[pc] <- acc when zero")),
    ("        load acc\n        branch home\n", ("acc <- undefined",)),
    ("        branch home\n", ()),
])
def test_what_is_told_of_a_few_words(words: str, effects: tuple[str, ...]) -> None:
    contents = contents_of(MACHINE, FETCH + 'instruction 1 "tried"\n' + words)
    assert held(contents, ["tried"])["tried"].effects == effects


def test_what_is_told_says_what_scratch_it_depends_on() -> None:
    contents = contents_of(MACHINE, FETCH + 'instruction 1 "tried"\n        put temp, load acc, branch home\n')
    assert told(Following(contents), "tried").scratch == ("temp",)


LOOKING = """\
machine m "a machine that looks at its accumulator on the way"
store control 32 words of 8 bits
    address upc
    starts at {0b1, ir, 0b00}
field branch 2 bits
    step    0 idle
    jump    1
    if_zero 2
    op      3
field to 5 bits address, idle 0
field inc 1 bit
state upc 5 bits, reset 0
    next choose branch
        step   : upc + 1
        jump   : to
        if_zero: to if acc is 0 else upc + 1
        op     : {0b1, ir, 0b00}
input kind 2 bits
register ir 2 bits, loads kind when branch is op
register acc 8 bits, loads acc + 1 when inc
register n 8 bits, loads acc when inc
home go
visible acc, n
"""
LOOKS = """\
routine go at 0
    branch op
instruction 0 "look"
    branch if_zero, to go
    branch jump, to go
instruction 1 "bump"
    branch if_zero, to up
    branch jump, to go
instruction 2 "both"
    branch if_zero, to up
    inc, branch jump, to go
instruction 3 "none"
    branch jump, to go
routine up
    inc, branch jump, to go
"""


def test_a_choice_that_makes_no_difference_is_not_told() -> None:
    """Paths on which `acc` is 0 say 0 where others say `acc`."""
    found = held(contents_of(LOOKING, LOOKS), ["look", "bump", "both", "none"])
    assert {title: one.effects for title, one in found.items()} == {
        "look": (), "bump": ("acc <- 1 if acc is 0 else acc", "n <- 0 if acc is 0 else n"),
        "both": ("acc <- acc + 1", "n <- acc"), "none": ()}


@pytest.mark.parametrize("condition", ["one and not zero", "one or zero", "not (zero and one)"])
def test_what_a_path_only_asks_about_is_not_told_as_changed(condition: str) -> None:
    """Each path knows the flag that it has asked about by its level; it was told as undefined after them all."""
    machine = MACHINE.replace("target if zero", f"target if {condition}") + "input one 1 bit\n"
    words = "        branch if_zero, target more\n        branch home\n" \
            "  more: branch if_zero, target most\n        count, branch home\n  most: branch home\n"
    contents = contents_of(machine, FETCH + 'instruction 1 "tried"\n' + words)
    assert {effect.split(" <- ")[0] for effect in held(contents, ["tried"])["tried"].effects} == {"pc"}


def changed(machine: str, *edits: tuple[str, str]) -> str:
    for old, new in edits:
        assert machine.count(old) == 1, old
        machine = machine.replace(old, new)
    return machine


HOME = "        branch home\n"
ZERO = ("target if zero else", "target if {} else")
LOADS = ("acc  8 bits, loads data when", "acc  8 bits, loads {} when")
LATCH, SEEN = ("register temp 8 bits", "latch temp 8 bits"), ("visible acc", "visible temp, acc")
BY_TEMP = ("else mar\n", "else temp[3:0]\n")
LESS = ("acc - temp if less", "{} if less")


STATE = ("visible acc", "state odd 1 bit, reset 0\n    next not odd if flag else odd\nvisible odd, acc")
TWO_BITS = ("visible acc", "register two 2 bits, loads two + 3 when flag\nvisible two, acc")
TWINS = ("visible acc", "".join(f"register {name} 1 bit, loads {what} when less\n" for name, what in (
    ("c", "pc[3] xor temp[0]"), ("d", "pc[3] xor temp[0]"), ("e", "temp[0] if pc[3] else acc[0]"),
    ("f", "temp[0] if pc[3] else acc[0]"))) + "visible c, d, e, f, acc")


def edit(of: tuple[str, str], what: str) -> tuple[str, str]:
    return of[0], of[1].format(what)


TWO_WAYS = "        branch if_zero, target on\n        put temp, load acc, branch home\n" \
           "  on: put temp, load pc, branch home\n"


@pytest.mark.parametrize(("edits", "words", "effects", "scratch"), [
    # bits that are known beside some that are not, and that stay
    ([edit(LOADS, "{data[3:0], temp[3:0]}")], "load acc, " + HOME,
     ["acc[7:4] <- undefined", "acc[3:0] <- temp[3:0]"], ["temp"]),
    ([edit(LOADS, "{data[0], acc[6:0]}")], "load acc, " + HOME, ["acc[7] <- undefined"], []),
    ([edit(LOADS, "{acc[7:3], data[0], temp[3:2]}")], "load acc, " + HOME,
     ["acc[2] <- undefined", "acc[1:0] <- temp[3:2]"], ["temp"]),
    ([edit(LOADS, "{data[4:0], acc[0], acc[1], acc[2]}")], "load acc, " + HOME,
     ["acc[7:3] <- undefined", "acc[2] <- acc[0]", "acc[0] <- acc[2]"], []),
    # words of a memory
    ([], "load mar\n        put acc, write, " + HOME, ["memory <- undefined"], []),
    ([], "write, " + HOME, ["memory[mar] <- undefined"], ["mar"]),
    ([], "put acc, write\n        put temp, by_pc, write, " + HOME,
     ["memory[mar] <- acc", "memory[pc] <- temp"], ["mar", "temp"]),
    ([("data when write", "data when write and zero")], "put acc, write\n        branch if_zero, target on\n" + HOME
     + "  on: branch home\n", ["memory[mar] <- acc when zero"], ["mar"]),
    ([("data when write", "data when write and key\ninput key 1 bit")], "put acc, write, " + HOME,
     ["memory <- undefined"], []),
    ([edit(ZERO, "key"), ("visible", "input key 1 bit\nvisible")], "branch if_zero, target on\n" + HOME
     + "  on: put acc, write, branch home\n", ["memory <- undefined"], []),
    ([("pc, memory", "pc")], "put memory, load acc, write, " + HOME, ["acc <- memory[mar]"], ["mar", "memory"]),
    ([("memory 16 words", "memory 10 words")], "put acc, by_pc, write, " + HOME,
     ["memory[pc] <- acc when pc[3:1] < 5"], []),
    ([], "put acc, write\n        branch if_zero, target on\n" + HOME + "  on: branch home\n",
     ["memory[mar] <- acc"], ["mar"]),
    ([], "branch if_zero, target on\n        put acc, write, branch home\n  on: count\n        put acc, write, " + HOME,
     ["pc <- pc + 1 if zero else pc", "memory[mar] <- acc"], ["mar"]),
    ([], "branch if_zero, target on\n        put acc, write, branch home\n  on: put temp, write, " + HOME,
     ["memory[mar] <- acc when not zero", "memory[mar] <- temp when zero"], ["mar", "temp"]),
    ([], "branch if_zero, target on\n        put acc, write, branch home\n  on: put acc, write, by_pc, " + HOME,
     ["memory[mar] <- acc when not zero", "memory[pc] <- acc when zero"], ["mar"]),
    ([("data when write", "data when write and (less or pc[0])")], "branch if_zero, target on\n"
     "        put acc, write, branch home\n  on: put acc, write, less, " + HOME,
     ["memory[mar] <- acc when pc[0] and not zero", "memory[mar] <- acc when zero"], ["mar"]),
    ([("data when write", "data when write and zero"), edit(ZERO, "key"), ("visible", "input key 1 bit\nvisible")],
     "branch if_zero, target on\n  wait: put acc, write\n        put temp, write, branch if_zero, target wait\n"
     "  on: branch home\n", ["memory <- undefined"], []),
    # states are as good as registers
    ([edit(LOADS, "{0b0000000, odd}"), STATE], "load acc, flag, " + HOME,
     ["odd <- not odd", "acc <- {0b0000000, odd}", "zero <- temp + acc is 0"], ["temp"]),
    # a latch is what it has kept
    ([LATCH, SEEN], "put acc, load temp\n        put temp, write, load acc, " + HOME,
     ["temp <- acc", "memory[mar] <- acc"], ["mar"]),
    ([LATCH, SEEN], "put temp, write, load acc, " + HOME, ["acc <- temp", "memory[mar] <- temp"], ["mar"]),
    ([LATCH, BY_TEMP], "put acc, write, " + HOME, ["memory[temp[3:0]] <- acc"], ["temp"]),
    ([LATCH, edit(ZERO, "temp[0]"), SEEN], TWO_WAYS, ["acc <- acc if temp[0] else temp",
                                                      "pc <- temp[3:0] if temp[0] else pc"], []),
    # ways
    ([edit(ZERO, "acc in (1, 2)")], TWO_WAYS,
     ["acc <- acc if acc in (1, 2) else temp", "pc <- temp[3:0] if acc in (1, 2) else pc"], ["temp"]),
    ([edit(ZERO, "not (zero and acc is 3)")], TWO_WAYS,
     ["let t = zero and acc is 3", "acc <- temp if t else acc", "pc <- pc if t else temp[3:0]"], ["temp"]),
    ([edit(ZERO, "zero or pc[0]")], TWO_WAYS,
     ["acc <- acc if zero or pc[0] else temp", "pc <- temp[3:0] if zero or pc[0] else pc"], ["temp"]),
    ([edit(ZERO, "key"), ("visible", "input key 1 bit\nvisible")], TWO_WAYS,
     ["acc <- undefined", "pc <- undefined"], []),
    # names
    ([], "fetched, load temp\n        put sum, load acc, flag\n        put sum, load acc, flag, " + HOME,
     ["let t = acc + memory[pc] + memory[pc]", "acc <- t", "zero <- t is 0", "pc <- pc + 1"], []),
    ([("visible", "register t 1 bit, changes when flag\nregister u 1 bit, changes when flag\nvisible")],
     "fetched, load temp\n        put sum, load acc, flag, " + HOME,
     ["let v = acc + memory[pc]", "acc <- v", "zero <- v is 0", "pc <- pc + 1"], []),
    ([SEEN], "put sum, load acc\n        put sum, load acc, flag\n        put sum, load temp, " + HOME,
     ["let t = temp + temp + acc", "temp <- temp + temp + temp + acc", "acc <- t", "zero <- t is 0"], []),
    ([("visible", "register t 1 bit, changes when flag\nregister u 1 bit, changes when flag\n"
       "register v 1 bit, changes when flag\nregister w 1 bit, changes when flag\nvisible")],
     "fetched, load temp\n        put sum, load acc, flag, " + HOME,
     ["let t1 = acc + memory[pc]", "acc <- t1", "zero <- t1 is 0", "pc <- pc + 1"], []),
    ([("machine till", "machine till\nclock t (u, v)")], "fetched, load temp\n        put sum, load acc, flag, " + HOME,
     ["let w = acc + memory[pc]", "acc <- w", "zero <- w is 0", "pc <- pc + 1"], []),
    ([TWINS], "less, " + HOME, ["let t = temp[0] xor pc[3]", "let u = temp[0] if pc[3] else acc[0]",
                                "c <- t", "d <- t", "e <- u", "f <- u"], ["temp"]),
    # choices that make no difference
    ([edit(ZERO, "zero or pc[0]"), edit(LOADS, "{0b0000000, zero}")], "branch if_zero, target on\n"
     "        load acc, branch home\n  on: load acc, branch home\n", ["acc <- {0b0000000, zero}"], []),
    ([edit(ZERO, "zero or pc[0]"), edit(LOADS, "{0b0000000, zero}")], "branch if_zero, target on\n"
     "        branch home\n  on: load acc, branch home\n", ["acc <- {0b0000000, zero} if zero or pc[0] else acc"], []),
    # numbers that are taken away
    ([("pc if by_pc else mar", "pc - 1")], "put memory, load acc, " + HOME, ["acc <- memory[pc - 1]"], []),
    ([TWO_BITS], "flag, " + HOME, ["two <- two - 1", "zero <- temp + acc is 0"], ["temp"]),
    ([edit(LESS, "acc - 1")], "less, put sum, load acc, " + HOME, ["acc <- acc - 1"], []),
    ([edit(LESS, "acc + 0x7F")], "less, put sum, load acc, " + HOME, ["acc <- acc + 0x7F"], []),
    ([edit(LESS, "acc + 0x81")], "less, put sum, load acc, " + HOME, ["acc <- acc - 0x7F"], []),
    ([("pc if by_pc else mar", "pc - 1 + {0b000, zero}")], "put acc, write, " + HOME,
     ["memory[pc + {0b000, zero} - 1] <- acc"], []),
    ([("sum_zero when flag", "zero + 1 when flag")], "flag, " + HOME, ["zero <- zero + 1"], []),
])
def test_how_what_is_told_is_written(edits: list[tuple[str, str]], words: str, effects: list[str],
                                     scratch: list[str]) -> None:
    words = words if words.startswith(" ") else "        " + words.replace(", " + HOME, ", branch home\n")
    contents = contents_of(changed(MACHINE, *edits), FETCH + 'instruction 1 "tried"\n' + words)
    found = held(contents, ["tried"])["tried"]
    assert (list(found.effects), list(found.scratch)) == (effects, scratch)


@pytest.mark.parametrize(("words", "why", "paths", "cycles"), [
    ("        branch if_zero, target on\n        count\n        count, branch home\n  on: branch home\n", "", 2, 3),
    ("        branch if_zero, target on\n        branch home\n  on: count\n        count, branch home\n", "", 2, 3),
    ("  hang: branch if_zero, target hang\n        branch home\n", "", 1, 2),
    ("  hang: branch if_zero, target hang\n  more: branch dispatch\n", "", 1, 2),
    ("  hang: branch hang, target hang\n", "no path of it comes to a boundary", 0, 0),
    ("  again: fetched, load temp\n        put sum, load acc, flag\n        branch if_zero, target again\n" + HOME,
     "it goes round at `tried.again+1` as often as its data say", 0, 0),
])
def test_how_long_the_ways_are(words: str, why: str, paths: int, cycles: int) -> None:
    machine = changed(MACHINE, ("field branch 2 bits", "field branch 3 bits"), ("words of 20", "words of 21"), (
        "    if_zero  3\n", "    if_zero  3\n    hang     4\n"), (
        "else upc + 1\nstore", "else upc + 1\n        hang     : target\n        otherwise: 0\nstore"))
    found = told(Following(contents_of(machine, FETCH + 'instruction 1 "tried"\n' + words)), "tried")
    assert (found.why, found.paths, found.cycles) == (why, paths, cycles)


@pytest.mark.parametrize(("name", "effects"), [
    ("temp", ["temp <- temp + acc + 1", "acc <- temp + acc + 1"]),
    ("tempo", ["let t = tempo + acc + 1", "tempo <- t", "acc <- t"]),
    ("a_register_with_a_long_name", ["let t = a_register_with_a_long_name + acc + 1",
                                     "a_register_with_a_long_name <- t", "acc <- t"])])
def test_what_is_short_is_written_twice(name: str, effects: list[str]) -> None:
    machine = changed(MACHINE, edit(LESS, "acc + temp + 1"), ("temp 8 bits, loads data when load is temp",
                                                              "temp 8 bits, loads sum when less"), SEEN)
    contents = contents_of(machine.replace("temp", name), FETCH + 'instruction 1 "tried"\n'
                           "        less, put sum, load acc, branch home\n")
    assert list(held(contents, ["tried"])["tried"].effects) == effects


def test_a_long_name_is_written_as_often_as_it_takes() -> None:
    machine = changed(MACHINE.replace("temp", "a_register_with_a_long_name"), ("visible acc", "visible mar, acc"))
    contents = contents_of(machine, FETCH + 'instruction 1 "tried"\n        put a_register_with_a_long_name, load mar\n'
                           "        put a_register_with_a_long_name, load acc, branch home\n")
    assert held(contents, ["tried"])["tried"].effects == (
        "mar <- a_register_with_a_long_name[3:0]", "acc <- a_register_with_a_long_name")


@pytest.mark.parametrize(("words", "apart"), [
    ("put acc, load temp, load acc", False), ("put temp, load acc", True), ("put acc, write", True),
    ("branch if_zero, target more", True)])
def test_what_begins_at_two_addresses_that_nothing_tells_apart(words: str, apart: bool,
                                                               monkeypatch: pytest.MonkeyPatch) -> None:
    """As when a table, and no register, says the address: what the two do is told where it is the same."""
    machine = changed(MACHINE, ("target if zero else upc + 1", "target if zero else 0"))
    contents = contents_of(machine, FETCH + f"""\
instruction 1 "tried"
        branch home
instruction 2 "other"
        {words.replace("load temp, ", "")}{", branch home" * ("branch" not in words)}
routine more
        put temp, load acc, branch home
""")
    store, here = contents.labels["tried"]
    both = contents._replace(labels={
        **contents.labels, "tried": (store, here | contents.labels["other"][1])})
    monkeypatch.setattr(follow, "_start", lambda *_: {})
    found = told(Following(both), "tried")
    assert found.why == "it does other things where it begins at another address" * apart and not found.effects


def test_choices_in_choices() -> None:
    """Of two, the inner one says 0 where `acc` is 0; and of words that go where two bits say, some are left out."""
    found = held(contents_of(changed(TILL, SEEN), FETCH + """\
instruction 1 "inner"
        branch if_zero, target on
        put temp, load acc, branch home
  on: put acc, load temp, branch if_null, target more
        count, branch home
  more: branch home
"""), ["inner"])["inner"]
    assert found.effects == ("let t = acc if zero else temp", "temp <- t", "acc <- t",
                             "pc <- (pc if acc is 0 else pc + 1) if zero else pc")
    found = held(contents_of(LEADING.replace("WHEN", "lead[1]"), FETCH + """\
instruction 1 "led"
        branch if_last, target on
        branch by_lead, target table
  table: branch home
        count, branch home
        branch home
        branch home
  on: put acc, write, count
        count, branch home
"""), ["led"])["led"]
    assert (found.effects, found.paths) == (("pc <- pc + 2 if lead[1] else pc + 1 if lead[0] else pc",
                                             "memory[mar] <- acc when lead[1]"), 3)
    found = held(contents_of(LEADING.replace("WHEN", "zero"), FETCH + """\
instruction 1 "led"
        branch by_lead, target table
  table: branch home
        put acc, write, branch home
        branch home
        branch home
"""), ["led"])["led"]
    assert found.effects == ("memory[mar] <- acc when lead is 1 and lead[0] and not lead[1]",)


def test_bits_of_which_the_address_says_some() -> None:
    """The higher bit of `ir` is the opcode; the lower one is asked for on one of two ways alone."""
    machine = HALF.replace("WAITS", "0").replace("(more and a is 0)", "(more and (a is 0 or ir[0]))")
    found = held(contents_of(machine, """\
prologue
        take
instruction 1 "tried"
        more
        down, clear
instruction 0 "rest"
        clear
"""), ["tried"])["tried"]
    assert (found.effects, found.paths) == (
        ("let t = a is 0 or ir[0]", "a <- a if t else a - 1", "ir <- ir if t else 2"), 2)
