"""Words that control must not come to by way of an address that another holds: `strays` in `docs/checks.md`."""

from collections.abc import Collection, Mapping

from oxidd.bdd import BDDFunction

from ordain.audit.board import Board
from ordain.machine.expression import Join, Node, Slice, leaves, substitute
from ordain.machine.model import Store


def strays(board: Board, store: Store) -> BDDFunction | None:
    """Cycles in which a word of this store is presented that one some cycles before could lead to and does not name.
    What is remembered of each of these cycles is where that word could lead: 0 to none such, else the number of a set
    of addresses. The same of starts of instructions, in cycles in which an instruction is begun. None where nothing
    could."""
    ways: dict[tuple[str, int], dict[int, set[int]]] = {}
    for name, sites in board.contents.sites.items():
        for address, site in sites.items():
            for there, cycles, others, _ in site.strays:
                if there == store.name:
                    ways.setdefault((name, cycles), {}).setdefault(address, set()).update(others)
    found = board.false
    for (name, cycles), led in ways.items():
        here = board.bits(board.machine.stores[name].address)
        found |= _wrong(board, store, f"left {name}", here, cycles, led)
    starts = [dispatch for dispatch in board.contents.dispatches if dispatch[0] == store.name]
    for _, by, cycles, wrong in starts:
        node = store.opcode if by == store.name else board.machine.stores[by].address
        assert node is not None
        found |= _begun(board, store, by, cycles) & _wrong(board, store, f"begun by {by}", board.bits(node), cycles,
                                                           wrong)
    return found if ways or starts else None


def _wrong(board: Board, store: Store, what: str, here: list[BDDFunction], cycles: int,
           wrong: Mapping[int, Collection[int]]) -> BDDFunction:
    """The store is shown an address that is wrong so many cycles after a number had some value. `wrong`: by value."""
    groups: dict[tuple[int, ...], list[int]] = {}
    for value, others in wrong.items():
        groups.setdefault(tuple(sorted(others)), []).append(value)
    width = len(groups).bit_length()
    left = [board.any_of(board.among(here, values) for number, values in enumerate(groups.values(), 1)
                         if number >> bit & 1) for bit in range(width)]
    for back in range(1, cycles + 1):
        remembered = f"{what} {back} ago for {store.name} in {cycles}"
        held = board.held(remembered, width)
        board.memory[remembered] = left
        left = held
    return board.any_of(board.among(left, (number,)) & board.at(store.name, others)
                        for number, others in enumerate(groups, 1))


def _begun(board: Board, store: Store, by: str, cycles: int) -> BDDFunction:
    """The store would be shown another address, had all lines of what led there been turned so many cycles before."""
    terms = board.machine.terms
    turned: dict[Node, Node] = {}
    if by == store.name:
        assert store.opcode is not None
        for part in store.opcode.args if type(store.opcode) is Join else (store.opcode,):
            leaf, low = (part.args[0], part.low) if type(part) is Slice else (part, 0)
            lines = terms.const((1 << part.width) - 1 << low, leaf.width)
            turned[leaf] = terms.xor(turned.get(leaf, leaf), lines)
    else:
        word = terms.leaf("word", by, board.machine.stores[by].bits)
        turned[word] = terms.not_(word)
    formed = board.bits(store.address)
    other = board.bits(_otherwise(board, store.address, turned, cycles, f"by {by} for {store.name}"))
    return board.any_of(a ^ b for a, b in zip(formed, other, strict=True))


def _otherwise(board: Board, node: Node, turned: Mapping[Node, Node], cycles: int, why: str) -> Node:
    """A term as it would be; of states and registers it is remembered what they would hold."""
    terms, machine = board.machine.terms, board.machine
    proms: dict[Node, Node] = {terms.leaf("word", store.name, store.bits): store.computed
                               for store in machine.stores.values() if store.computed is not None}
    while not proms.keys().isdisjoint(leaves((node,))):     # what they make of it, too
        node = substitute(terms, (node,), proms)[0]
    node = _open(board, node)
    if cycles == 0:
        return substitute(terms, (node,), turned)[0]
    stand: dict[Node, Node] = {}
    for leaf in leaves((node,)):
        if leaf.kind == "state":
            bits = board.bits(_otherwise(board, machine.states[leaf.name].next, turned, cycles - 1, why))
        elif leaf.kind == "register":
            register = machine.registers[leaf.name]
            bits = board.loaded(register._replace(loads=tuple(load._replace(
                when=_otherwise(board, load.when, turned, cycles - 1, why),
                source=None if load.source is None else _otherwise(board, load.source, turned, cycles - 1, why))
                for load in register.loads)))
        else:
            continue
        name = f"{leaf.name} {cycles} {why}"
        stand[leaf] = board.stands_for(name, leaf.width)
        board.memory[name] = bits
    return substitute(terms, (node,), stand)[0]


def _open(board: Board, node: Node) -> Node:
    """A term over what its latches load, where they are open; they themselves are what they keep else."""
    terms = board.machine.terms
    latches = [register for register in board.machine.registers.values() if register.transparent]
    for _ in latches:
        shown: dict[Node, Node] = {}
        for latch in latches:
            leaf = terms.leaf("register", latch.name, latch.width)
            shown[leaf] = terms.leaf("free", f"what {latch.name} keeps", latch.width)
            for load in latch.loads:
                shown[leaf] = terms.if_(load.when, leaf if load.source is None else load.source, shown[leaf])
        node = substitute(terms, (node,), shown)[0]
    return substitute(terms, (node,), {terms.leaf("free", f"what {latch.name} keeps", latch.width): terms.leaf(
        "register", latch.name, latch.width) for latch in latches})[0] if latches else node
