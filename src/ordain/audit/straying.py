"""Words that control must not come to by way of an address that another holds: `strays` in `docs/checks.md`."""

from oxidd.bdd import BDDFunction

from ordain.audit.board import Board
from ordain.machine.model import Store


def strays(board: Board, store: Store) -> BDDFunction | None:
    """Cycles in which a word of this store is presented that one some cycles before could lead to and does not name.
    What is remembered of each of these cycles is where that word could lead: 0 to none such, else the number of a set
    of addresses. None where no word could."""
    ways: dict[tuple[str, int], dict[frozenset[int], list[int]]] = {}
    for name, sites in board.contents.sites.items():
        for address, site in sites.items():
            for there, cycles, others, _ in site.strays:
                if there == store.name:
                    ways.setdefault((name, cycles), {}).setdefault(others, []).append(address)
    found = board.false
    for (name, cycles), groups in ways.items():
        width = len(groups).bit_length()
        left = [board.any_of(board.at(name, cells) for number, cells in enumerate(groups.values(), 1)
                             if number >> bit & 1) for bit in range(width)]
        for back in range(1, cycles + 1):
            remembered = f"left {name} {back} ago for {store.name} in {cycles}"
            held = board.held(remembered, width)
            board.memory[remembered] = left
            left = held
        for number, others in enumerate(groups, 1):
            found |= board.among(left, (number,)) & board.at(store.name, others)
    return found if ways else None
