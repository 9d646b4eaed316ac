"""Where control enters a microprogram from outside: reset, the instruction boundary, every instruction, every row of a
mapping store, every place wired into the sequencer. Found by following the graph until nothing new turns up."""

from collections.abc import Iterable
from typing import Literal, NamedTuple

from ordain.compare.graph import Bare, ControlGraph, End, Recalled
from ordain.compare.observation import Observer
from ordain.compare.places import Places, Vector, partly_known
from ordain.compare.side import Side
from ordain.control.sequencing import Origin, origins
from ordain.machine.expression import Const, Leaf, Node, Terms, leaves, substitute
from ordain.rom.contents import word_name

MOST_COMBINATIONS = 65_536
"""Places that one return can lead to."""

NO_OPCODE = -1

Kind = Literal["reset", "boundary", "wired", "row", "instruction"]


class Root(NamedTuple):
    """One entrance. `store` and `opcode`: by whose word it is dispatched, and for which value; "" and none otherwise.
    `way`: which of several ends of one kind (and store) leads there. `title`: what people call it there. `addresses`:
    its first words."""

    kind: Kind
    store: str
    opcode: int
    way: int
    title: str
    node: int
    addresses: tuple[int, ...]


class Entered(NamedTuple):
    """A graph that was followed from all its entrances. `dispatches`: the ends that dispatch, in order per store, less
    what they leave behind; `untold`: those of them of which it is not known for every opcode where it leads."""

    graph: ControlGraph
    roots: tuple[Root, ...]
    dispatches: dict[str, tuple[End, ...]]
    untold: frozenset[End]


def enter(side: Side, terms: Terms, places: Places, observer: Observer,
          awaited: tuple[Vector, ...] = (), bare: Bare | None = None,
          recalled: Recalled | None = None) -> tuple[Entered, Bare]:
    """Follow the side's graph from everywhere it is entered: bare, then in full. `bare`: of an earlier call."""
    if bare is None:
        bare = follow_bare(ControlGraph(side, terms, places, observer, recalled=recalled), terms)
    bare = bare._replace(wanted=wanted(bare, awaited, places))
    graph = ControlGraph(side, terms, places, observer, awaited, bare, recalled)
    search = _Search(graph, terms)
    search.run()
    return Entered(graph, search.roots(), search.dispatches, frozenset(search.untold)), bare


def returns(entered: Entered) -> tuple[Vector, ...]:
    """The vectors at which a way ends in a return to a caller that is not known."""
    found = {end.where: None for end in entered.graph.ends.values() if end.kind == "return"}
    return tuple(found)


def follow_bare(graph: ControlGraph, terms: Terms) -> Bare:
    """The first round, with every place to which some return could lead."""
    search = _Search(graph, terms)
    resumed: dict[int, dict[int, None]] = {}
    count = -1
    while count != len(graph.vectors):
        count = len(graph.vectors)
        search.run()
        handed = _handed(graph)
        for node, end in list(graph.ends.items()):
            if end.kind == "return":
                for values in _combinations(graph.steers(end.where), handed):
                    place = graph.returned(end.where, values)
                    if place is not None:
                        resumed.setdefault(node, {})[graph.node(place)] = None
    return Bare(graph.moves, {}, graph, {node: tuple(places) for node, places in resumed.items()})


def _handed(graph: ControlGraph) -> dict[Node, dict[Node, None]]:
    """Every place that some word puts into a pointer that does not itself make the address."""
    handed: dict[Node, dict[Node, None]] = {leaf: {} for leaf in graph.places.pointers
                                            if leaf not in graph.places.steering}
    passed: set[tuple[Node, Node]] = set()
    for moves in graph.moves.values():
        for move in moves if isinstance(moves, list) else ():
            for leaf, value in zip(graph.places.pointers, move.vector):
                if leaf in handed and type(value) is Const:
                    handed[leaf][value] = None
                elif leaf in handed and value in handed:
                    passed.add((leaf, value))
    for _ in handed:
        for taker, source in passed:
            handed[taker].update(handed[source])
    return handed


def _combinations(steering: Vector, handed: dict[Node, dict[Node, None]]) -> list[dict[Leaf, Node]]:
    """Values for the pointers that say where a return goes."""
    wanted = [leaf for leaf in leaves(steering) if handed.get(leaf)]
    result: list[dict[Leaf, Node]] = [{}]
    for leaf in wanted:
        if len(result) * len(handed[leaf]) > MOST_COMBINATIONS:
            return result
        result = [{**values, leaf: value} for values in result for value in handed[leaf]]
    return result


def wanted(bare: Bare, awaited: tuple[Vector, ...], places: Places) -> dict[Vector, frozenset[Leaf]]:
    """Per bare vector the leaves about which somebody may still ask, before they get another value."""
    graph = bare.graph
    bit = {leaf: 1 << number for number, leaf in enumerate(places.leaves)}

    def mask(found: Iterable[Leaf]) -> int:
        return sum(bit[leaf] for leaf in found if leaf in bit)

    remembered = mask({*leaves([value for vector in awaited for value in vector]), *places.counting})
    count = len(graph.vectors)
    live, keeps = [0] * count, [0] * count
    users: list[list[int]] = [[] for _ in range(count)]
    masks: dict[frozenset[Leaf], int] = {}
    for node in range(count):
        moves = graph.moves.get(graph.vectors[node], [])
        for move in moves if isinstance(moves, list) else []:
            for found in (move.asks, move.keeps):
                if found not in masks:
                    masks[found] = mask(found)
            live[node] |= masks[move.asks]
            keeps[node] |= masks[move.keeps]
        for row in graph.rows[node]:
            users[row.target].append(node)
    for node in graph.ends:     # what the end is about is asked about by the words that lead there
        live[node] = remembered
        keeps[node] = -1
        for place in bare.resumed.get(node, ()):
            users[place].append(node)
    waiting = [node for node in range(count) if live[node]]
    while waiting:
        node = waiting.pop()
        for user in users[node]:
            more = live[node] & keeps[user] & ~live[user]
            if more:
                live[user] |= more
                waiting.append(user)
    sets: dict[int, frozenset[Leaf]] = {}
    result: dict[Vector, frozenset[Leaf]] = {}
    for node, vector in enumerate(graph.vectors):
        if node in graph.ends and graph.ends[node].kind in ("home", "wired"):
            continue                                # the place itself may be followed by another node
        if live[node] not in sets:
            sets[live[node]] = frozenset(leaf for leaf in places.leaves if bit[leaf] & live[node])
        result[vector] = sets[live[node]]
    return result


def opcode_of(side: Side, store: str, terms: Terms) -> Node:
    """What instructions (or rows) of a store are numbered by: the address of a mapping store, what wired starts are
    formed from (0 for bits that they leave out), or the part of a control address that names the instruction."""
    sequencing, model = side.sequencing, side.machine.stores[store]
    if store in sequencing.mappings:
        return sequencing.stores[store]
    if store in sequencing.wired:
        assert model.opcode is not None
        used = origins(sequencing.wired[store])
        return terms.join([terms.slice(model.opcode, bit, bit) if line in used else terms.const(0, 1)
                           for bit, line in reversed([*enumerate(origins(model.opcode))])])
    assert model.instruction is not None
    return terms.slice(sequencing.stores[store], *model.instruction)


class _Search:
    """Entrances lead to ends, and ends are entrances."""

    def __init__(self, graph: ControlGraph, terms: Terms) -> None:
        self._graph, self._terms = graph, terms
        self._side, self._places = graph.side, graph.places
        self._found: dict[tuple[Kind, str, int, int], int] = {}
        self._done: set[End] = set()
        self.dispatches: dict[str, tuple[End, ...]] = {}
        self.untold: set[End] = set()

    def run(self) -> None:
        """Follow everything until nothing new turns up."""
        self._found["reset", "", NO_OPCODE, 0] = self._graph.enter(self._reset())
        while True:
            self._graph.follow()
            fresh = [end for end in dict.fromkeys(end._replace(left=()) for end in self._graph.ends.values())
                     if end not in self._done] or self._plain_dispatches()
            if not fresh:
                return
            for end in fresh:
                self._done.add(end)
                if end.kind in ("home", "wired"):
                    kind: Kind = "boundary" if end.kind == "home" else "wired"
                    number = sum(found[0] == kind for found in self._found)
                    self._found[kind, "", NO_OPCODE, number] = self._graph.node(end.where)
                elif end.kind == "dispatch":
                    self._enter_all(end, self._note_dispatch(end))

    def _reset(self) -> Vector:
        machine = self._side.machine
        vector: list[Node] = []
        for leaf in self._places.leaves:
            item = machine.states[leaf.name] if leaf.kind == "state" else machine.registers[leaf.name]
            if leaf in self._places.opcodes:
                vector.append(leaf)
            elif item.reset is None and leaf in self._places.pointers:  # no word has left it behind
                vector.append(self._places.at_reset[leaf])
            else:
                vector.append(leaf if item.reset is None else self._terms.const(item.reset, leaf.width))
        return tuple(vector)

    # ------------------------------------------------------------ dispatch

    def _note_dispatch(self, end: End) -> int:
        before = self.dispatches.get(end.store, ())
        self.dispatches[end.store] = (*before, end)
        return len(before)

    def _plain_dispatches(self) -> list[End]:
        """Those that no word was seen to do, whatever becomes of the opcode then."""
        pointers = len(self._places.pointers)
        plain = [End("dispatch", store, where) for store in self._side.sequencing.mappings
                 if (where := self._plain_dispatch(store)) is not None]
        return [end for end in plain if not any(
            end.where[:pointers] == seen.where[:pointers] for seen in self.dispatches.get(end.store, ()))]

    def _plain_dispatch(self, store: str) -> Vector | None:
        """A dispatch through a store that holds whole start addresses, even if no word was seen to do it yet."""
        sequencing, model = self._side.sequencing, self._side.machine.stores[store]
        addresses = {sequencing.stores[name] for name in sequencing.control}
        counters = [leaf for leaf in self._places.pointers if leaf in addresses and leaf.width == model.bits]
        if model.fill != "start" or len(counters) != 1:
            return None
        word = self._terms.leaf("word", store, model.bits)
        return tuple(word if leaf is counters[0] else leaf for leaf in self._places.leaves)

    def _enter_all(self, end: End, number: int) -> None:
        """Enter every instruction (or row) that a dispatch can lead to."""
        lines, words = self._lines(end)
        row_kind: Kind = "row" if self._side.machine.stores[end.store].fill == "map" else "instruction"
        steered = any(leaf in self._places.steering for leaf in self._places.opcodes)
        by_word = words if self._graph.bare is None and not steered else None      # what else is known is forgotten
        nodes: dict[int, int] = {}
        bound = self._places.bound
        for opcode in range(1 << len(lines)):
            if by_word is not None and by_word[opcode] in nodes:
                self._found[row_kind, end.store, opcode, number] = nodes[by_word[opcode]]
                continue
            if (lines, opcode) not in bound:
                bound[lines, opcode] = self._binding(lines, opcode)
            known = bound[lines, opcode]
            if known is None:
                continue
            loaded = {anew: leaf for leaf, anew in self._places.since.items()}
            known = {**known, **loaded, **(self._mapped(end.store, words[opcode]) if words is not None else {})}
            target = substitute(self._terms, end.where, known)
            if any(type(value) is not Const for value, leaf in zip(target, self._places.leaves)
                   if leaf in self._places.steering and leaf in self._places.placed):
                self.untold.add(end)
                continue
            node = self._found[row_kind, end.store, opcode, number] = self._graph.enter(target)
            if by_word is not None:
                nodes[by_word[opcode]] = node

    def _lines(self, end: End) -> tuple[tuple[Origin, ...], tuple[int, ...] | None]:
        """Where each bit of an opcode comes from, lowest first, as gates stand at that end; and for a mapping store its
        words by opcode."""
        sequencing, store = self._side.sequencing, end.store
        opcode = opcode_of(self._side, store, self._terms)
        if store in sequencing.mappings:
            return origins(opcode), self._side.contents.words[store]
        known: dict[Node, Node] = {leaf: value for leaf, value in zip(self._places.leaves, end.where)
                                   if type(value) is Const}
        return origins(substitute(self._terms, (opcode,), known)[0]), None

    def _binding(self, lines: tuple[Origin, ...], opcode: int) -> dict[Node, Node] | None:
        """The opcode leaves when their bits say `opcode`; None where none can: a line is tied the other way."""
        levels: dict[Leaf, dict[int, int]] = {}
        for position, line in enumerate(lines):
            level = opcode >> position & 1
            if isinstance(line, int):
                if line != level:
                    return None
            elif isinstance(line, tuple) and line[0] in self._places.opcodes:
                levels.setdefault(line[0], {})[line[1]] = level
        return {leaf: partly_known(self._terms, leaf, bits) for leaf, bits in levels.items()}

    def _mapped(self, store: str, word: int) -> dict[Node, Node]:
        """What is read from a mapping store when it shows `word`."""
        machine = self._side.machine
        known: dict[Node, Node] = {
            self._terms.leaf("word", store, machine.stores[store].bits): self._terms.const(
                word, machine.stores[store].bits)}
        for name in machine.stores[store].fields:
            low, mask, turn = self._side.readers[name]
            width = machine.fields[name].width
            known[self._terms.leaf("field", name, width)] = self._terms.const(word >> low & mask ^ turn, width)
        return known

    # ------------------------------------------------------------ names

    def roots(self) -> tuple[Root, ...]:
        titles = Titles(self._side)
        made: list[Root] = []
        for (kind, store, opcode, way), node in self._found.items():
            addresses = tuple(sorted({address for row in self._graph.rows[node] for _, address in row.addresses}))
            made.append(Root(kind, store, opcode, way, titles.of(node, self._graph, kind, self._said(store, opcode)),
                             node, addresses))
        return tuple(made)

    def _said(self, store: str, opcode: int) -> str:
        """What a mapping store says of an opcode in the text."""
        site = self._side.contents.sites[store].get(opcode) if store in self._side.sequencing.mappings else None
        return "" if site is None else site.text


class Titles:
    """What people call a place: the instruction or routine that begins there, a label, or a word within one."""

    def __init__(self, side: Side) -> None:
        self._side = side

    def of(self, node: int, graph: ControlGraph, kind: str = "", said: str = "") -> str:
        """The title of a node's first word. `said`: what it is to be called if one of several words that may act there
        is called so: lines that are not known choose between them."""
        end = graph.ends.get(node)
        if end is not None:
            there = graph.met(end.where) if end.kind == "wired" else None
            return end_title(end, self) if there is None or there in graph.ends else f"{self.of(there, graph)} (wired)"
        places = [place for row in graph.rows[node] for place in row.addresses]
        sites = [self._side.contents.sites.get(store, {}).get(address) for store, address in places]
        if said and any(site is not None and said in (site.owner, site.name) for site in sites):
            return said
        for (store, address), site in zip(places, sites):
            if site is not None and kind == "instruction":
                return site.owner
            if site is not None:
                return self.at(store, address)
        return self.at(*places[0])

    def owner(self, node: int, graph: ControlGraph) -> str:
        """The body to which a node's words belong, "" where nothing was placed."""
        for row in graph.rows[node]:
            for store, address in row.addresses:
                site = self._side.contents.sites.get(store, {}).get(address)
                if site is not None:
                    return site.owner
        return ""

    def at(self, store: str, address: int) -> str:
        """The title of one address: `fetch`, `hold.wait+2`, or its number where nothing was placed."""
        return word_name(self._side.contents, store, address) or f"{store} {address:X}"


def end_title(end: End, titles: Titles) -> str:
    """What people call an end."""
    match end.kind:
        case "home":
            return "the instruction boundary"
        case "dispatch":
            return "the next instruction"
        case "return":
            names = sorted({leaf.name for leaf in leaves(end.where)})
            return f"the caller ({', '.join(names)})"
        case "wired":
            return "a wired place"
        case _:
            return "a place that cannot be told"
