"""Things put together that share a leaf, so that each group can be looked at by itself."""

from collections.abc import Iterable
from typing import TypeVar

from ordain.machine.expression import Node

Thing = TypeVar("Thing")


def connected(things: Iterable[tuple[Thing, Iterable[Node]]]) -> list[list[Thing]]:
    """Groups of things, given with the leaves of each, such that no two groups share a leaf; the order in each
    is kept."""
    groups: list[tuple[set[Node], list[Thing]]] = []
    for thing, read in things:
        leaves, members = set(read), [thing]
        apart = []
        for others, found in groups:
            if others & leaves:
                leaves |= others
                members = found + members
            else:
                apart.append((others, found))
        groups = [*apart, (leaves, members)]
    return [members for _, members in groups]
