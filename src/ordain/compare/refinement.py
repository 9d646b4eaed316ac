"""Which nodes do the same, for ever: the coarsest stable partition of a graph.

Nodes are told apart only by what they do and by where they go, up to nodes that are not told apart either. When a block
splits, its largest part keeps the name, so a node is looked at again O(log n) times: the idea of J. E. Hopcroft, An
n log n algorithm for minimizing states in a finite automaton (1971), with signatures in place of letters as in R.
Paige, R. E. Tarjan, Three partition refinement algorithms (SIAM Journal on Computing 16(6), 1987).
"""

from collections.abc import Callable, Hashable, Iterable

Signature = Callable[[int, list[int]], Hashable]
"""(node, block of every node) -> what can be seen of the node in one step; equal for nodes that look alike."""


def coarsest(count: int, signature: Signature, targets: Callable[[int], Iterable[int]]) -> list[int]:
    """The block of each of `count` nodes. `targets(node)`: every node that the node's signature looks at."""
    users: list[list[int]] = [[] for _ in range(count)]
    for node in range(count):
        for target in set(targets(node)):
            users[target].append(node)
    block = [0] * count
    members = [set(range(count))]
    looks: list[Hashable] = [None]
    dirty = set(range(count))
    while dirty:
        parts: dict[int, dict[Hashable, list[int]]] = {}
        for node in sorted(dirty):
            parts.setdefault(block[node], {}).setdefault(signature(node, block), []).append(node)
        moved: list[int] = []
        for number, groups in parts.items():
            moved += _split(number, groups, members, looks, block)
        dirty = {user for node in moved for user in users[node]}
    return block


def _split(number: int, groups: dict[Hashable, list[int]], members: list[set[int]], looks: list[Hashable],
           block: list[int]) -> list[int]:
    """Take the groups that look unlike the rest out of a block; the nodes that got another block.

    Invariant: members of a block that are in no group look as `looks` says. The largest part keeps the number.
    """
    groups.pop(looks[number], None)
    parts = sorted(groups.items(), key=lambda part: len(part[1]))
    rest = len(members[number]) - sum(len(nodes) for _, nodes in parts)
    if parts and len(parts[-1][1]) > rest:
        look, largest = parts.pop()
        left = members[number].difference(largest, *(nodes for _, nodes in parts))
        if left:
            parts.append((looks[number], sorted(left)))
        looks[number] = look
    moved: list[int] = []
    for look, nodes in parts:
        for node in nodes:
            block[node] = len(members)
        members[number].difference_update(nodes)
        members.append(set(nodes))
        looks.append(look)
        moved += nodes
    return moved
