"""The makers of terms against z3, a general-purpose solver for bit-vectors: all values at once."""

import pytest
from hypothesis import given, settings

from ordain.machine.expression import Among, Const, Leaf, Node, Terms
from tests.logic.plain_terms import Plain, made, plain_terms

z3 = pytest.importorskip("z3", reason="pip install z3-solver")


def as_bits(node: Node) -> "z3.BitVecRef":
    """The term in z3's language, operator by operator, without our evaluator."""
    if isinstance(node, Const):
        return z3.BitVecVal(node.value, node.width)
    if isinstance(node, Leaf):
        return z3.BitVec(node.name, node.width)
    args = [as_bits(arg) for arg in node.args]
    return operator_as_bits(type(node).__name__, node, args)


def bit(condition: "z3.BoolRef") -> "z3.BitVecRef":
    return z3.If(condition, z3.BitVecVal(1, 1), z3.BitVecVal(0, 1))


def operator_as_bits(kind: str, node: Node, args: "list[z3.BitVecRef]") -> "z3.BitVecRef":
    match kind:
        case "Not":
            return ~args[0]
        case "And" | "Or":
            result = args[0]
            for arg in args[1:]:
                result = result & arg if kind == "And" else result | arg
            return result
        case "Xor":
            return args[0] ^ args[1]
        case "Equal":
            return bit(args[0] == args[1])
        case "Among":
            assert isinstance(node, Among)
            return bit(z3.Or([args[0] == value for value in sorted(node.values)]))
        case "Less":
            return bit(z3.ULT(args[0], args[1]))
        case "Add":
            return args[0] + args[1]
        case "Sub":
            return args[0] - args[1]
        case "Slice":
            return z3.Extract(node.high, node.low, args[0])  # type: ignore[union-attr]
        case "Join":
            return z3.Concat(*args)
        case "If":
            return z3.If(args[0] == 1, args[1], args[2])
        case "Parity":
            result = z3.Extract(0, 0, args[0])
            for place in range(1, args[0].size()):
                result = result ^ z3.Extract(place, place, args[0])
            return result
    raise AssertionError(kind)


def plain_as_bits(term: Plain) -> "z3.BitVecRef":
    """What was written, in z3's language."""
    if term[0] == "const":
        return z3.BitVecVal(term[1], term[2])
    if term[0] == "leaf":
        return z3.BitVec(term[1], term[2])
    operator, _, parts, extra = term
    args = [plain_as_bits(part) for part in parts]
    match operator:
        case "among":
            return bit(z3.Or([args[0] == value for value in extra]))
        case "slice":
            return z3.Extract(*extra, args[0])
    kind = {"not": "Not", "and": "And", "or": "Or", "xor": "Xor", "equal": "Equal", "less": "Less", "add": "Add",
            "sub": "Sub", "join": "Join", "if": "If", "parity": "Parity"}[operator]
    return operator_as_bits(kind, None, args)  # type: ignore[arg-type]


@settings(max_examples=300)
@given(plain_terms(depth=3))
def test_a_solver_finds_no_difference(term: Plain) -> None:
    """What the makers made and what was written differ for no values of the leaves."""
    solver = z3.Solver()
    solver.add(as_bits(made(Terms(), term)) != plain_as_bits(term))
    assert solver.check() == z3.unsat


def test_the_solver_would_find_a_difference() -> None:
    terms = Terms()
    a = terms.leaf("input", "a4", 4)
    solver = z3.Solver()
    solver.add(as_bits(terms.add(a, terms.const(1, 4))) != plain_as_bits(("leaf", "a4", 4)))
    assert solver.check() == z3.sat
