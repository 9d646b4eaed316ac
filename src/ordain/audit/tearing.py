"""Which word may follow which where arms of an instruction stand side by side: `docs/checks.md`, "Torn", once more.

A store that is addressed by instruction and step has *columns*: one for each level of all its other address lines, and
in it a cell for each step. Words of instructions and of their prologue stand in cells.
"""

from collections.abc import Iterator

from oxidd.bdd import BDDFunction

from ordain.audit.board import Board
from ordain.machine.model import Store
from ordain.rom.contents import Contents, Site

PROLOGUE = "prologue"

Column = tuple[Site | None, ...]
"""The words of a text in the cells of one column."""


def torn(board: Board, store: Store) -> BDDFunction:
    """Cycles in which a word is presented that must not follow the one of the cycle before. What is remembered is which
    words must not follow: 0 where all may, else the number of a set of cells."""
    groups: dict[frozenset[int], list[int]] = {}
    for cell, others in wrong(board.contents, store):
        groups.setdefault(others, []).append(cell)
    name, width = f"must not follow in {store.name}", len(groups).bit_length()
    held, left = board.held(name, width), [board.false] * width
    found = board.false
    for number, (others, cells) in enumerate(groups.items(), 1):
        here = board.at(store.name, cells)
        left = [bit | here if number >> place & 1 else bit for place, bit in enumerate(left)]
        found |= board.among(held, (number,)) & board.at(store.name, others)
    board.memory[name] = left
    return found


def wrong(contents: Contents, store: Store) -> Iterator[tuple[int, frozenset[int]]]:
    """Every cell, by address, with the cells that must not come after it, if there are any."""
    assert store.step is not None
    low, all_steps, steps = store.step[1], 1 << store.step[0] - store.step[1] + 1, store.steps
    alike: dict[tuple[object, ...], list[int]] = {}
    columns: list[Column] = []
    for first in range(1 << store.address_width):
        if not first & all_steps - 1 << low:
            column = _column(contents, store.name, [first | step << low for step in steps])
            told = tuple(cell and (cell.word, cell.bits) for cell in column)
            if told not in alike:
                columns.append(column)
            alike.setdefault(told, []).append(first)
    for column, own in zip(columns, alike.values()):
        for step, cell in enumerate(column):
            if cell is None:
                continue
            others = [first | steps[at] << low for other, firsts in zip(columns, alike.values())
                      for at in (step, step + 1)
                      if at < len(steps) and (other is not column or at > step) and _of_one_text(cell, other[at])
                      and not _before(column, other, at) and not _behind(column, other, at)
                      for first in firsts]
            if others:
                yield from ((first | steps[step] << low, frozenset(others)) for first in own)


def _column(contents: Contents, store: str, addresses: list[int]) -> Column:
    sites = contents.sites.get(store, {})
    return tuple(site if (site := sites.get(at)) is not None and site.following is not None else None
                 for at in addresses)


def _of_one_text(cell: Site, other: Site | None) -> bool:
    return other is not None and (cell.owner == other.owner
                                  or PROLOGUE in (cell.owner, other.owner))


def _meet(column: Column, other: Column, step: int) -> bool:
    """Whether control may go over to another column with this step, whatever was before: with each an instruction can
    begin, and after each it can be over."""
    if step in (0, len(column)):
        return True
    own, theirs, last = column[step], other[step], column[step - 1]
    if own is None or theirs is None or last is None:
        return False
    return own.word == theirs.word or theirs.word in (last.following or ())


def _before(column: Column, other: Column, step: int) -> bool:
    """They meet here, or have met before and what was executed since serves for what stands in the other."""
    return _meet(column, other, step) or (
        _serves(column[step - 1], other[step - 1]) and _before(column, other, step - 1))


def _behind(column: Column, other: Column, step: int) -> bool:
    """They will meet, and what is executed until then serves for what would have been."""
    return step < len(column) and _serves(other[step], column[step]) and (
        _meet(column, other, step + 1) or _behind(column, other, step + 1))


def _serves(executed: Site | None, meant: Site | None) -> bool:
    """The same bits, but for those that what is meant leaves open."""
    if executed is None or meant is None:
        return executed is meant
    return not (executed.bits ^ meant.bits) & ~meant.open
