"""Values of a register that nothing tells apart: worked out a second time from what a machine was made of, and a fault
in the words of one held against the same fault in the words of the other."""

from random import Random
from typing import NamedTuple

import pytest

import ordain.prover.swapping
from ordain.control.system import build_system
from ordain.logic.diagrams import TooLarge
from ordain.machine.expression import Node
from ordain.prover.decide import decide
from ordain.prover.model import Limits, Property
from ordain.prover.questions import lower_properties
from ordain.prover.swapping import Swapped, swapped
from ordain.rom.contents import Contents
from tests.prover.by_hand import Bench

WIDTH = 3


class Made(NamedTuple):
    """`looks`: the values at which each condition over the register holds. `lines[store]`: for each bit of the register
    in its address, lowest first, which bit it is and which line it stands on; the one other line is `flag`. `given`:
    what it begins with, and numbers that it is loaded with. `found`: whether there is to be anything at all."""

    contents: Contents
    properties: list[Property]
    looks: list[frozenset[int]]
    lines: dict[str, list[tuple[int, int]]]
    given: set[int]
    found: bool


LOADS = ("lines", "all lines of an input", "mixed up", "some lines", "pulled", "pulled, the other way",
         "lines of what is pulled")
SPOILED = ("looked at while it is loaded", "not while it is loaded", "compared with a state", "added to a state",
           "a line that is mixed", "a line twice", "other lines in another store", "one line twice loaded",
           "loaded by what is loaded", "pulled by what is loaded", "one value less", "a line without a name",
           "put back to a number", "loaded in every cycle", "one of two", "a line that is always low",
           "loaded from states", "counted on", "an address that is compared", "another line of what is loaded")
FOUND = ("", "not while it is loaded", "another line of what is loaded")


def made(random: Random, load: str, spoiled: str = "") -> Made:
    bench = Bench()
    terms = bench.terms
    data = bench.input("data", WIDTH + 1, 15 if spoiled == "a line without a name" else None)
    go = bench.input("go", 1)
    upc = bench.state("upc", 2, 0)
    flag = bench.state("flag", 1, 0)
    reset = random.choice((None, None, 0, 5))
    ir = bench.state("ir", WIDTH, reset, 7 if spoiled == "one value less" else None)
    fields = bench.store("control", upc, {"branch": 2, "take": 1, "lamp": 1, "put": 1},
                         [random.randrange(32) for _ in range(4)])
    take, put, lamp = fields["take"], fields["put"], fields["lamp"]
    given = set() if reset is None else {reset}

    bits = sorted(random.sample(range(WIDTH), random.choice((2, 3))))
    stores = ["entry", "more"][:2 if spoiled == "other lines in another store" else random.choice((1, 1, 2))]
    lines: dict[str, list[tuple[int, int]]] = {}
    out: dict[str, dict[str, Node]] = {}
    for store in stores:
        order = random.sample(bits, len(bits))
        if spoiled == "other lines in another store" and store == "more":
            order = [bit for bit in range(WIDTH) if bit != bits[0]]
        places: list[Node] = [terms.slice(ir, bit, bit) for bit in order]
        if spoiled == "a line that is mixed":
            places[0] = terms.xor(places[0], flag)
        if spoiled == "a line twice":
            places.append(places[0])
        places.insert(other := random.randrange(len(places) + 1), flag)
        lines[store] = sorted((bit, line + (line >= other)) for line, bit in enumerate(order))
        few = [random.randrange(8) for _ in range(2)]
        out[store] = bench.store(store, terms.join(reversed(places)), {f"start of {store}": 2, f"sign of {store}": 1},
                                 [random.choice(few) for _ in range(1 << len(places))])

    looks = [frozenset(random.sample(range(1 << WIDTH), random.choice((1, 1, 2, 4))))
             for _ in range(random.randrange(3))]
    seen: list[Node] = [terms.less(ir, terms.const(len(values), WIDTH)) if values == frozenset(range(len(values)))
                        else terms.among(ir, values) for values in looks]
    if spoiled == "compared with a state":
        seen.append(terms.less(ir, terms.join([flag, upc])))
    if spoiled == "added to a state":
        seen.append(terms.slice(terms.add(ir, terms.join([flag, upc])), 1, 1))
    if spoiled == "an address that is compared":
        address = bench.leaf("address", "entry", len(lines["entry"]) + 1)
        seen.append(terms.less(address, terms.join([flag] * address.width)))
    if spoiled == "another line of what is loaded":
        seen.append(terms.slice(data, WIDTH, WIDTH))
    if spoiled == "looked at while it is loaded":
        seen.append(terms.slice(data, 0, 0))
    if spoiled == "not while it is loaded":
        seen.append(terms.and_((terms.slice(data, 0, 0), terms.not_(take))))
    source = terms.slice(data, WIDTH - 1, 0)
    if spoiled == "one line twice loaded":
        source = terms.join([terms.slice(data, 0, 0), terms.slice(data, 1, 0)])
    elif spoiled == "one of two":
        source = terms.if_(put, source, terms.slice(data, WIDTH, 1))
    elif spoiled == "a line that is always low":
        source = terms.join([terms.slice(data, 1, 0), terms.const(0, 1)])
    elif spoiled == "loaded from states":
        source = terms.join([flag, upc])
    elif spoiled == "counted on":
        source = terms.add(source, terms.const(1, WIDTH))
    elif load == "all lines of an input":
        source = bench.input("other", WIDTH)
    elif load == "mixed up":
        source = terms.join([terms.slice(data, bit, bit) for bit in random.sample(range(WIDTH), WIDTH)])
    elif load == "some lines":
        source = terms.slice(data, WIDTH, 1)
    elif load.startswith("pulled"):
        number = random.randrange(1 << WIDTH)
        arms = [source, terms.const(number, WIDTH)]
        source = terms.if_(put, *(arms[::-1] if load == "pulled, the other way" else arms))
        given |= {number}
    elif load == "lines of what is pulled":
        number = random.randrange(2 << WIDTH)
        source = terms.slice(terms.if_(put, data, terms.const(number, WIDTH + 1)), WIDTH, 1)
        given |= {number >> 1}
    elif spoiled == "pulled by what is loaded":
        source = terms.if_(terms.slice(data, 0, 0), source, terms.const(1, WIDTH))
    elif spoiled == "loaded by what is loaded":
        take = terms.and_((take, terms.slice(data, 0, 0)))
    bench.next("ir", source if spoiled == "loaded in every cycle" else
               terms.if_(take, source, terms.const(3, WIDTH) if spoiled == "put back to a number" else ir))
    on = terms.add(upc, terms.const(1, 2))
    start = out[random.choice(stores)]
    where = next(field for name, field in start.items() if name.startswith("start"))
    bench.next("upc", terms.if_(terms.among(fields["branch"], frozenset((1, 2))), where,
                                terms.if_(terms.or_([terms.const(0, 1), *seen]), terms.const(0, 2), on)))
    signs = [field for each in out.values() for name, field in each.items() if name.startswith("sign")]
    bench.next("flag", terms.if_(lamp, terms.xor(random.choice(signs), go), flag))
    some = [*signs, lamp, put, flag, go]
    properties = [Property(f"asked {number}", "", kind, terms.and_(random.sample(some, 2)),
                           trigger=random.choice(some), cycles=number)
                  for number, kind in enumerate(("bad", "bad", "reach", "always", "within", "within"))]
    properties += [Property("looked", "", "bad", terms.and_((look, random.choice(some)))) for look in seen]
    return Made(bench.contents(), properties, looks, lines, given,
                spoiled in FOUND)


def alike(one: Made) -> dict[int, int]:
    """The least value that is like each, of those with 0 in the bits that stand in no address."""
    bits = sum(1 << bit for bit, _ in next(iter(one.lines.values())))
    rests = [rest for rest in range(1 << WIDTH) if not rest & bits]
    first: dict[object, int] = {}
    like = {}
    for value in (value for value in range(1 << WIDTH) if not value & ~bits):
        signs: list[object] = [[value | rest in look for look in one.looks] for rest in rests]
        for store, lines in one.lines.items():
            own = sum(1 << line for _, line in lines)
            signs += [one.contents.words[store][at | column(lines, value)]
                      for at in range(len(one.contents.words[store])) if not at & own]
        like[value] = value if value in {number & bits for number in one.given} else \
            first.setdefault(repr(signs), value)
    return like


def column(lines: list[tuple[int, int]], value: int) -> int:
    return sum((value >> bit & 1) << line for bit, line in lines)


def found(one: Made) -> list[Swapped]:
    system = build_system(one.contents)
    return [*swapped(system, lower_properties(system, tuple(one.properties)))]


def broken(contents: Contents, properties: list[Property]) -> list[object]:
    """What is said of each question, but for where it is broken."""
    verdicts = decide(build_system(contents), tuple(properties), Limits(traces=0)).verdicts
    return [(one.outcome, one.worst, [each.cycles for each in one.breaks if one.property.kind == "bad"])
            for one in verdicts]


def turned(contents: Contents, store: str, address: int, bit: int) -> Contents:
    words = list(contents.words[store])
    words[address] ^= 1 << bit
    return contents._replace(words={**contents.words, store: tuple(words)})


@pytest.mark.parametrize("load", LOADS)
@pytest.mark.parametrize("seed", range(5))
def test_which_values_are_alike_and_that_a_fault_of_one_is_a_fault_of_the_other(seed: int, load: str) -> None:
    random = Random(seed * 100 + LOADS.index(load))
    one = made(random, load)
    (swap,) = found(one)
    assert {store: dict(columns.lines) for store, columns in swap.stores.items()} == {
        store: dict(lines) for store, lines in one.lines.items()}
    assert swap.like == alike(one)
    for value in swap.like:
        for store, columns in swap.stores.items():
            assert columns.column(value) == column(one.lines[store], value)
            assert columns.value(columns.column(value) | random.choice(columns.places)) == value
    value = next((value for value, least in swap.like.items() if least != value), None)
    if value is not None:
        store, columns = random.choice([*swap.stores.items()])
        place, bit = random.choice(columns.places), random.randrange(3)
        said = [broken(turned(one.contents, store, place | columns.column(some), bit), one.properties)
                for some in (value, swap.like[value])]
        assert said[0] == said[1]


@pytest.mark.parametrize("spoiled", SPOILED)
@pytest.mark.parametrize("seed", range(3))
def test_what_tells_all_values_apart(seed: int, spoiled: str) -> None:
    one = made(Random(seed + 50), "lines", spoiled)
    assert len(found(one)) == one.found


def test_what_is_too_much_to_look_at_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Too many conditions times addresses, or too large a function of what is loaded."""
    random = Random(3)
    one = next(one for one in (made(random, "lines") for _ in range(100)) if len(one.looks) == 2)
    assert found(one)
    looked_at = next(most for most in range(1, 1000) if at_most(monkeypatch, most, one))
    assert looked_at >= 2 << WIDTH and not at_most(monkeypatch, looked_at - 1, one)
    monkeypatch.setattr(ordain.prover.swapping, "MOST", 1 << 18)

    def too_large(*given: object) -> object:
        raise TooLarge

    monkeypatch.setattr(ordain.prover.swapping, "Functions", too_large)
    aside = next(one for one in (made(random, "lines", "not while it is loaded") for _ in range(10)))
    assert not found(aside)


def at_most(monkeypatch: pytest.MonkeyPatch, most: int, one: Made) -> bool:
    monkeypatch.setattr(ordain.prover.swapping, "MOST", most)
    return bool(found(one))


def test_which_faults_are_one() -> None:
    """Of values 1 and 2, which are alike, and 0, which is not."""
    random = Random(0)
    one = next(one for one in (made(random, "lines") for _ in range(100))
               if len(one.lines) == 2 and len(next(iter(one.lines.values()))) == 3 and alike(one)[2] == 1)
    (swap,) = found(one)
    words, entry, more = one.contents.words, swap.stores["entry"], swap.stores["more"]

    def place(*cells: tuple[int, int, int], store: str = "entry", **others: dict[int, int]) -> object:
        """`cells`: (value, number of the place, the bits that are turned)."""
        at = {swap.stores[store].places[number] | swap.stores[store].column(value): turned
              for value, number, turned in cells}
        return swap.place_of({store: {address: words[store][address] ^ bits for address, bits in at.items()}, **others},
                             words)

    assert place((1, 0, 1)) == place((2, 0, 1)) is not None
    assert place((1, 0, 1), (1, 1, 4)) == place((2, 1, 4), (2, 0, 1)) is not None
    assert len({place((value, number, bits)) for value in (0, 1, 2) for number in (0, 1) for bits in range(1, 8)}) == 28
    assert place((1, 0, 1)) != place((1, 0, 1), store="more") is not None
    assert place((1, 0, 1), (2, 0, 1)) is None  # in two columns
    assert swap.place_of({"entry": {0: 1}, "more": {0: 1}}, words) is None
    assert swap.place_of({"control": {0: 1}}, words) is None and swap.place_of({}, words) is None
    assert len(entry.places) == len(more.places) == 2
