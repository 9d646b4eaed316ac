"""Which entrances of the two graphs are the same one: boundaries, wired places, ways to dispatch.

Ways are compared up to the next entrance, so that a change of the fetch is one change and not one of every instruction.
What is paired here is compared by itself; an unlucky pair therefore makes more differences, never fewer.

First come entrances from which all is the same for ever: those of one block in the partition of both graphs in which no
way is cut. Copies of a word, at which one boundary stands at several addresses, fall together by it, and so do several
places with the same words. What is left is paired by its titles, then by its places, then by being the only one, and
last as far as titles are on both sides: of several places that did the same, one may do something else now.
"""

from collections.abc import Callable, Hashable, Iterable
from typing import NamedTuple

from ordain.compare.graph import ControlGraph, End
from ordain.compare.refinement import coarsest
from ordain.compare.roots import Entered, Root


class Entrance(NamedTuple):
    """One entrance of one side, at all the places where it stands. `roots`: of a dispatch those of every opcode."""

    ends: tuple[End, ...]
    roots: tuple[Root, ...]


class Paired(NamedTuple):
    """`places`: boundaries and wired places of both sides; `alone`: those of one side only. `symbols[side]`: what an
    end, less what it leaves behind, is called; ends of paired entrances are called alike. `ways[side]`: (store, way of
    a root) -> number of the way, which both sides have where it is not negative."""

    places: tuple[tuple[Entrance, Entrance], ...]
    alone: tuple[tuple[Entrance, ...], tuple[Entrance, ...]]
    symbols: tuple[dict[End, Hashable], dict[End, Hashable]]
    ways: tuple[dict[tuple[str, int], int], dict[tuple[str, int], int]]


def pair_entrances(entered: tuple[Entered, Entered]) -> Paired:
    """Pair what ends lead to."""
    block = _uncut(entered)
    offset = len(entered[0].graph.vectors)
    places: list[tuple[Entrance, Entrance]] = []
    alone: tuple[list[Entrance], list[Entrance]] = ([], [])
    symbols: tuple[dict[End, Hashable], dict[End, Hashable]] = ({}, {})
    ways: tuple[dict[tuple[str, int], int], dict[tuple[str, int], int]] = ({}, {})

    def named(side: int, entrance: Entrance, symbol: Hashable) -> None:
        symbols[side].update(dict.fromkeys(entrance.ends, symbol))

    opcodes = {leaf for each in entered for pair in each.graph.places.since.items() for leaf in pair}

    def where(entrance: Entrance) -> Hashable:
        """Whatever becomes of the opcode."""
        return frozenset(tuple(value for value in end.where if value not in opcodes) for end in entrance.ends)

    for kind in ("boundary", "wired"):
        groups = tuple(_places(entered[side], kind, block, offset * side) for side in (0, 1))
        pairs, left = _matched(groups[0], groups[1], (_titles, _addresses))
        led = (_led(entered[0], kind), _led(entered[1], kind))
        pairs = [_released(pair, left, led) for pair in pairs]
        pairs += _parted(left, led)
        for ours, theirs in pairs:
            for side, entrance in enumerate((ours, theirs)):
                named(side, entrance, (kind, len(places)))
            places.append((ours, theirs))
        for side in (0, 1):
            alone[side].extend(left[side])
            for number, entrance in enumerate(left[side]):
                named(side, entrance, (kind, side, number))
    for store in {**entered[0].dispatches, **entered[1].dispatches}:
        groups = tuple(_dispatches(entered[side], store, block, offset * side) for side in (0, 1))
        pairs, left = _matched(groups[0], groups[1], (where,))
        pairs += list(zip(*left))                   # in the order in which they were met
        left = (left[0][len(left[1]):], left[1][len(left[0]):])
        for number, pair in enumerate(pairs):
            for side, entrance in enumerate(pair):
                named(side, entrance, ("dispatch", store, number))
                ways[side].update({(store, root.way): number for root in entrance.roots})
        for side in (0, 1):
            for number, entrance in enumerate(left[side], 1):
                named(side, entrance, ("dispatch", store, side, number))
                ways[side].update({(store, root.way): -number for root in entrance.roots})
    return Paired(tuple(places), (tuple(alone[0]), tuple(alone[1])), symbols, ways)


Groups = dict[Hashable, Entrance]
"""What is seen of an entrance in the partition -> the entrance; all that is seen alike is one."""


def _led(entered: Entered, kind: str) -> dict[int, list[End]]:
    """The ends that lead to the boundaries, or the wired places, of one side, by the node that stands there."""
    graph = entered.graph
    led: dict[int, list[End]] = {}
    for end in dict.fromkeys(end._replace(left=()) for end in graph.ends.values()):
        if end.kind == ("home" if kind == "boundary" else "wired"):
            led.setdefault(graph.node(end.where), []).append(end)
    return led


def _places(entered: Entered, kind: str, block: list[int], base: int) -> Groups:
    """The boundaries, or the wired places, of one side."""
    led, groups = _led(entered, kind), Groups()
    for root in entered.roots:
        if root.kind == kind:
            before = groups.get(block[root.node + base], Entrance((), ()))
            groups[block[root.node + base]] = Entrance((*before.ends, *led[root.node]), (*before.roots, root))
    return groups


def _dispatches(entered: Entered, store: str, block: list[int], base: int) -> Groups:
    """The ways to dispatch by one store."""
    groups = Groups()
    for way, end in enumerate(entered.dispatches.get(store, ())):
        roots = tuple(root for root in entered.roots if root.store == store and root.way == way)
        key = tuple((root.opcode, block[root.node + base]) for root in roots)
        before = groups.get(key, Entrance((), ()))
        groups[key] = Entrance((*before.ends, end), (*before.roots, *roots))
    return groups


def _matched(ours: Groups, theirs: Groups, looks: Iterable[Callable[[Entrance], Hashable]]) -> tuple[
        list[tuple[Entrance, Entrance]], tuple[list[Entrance], list[Entrance]]]:
    """Pairs: what is in one block, then what looks alike and like nothing else. And what is left over."""
    pairs = [(entrance, theirs[key]) for key, entrance in ours.items() if key in theirs]
    left = ([entrance for key, entrance in ours.items() if key not in theirs],
            [entrance for key, entrance in theirs.items() if key not in ours])

    def by_nothing(_: Entrance) -> Hashable:
        return None

    for look in (*looks, by_nothing):
        rows: tuple[dict[Hashable, list[Entrance]], dict[Hashable, list[Entrance]]] = ({}, {})
        for side in (0, 1):
            for entrance in left[side]:
                rows[side].setdefault(look(entrance), []).append(entrance)
        for seen, found in rows[0].items():
            others = rows[1].get(seen, [])
            if len(found) == 1 and len(others) == 1:
                pairs.append((found[0], others[0]))
                left[0].remove(found[0])
                left[1].remove(others[0])
    return pairs, left


Led = tuple[dict[int, list[End]], dict[int, list[End]]]
"""Per side, of `_led`."""


def _released(pair: tuple[Entrance, Entrance], left: tuple[list[Entrance], list[Entrance]],
              led: Led) -> tuple[Entrance, Entrance]:
    """A pair without the places, by their titles, that are on the other side among what is left; these are added to
    what is left, too. Of several places that did the same, one may do something else now."""
    titles = [{root.title for root in entrance.roots} for entrance in pair]
    both = list(pair)
    for side in (0, 1):
        going = {root.title for entrance in left[1 - side] for root in entrance.roots} & titles[side] - titles[1 - side]
        if going and going != titles[side]:
            left[side].append(_part(pair[side], going, True, led[side]))
            both[side] = _part(pair[side], going, False, led[side])
    return both[0], both[1]


def _parted(left: tuple[list[Entrance], list[Entrance]], led: Led) -> list[tuple[Entrance, Entrance]]:
    """The parts of places that have titles in common with one of the other side, taken out of what is left."""
    by_title: tuple[dict[str, list[int]], dict[str, list[int]]] = ({}, {})
    for entrances, places in zip(left, by_title):
        for number, entrance in enumerate(entrances):
            for title in dict.fromkeys(root.title for root in entrance.roots):
                places.setdefault(title, []).append(number)
    common: dict[tuple[int, int], set[str]] = {}
    for title, found in by_title[0].items():
        others = by_title[1].get(title, ())
        if len(found) == len(others) == 1:
            common.setdefault((found[0], others[0]), set()).add(title)
    pairs = [(_part(left[0][one], titles, True, led[0]), _part(left[1][other], titles, True, led[1]))
             for (one, other), titles in common.items()]
    taken = {title for titles in common.values() for title in titles}
    for side, entrances in enumerate(left):
        rests = [_part(entrance, taken, False, led[side]) for entrance in entrances]
        entrances[:] = [rest for rest in rests if rest.roots]
    return pairs


def _part(entrance: Entrance, titles: set[str], having: bool, led: dict[int, list[End]]) -> Entrance:
    """The places of an entrance that have one of these titles, or have none of them."""
    roots = tuple([root for root in entrance.roots if (root.title in titles) is having])
    return Entrance(tuple([end for root in roots for end in led[root.node]]), roots)


def _titles(entrance: Entrance) -> Hashable:
    return tuple(sorted({root.title for root in entrance.roots}))


def _addresses(entrance: Entrance) -> Hashable:
    return tuple(sorted({root.addresses for root in entrance.roots}))


# ---------------------------------------------------------------- the partition in which no way is cut


def _uncut(entered: tuple[Entered, Entered]) -> list[int]:
    """The block of every node, old ones first, when each end goes on at what it leads to."""
    graphs = (entered[0].graph, entered[1].graph)
    offset = len(graphs[0].vectors)
    dispatched: list[dict[End, list[tuple[int, int]]]] = []
    for side in entered:
        of_way: dict[tuple[str, int], list[tuple[int, int]]] = {}
        for root in side.roots:
            of_way.setdefault((root.store, root.way), []).append((root.opcode, root.node))
        dispatched.append({end: of_way.get((store, way), [])
                           for store, ends in side.dispatches.items() for way, end in enumerate(ends)})

    def onward(side: int, end: End) -> list[tuple[Hashable, int]]:
        plain = end._replace(left=())
        if end.kind in ("home", "wired"):
            return [("on", graphs[side].node(end.where))]
        return list(dispatched[side].get(plain, []))

    def called(side: int, end: End) -> Hashable:
        if end.kind in ("home", "wired"):
            return "on"
        if end.kind == "return":
            return "return", end.where
        told = end.kind == "dispatch" and end._replace(left=()) not in entered[side].untold
        return end.store if told else (side, end)

    return partition(graphs, offset, called, onward)


def partition(graphs: tuple[ControlGraph, ControlGraph], offset: int, called: Callable[[int, End], Hashable],
              onward: Callable[[int, End], list[tuple[Hashable, int]]]) -> list[int]:
    """The block of every node, old ones first. `called(side, end)`: what tells ends apart. `onward(side, end)`: where
    they go on all the same, each way with a name; nothing where the comparison is cut there. What an end leaves behind
    belongs to it."""

    steps: list[tuple[tuple[int, int, int], ...]] = []      # what is done, where it leads, when
    said: list[int] = []                                    # of ends: the number of all that is seen of it alone ...
    ways: list[tuple[int, ...]] = []                        # ... and where it goes on
    numbers: dict[Hashable, int] = {}
    for side, (graph, base) in enumerate(zip(graphs, (0, offset))):
        for node, rows in enumerate(graph.rows):
            steps.append(tuple([(row.does, row.target + base, row.guard) for row in rows]))
            looks, places = 0, tuple[int, ...]()
            if not rows:
                end = graph.ends[node]
                further = (*graph.also.get(node, ()), *onward(side, end))
                seen_alone = called(side, end), end.left, tuple([name for name, _ in further])
                looks, places = numbers.setdefault(seen_alone, len(numbers)), tuple([at + base for _, at in further])
            said.append(looks)
            ways.append(places)

    def targets(node: int) -> Iterable[int]:
        return [target for _, target, _ in steps[node]] or ways[node]

    either = graphs[0].places.either

    def signature(node: int, block: list[int]) -> Hashable:
        rows = steps[node]
        if not rows:
            return said[node], tuple([block[place] for place in ways[node]])
        if len(rows) == 1:
            return rows[0][0], block[rows[0][1]]
        seen: dict[tuple[int, int], int] = {}
        for does, target, guard in rows:
            key = (does, block[target])
            seen[key] = either(seen[key], guard) if key in seen else guard
        if len(seen) == 1:
            return next(iter(seen))
        return frozenset(seen.items())

    return coarsest(offset + len(graphs[1].vectors), signature, targets)
