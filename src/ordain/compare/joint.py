"""Both control graphs in one partition: what can be told apart, and what cannot."""

from typing import NamedTuple

from ordain.compare.correspondence import Correspondence, correspond
from ordain.compare.effects import Agreed, Meanings, agree, effects_of
from ordain.compare.graph import Bare, End, Graph
from ordain.compare.observation import Doings, Observer
from ordain.compare.orders import Orders
from ordain.compare.places import Places, Vector
from ordain.compare.refinement import coarsest
from ordain.compare.roots import Entered, Root, enter, returns
from ordain.compare.shown import Numbers, Shown, read_alike
from ordain.compare.side import Side, make_side
from ordain.logic.diagrams import Functions
from ordain.machine.expression import Node, Terms, leaves
from ordain.rom.contents import Contents


class Joint(NamedTuple):
    """`sides`, `entered`: old and new. `old_block[n]` == `new_block[m]`: node n of the old graph and node m of the new
    one do the same until the instruction is over; by `strict`, which holds the same for all nodes, old ones first, they
    leave the same return addresses behind, too. `paired`: boundary and wired roots that are the same entrance, old root
    -> new root."""

    correspondence: Correspondence
    terms: Terms
    functions: Functions
    sides: tuple[Side, Side]
    orders: tuple[Orders, Orders]
    agreed: Agreed
    entered: tuple[Entered, Entered]
    old_block: tuple[int, ...]
    new_block: tuple[int, ...]
    strict: tuple[int, ...]
    paired: dict[Root, Root]

    @property
    def graphs(self) -> tuple[Graph, Graph]:
        return self.entered[0].graph, self.entered[1].graph


def join(old: Contents, new: Contents) -> Joint:
    """Follow both graphs and find out which of their nodes do the same."""
    correspondence = correspond(old, new)
    terms = Terms()
    sides = (make_side(old, terms, correspondence.renames), make_side(new, terms))
    functions = Functions(leaves([term for side in sides for term in _all_terms(side, terms)]))
    meanings = (Meanings(terms, functions, sides[0], "before"), Meanings(terms, functions, sides[1], "after"))
    alike, numbers = read_alike(*sides), Numbers()
    shown = (Shown(sides[0], terms, functions, alike, "before", numbers),
             Shown(sides[1], terms, functions, alike, "after", numbers))
    agreed = agree(*sides, terms, meanings, _plain(sides, correspondence))
    orders = (Orders(sides[0], correspondence.pairing, True), Orders(sides[1], correspondence.pairing, False))
    entered = _entered(sides, terms, functions, meanings, shown, agreed, orders)
    paired = _paired(entered)
    blocks = _blocks(entered, paired, strictly=False)
    left_over = any(side.graph.ends[node].kind in ("home", "dispatch") for side in entered for node in side.graph.also)
    strict = _blocks(entered, paired, strictly=True) if left_over else blocks
    count = len(entered[0].graph.vectors)
    return Joint(correspondence, terms, functions, sides, orders, agreed, entered, tuple(blocks[:count]),
                 tuple(blocks[count:]), tuple(strict), paired)


def _all_terms(side: Side, terms: Terms) -> list[Node]:
    return [*side.sequencing.nexts.values(), *side.sequencing.stores.values(), *effects_of(side, terms).values()]


def _plain(sides: tuple[Side, Side], correspondence: Correspondence) -> tuple[frozenset[str], frozenset[str]]:
    """Per side the fields that are compared value by value and always mean something."""
    names = frozenset(
        name for name, (other, numbers) in correspondence.pairing.values.items()
        if name == other and numbers is None
        and all(side.machine.fields[name].idle != "any" and name not in side.sequencing.address_fields
                and side.machine.fields[name].store in side.sequencing.control for side in sides))
    return names, names


def _entered(sides: tuple[Side, Side], terms: Terms, functions: Functions, meanings: tuple[Meanings, Meanings],
             shown: tuple[Shown, Shown], agreed: Agreed, orders: tuple[Orders, Orders]) -> tuple[Entered, Entered]:
    """Both graphs. When some way returns to a caller that is not known, they are followed again, and every end then
    remembers the places that such a return could go to."""
    doings: Doings = {}
    places = [Places(side, terms, functions, meanings[mine], shown[mine]) for mine, side in enumerate(sides)]
    observers = [Observer(side, terms, agreed, mine, meanings[mine], shown[mine], orders[mine], doings)
                 for mine, side in enumerate(sides)]
    awaited: tuple[tuple[Vector, ...], ...] = ((), ())
    bare: list[Bare | None] = [None, None]
    while True:
        (first, bare[0]), (second, bare[1]) = (
            enter(side, terms, place, observer, waits, known)
            for side, place, observer, waits, known in zip(sides, places, observers, awaited, bare))
        found = (returns(first), returns(second))
        if places[0].pointers == places[1].pointers:
            both = tuple(dict.fromkeys((*found[0], *found[1])))
            found = (both, both)
        if all(set(now) <= set(before) for now, before in zip(found, awaited)):
            return first, second
        awaited = tuple(tuple(dict.fromkeys((*before, *now))) for before, now in zip(awaited, found))


def _paired(entered: tuple[Entered, Entered]) -> dict[Root, Root]:
    """Entrances without an opcode that are the same on both sides: of one title, else at one wired place."""
    pairs: dict[Root, Root] = {}
    for kind in ("boundary", "wired"):
        ours = [root for root in entered[0].roots if root.kind == kind]
        theirs = [root for root in entered[1].roots if root.kind == kind]

        def by_title(root: Root) -> object:
            return root.title

        def by_place(root: Root) -> object:
            return root.addresses

        for look in (by_title, by_place):
            rows = {look(root): root for root in theirs if root not in pairs.values()}
            for root in ours:
                if root not in pairs and look(root) in rows:
                    pairs[root] = rows.pop(look(root))
        left = [root for root in ours if root not in pairs]
        others = [root for root in theirs if root not in pairs.values()]
        if len(left) == 1 and len(others) == 1 and kind == "boundary":
            pairs[left[0]] = others[0]
    return pairs


def _blocks(entered: tuple[Entered, Entered], paired: dict[Root, Root], strictly: bool) -> list[int]:
    """The block of every node, old ones first. When control is interrupted, the place to return to belongs to what is
    compared; when the instruction is over, only `strictly` so."""
    graphs = [side.graph for side in entered]
    offset = len(graphs[0].vectors)
    symbols = (_symbols(entered[0], 0, list(paired)), _symbols(entered[1], 1, list(paired.values())))

    def local(node: int) -> tuple[int, Graph, int]:
        return (0, graphs[0], node) if node < offset else (1, graphs[1], node - offset)

    def targets(node: int) -> list[int]:
        side, graph, own = local(node)
        base = offset * side
        return [row.target + base for row in graph.rows[own]] + [held + base for _, held in kept(graph, own)]

    def kept(graph: Graph, own: int) -> tuple[tuple[str, int], ...]:
        found = graph.also.get(own, ())
        return found if strictly or not found or graph.ends[own].kind == "wired" else ()

    either = graphs[0].places.either

    def signature(node: int, block: list[int]) -> object:
        side, graph, own = local(node)
        base = offset * side
        rows = graph.rows[own]
        if len(rows) == 1:
            return (rows[0].does, block[rows[0].target + base])
        if not rows:
            held = tuple((who, block[place + base]) for who, place in kept(graph, own))
            return (symbols[side][graph.ends[own]], held)
        seen: dict[tuple[int, int], int] = {}
        for row in rows:
            key = (row.does, block[row.target + base])
            seen[key] = either(seen[key], row.guard) if key in seen else row.guard
        if len(seen) == 1:
            return next(iter(seen))
        return frozenset(seen.items())

    return coarsest(offset + len(graphs[1].vectors), signature, targets)


def _symbols(entered: Entered, side: int, pairs: list[Root]) -> dict[End, object]:
    """What each end is called, alike on both sides where it is the same end. `pairs`: this side's paired roots, in the
    order of the pairs."""
    graph = entered.graph
    numbers: dict[tuple[str, int], int] = {(root.kind, root.node): number for number, root in enumerate(pairs)}
    symbols: dict[End, object] = {}
    for end in graph.ends.values():
        if end.kind in ("home", "wired"):
            kind = "boundary" if end.kind == "home" else "wired"
            number = numbers.get((kind, graph.node(end.where)))
            symbols[end] = (side, end) if number is None else ("entrance", number)
        elif end.kind == "dispatch":
            symbols[end] = ("dispatch", end.store, entered.dispatches[end.store].index(end))
        elif end.kind == "return":
            symbols[end] = ("return", end.where)
        else:
            symbols[end] = (side, end)
    return symbols
