"""Stores of up to 20 words that are full to the last one: every word stands once, and no place is left to choose badly.

A program is cut out of a way in which it stands, with everything that can be asked of places; then one thing that is
asked is changed, or none. Whether there is a way still is looked for address by address.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache
from random import Random
from typing import NamedTuple
from unittest.mock import patch

import pytest

from ordain.microprogram.model import Body, Microinstruction, Program, Target
from ordain.placement.bins import Budget
from ordain.placement.place import place
from ordain.placement.quick import Stuck
from tests.placement import by_hand
from tests.placement.test_against_every_possibility import BITS, faults, page_of, zeros_in, zeros_of
from tests.placement.test_recorded import recorded_of

CASES = 40


class Cut(NamedTuple):
    program: Program
    size: int
    width: int
    stands: tuple[int, ...]
    """Where every word stands in the way that the program was cut out of."""


def rows_of(words: Sequence[Microinstruction]) -> list[range]:
    """What must stand in a row."""
    rows, first, end = [], 0, 1
    for index, word in enumerate(words):
        if index == end:
            rows.append(range(first, end))
            first, end = index, index + 1
        end = max(end, index + word.succeeds + 1)
    return [*rows, range(first, end)]


def cut(rng: Random) -> Cut:
    width = rng.choice((3, 4, 4, 4, 5))
    size = rng.randint((1 << width - 1) + 1, min(1 << width, 20))
    counting = rng.choice((None, None, 2, 3)) if width > 3 else rng.choice((None, 2))
    lap = 1 << (width if counting is None else counting)
    pieces, at = [], 0
    longest = rng.choice((1, 2, 3, 5))
    while at < size:
        length = min(rng.randint(1, longest), size - at, lap - at % lap)
        pieces.append(range(at, at + length))
        at += length
    if rng.random() < 0.3:      # some bodies have a page for themselves
        pieces.sort(key=lambda piece: (piece.start // 4, rng.random()))
    else:
        rng.shuffle(pieces)
    stands = [address for piece in pieces for address in piece]
    ends = [len(piece) - 1 - step for piece in pieces for step in range(len(piece))]
    targets: list[list[tuple[str, Target]]] = [[] for _ in stands]
    for _ in range(rng.randint(0, 8)):
        source = rng.randrange(size)
        for field, target in some_target(rng, stands, source, width):
            if all(field != other for other, _ in targets[source]):
                targets[source].append((field, target))
    words = [by_hand.word(number, succeeds=min(left, rng.choice((1, 1, 1, 2))), targets=targets[number],
                          fixed=(address,) if rng.random() < 0.08 else (), bits=0)
             for number, (address, left) in enumerate(zip(stands, ends))]
    return Cut(by_hand.program(words, list(some_bodies(rng, words, stands)), counting=counting), size, width,
               tuple(stands))


def some_target(rng: Random, stands: Sequence[int], source: int, width: int) -> Iterator[tuple[str, Target]]:
    """What the way in which the words stand allows."""
    field, count, address = rng.choice(list(BITS)), rng.choice((1, 1, 2, 2, 4)), rng.randrange(len(stands))
    if count > 1:
        address &= ~(count - 1)
        if address + count <= len(stands) and not address & zeros_of(field, width, count, False):
            yield field, by_hand.block(*(stands.index(address + value) for value in range(count)))
        return
    page = rng.random() < 0.6
    if not page and rng.random() < 0.2 and source + 1 < len(stands):
        address, named = stands[source + 1], by_hand.FOLLOWING
    else:
        named = by_hand.label(stands.index(address), page=page)
    alike = not page or BITS[field][0] == 0 or address >> width - 1 == stands[source] >> width - 1
    if alike and not address & zeros_of(field, width, 1, page):
        yield field, named


def some_bodies(rng: Random, words: Sequence[Microinstruction], stands: Sequence[int]) -> Iterator[Body]:
    rows, first = rows_of(words), 0
    for number, row in enumerate(rows):
        if number == len(rows) - 1 or (rng.random() < 0.5 and by_hand.FOLLOWING not in dict.fromkeys(
                target for _, target in words[row.stop - 1].targets)):
            addresses = stands[first:row.stop]
            pages = [size for size in (2, 4, 8, 16) if len({address // size for address in addresses}) == 1]
            aligned = [align for align in (2, 4) if addresses[0] % align == 0]
            yield by_hand.body(first, row.stop, name=f"body {first}",
                               align=rng.choice(aligned) if aligned and rng.random() < 0.2 else 0,
                               same_page=rng.choice(pages) if pages and rng.random() < 0.5 else 0)
            first = row.stop


def spoilt(rng: Random, made: Cut) -> Cut:
    """One thing that is asked becomes another; there may be a way still."""
    words, bodies = list(made.program.words), list(made.program.bodies)
    at, number = rng.randrange(len(words)), rng.randrange(len(bodies))
    word, body = words[at], bodies[number]
    match rng.choice(("fixed", "field", "named", "block", "page", "align", "row")):
        case "fixed":
            words[at] = word._replace(fixed=(rng.randrange(made.size),))
        case "field" if word.targets:
            words[at] = word._replace(targets=((rng.choice(list(BITS)), word.targets[0][1]), *word.targets[2:]))
        case "named" if word.targets and word.targets[0][1].kind == "label":
            field, target = word.targets[0]
            words[at] = word._replace(targets=((field, target._replace(labels=words[rng.randrange(len(words))].labels)),
                                               *word.targets[1:]))
        case "block":
            words[at] = word._replace(targets=(("whole", by_hand.block(*rng.sample(range(len(words)), 2))),))
        case "page":
            bodies[number] = body._replace(same_page=rng.choice((2, 4, 8)))
        case "align":
            bodies[number] = body._replace(align=rng.choice((2, 4, 8)))
        case "row" if at + 1 < body.end and at >= body.first:
            words[at] = word._replace(succeeds=1)
    return made._replace(program=made.program._replace(words=tuple(words), bodies=tuple(bodies)))


def asked(made: Cut) -> Iterator[tuple[frozenset[int], Callable[[Mapping[int, int]], bool]]]:
    """What is asked of the places of one word, or of two, each of which stands once."""
    program, width = made.program, made.width
    for index, word in enumerate(program.words):
        if word.fixed:
            yield frozenset((index,)), lambda at, index=index, word=word: word.fixed == (at[index],)
        for _, target in word.targets:
            first, *others = [program.labels[label] for label in target.labels] or [index + 1]
            zeros = zeros_in(word, target, width, len(others) + 1, target.rest == "page")
            yield frozenset((first,)), lambda at, first=first, zeros=zeros: not at[first] & zeros
            for value, one in enumerate(others, 1):
                yield frozenset((first, one)), lambda at, one=one, two=first, value=value: (
                    at[one] == at[two] + value)
            size = page_of(word, target, width)
            if size is not None:
                yield frozenset((index, first)), lambda at, one=index, two=first, size=size: (
                    at[one] >> size == at[two] >> size)
    for body in program.bodies:
        if body.align:
            yield frozenset((body.first,)), lambda at, body=body: at[body.first] % body.align == 0
        if body.same_page:
            for word in range(body.first + 1, body.end):
                yield frozenset((body.first, word)), lambda at, one=body.first, two=word, size=body.same_page: (
                    at[one] // size == at[two] // size)


def some_way(made: Cut) -> bool:
    """The row with the fewest places left goes first; those of which nothing is asked fill what is left."""
    lap = 1 << made.program.counting.get("control", made.width)
    conditions = list(asked(made))
    rows = rows_of(made.program.words)
    touched = frozenset().union(*(words for words, _ in conditions))
    plain = tuple(sorted(len(row) for row in rows if touched.isdisjoint(row)))

    def places(row: range, at: Mapping[int, int]) -> Iterator[dict[int, int]]:
        taken = set(at.values())
        for base in range(made.size - len(row) + 1):
            more = {**at, **{word: base + step for step, word in enumerate(row)}}
            if base // lap == (base + len(row) - 1) // lap and taken.isdisjoint(range(base, base + len(row))) and all(
                    holds(more) for words, holds in conditions if not words.isdisjoint(row) and words <= more.keys()):
                yield more

    def on(at: Mapping[int, int], left: Sequence[range]) -> bool:
        if not left:
            return filled(tuple(sorted(set(range(made.size)) - set(at.values()))), plain)
        choices = {row: list(places(row, at)) for row in left}
        next_one = min(left, key=lambda row: len(choices[row]))
        return any(on(more, [row for row in left if row is not next_one]) for more in choices[next_one])

    @cache
    def filled(free: tuple[int, ...], lengths: tuple[int, ...]) -> bool:
        if not free:
            return not lengths
        for length in sorted(set(lengths)):
            row = tuple(range(free[0], free[0] + length))
            if free[:length] == row and row[0] // lap == row[-1] // lap:
                at = lengths.index(length)
                if filled(free[length:], lengths[:at] + lengths[at + 1:]):
                    return True
        return False

    return on({}, [row for row in rows if not touched.isdisjoint(row)])


@pytest.mark.parametrize("seed", range(5))
def test_a_way_is_found_exactly_when_there_is_one(seed: int) -> None:
    """The quick way first, without it, and with what another program has left in the chips."""
    rng, found, none = Random(seed), 0, 0
    for _ in range(CASES):
        made = cut(rng)
        before, _ = place(by_hand.one_store(made.size, made.width), made.program, None)
        assert before is not None, made
        changed = spoilt(rng, made) if rng.random() < 0.75 else made
        program, exists = changed.program, changed is made or some_way(changed)
        machine = by_hand.one_store(made.size, made.width)
        recorded = recorded_of(made.program, before)
        ways = [place(machine, program, None), place(machine, program, recorded)]
        with patch("ordain.placement.quick.lay", return_value=Stuck(None, None)):
            ways += [place(machine, program, None), place(machine, program, recorded)]
        for placement, findings in ways:
            assert (placement is not None) == exists, (changed, findings)
            assert placement is None or faults(program, placement, made.size, made.width) == [], changed
        if changed is made:
            assert ways[1][0] is not None and ways[1][0].addresses == before.addresses
        found, none = found + exists, none + (not exists)
    assert min(found, none) >= 5


def test_the_exact_way_looks_at_no_more_states_than_it_needs(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is counted, remembered and tried first spares states; each of these left out takes more of them here."""
    rng, spent = Random(11), 0
    spend = Budget.spend

    def counted(budget: Budget) -> None:
        nonlocal spent
        spent += 1
        spend(budget)

    monkeypatch.setattr(Budget, "spend", counted)
    monkeypatch.setattr("ordain.placement.quick.lay", lambda *_: Stuck(None, None))
    for _ in range(2 * CASES):
        made = spoilt(rng, cut(rng))
        place(by_hand.one_store(made.size, made.width), made.program, None)
    assert spent <= 4309
