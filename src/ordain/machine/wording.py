"""Terms in the words of the language, for findings, traces and listings."""

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import TypeAlias

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
    Prior,
    Slice,
    Sub,
    Xor,
)
from ordain.machine.model import Machine

CodeNames: TypeAlias = Mapping[str, Mapping[int, str]]
"""Names of values, by field, state or input."""

_IF, _OR, _XOR, _AND, _NOT, _COMPARE, _SUM, _TIGHT = range(8)
"""How tightly an operator binds, loosest first, as in the grammar of the language."""

Codes: TypeAlias = Mapping[int, str]

Piece: TypeAlias = "str | tuple[Node, int, Codes | None]"
"""Text, or a term still to be written: how tightly it must bind in its place, and names for its values. None: the place
does not say how wide it is, so that a number needs all its digits."""

_PLAIN: Codes = MappingProxyType({})


class Phases(dict[int, str]):
    """The names of a clock's phases. Of two, one bit tells which it is; people say its name all the same."""


def code_names(machine: Machine) -> dict[str, dict[int, str]]:
    """The names of all codes of a machine."""
    names = {field.name: {code.value: code.name for code in field.codes} for field in machine.fields.values()}
    for state in machine.states.values():
        names[state.name] = dict(enumerate(state.codes))
    for given in machine.inputs.values():
        names[given.name] = dict(enumerate(given.codes))
    if machine.clock is not None:
        names[machine.clock.name] = Phases(enumerate(machine.clock.phases))
    return names


def words(node: Node, names: CodeNames | None = None, limit: int = 400, of: str = "") -> str:
    """The term as one would write it; signals are already replaced by what they stand for.

    `names`: see `code_names`. `of`: the state or field whose codes the term's values are, if it has any. Terms share
    parts, and written out they can be far larger than in memory: after `limit` characters the text ends in `...`.
    """
    known = names or {}
    text: list[str] = []
    length = 0
    stack: list[Piece] = [(node, _IF, known.get(of, _PLAIN))]
    while stack:
        piece = stack.pop()
        if isinstance(piece, str):
            text.append(piece)
            length += len(piece)
            if length > limit:
                return "".join(text)[:limit].rstrip() + " ..."
        else:
            part, place, codes = piece
            level, pieces = _write(part, known, codes)
            stack.extend(reversed(["(", *pieces, ")"] if level < place else pieces))
    return "".join(text)


def number(value: int, width: int) -> str:
    """A number with all its digits, so that they say how wide it is."""
    if width % 4 or width == 4:
        return f"0b{value:0{width}b}"
    return f"0x{value:0{width // 4}X}"


def plain(value: int) -> str:
    """A number whose place says how wide it is."""
    return str(value) if value < 16 else f"0x{value:X}"


def _write(node: Node, names: CodeNames, codes: Codes | None) -> tuple[int, list[Piece]]:
    """How tightly the outermost operator binds, and its pieces."""
    inside = _PLAIN if codes is not None else None  # operands are as wide as the whole
    match node:
        case Const(value=value, width=width):
            return _TIGHT, [number(value, width) if codes is None else codes.get(value, plain(value))]
        case Leaf(name=name, width=1) if codes is not names.get(name) and isinstance(names.get(name), Phases):
            return _COMPARE, [f"{name} is {names[name][1]}"]
        case Not(args=(Leaf(name=name),)) if codes is not names.get(name) and isinstance(names.get(name), Phases):
            return _COMPARE, [f"{name} is {names[name][0]}"]
        case Leaf(kind=kind, name=name):
            return _TIGHT, [_leaf(kind, name)]
        case Not(args=(Among() | Equal() | Less() as inner,)):
            return _COMPARE, _compare(inner, names, negated=True)
        case Not():
            return _NOT, ["not ", (node.args[0], _NOT, inside)]
        case And():
            return _AND, _between(node.args, " and ", _NOT, inside)
        case Or():
            return _OR, _between(node.args, " or ", _XOR, inside)
        case Xor():
            return _XOR, _between(node.args, " xor ", _AND, inside)
        case Among() | Equal() | Less():
            return _COMPARE, _compare(node, names, negated=False)
        case Add():
            return _SUM, [(node.args[0], _SUM, inside), " + ", (node.args[1], _TIGHT, inside)]
        case Sub():
            return _SUM, [(node.args[0], _SUM, inside), " - ", (node.args[1], _TIGHT, inside)]
        case Slice(high=high, low=low):
            bits = f"[{high}]" if high == low else f"[{high}:{low}]"
            return _TIGHT, [(node.args[0], _TIGHT, None), bits]
        case Join():
            return _TIGHT, ["{", *_between(node.args, ", ", _IF, None), "}"]
        case If():
            condition, yes, no = node.args
            return _IF, [(yes, _OR, codes), " if ", (condition, _OR, _PLAIN), " else ", (no, _IF, codes)]
        case Parity():
            return _TIGHT, ["parity(", (node.args[0], _IF, None), ")"]
        case Prior():
            return _TIGHT, ["prior(", (node.args[0], _IF, codes), ")"]
        case Cell(name=name):
            return _TIGHT, [f"{name}[", (node.args[0], _IF, _PLAIN), "]"]


def _leaf(kind: str, name: str) -> str:
    match kind:
        case "at" | "in":
            return f"{kind} {name}" if name.replace(".", "_").isidentifier() else f'{kind} "{name}"'
        case "word":
            return f"{name}.word"
        case "address":
            return "address"
        case "free":
            return f"any ({name})"
    return name


def _between(parts: Iterable[Node], mark: str, place: int, codes: Codes | None) -> list[Piece]:
    pieces: list[Piece] = []
    for part in parts:
        if pieces:
            pieces.append(mark)
        pieces.append((part, place, codes))
    return pieces


def _compare(node: Among | Equal | Less, names: CodeNames, negated: bool) -> list[Piece]:
    left = node.args[0]
    match node:
        case Equal():
            return [(left, _SUM, None), " is not " if negated else " is ", (node.args[1], _SUM, _PLAIN)]
        case Less():
            return [(left, _SUM, None), " >= " if negated else " < ", (node.args[1], _SUM, _PLAIN)]
    codes = names.get(left.name, {}) if isinstance(left, Leaf) else {}
    values, inside = sorted(node.values), not negated
    if len(codes) == 1 << left.width and len(values) > len(codes) // 2:
        values, inside = [value for value in sorted(codes) if value not in node.values], not inside
    said = [codes.get(value, plain(value)) for value in values]
    if len(said) == 1:
        return [(left, _SUM, None), " is " if inside else " is not ", said[0]]
    return [(left, _SUM, None), " in (" if inside else " not in (", ", ".join(said), ")"]
