"""Where an instruction ends: with the cycle in which the machine itself, not a word, chooses what comes next.

That is a dispatch, or a place wired into the sequencer (fetch, an interrupt's entry), read off the expressions of the
states that make the control address.
"""

from ordain.control.sequencing import Sequencing
from ordain.machine.expression import Const, If, Leaf, Node, Terms, leaves, postorder
from ordain.machine.leads import value_leaves
from ordain.machine.model import Machine


def steering(found: Sequencing) -> list[Leaf]:
    """The pointers that make the control address."""
    return [leaf for leaf in leaves([found.stores[store] for store in found.control]) if leaf in found.pointers]


def ends_of(machine: Machine, found: Sequencing, terms: Terms) -> tuple[Node, Node]:
    """The conditions that a cycle's word ends the instruction, and that something else breaks it off."""
    wired: list[Node] = []
    held: list[Node] = []
    dispatched: list[Node] = []
    broken: list[Node] = []
    for pointer in steering(found):
        here: list[Node] = []
        stays: list[Node] = []
        for value, path, by_word in alternatives(found.nexts[pointer], found, terms):
            kind = _kind(value, pointer, machine, found)
            by_word = by_word or type(path) is Const
            if kind == "dispatch" and by_word:
                dispatched.append(path)
            elif kind in ("dispatch", "wired") and not by_word:
                broken.append(path)
            elif kind == "wired":
                here.append(path)
            elif kind == "held":
                stays.append(path)
        wired.append(terms.or_(tuple(here)) if here else terms.const(0, 1))
        held.append(terms.or_(tuple(stays)) if stays else terms.const(0, 1))
    chosen = terms.const(0, 1)
    if wired:
        every = terms.and_(tuple(terms.or_(pair) for pair in zip(wired, held)))
        chosen = terms.and_((every, terms.or_(tuple(wired))))
    return terms.or_((chosen, *dispatched)), (terms.or_(tuple(broken)) if broken else terms.const(0, 1))


def alternatives(root: Node, found: Sequencing, terms: Terms) -> list[tuple[Node, Node, bool]]:
    """(value, under which condition, whether a word or its place has a say in that) of a term that chooses between
    values. A value may come twice: chosen by a word, and whatever the word."""
    paths: dict[tuple[Node, bool], list[Node]] = {(root, False): [terms.const(1, 1)]}
    for node in reversed(list(postorder((root,)))):     # a term before its parts
        if type(node) is not If:
            continue
        condition, then, other = node.args
        asks = any(leaf.kind in ("field", "word") or leaf in found.pointers for leaf in leaves((condition,)))
        for by_word in (False, True):
            ways = paths.pop((node, by_word), None)
            if ways is not None:
                path = terms.or_(tuple(ways))
                for value, when in ((then, condition), (other, terms.not_(condition))):
                    paths.setdefault((value, by_word or asks), []).append(terms.and_((path, when)))
    return [(value, terms.or_(tuple(ways)), by_word) for (value, by_word), ways in paths.items()]


def _kind(value: Node, pointer: Leaf, machine: Machine, found: Sequencing) -> str:
    """Who says this next value: "dispatch", "wired", "held", or "word"."""
    if value is pointer:
        return "held"
    if value in found.wired.values():
        return "dispatch"
    sources = value_leaves(value)
    for leaf in sources:
        store = machine.fields[leaf.name].store if leaf.kind == "field" else leaf.name if leaf.kind == "word" else ""
        if store and machine.stores[store].fill == "start":
            return "dispatch"
        if store or leaf in found.pointers:
            return "word"
    if sources and all(leaf in found.opcodes for leaf in sources):
        return "dispatch"
    return "wired"
