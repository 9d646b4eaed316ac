"""Which bits some path reads before they are overwritten: live variable analysis over a graph of places.

A backward data-flow problem with masks of bits as its facts (Aho, Lam, Sethi, Ullman, "Compilers", 9.2.5; the same as
"dead variable reduction" in model checking: Bozga, Fernandez, Ghirvu, "State space reduction based on live variables
analysis", 1999). Greatest precision is not needed for soundness: a bit called live too often costs only speed.
"""

from typing import NamedTuple


class Flow(NamedTuple):
    """One way on from a node to the node `to`. Bits in `held` keep their value. For each (target, source) in `moves`:
    the bits `target` are computed from the bits `source`. Every other bit is overwritten without reading any."""

    held: int
    moves: tuple[tuple[int, int], ...]
    to: int


def live_bits(reads: list[int], flows: list[list[Flow]]) -> list[int]:
    """Per node the mask of bits that are live when it is entered: the least solution of

        live(n) = reads(n) | union over flows: (live(to) & held) | sources of the moves whose target meets live(to)

    `reads[n]`: what node n reads itself.
    """
    live = list(reads)
    before: list[list[int]] = [[] for _ in reads]
    for node, ways in enumerate(flows):
        for way in ways:
            before[way.to].append(node)
    waiting = list(range(len(reads)))
    queued = [True] * len(reads)
    while waiting:
        node = waiting.pop()
        queued[node] = False
        found = live[node]
        for held, moves, to in flows[node]:
            after = live[to]
            found |= after & held
            for target, source in moves:
                if after & target:
                    found |= source
        if found != live[node]:
            live[node] = found
            for earlier in before[node]:
                if not queued[earlier]:
                    queued[earlier] = True
                    waiting.append(earlier)
    return live
