"""A condition in words close to those of the machine file, for messages."""

from ordain.machine.expression import (
    Add,
    Among,
    And,
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
    postorder,
)
from ordain.machine.model import Machine

_LONGEST = 80
_INFIX: dict[type, str] = {And: "and", Or: "or", Xor: "xor", Equal: "is", Less: "<", Add: "+", Sub: "-"}


def phrase(machine: Machine, node: Node) -> str:
    """Signals are called by their names, codes too. What gets longer than a line is cut."""
    signals = {signal.value: signal.name for signal in machine.signals.values()}
    said: dict[Node, tuple[str, bool]] = {}
    for part in postorder((node,)):
        if part in signals and not isinstance(part, Const | Leaf):
            said[part] = signals[part], True
        else:
            text, closed = _say(machine, part, [said[arg] for arg in part.args])
            said[part] = (text if len(text) <= _LONGEST else text[:_LONGEST - 3] + "..."), closed
    return said[node][0]


def _say(machine: Machine, node: Node, args: list[tuple[str, bool]]) -> tuple[str, bool]:
    """The text, and whether it stands by itself without brackets."""
    inner = [text if closed else f"({text})" for text, closed in args]
    match node:
        case Const(value=value):
            return str(value), True
        case Leaf(kind=kind, name=name):
            if node.width == 1 and 1 in (codes := _codes(machine, node)):
                return f"{name} is {codes[1]}", False
            if kind in ("at", "in"):
                return f"{kind} {name}", False
            return f"{name}.{kind}" if kind in ("word", "address") else name, True
        case Not(args=(Leaf(name=name) as operand,)) if 0 in (codes := _codes(machine, operand)):
            return f"{name} is {codes[0]}", False
        case Not():
            return f"not {inner[0]}", False
        case Among(args=(operand,), values=values):
            codes = _codes(machine, operand)
            names = [codes.get(value, str(value)) for value in sorted(values)]
            return (f"{inner[0]} is {names[0]}" if len(names) == 1 else f"{inner[0]} in ({', '.join(names)})"), False
        case Slice(high=high, low=low):
            return f"{inner[0]}[{high}:{low}]" if high != low else f"{inner[0]}[{high}]", True
        case Join():
            return "{" + ", ".join(text for text, _ in args) + "}", True
        case If():
            return f"{inner[1]} if {inner[0]} else {inner[2]}", False
        case Parity():
            return f"parity({args[0][0]})", True
        case Prior():
            return f"prior({args[0][0]})", True
        case _:
            return f" {_INFIX[type(node)]} ".join(inner), False


def _codes(machine: Machine, node: Node) -> dict[int, str]:
    """What the values of a leaf are called, where they have names."""
    if not isinstance(node, Leaf):
        return {}
    if node.kind == "field":
        return {code.value: code.name for code in machine.fields[node.name].codes}
    named: tuple[str, ...] = ()
    if node.kind == "state":
        named = machine.states[node.name].codes if node.name in machine.states else ()
    elif node.kind == "input":
        named = machine.inputs[node.name].codes
    return dict(enumerate(named))
