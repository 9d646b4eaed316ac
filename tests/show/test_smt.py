"""Questions about meanings in SMT-LIB, read and answered by z3; what each operator means, by the plain evaluator."""

from random import Random
from typing import Any

import pytest

from ordain.cli.export import _about_meanings
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Node, Terms
from ordain.meaning.model import Question
from ordain.pipeline import build_model
from ordain.show.smt import SmtQuestion, smt
from tests.docs.pages import ROOT

z3: Any = pytest.importorskip("z3", reason="install the Python package z3-solver to have a solver read the file")


def answers(text: str) -> list[str]:
    """What the solver says to each question."""
    found = []
    for scope in text.split("(push 1)\n")[1:]:
        solver = z3.Solver()
        solver.from_string(scope.partition("(check-sat)")[0])
        found.append(str(solver.check()))
    return found


def of(*questions: Question) -> list[str]:
    return answers("\n".join(smt("by chance", [SmtQuestion("tried", one) for one in questions], ())))


def chosen(terms: Terms, chance: Random, known: dict[Node, int], depth: int, width: int) -> Node:
    """A term of some width by chance, over leaves of which a value is known."""
    if not depth:
        leaf = terms.leaf("register", f"r{width}|{chance.randrange(3)}", width)
        known.setdefault(leaf, chance.getrandbits(width))
        return leaf if chance.random() < 0.8 else terms.const(chance.getrandbits(width), width)

    def part(wide: int) -> Node:
        return chosen(terms, chance, known, depth - 1, wide)

    wide = chance.randint(1, 5)
    ways: list[Any] = [
        lambda: terms.not_(part(width)), lambda: terms.and_([part(width) for _ in range(3)]),
        lambda: terms.or_([part(width), part(width)]), lambda: terms.xor(part(width), part(width)),
        lambda: terms.add(part(width), part(width)), lambda: terms.sub(part(width), part(width)),
        lambda: terms.slice(part(width + 3), width + 1, 2), lambda: terms.if_(part(1), part(width), part(width))]
    if width > 1:
        ways.append(lambda: terms.join((part(1), part(width - 1))))
    else:
        ways += [lambda: terms.equal(part(wide), part(wide)), lambda: terms.less(part(wide), part(wide)),
                 lambda: terms.among(part(wide), frozenset((1, 0))), lambda: terms.parity(part(wide))]
    found: Node = chance.choice(ways)()
    return found


def test_every_operator_means_to_the_solver_what_it_means_to_the_evaluator() -> None:
    terms, chance = Terms(), Random(8)
    right, wrong = [], []
    for _ in range(150):
        known: dict[Node, int] = {}
        width = chance.randint(1, 4)
        term = chosen(terms, chance, known, 3, width)
        value = evaluate(term, known)
        under = {leaf: terms.const(number, leaf.width) for leaf, number in known.items()}
        ones = terms.const((1 << width) - 1, width)
        right.append(Question(term, terms.const(value, width), ones, under))
        wrong.append(Question(term, terms.const(value ^ 1, width), ones, under))
    assert {*of(*right)} == {"unsat"} and {*of(*wrong)} == {"sat"}


def test_a_word_of_a_memory_is_the_same_at_the_same_address_only() -> None:
    terms = Terms()
    here, there, ones = terms.leaf("free", "here", 4), terms.leaf("free", "there", 4), terms.const(255, 8)
    one, other = terms.cell("memory", here, 8), terms.cell("memory", there, 8)
    assert of(Question(one, other, ones, {}), Question(one, other, ones, {terms.equal(here, there): terms.const(1, 1)}),
              Question(one, other, terms.const(0, 8), {})) == ["sat", "unsat", "unsat"]


def test_a_solver_confirms_the_meanings_of_an_example_and_refuses_a_wrong_one() -> None:
    built, _ = build_model(ROOT / "examples/stepper/carillon.machine")
    assert built is not None
    found = _about_meanings(built, True)
    questions = [one for asked in found.values() if not isinstance(asked, str) for _, one in asked]
    assert len(found) == 13 and len(questions) > 300 and {*of(*questions[::4])} == {"unsat"}
    words = list(built.contents.words["control"])
    words[0x00A] ^= 1 << built.machine.fields["load_acc"].low
    off = built._replace(contents=built.contents._replace(words={**built.contents.words, "control": tuple(words)}))
    wrong = _about_meanings(off, True)["load n"]
    assert not isinstance(wrong, str) and "sat" in of(*(one for _, one in wrong))
