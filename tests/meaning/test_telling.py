"""What `ordain meaning` prints, pasted in as the meaning, is proved: the two ways through the words agree."""

from pathlib import Path

import pytest

from ordain.control.system import build_system
from ordain.language import tree
from ordain.language.effects import read_effects
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
