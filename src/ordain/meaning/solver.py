"""Equality of terms asked of a bit-vector solver, Z3: an extra, imported only when a question comes to it."""

from importlib import import_module
from typing import Any

from ordain.machine.expression import (
    Add,
    Among,
    And,
    Cell,
    Const,
    Equal,
    If,
    Join,
    Leaf,
    Less,
    Node,
    Not,
    Or,
    Parity,
    Slice,
    Sub,
    Xor,
    postorder,
)
from ordain.meaning.model import Equality, Question, Values

MILLISECONDS = 20_000
"""For one question."""

MISSING = "the solver is not installed: pip install 'ordain[solver]'"


def solved(question: Question) -> Equality:
    """As `equality.equal`, of anything that it can decide in time."""
    try:
        z3: Any = import_module("z3")
    except ImportError:
        return Equality(None, None, MISSING)
    writing = _Writing(z3)
    asked = z3.Solver()
    asked.set("timeout", MILLISECONDS)
    for term, value in question.under.items():
        asked.add(writing.of(term) == writing.of(value))
    where = writing.of(question.where)
    asked.add(writing.of(question.one) & where != writing.of(question.other) & where)
    outcome = asked.check()
    if outcome == z3.unsat:
        return Equality("solver")
    if outcome != z3.sat:
        return Equality(None, None, "the solver came to no answer in time")
    model = asked.model()

    def number(term: Any) -> int:
        return int(model.eval(term, model_completion=True).as_long())

    leaves = {leaf: number(term) for leaf, term in writing.made.items() if type(leaf) is Leaf}
    words = {(cell.name, number(writing.made[cell.args[0]])): number(term)
             for cell, term in writing.made.items() if type(cell) is Cell}
    return Equality(None, Values(leaves, words))


class _Writing:
    """Terms in the solver's language, one for each of ours."""

    def __init__(self, z3: Any) -> None:
        self.z3 = z3
        self.made: dict[Node, Any] = {}

    def of(self, root: Node) -> Any:
        for node in postorder((root,)):
            if node not in self.made:
                self.made[node] = self._term(node)
        return self.made[root]

    def _term(self, node: Node) -> Any:
        z3 = self.z3
        args = [self.made[arg] for arg in node.args]
        match node:
            case Const(value=value, width=width):
                return z3.BitVecVal(value, width)
            case Leaf(kind=kind, name=name, width=width):
                return z3.BitVec(f"{kind} {name}", width)
            case Cell(name=name, width=width):
                return z3.Select(z3.Array(name, z3.BitVecSort(node.args[0].width), z3.BitVecSort(width)), args[0])
            case Not():
                return ~args[0]
            case And() | Or():
                found = args[0]
                for arg in args[1:]:
                    found = found & arg if type(node) is And else found | arg
                return found
            case Xor():
                return args[0] ^ args[1]
            case Add():
                return args[0] + args[1]
            case Sub():
                return args[0] - args[1]
            case Equal():
                return self._bit(args[0] == args[1])
            case Less():
                return self._bit(z3.ULT(args[0], args[1]))
            case Among(values=values):
                return self._bit(z3.Or([args[0] == value for value in sorted(values)]))
            case Slice(high=high, low=low):
                return z3.Extract(high, low, args[0])
            case Join():
                return z3.Concat(*args)
            case If():
                return z3.If(args[0] == 1, args[1], args[2])
            case Parity():
                found = z3.Extract(0, 0, args[0])
                for bit in range(1, node.args[0].width):
                    found = found ^ z3.Extract(bit, bit, args[0])
                return found
        raise TypeError("nothing that a meaning is made of")

    def _bit(self, condition: Any) -> Any:
        return self.z3.If(condition, self.z3.BitVecVal(1, 1), self.z3.BitVecVal(0, 1))
