"""Whole reports of machines written as text, and single questions over cycles written down one by one."""

from collections.abc import Mapping, Sequence

from ordain.checks.check import Report
from ordain.checks.run import EVERYTHING, Selection, prove
from ordain.control.system import build_system
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Node, Prior, postorder
from ordain.prover.decide import decide
from ordain.prover.model import Limits, Property
from ordain.text.findings import Finding
from tests.planted.plant import Sound
from tests.workshop import contents_of


def report(texts: Sound, selection: Selection = EVERYTHING, limits: Limits | None = None) -> Report:
    contents = contents_of(*texts)
    system = build_system(contents)
    return prove(contents, lambda asked: decide(system, asked, limits), selection)


def edited(texts: Sound, *edits: tuple[str, str]) -> Sound:
    machine, micro = texts
    for old, new in edits:
        assert (machine + micro).count(old) == 1, old
        machine, micro = machine.replace(old, new), micro.replace(old, new)
    return Sound(machine, micro)


def names(found: Report) -> list[str]:
    return [finding.name for finding in found.findings]


def findings_named(name: str, found: Report) -> list[Finding]:
    return [finding for finding in found.findings if finding.name == name]


def outcomes(found: Report) -> dict[str, str]:
    return {f"{row.check} {row.subject}": row.outcome for row in found.rows}


def broken_in(asked: Property, sequence: Sequence[Mapping[Node, int]]) -> list[bool]:
    """In which cycles a question is broken, worked out cycle by cycle with what it remembers. What it remembers has as
    many values as it says: none is beyond them, and nobody asks for more bits than they take."""
    states: dict[Node, int] = {variable.leaf: variable.reset or 0 for variable in asked.monitors}
    assert all(variable.leaf.width == (variable.values - 1).bit_length() for variable in asked.monitors)
    before = {node: 0 for node in postorder((asked.node, *(variable.next for variable in asked.monitors)))
              if isinstance(node, Prior)}
    found = []
    for cycle in sequence:
        known = {**states, **cycle, **before}
        found.append(bool(evaluate(asked.node, known)))
        before = {node: evaluate(node.args[0], known) for node in before}
        states = {variable.leaf: evaluate(variable.next, known) for variable in asked.monitors}
        assert all(states[variable.leaf] < variable.values for variable in asked.monitors)
    return found
