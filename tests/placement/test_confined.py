"""Which sets of chips are enough for a program, against every way to place it, on a store of five or six words.

Two claims are held: what is refuted can be done in no way at all, copies among them; and where no word can stand twice
and nothing is asked of places, what is not refuted can be done as it is told.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import product
from random import Random
from types import MappingProxyType
from typing import NamedTuple
from unittest.mock import patch

import pytest

from ordain.machine.expression import Terms
from ordain.machine.model import Bank, Chip, Field, Machine, Pin
from ordain.microprogram.model import MapCell, Microinstruction, Program, Target
from ordain.placement.confined import Allowed, Confined, Unsettled
from tests.placement import by_hand
from tests.placement.by_hand import HERE
from tests.placement.test_against_every_possibility import asked, bonds_hold, lay_row, rows_left

WIDTH = 3
CASES = 150
TOP, SAYS, PARITY = 13, 12, 10
"""The bits of the word: 9 .. 0 hold addresses, 13 and 12 what the text says, 10 is worked out, 11 says nothing."""
FIELDS = {"whole": (2, 0), "short": (4, 3), "even": (6, 5), "middle": (7, 7)}
"""Stored bits of the address fields; which bits of an address they hold is said by `BITS` of the test next door."""
HELD = {"whole": (2, 0), "short": (1, 0), "even": (2, 1), "middle": (1, 1)}


class Case(NamedTuple):
    machine: Machine
    program: Program
    burned: dict[str, tuple[int, ...]]
    allowed: Allowed


def machine_of(size: int, active_low: bool, chips: list[Chip], map_bits: int) -> Machine:
    terms = Terms()
    fields = [by_hand.field(name, high, low, HELD[name], active_low=active_low and name == "whole")
              for name, (high, low) in FIELDS.items()]
    fields.append(by_hand.field("parity", PARITY, PARITY, derived=terms.parity(
        terms.slice(terms.leaf("word", "control", TOP + 1), PARITY - 1, 0))))
    stores = [by_hand.store("control", size, TOP + 1, WIDTH, terms, [each.name for each in fields]),
              by_hand.store("entry", 2, map_bits, 1, terms, fill="start"),
              by_hand.store("table", 2, 2, 1, terms, fill="computed")]
    return by_hand.machine(stores, fields, terms)._replace(chips={chip.name: chip for chip in chips})


def some_chips(rng: Random, map_bits: int) -> list[Chip]:
    found = []
    for name, parts in {"U1": [("control", 7, 0)], "U2": [("control", TOP, 8)],
                        "U3": [("entry", map_bits - 1, 0), ("table", 1, 0)]}.items():
        banks = [Bank(of, tuple(Pin(bit, rng.random() < 0.3, 0) for bit in range(high, low - 1, -1)), (), False, HERE)
                 for of, high, low in parts]
        banks[0] = banks[0]._replace(pins=(*banks[0].pins, Pin(None, name != "U2", 1)))
        found.append(Chip(name, 8, 16, rng.randint(0, 1), rng.choice(["", "uv", "once", "eeprom"]), 0, tuple(banks),
                          HERE))
    return found


def some_program(rng: Random, size: int, map_bits: int, plain: bool) -> Program:
    """`plain`: no word can stand twice."""
    count = rng.randint(1, 4)
    words: list[Microinstruction] = []
    bodies = []
    first = 0
    while first < count:
        end = rng.randint(first + 1, count)
        for index in range(first, end):
            targets = [some_target(rng, index, index + 1 < end, count, plain)] if rng.random() < 0.5 else []
            fixed = rng.sample(range(size), 1 if plain else rng.choice([1, 1, 2])) if rng.random() < 0.25 and not (
                plain and counted_to(words, index)) else []
            says = 1 << SAYS if rng.random() < 0.3 else 0
            words.append(by_hand.word(
                index, succeeds=min(rng.choice([0, 0, 1, 1, 2]), end - 1 - index), fixed=fixed, targets=targets,
                bits=rng.randint(0, 3) << SAYS & ~says, open=says))
        align, page = (0, 0) if plain else (rng.choice([0, 0, 2, 4]), rng.choice([0, 0, 2, 4]))
        bodies.append(by_hand.body(first, end, name=f"body {first}", align=align, same_page=page))
        first = end
    led_to = [number for number in range(count) if not plain or map_bits == WIDTH or not (
        words[number].fixed or counted_to(words, number))]
    entries = [MapCell("entry", at, f"w{rng.choice(led_to)}", HERE) for at in (0, 1) if led_to and rng.random() < 0.3]
    unused = by_hand.word(count, bits=rng.randint(0, 3) << SAYS) if rng.random() < 0.5 else None
    return by_hand.program(words, bodies, entries=entries, unused=unused)._replace(computed={"table": (1, 2)})


def counted_to(words: list[Microinstruction], number: int) -> bool:
    return any(word.succeeds >= number - before for before, word in enumerate(words[:number]))


def some_target(rng: Random, index: int, has_next: bool, count: int, plain: bool) -> tuple[str, Target]:
    if has_next and rng.random() < 0.3:
        named = by_hand.FOLLOWING
    elif plain or rng.random() < 0.6:
        named = by_hand.label(rng.randrange(count), page=not plain and rng.random() < 0.5)
    else:
        named = by_hand.block(*(rng.randrange(count) for _ in range(rng.choice([2, 2, 2, 4]))))
    return "whole" if plain else rng.choice(list(FIELDS)), named


def asks(program: Program, map_bits: int) -> list[tuple[tuple[int, ...], int]]:
    """As of the test next door, and the tables that hold fewer bits than an address has."""
    narrow = 0b111 & ~((1 << map_bits) - 1)
    return [*asked(program, WIDTH), *dict.fromkeys(
        ((program.labels[entry.target],), narrow) for entry in program.entries if narrow)]


def every_way(program: Program, size: int, map_bits: int) -> Iterator[dict[int, int]]:
    """Address -> word of every placement, each word a copy as often as something asks for it."""
    start: dict[int, int] = {}
    for index, word in enumerate(program.words):
        for address in word.fixed:
            if not lay_row(start, program, index, address, size):
                return
    wanted = asks(program, map_bits)
    for bases in product(*([base for base in range(size) if not base & zeros] for _, zeros in wanted)):
        cells = dict(start)
        if all(lay_row(cells, program, word, base + value, size)
               for (named, _), base in zip(wanted, bases) for value, word in enumerate(named)):
            for full in rows_left(cells, program, size):
                if bonds_hold(full, program, WIDTH):
                    yield full


def held(program: Program, cells: dict[int, int], at: int, name: str, target: Target) -> set[int]:
    """What an address field may hold of the word at an address."""
    high, low = HELD[name]
    named = [program.labels[label] for label in target.labels] or [cells[at] + 1]
    found = set()
    for base in range(1 << WIDTH):
        kept = base & (1 << high + 1) - (1 << low)
        if target.rest == "page":
            kept |= at & ~((1 << high + 1) - 1)
        if kept == base and [cells.get(base + value) for value in range(len(named))] == named and (
                len(named) == 1 or not base & len(named) - 1):
            found.add(base >> low & (1 << high - low + 1) - 1)
    return found


def fits(case: Case, store: str, address: int, wanted: int, over: int) -> bool:
    """Whether only chips that may change do, and only those lose bits that may: pin by pin."""
    was = case.burned[store][address]
    for chip in case.machine.chips.values():
        for pin in (pin for bank in chip.banks if bank.store == store for pin in bank.pins if pin.bit is not None):
            if over >> pin.bit & 1 and (was ^ wanted) >> pin.bit & 1:
                back = (wanted >> pin.bit & 1 ^ pin.inverted) == chip.erased
                if chip.name not in case.allowed.touched or (
                        back and chip.technology != "eeprom" and chip.name not in case.allowed.erased):
                    return False
    return True


def can_be(case: Case, cells: dict[int, int], map_bits: int) -> bool:
    """Whether the chips can be burned so. The parity bit is left open."""
    program, whole = case.program, (1 << TOP + 1) - 1 & ~(1 << PARITY)
    for at in range(case.machine.stores["control"].words):
        word = program.words[cells[at]] if at in cells else program.unused["control"]
        if word is None:
            continue
        over = whole & ~word.open
        for name, _ in word.targets:
            over &= ~case.machine.fields[name].mask
        if not fits(case, "control", at, word.bits, over):
            return False
        for name, target in word.targets:
            field = case.machine.fields[name]
            if not any(fits(case, "control", at, field.write(value), field.mask)
                       for value in held(program, cells, at, name, target)):
                return False
    return all(any(fits(case, "entry", entry.address, at, (1 << map_bits) - 1) for at, word in cells.items()
                   if word == program.labels[entry.target] and at < 1 << map_bits) for entry in program.entries) \
        and all(fits(case, "table", at, value, 3) for at, value in enumerate(program.computed["table"]))


def some_case(rng: Random, plain: bool) -> tuple[Case, int]:
    """What is burned is some way to place the program, with a few bits turned."""
    size, map_bits = rng.randint(4, 6), rng.randint(2, 3)
    machine = machine_of(size, rng.random() < 0.5, some_chips(rng, map_bits), map_bits)
    program = some_program(rng, size, map_bits, plain)
    order = rng.sample(range(size), size)
    control = []
    for at in range(size):
        word = program.words[order[at]] if order[at] < len(program.words) else program.unused["control"]
        bits = rng.getrandbits(TOP + 1) if word is None else word.bits | word.open
        for name, target in word.targets if word is not None else ():
            named = program.labels[target.labels[0]] if target.labels else order[at] + 1
            high, low = HELD[name]
            bits |= machine.fields[name].write(order.index(named) >> low & (1 << high - low + 1) - 1)
        control.append(bits)
    entry = [0, 3]
    for each in program.entries:
        entry[each.address] = order.index(program.labels[each.target]) & (1 << map_bits) - 1
    burned = {"control": control, "entry": entry, "table": [1, 2]}
    for _ in range(rng.randint(0, 2)):
        of = rng.choice(["control", "control", "entry", "table"])
        burned[of][rng.randrange(len(burned[of]))] ^= 1 << rng.randrange(machine.stores[of].bits)
    touched = [name for name in machine.chips if rng.random() < 0.4]
    return Case(machine, program, {name: tuple(words) for name, words in burned.items()},
                Allowed(frozenset(touched), frozenset(name for name in touched if rng.random() < 0.4))), map_bits


def told(case: Case) -> dict[int, int] | None:
    return Confined(case.machine, case.program, case.burned, [0] * len(case.program.words)).search(case.allowed)


@pytest.mark.parametrize("seed", range(10))
def test_what_is_refuted_can_be_done_in_no_way(seed: int) -> None:
    rng = Random(seed)
    for _ in range(CASES):
        case, map_bits = some_case(rng, plain=False)
        if told(case) is None:
            size = case.machine.stores["control"].words
            assert not any(can_be(case, cells, map_bits) for cells in every_way(case.program, size, map_bits)), case


@pytest.mark.parametrize("seed", range(10))
def test_what_is_found_can_be_done_so(seed: int) -> None:
    rng = Random(seed)
    for _ in range(CASES):
        case, map_bits = some_case(rng, plain=True)
        size = case.machine.stores["control"].words
        ways, found = list(every_way(case.program, size, map_bits)), told(case)
        assert all(len(set(cells.values())) == len(cells) for cells in ways)
        assert (found is not None) == any(can_be(case, cells, map_bits) for cells in ways), case
        assert found is None or {address: word for word, address in found.items()} in ways, case
        assert found is None or can_be(case, {address: word for word, address in found.items()}, map_bits), case


def alone(program: Program, control: Sequence[int], *, touched: Sequence[str] = (), most: int = 20_000,
          near: Sequence[int] = ()) -> dict[int, int] | None:
    """With a store of 8 words and one chip of all its bits."""
    chip = Chip("U1", 8, TOP + 1, 1, "", 0, (Bank("control", tuple(
        Pin(bit, False, 0) for bit in range(TOP, -1, -1)), (), False, HERE),), HERE)
    burned = {"control": tuple(control), "entry": (0, 0), "table": (0, 0)}
    search = Confined(machine_of(8, False, [chip], 3), program, burned, near or [0] * len(program.words))
    with patch("ordain.placement.confined.MOST_STEPS", most):
        return search.search(Allowed(frozenset(touched), frozenset(touched)))


def test_where_everything_may_change_words_stay_where_they_are() -> None:
    wanted = by_hand.program([by_hand.word(number) for number in range(3)])
    assert alone(wanted, [0] * 8, touched=["U1"], near=[5, 0, 7]) == {0: 5, 1: 0, 2: 7}
    assert alone(by_hand.program([]), [0] * 8) == {}


@pytest.mark.parametrize("last", [None, 4])
def test_what_names_another_leaves_it_one_place(last: int | None) -> None:
    """0 names 5, that names 3, that 6, and that 1, which names itself or nothing; of eight words that are alike, as
    many steps as words are enough."""
    chain, names = [0, 5, 3, 6, 1], [1, 2, 3, 4, last]
    wanted = by_hand.program([by_hand.word(number, fixed=[0] if not number else [], targets=[
        ("whole", by_hand.label(named))] if named is not None else []) for number, named in enumerate(names)])
    control = [5, 0 if last is None else 1, 0, 6, 0, 3, 1, 0]
    assert alone(wanted, control, most=5) == dict(enumerate(chain))
    with pytest.raises(Unsettled):
        alone(wanted, control, most=4)


@pytest.mark.parametrize(("second", "named", "found"), [(3, 3, True), (3, 7, False), (6, 7, True), (6, 3, True)])
def test_a_row_of_which_every_word_is_fixed_stands_once(second: int, named: int, found: bool) -> None:
    """w1 counts on from 2 to w2. At 3 that is where w2 is fixed; fixed at 6, it stands there a second time, and what
    names it may mean either."""
    wanted = by_hand.program([by_hand.word(0, fixed=(0,), targets=[("whole", by_hand.label(2))]),
                              by_hand.word(1, succeeds=1, fixed=(2,)), by_hand.word(2, fixed=(second,))],
                             [by_hand.body(0, 1, name="other"), by_hand.body(1, 3)])
    assert (alone(wanted, [named, 0, 0, 0, 0, 0, 0, 0]) is not None) == found


def test_what_must_be_taken_is_tried_first() -> None:
    """At 5, and at 3, stands what no unused word can be."""
    wanted = by_hand.program([by_hand.word(0, open=1 << SAYS), by_hand.word(1, open=1 << SAYS)],
                             unused=by_hand.word(2))
    control = [0, 0, 0, 1 << SAYS, 0, 1 << SAYS, 0, 0]
    assert alone(wanted, control, most=3, near=(5, 5)) == {0: 5, 1: 3}


def over(control: Sequence[int], fields: Sequence[Field], wanted: Program, chips: Sequence[Chip], allowed: Allowed, *,
         near: Sequence[int] = (), most: int = 20_000, more: Mapping[str, Sequence[int]] = MappingProxyType({})
         ) -> dict[int, int] | None:
    """With a store of 8 words of 14 bits, and `more` stores like it, and what is burned in each."""
    terms, burned = Terms(), {"control": tuple(control)} | {name: tuple(words) for name, words in more.items()}
    stores = [by_hand.store(name, 8, TOP + 1, WIDTH, terms, [each.name for each in fields]) for name in burned]
    made = by_hand.machine(stores, fields, terms)._replace(chips={chip.name: chip for chip in chips})
    search = Confined(made, wanted, burned, near or [0] * len(wanted.words))
    with patch("ordain.placement.confined.MOST_STEPS", most):
        return search.search(allowed)


def chip_of(name: str, high: int, low: int, *, erased: int = 1, technology: str = "uv", of: str = "control") -> Chip:
    return Chip(name, 8, high - low + 1, erased, technology, 0, (Bank(of, tuple(
        Pin(bit, False, 0) for bit in range(high, low - 1, -1)), (), False, HERE),), HERE)


NOTHING, WHOLE = Allowed(frozenset(), frozenset()), Allowed(frozenset({"U1"}), frozenset())


@pytest.mark.parametrize(("allowed", "erased", "burned", "stands"), [
    (NOTHING, 1, 0, 0), (NOTHING, 1, 5, 5), (WHOLE, 1, 0, 0), (WHOLE, 0, 7, 7)])
@pytest.mark.parametrize("low", [0, 5])
def test_what_a_chip_holds_of_a_name_is_looked_at_before_the_search(allowed: Allowed, erased: int, burned: int,
                                                                    stands: int, low: int) -> None:
    """w0 is fixed at 3 and names w1, which would be tried at 6 first: from 0 no bit of the name can fall, and from 7
    none can rise. As many steps as words are enough, though other bits may change."""
    wanted = by_hand.program([by_hand.word(0, fixed=(3,), targets=[("name", by_hand.label(1))]), by_hand.word(1)])
    chips = [chip_of("U1", low + 2, low, erased=erased), chip_of("U2", TOP, low + 3)]
    fields = [by_hand.field("name", low + 2, low, (2, 0))]
    for touched in (allowed, Allowed(allowed.touched | {"U2"}, allowed.erased | {"U2"})):
        assert over([0, 0, 0, burned << low, 0, 0, 0, 0], fields, wanted, chips, touched, near=(3, 6), most=2) == {
            0: 3, 1: stands}


@pytest.mark.parametrize(("above", "found"), [(0, True), (1, False)])
@pytest.mark.parametrize("active_low", [False, True])
def test_a_field_wider_than_the_address_has_zeros_above_it(above: int, found: bool, active_low: bool) -> None:
    """Four bits for an address of three: where the highest is burned as a 1, no label can be named."""
    wanted = by_hand.program([by_hand.word(0, fixed=(3,), targets=[("name", by_hand.label(1))]),
                              by_hand.word(1, fixed=(5,))])
    burned = (above << 3 | 5) ^ (15 if active_low else 0)
    fields = [by_hand.field("name", 3, 0, (2, 0), active_low=active_low)]
    assert (over([0, 0, 0, burned, 0, 0, 0, 0], fields, wanted, [chip_of("U1", TOP, 0)], NOTHING)
            is not None) == found


@pytest.mark.parametrize("needed", [0, 5])
def test_what_no_word_can_take_is_refuted_without_a_search(needed: int) -> None:
    """Nothing can change. At one address stands what no unused word is, and no word of the store can be there; a word
    of another store could."""
    control = [int(address == needed) for address in range(8)]
    here, there = by_hand.word(0), by_hand.word(1, bits=1, store="other")
    wanted = by_hand.program([here, there], [by_hand.body(0, 1), by_hand.body(1, 2, name="other")._replace(
        store="other")], unused=by_hand.word(2))
    chips = [chip_of("U1", TOP, 0), chip_of("U2", TOP, 0, of="other")]
    assert over(control, [], wanted, chips, NOTHING, most=0, more={"other": [1] * 8}) is None
    assert over([0] * 8, [], wanted, chips, NOTHING, more={"other": [1] * 8}) == {0: 0, 1: 0}
    one_there = wanted._replace(words=(here._replace(bits=1), there))
    assert over(control, [], one_there, chips, NOTHING, more={"other": [1] * 8}) == {0: needed, 1: 0}
