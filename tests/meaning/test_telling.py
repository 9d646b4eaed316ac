"""What `ordain meaning` prints, pasted in as the meaning, is proved: the two ways through the words agree."""

from pathlib import Path

import pytest

from ordain.control.system import build_system
from ordain.language import tree
from ordain.language.effects import read_effects
from ordain.meaning.follow import Following
from ordain.meaning.guessing import under_guesses
from ordain.meaning.model import Told
from ordain.meaning.run import outcomes
from ordain.meaning.telling import told
from ordain.pipeline import build_model
from ordain.prover.decide import Rounds
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


def held(contents: Contents, titles: list[str]) -> dict[str, Told]:
    """Everything that is told of the instructions is pasted and proved; what was told."""
    decide = Rounds(build_system(contents)).decide
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
