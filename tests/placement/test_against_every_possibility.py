"""Placement against an oracle that tries everything, on stores of at most eight words.

What counts as a placement: a word stands at its fixed addresses; each distinct block
and each label in a field that holds only a part of an address asks for a place; what must stand in a row follows each
word wherever it stands; words that nothing else places stand once. Pages never ask for a copy.
"""

from collections.abc import Iterator, Sequence
from itertools import product
from random import Random
from unittest.mock import patch

import pytest

from ordain.microprogram.model import Microinstruction, Program, Target
from ordain.placement.model import Placement
from ordain.placement.place import place
from ordain.placement.quick import Stuck
from ordain.text.findings import has_errors
from tests.placement import by_hand

CASES = 100
BITS = {"whole": (0, 0), "short": (1, 0), "even": (0, 1), "middle": (1, 1)}
"""How many high and low address bits a field leaves out."""


def zeros_of(field: str, width: int, targets: int, page: bool) -> int:
    """The address bits that must be 0 in what the field holds, were it the only one."""
    high, low = BITS[field]
    if width == 1:
        high = low = 0
    if width == 2 and field == "middle":
        high, low = 0, 1
    top = ((1 << width) - 1) - ((1 << (width - high)) - 1)
    return (0 if page else top) | (1 << low) - 1 | targets - 1


def zeros_in(word: Microinstruction, target: Target, width: int, targets: int, page: bool) -> int:
    """The address bits that must be 0: what one field of a word does not hold may be in another that names the same."""
    zeros = (1 << width) - 1
    for field, other in word.targets:
        if other == target:
            zeros &= zeros_of(field, width, 1, page)
    return zeros | targets - 1


def page_of(word: Microinstruction, target: Target, width: int) -> int | None:
    """The page size, as a power of two, that a page reference asks for."""
    top = zeros_in(word, target, width, 1, False) >> (width - 1) & 1
    return width - 1 if top and target.rest == "page" else None


def lay_row(cells: dict[int, int], program: Program, first: int, base: int, size: int) -> bool:
    """Word `first` at `base` and all that must follow; False where something else stands or the store or the counter's
    lap ends."""
    lap = 1 << program.counting.get("control", 30)
    todo = [(first, base)]
    while todo:
        word, address = todo.pop()
        if address >= size or cells.setdefault(address, word) != word:
            return False
        for step in range(1, program.words[word].succeeds + 1):
            if (address + step) // lap != address // lap:
                return False
            todo.append((word + step, address + step))
    return True


def asked(program: Program, width: int) -> list[tuple[tuple[int, ...], int]]:
    """The distinct (words of a block, address bits that must be 0 at its start)."""
    found: dict[tuple[tuple[int, ...], int], None] = {}
    for index, word in enumerate(program.words):
        for _, target in word.targets:
            named = tuple(program.labels[label] for label in target.labels) or (index + 1,)
            zeros = zeros_in(word, target, width, len(named), target.rest == "page")
            if zeros:
                found[named, zeros] = None
    for body in program.bodies:
        if body.align > 1:
            found[(body.first,), body.align - 1] = None
    return list(found)


def rows_left(cells: dict[int, int], program: Program, size: int, at: int = 0) -> Iterator[dict[int, int]]:
    """All ways to add the words that stand nowhere yet."""
    while at < len(program.words) and at in cells.values():
        at += 1
    if at == len(program.words):
        yield cells
        return
    for base in range(size):
        more = dict(cells)
        if lay_row(more, program, at, base, size):
            yield from rows_left(more, program, size, at + 1)


def bonds_hold(cells: dict[int, int], program: Program, width: int) -> bool:
    places: dict[int, list[int]] = {}
    for address, word in cells.items():
        places.setdefault(word, []).append(address)
    for index, word in enumerate(program.words):
        for _, target in word.targets:
            size = page_of(word, target, width)
            if size is not None:
                named = program.labels[target.labels[0]] if target.labels else index + 1
                zeros = zeros_in(word, target, width, 1, True)
                suiting = [address >> size for address in places[named] if not address & zeros]
                if any(address >> size not in suiting for address in places[index]):
                    return False
    for body in program.bodies:
        if body.same_page:
            pages = [{address // body.same_page for address in places[word]} for word in range(body.first, body.end)]
            if not set.intersection(*pages):
                return False
    return True


def some_way(program: Program, size: int, width: int) -> bool:
    """Whether any placement exists."""
    start: dict[int, int] = {}
    for index, word in enumerate(program.words):
        for address in word.fixed:
            if not lay_row(start, program, index, address, size):
                return False
    for body in program.bodies:
        if body.align > 1 and any(address % body.align for address in program.words[body.first].fixed):
            return False
    blocks = asked(program, width)
    for bases in product(*([base for base in range(size) if not base & zeros] for _, zeros in blocks)):
        cells = dict(start)
        if all(lay_row(cells, program, word, base + value, size)
               for (named, _), base in zip(blocks, bases) for value, word in enumerate(named)):
            for full in rows_left(cells, program, size):
                if bonds_hold(full, program, width):
                    return True
    return False


def faults(program: Program, placement: Placement, size: int, width: int) -> list[str]:
    """What is wrong with a placement, read from its addresses and from the words themselves."""
    found = []
    cells: dict[int, int] = {}
    for index, addresses in enumerate(placement.addresses):
        if not addresses:
            found.append(f"word {index} stands nowhere")
        for address in addresses:
            if not 0 <= address < size:
                found.append(f"word {index} is outside the store")
            if cells.setdefault(address, index) != index:
                found.append(f"{address} holds two words")
    if cells.keys() != placement.words["control"].keys():
        found.append("words and addresses differ")
    for index, word in enumerate(program.words):
        if not set(word.fixed) <= set(placement.addresses[index]):
            found.append(f"word {index} is not at its fixed place")
        for address in placement.addresses[index]:
            for step in range(1, word.succeeds + 1):
                if cells.get(address + step) != index + step or (
                        address + step >> program.counting.get("control", 30) != address >> program.counting.get(
                            "control", 30)):
                    found.append(f"word {index} is not followed by its successor")
            stored = placement.words["control"][address]
            for _, target in word.targets:
                held = 0
                for field in (field for field, other in word.targets if other == target):
                    low = {"whole": 0, "short": 8, "even": 16, "middle": 24}[field]
                    held |= (stored >> low & 0xFF) << (BITS[field][1] if width > 1 else 0)
                if page_of(word, target, width) is not None:
                    held |= address & 1 << (width - 1)
                named = [program.labels[label] for label in target.labels] or [index + 1]
                if [cells.get(held | value) for value in range(len(named))] != named:
                    found.append(f"word {index} leads elsewhere")
    for body in program.bodies:
        if body.align > 1 and all(address % body.align for address in placement.addresses[body.first]):
            found.append("a body is not aligned")
    if not bonds_hold(cells, program, width):
        found.append("a page is left")
    return found


def some_program(rng: Random) -> tuple[Program, int, int]:
    """A program, the size of the store and its address width."""
    width = rng.randint(1, 3)
    size = rng.randint(max(1, (1 << width) - 2), 1 << width)
    bodies, words = [], []
    count = rng.randint(1, min(6, size)) if rng.random() < 0.5 else rng.randint(max(1, size - 1), size)
    targets_left = 3
    first = 0
    while first < count:
        end = rng.randint(first + 1, count)
        for index in range(first, end):
            targets = []
            if targets_left and rng.random() < 0.5:
                targets_left -= 1
                targets.append(some_target(rng, index, index + 1 < end, count, width))
                if rng.random() < 0.3:      # another field names the same
                    (field, target), = targets
                    targets.append((rng.choice([other for other in BITS if other != field]), target))
            fixed = rng.sample(range(size), rng.randint(1, min(2, size))) if rng.random() < 0.15 else []
            words.append(by_hand.word(index, succeeds=min(rng.choice([0, 0, 1, 1, 2]), end - 1 - index), fixed=fixed,
                                      targets=targets))
        bodies.append(by_hand.body(first, end, name=f"body {first}", align=rng.choice([0, 0, 0, 2, 4]),
                                   same_page=rng.choice([0, 0, 0, 2, 4])))
        first = end
    counting = rng.choice([None, None, None, *range(1, width)])
    return by_hand.program(words, bodies, counting=counting), size, width


def some_target(rng: Random, index: int, has_next: bool, count: int, width: int) -> tuple[str, Target]:
    field, kind = rng.choice(list(BITS)), rng.choice(["label", "pair", "table", "following"])
    if kind == "following" and has_next:
        return field, by_hand.FOLLOWING
    if kind == "pair" or (kind == "table" and width > 1):
        return field, by_hand.block(*(rng.randrange(count) for _ in range(2 if kind == "pair" else 4)))
    return field, by_hand.label(rng.randrange(count), page=rng.random() < 0.5)


@pytest.mark.parametrize("seed", range(10))
def test_a_placement_is_found_exactly_when_one_exists(seed: int) -> None:
    """Also without the quick way, so that every case is searched."""
    rng = Random(seed)
    for _ in range(CASES):
        program, size, width = some_program(rng)
        machine = by_hand.one_store(size, width)
        exists = some_way(program, size, width)
        placement, findings = place(machine, program, None)
        with patch("ordain.placement.quick.lay", return_value=Stuck(None, None)):
            searched, _ = place(machine, program, None)
        for found in (placement, searched):
            assert (found is not None) == exists, program
            assert found is None or faults(program, found, size, width) == [], program
        assert (placement is None) == has_errors(findings)
        assert place(machine, program, None) == (placement, findings)
        if placement is not None:
            assert_copies_are_told(program, placement, width)


def sole(program: Program, width: int) -> bool:
    """Whether every word is asked for by at most one fixed address or block, and once only."""
    cells: list[int] = []
    for index, word in enumerate(program.words):
        for address in word.fixed:
            row: dict[int, int] = {}
            lay_row(row, program, index, address, 1 << 20)
            cells += row.values()
    for named, _ in asked(program, width):
        for word in named:
            row = {}
            lay_row(row, program, word, 0, 1 << 20)
            cells += row.values()
    return len(cells) == len(set(cells))


def assert_copies_are_told(program: Program, placement: Placement, width: int) -> None:
    """Words are copied only where two demands name them."""
    heads = followers(program)
    if sole(program, width) and not heads:
        assert placement.copies == ()
        assert all(len(addresses) == 1 for addresses in placement.addresses)
    told = [(word, address) for word, address, why in placement.copies if why]
    more = [(word, address) for word, addresses in enumerate(placement.addresses)
            for address in addresses[1:] if address not in program.words[word].fixed]
    assert sorted(told) == sorted(more)


def followers(program: Program) -> Sequence[int]:
    """Words that some other word counts on to."""
    return [index + 1 for index, word in enumerate(program.words) if word.succeeds]
