"""How a term is split into cases: the bit that decides next, what it says of others, whether all of it can be so."""

from collections.abc import Iterable, Iterator, Mapping

from ordain.machine.expression import Among, And, Const, Leaf, Node, Not, Or, Slice, Terms, postorder, substitute

_MOST_BITS = 6


def deciding(node: Node) -> Node | None:
    """A part of one bit that helps to decide what a term is: the condition of a choice, or a bit of a join."""
    waiting = [node]
    while waiting:
        here = waiting.pop()
        if type(here) is Const:
            continue
        if here.width == 1:
            return here
        waiting += reversed(here.args)
    return None


def narrow(nodes: Iterable[Node]) -> Node | None:
    """A few bits side by side of something that holds them, by which a term goes where no choice says it."""
    waiting = list(nodes)
    while waiting:
        part = waiting.pop()
        if isinstance(part, Leaf) or (isinstance(part, Slice) and isinstance(part.args[0], Leaf)):
            if 1 < part.width <= _MOST_BITS:
                return part
        else:
            waiting += part.args
    return None


def values_of(terms: Terms, part: Node, under: Mapping[Node, Node]) -> Iterator[dict[Node, Node]]:
    """Every value that such bits can have beside what is known of other bits there, with what it says of each bit."""
    whole, low = _place(part)
    known: dict[int, int] = {}
    for node, said in under.items():
        source, first = _place(node)
        if source is whole and type(said) is Const:
            known |= {first + bit: said.value >> bit & 1 for bit in range(node.width)}
    for value in range(1 << part.width):
        bits = [value >> bit & 1 for bit in range(part.width)]
        if all(known.get(low + at, bit) == bit for at, bit in enumerate(bits)):
            found: dict[Node, Node] = dict(implied(terms, terms.among(part, frozenset((value,))), 1))
            yield found | {terms.slice(whole, low + at, low + at): terms.const(bit, 1) for at, bit in enumerate(bits)}


def _place(node: Node) -> tuple[Node, int]:
    """Of what a term is bits, and its lowest one there."""
    return (node.args[0], node.low) if isinstance(node, Slice) else (node, 0)


def together(terms: Terms, under: Mapping[Node, Node], said: Mapping[Node, Node]) -> dict[Node, Node] | None:
    """What is known and what is said besides; None where that cannot be so at once. What is said decides other terms,
    too: that a register is 3 says that it is not among 1 and 2."""
    now = substitute(terms, tuple(under), said)
    if any(type(node) is type(value) is Const and node is not value for node, value in zip(now, under.values())):
        return None
    both = {**under, **said}
    return both if can_be(both) else None


def can_be(under: Mapping[Node, Node]) -> bool:
    """Whether every `and` that is 0 and every `or` that is 1 still has a part by which it may be so. What led here was
    decided term by term, so the last part of one may have been decided by way of another term."""
    known: dict[Node, int | None] = {node: value.value for node, value in under.items()
                                     if node.width == 1 and type(value) is Const}
    wanted = [node for node, bit in known.items() if type(node) is (Or if bit else And)]
    for part in postorder([arg for node in wanted for arg in node.args]):
        if part not in known:
            known[part] = _bit(part, known)
    return all(any(known[arg] in (None, known[node]) for arg in node.args) for node in wanted)


def _bit(node: Node, known: Mapping[Node, int | None]) -> int | None:
    """What is known of a bit of which the parts are looked up; None: it may be either."""
    match node:
        case Not():
            turned = known[node.args[0]]
            return None if turned is None else 1 - turned
        case And() | Or():
            decides = 0 if type(node) is And else 1
            parts = [known[arg] for arg in node.args]
            return decides if decides in parts else None if None in parts else 1 - decides
    return None


def implied(terms: Terms, atom: Node, value: int) -> Iterable[tuple[Node, Node]]:
    """What a bit being 0 or 1 says, of itself and of what it is made of."""
    waiting = [(atom, value)]
    while waiting:
        node, bit = waiting.pop()
        yield node, terms.const(bit, 1)
        match node:
            case Not():
                waiting.append((node.args[0], 1 - bit))
            case And() if bit:
                waiting += [(arg, 1) for arg in node.args]
            case Or() if not bit:
                waiting += [(arg, 0) for arg in node.args]
            case Among(args=(one,), values=values) if bit and len(values) == 1:
                yield one, terms.const(next(iter(values)), one.width)
