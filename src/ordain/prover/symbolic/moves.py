"""Which variables hold what is or was or will be an address: their values are moved to an address, or from one.

The value of such a variable says where control is, was, or will be; so most of its bits are tied to all bits of the
address, whatever single bits read. Only the form of expressions is looked at: what is found decides about the order of
variables and what is worth a closer look, never about a verdict.
"""

from collections.abc import Sequence

from ordain.control.model import Variable
from ordain.logic.narrowing import bits_read
from ordain.machine.expression import Add, If, Join, Leaf, Node, Slice, Sub


def address_family(variables: Sequence[Variable],
                   addresses: Sequence[Node]) -> tuple[list[Variable], list[Variable]]:
    """Of the variables that are no address themselves those which select one of several that hold one, and those that
    hold one, nearest to the address first. `addresses`: what forms the addresses."""
    own = {leaf for node in addresses for leaf in bits_read((node,))}
    moved = {variable.leaf: _moved(variable.next) for variable in variables}
    family = [variable.leaf for variable in variables if variable.leaf in own]
    start = len(family)
    for leaf in family:
        family += [other for other in moved if other not in family
                   and (other in moved[leaf] or leaf in moved[other]) and other.width > 1]
    stored = family[start:]
    selecting = {leaf for variable in variables if variable.leaf in family
                 for leaf in _selecting(variable.next, frozenset(stored) - {variable.leaf})}
    by_leaf = {variable.leaf: variable for variable in variables}
    return ([variable for variable in variables if variable.leaf in selecting and variable.leaf not in family],
            [by_leaf[leaf] for leaf in stored])


def given_by_words(variables: Sequence[Variable], addresses: Sequence[Node]) -> list[Variable]:
    """The variables that form no address themselves and take a number from a word, such as a counter of loops: what
    they hold says by which word control has come."""
    own = {leaf for node in addresses for leaf in bits_read((node,))}
    return [variable for variable in variables if variable.leaf not in own
            and any(isinstance(leaf, Leaf) and leaf.kind in ("field", "word") for leaf in _moved(variable.next))]


def _moved(value: Node) -> set[Node]:
    """The leaves whose values, or parts of them, come out."""
    found, seen, waiting = set[Node](), set[Node](), [value]
    while waiting:
        node = waiting.pop()
        if node in seen:
            continue
        seen.add(node)
        if isinstance(node, Leaf):
            found.add(node)
        elif isinstance(node, If):
            waiting += node.args[1:]
        elif isinstance(node, (Add, Sub, Join, Slice)):
            waiting += node.args
    return found


def _selecting(value: Node, stored: frozenset[Node]) -> set[Node]:
    """The leaves that decide which of several stored values comes out."""
    found, seen, waiting = set[Node](), set[Node](), [value]
    while waiting:
        node = waiting.pop()
        if node in seen:
            continue
        seen.add(node)
        if isinstance(node, If):
            condition, yes, no = node.args
            if all(_moved(arm) & stored for arm in (yes, no)) and _moved(yes) & stored != _moved(no) & stored:
                found |= bits_read((condition,)).keys()
            waiting += (yes, no)
        elif isinstance(node, (Add, Sub, Join, Slice)):
            waiting += node.args
    return found
