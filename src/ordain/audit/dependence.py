"""What depends on what within a cycle, and who takes a value: `docs/checks.md`, "What depends on what within a cycle".

Things are ("bus", name), ("store", name), ("memory", name) and ("latch", name); a field is its store. Of each is known
in which cycles it depends on what is asked about.
"""

from collections.abc import Iterable, Iterator, Mapping

from oxidd.bdd import BDDFunction

from ordain.audit.board import Board
from ordain.machine.expression import And, Const, If, Leaf, Node, Or, postorder
from ordain.machine.model import Bus, Driver, Register, Store

Thing = tuple[str, str]
Known = Mapping[Thing, BDDFunction]


def floating(board: Board, bus: Bus) -> Iterator[tuple[str, BDDFunction]]:
    """Cycles in which a bus has no level, and somebody takes it: who, and when."""
    if bus.undriven in ("wired-and", "wired-or"):
        return
    undriven = board.false if bus.undriven.startswith("pulled") else ~board.any_of(board.driven(bus))
    undriven |= _round(board, bus)
    if bus.undriven == "kept":
        driven = board.held(f"{bus.name} was driven", 1)
        board.memory[f"{bus.name} was driven"] = [driven[0] | ~undriven]
        undriven &= ~driven[0]
    for name, taken in _takers(board, {("bus", bus.name): undriven}):
        yield name, undriven & taken


def _round(board: Board, bus: Bus) -> BDDFunction:
    """Cycles in which one driver alone is on, and what it puts there depends on the bus; or who is on depends on it."""
    known = _depending(board, {("bus", bus.name): board.true}, True, latches=False)
    found, others = _looks(board, [driver.when for driver in bus.drivers], known), board.driven(bus)
    for at, driver in enumerate(bus.drivers):
        passed = _looks(board, _put(board, driver), known) | known.get(("bus", driver.follows), board.false)
        found |= passed & others[at] & ~board.any_of(others[:at] + others[at + 1:])
    return found


def outside(board: Board, store: Store) -> BDDFunction:
    """Cycles in which a mapping store gives a word that was not placed, and somebody takes it."""
    placed = board.at(store.name, board.contents.sites.get(store.name, {}))
    return ~placed & board.any_of(taken for _, taken in _takers(board, {("store", store.name): board.true}))


def feeding_itself(board: Board, latch: Register) -> BDDFunction:
    """Cycles in which a latch is open, and what it shows comes round to what it loads or to whether it does."""
    known = _depending(board, {("latch", latch.name): board.true}, True)
    return board.any_of(board.holds(load.when) for load in latch.loads) & _loads_look(board, latch, known)


def _takers(board: Board, sources: Known) -> Iterator[tuple[str, BDDFunction]]:
    """Who takes a source or what depends on it, and when."""
    machine, known = board.machine, _depending(board, sources, False)
    for register in machine.registers.values():
        yield register.name, _loads_look(board, register, known)
    for bus in machine.buses.values():
        there = known.get(("bus", bus.name), board.false)
        for sampler in bus.samplers:
            yield sampler.name, (board.holds(sampler.when) & there) | _looks(board, [sampler.when], known)
        for driver in bus.drivers:
            yield driver.name, _looks(board, [driver.when], known)
    for memory in machine.memories.values():
        for write in memory.writes:
            stored = board.holds(write.when) & _looks(board, [write.source, memory.address], known)
            yield memory.name, stored | _looks(board, [write.when], known)
    for state in machine.states.values():
        yield state.name, _looks(board, [state.next], known)
    for strobe in machine.strobes:
        yield strobe.name, _looks(board, [strobe.active], known)


def _depending(board: Board, sources: Known, acting: bool, latches: bool = True) -> Known:
    """Everything that depends on a source; `acting`: also by who is enabled and, with `latches`, through open ones."""
    known, before = dict(sources), dict[Thing, BDDFunction]()
    while known != before:
        before = dict(known)
        for thing, cycles in _ways(board, known, acting):
            if (latches or thing[0] != "latch") and thing not in sources and cycles.satisfiable():
                known[thing] = cycles
    return known


def _ways(board: Board, known: Known, acting: bool) -> Iterator[tuple[Thing, BDDFunction]]:
    machine = board.machine
    for store in machine.stores.values():
        yield ("store", store.name), _looks(board, [store.address], known)
    for memory in machine.memories.values():
        yield ("memory", memory.name), _looks(board, [memory.address], known)
    for bus in machine.buses.values():
        ways = []
        for driver in bus.drivers:
            passed = _looks(board, _put(board, driver), known) | known.get(("bus", driver.follows), board.false)
            ways.append(board.holds(driver.when) & passed)
        if acting:
            ways.append(_looks(board, [driver.when for driver in bus.drivers], known))
        yield ("bus", bus.name), board.any_of(ways)
    for register in machine.registers.values():
        if acting and register.transparent:
            yield ("latch", register.name), _loads_look(board, register, known)


def _loads_look(board: Board, register: Register, known: Known) -> BDDFunction:
    """Whether it loads depends on what is known; or it does load, and what it loads depends on it."""
    found = [_looks(board, [load.when for load in register.loads], known)]
    found += [board.holds(load.when) & _looks(board, [load.source], known) for load in register.loads
              if load.source is not None]
    return board.any_of(found)


def _put(board: Board, driver: Driver) -> list[Node]:
    """What a driver puts on its bus, as far as it can depend on anything within a cycle."""
    machine, terms, name = board.machine, board.machine.terms, driver.name
    if driver.value is not None:
        return [driver.value]
    if name in machine.registers:
        return [terms.leaf("register", name, machine.registers[name].width)]
    if name in machine.fields:
        return [terms.leaf("field", name, machine.fields[name].width)]
    if name in machine.stores:
        return [terms.leaf("word", name, machine.stores[name].bits)]
    if name in machine.memories:
        return [terms.leaf("free", name, machine.memories[name].bits)]
    return [machine.signals[name].value] if name in machine.signals else []


def _looks(board: Board, roots: Iterable[Node], known: Known) -> BDDFunction:
    """Cycles in which the value of a root can depend on something known. A choice depends on what is chosen, and on
    what it is chosen by, unless states and words make both sides the same; an `and` or `or` of single bits not on a
    side while another side alone decides; everything else on all its parts."""
    roots = list(roots)
    looks: dict[Node, BDDFunction] = {}
    plain: set[Node] = set()
    for node in postorder(roots):
        below = [looks[arg] for arg in node.args]
        if isinstance(node, Const) or (isinstance(node, Leaf) and node.kind in ("state", "field", "word", "address")) \
                or (node.args and all(arg in plain for arg in node.args)):
            plain.add(node)
        if isinstance(node, Leaf):
            looks[node] = known.get(_thing(board, node), board.false)
        elif isinstance(node, If):
            by, yes, no = below
            when = board.holds(node.args[0])
            differ = board.true
            if node.args[1] in plain and node.args[2] in plain:
                sides = zip(board.bits(node.args[1]), board.bits(node.args[2]), strict=True)
                differ = yes | no | board.any_of(a ^ b for a, b in sides)
            looks[node] = (by & differ) | (when & yes) | (~when & no)
        elif node.width == 1 and isinstance(node, And | Or):
            open_ = board.true
            for arg, look in zip(node.args, below, strict=True):
                open_ &= look | (board.holds(arg) if isinstance(node, And) else ~board.holds(arg))
            looks[node] = board.any_of(below) & open_
        else:
            looks[node] = board.any_of(below)
    return board.any_of(looks[root] for root in roots)


def _thing(board: Board, leaf: Leaf) -> Thing:
    if leaf.kind == "field":
        return "store", board.machine.fields[leaf.name].store
    kinds = {"word": "store", "address": "store", "free": "memory", "register": "latch"}
    return kinds.get(leaf.kind, leaf.kind), leaf.name
