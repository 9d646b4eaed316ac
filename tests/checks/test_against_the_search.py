"""Machines made by hypothesis, as text in our language: the engine and the plain search agree on every verdict, on what
is executed, on counts of states and transitions and on the lengths of sequences; and each sequence is a run."""

from collections.abc import Sequence
from math import prod
from typing import Any

from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st

from ordain.checks.run import questions
from ordain.control.model import Variable
from ordain.machine.expression import Node
from ordain.rom.contents import Contents
from tests.agreement import disagreements
from tests.generated import machine_text, random_words
from tests.oracle import Model
from tests.workshop import compiled

WITHOUT_SHRINKING = (Phase.explicit, Phase.generate)
"""Smaller machines are no clearer, and looking for them takes minutes."""
MOST_INPUTS = 128
"""More combinations of inputs in a cycle than this make the plain search slow."""


def small_enough(contents: Contents) -> bool:
    nodes: list[Node] = []
    monitors: dict[str, Variable] = {}
    for _, asked in questions(contents):
        nodes += [node for node in (asked.node, asked.trigger, asked.unless) if node is not None]
        monitors.update((monitor.name, monitor) for monitor in asked.monitors)
    return prod(map(len, Model(contents, nodes, list(monitors.values())).domains)) <= MOST_INPUTS


@settings(max_examples=150, phases=WITHOUT_SHRINKING)
@given(st.data(), st.booleans())
def test_compiled_machines(data: st.DataObject, reduce: bool) -> None:
    text = machine_text(lambda options: data.draw(st.sampled_from(options)))
    contents, _ = compiled(*text)
    assume(contents is not None)
    assert contents is not None
    assume(small_enough(contents))
    assert disagreements(contents, [asked for _, asked in questions(contents)], reduce) == []


@settings(max_examples=150, phases=WITHOUT_SHRINKING)
@given(st.data(), st.booleans())
def test_machines_with_words_of_chance(data: st.DataObject, reduce: bool) -> None:
    def choose(options: Sequence[Any]) -> Any:
        return data.draw(st.sampled_from(options))

    contents = random_words(machine_text(choose), choose)
    assume(small_enough(contents))
    assert disagreements(contents, [asked for _, asked in questions(contents)], reduce) == []
