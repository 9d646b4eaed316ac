"""Questions about meanings in SMT-LIB 2.6 (C. Barrett, P. Fontaine, C. Tinelli, 2021): bit vectors and free functions.

Each question stands in a scope of its own, behind a line with its name: what must hold along the path, then that the
two sides differ. So a solver has to answer `unsat` to every one.
"""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

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
from ordain.meaning.model import Question

BINARY = {And: "bvand", Or: "bvor", Xor: "bvxor", Add: "bvadd", Sub: "bvsub", Join: "concat"}


class SmtQuestion(NamedTuple):
    """`name`: of the instruction, the path and what it is about."""

    name: str
    question: Question


def smt(machine: str, asked: Iterable[SmtQuestion], beside: Iterable[str]) -> Iterator[str]:
    """The lines of a file. `beside`: what is to be said at its head."""
    yield f"; {_plain(machine)}: what its instructions do is what is said of them, if every answer is unsat"
    yield from (f"; {_plain(line)}" for line in beside)
    yield from ("(set-info :smt-lib-version 2.6)", "(set-logic QF_UFBV)")
    for one in asked:
        yield from (f'(echo "{_plain(one.name)}")', "(push 1)")
        writing = _Writing()
        sides = [writing.of(node) for node in one.question[:3]]
        under = [(writing.of(term), writing.of(value)) for term, value in one.question.under.items()]
        yield from writing.lines
        yield from (f"(assert (= {term} {value}))" for term, value in under)
        yield f"(assert (not (= (bvand {sides[0]} {sides[2]}) (bvand {sides[1]} {sides[2]}))))"
        yield from ("(check-sat)", "(pop 1)")


def _plain(text: str) -> str:
    return "".join(" " if not char.isprintable() else "'" if char in '"\\|' else char for char in text)


class _Writing:
    """`lines`: what is declared, and a definition for each term, those below it first."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self._made: dict[Node, str] = {}
        self._memories: dict[tuple[str, int, int], str] = {}

    def of(self, root: Node) -> str:
        for node in postorder((root,)):
            if node not in self._made:
                self._made[node] = self._term(node)
        return self._made[root]

    def _term(self, node: Node) -> str:
        match node:
            case Const(value=value, width=width):
                return f"(_ bv{value} {width})"
            case Leaf(kind=kind, name=name, width=width):
                symbol = f"|{len(self._made)} {_plain(f'{kind} {name}')}|"
                self.lines.append(f"(declare-const {symbol} (_ BitVec {width}))")
                return symbol
        symbol = f"t{len(self._made)}"
        self.lines.append(f"(define-fun {symbol} () (_ BitVec {node.width}) {self._worked(node)})")
        return symbol

    def _worked(self, node: Node) -> str:
        args = [self._made[arg] for arg in node.args]
        match node:
            case Cell(name=name, width=width):
                return f"({self._memory(name, node.args[0].width, width)} {args[0]})"
            case Not():
                return f"(bvnot {args[0]})"
            case And() | Or() | Xor() | Add() | Sub() | Join():
                found = args[0]
                for arg in args[1:]:
                    found = f"({BINARY[type(node)]} {found} {arg})"
                return found
            case Equal():
                return _bit(f"(= {args[0]} {args[1]})")
            case Less():
                return _bit(f"(bvult {args[0]} {args[1]})")
            case Among(values=values):
                ways = [f"(= {args[0]} (_ bv{value} {node.args[0].width}))" for value in sorted(values)]
                return _bit(f"(or false {' '.join(ways)})")
            case Slice(high=high, low=low):
                return f"((_ extract {high} {low}) {args[0]})"
            case If():
                return f"(ite (= {args[0]} (_ bv1 1)) {args[1]} {args[2]})"
            case Parity():
                found = f"((_ extract 0 0) {args[0]})"
                for bit in range(1, node.args[0].width):
                    found = f"(bvxor {found} ((_ extract {bit} {bit}) {args[0]}))"
                return found
        raise TypeError("nothing that a meaning is made of")

    def _memory(self, name: str, lines: int, width: int) -> str:
        key = name, lines, width
        if key not in self._memories:
            self._memories[key] = f"|memory {len(self._memories)} {_plain(name)}|"
            self.lines.append(f"(declare-fun {self._memories[key]} ((_ BitVec {lines})) (_ BitVec {width}))")
        return self._memories[key]


def _bit(condition: str) -> str:
    return f"(ite {condition} (_ bv1 1) (_ bv0 1))"
