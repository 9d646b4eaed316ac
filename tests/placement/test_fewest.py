"""The placement that touches the fewest chips, against every placement there is."""

from collections.abc import Mapping, Sequence
from functools import cache
from itertools import permutations
from random import Random
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import MonkeyPatch

from ordain.language.machine_file import parse_machine
from ordain.language.micro_file import parse_microprogram
from ordain.machine.expression import Terms
from ordain.machine.model import Machine
from ordain.machine.resolve import resolve
from ordain.microprogram.compile import compile_program
from ordain.microprogram.model import Program
from ordain.placement.confined import Allowed, Unsettled
from ordain.placement.fewest import Fewest, TouchedChips, fewest
from ordain.placement.model import Placement, Recorded
from ordain.placement.place import place
from ordain.rom.assemble import stored_words
from ordain.rom.images import pack
from ordain.sockets import touching_fewest
from tests.placement import by_hand

TEXT = """machine small
microprogram "m.micro"
store control 8 words of 8 bits
    address here
    {unused}
field source 2 bits
    none 0 idle
    acc  1
    temp 2
    sum  3
field load 2 bits, idle any
    acc  1
    temp 2
field write 1 bit, active low
field next 3 bits address, idle 0
state here 3 bits, reset 0
    next next
chip U1 8 x 4
    holds   source, load
    address here
    {one}
chip U2 8 x 4
    holds   write, not next[2], next[1:0]
    address {{here[0], here[2:1]}}
    {two}
order goto <there>: next <there>
"""
WIDTH = 8
COUNT = 5


class Step(NamedTuple):
    source: str
    load: str
    write: bool
    to: int


steps = st.builds(Step, st.sampled_from(("none", "acc", "temp", "sum")), st.sampled_from(("", "acc", "temp")),
                  st.booleans(), st.integers(0, COUNT - 1))
programs = st.lists(steps, min_size=COUNT, max_size=COUNT)
technologies = st.sampled_from(
    ("technology uv", "technology once\n    erased zeros", "technology eeprom", "erased zeros"))


@cache
def resolved(text: str) -> Machine:
    tree, unread = parse_machine({"m.machine": text}, "m.machine")
    assert tree is not None and not unread
    machine, _ = resolve(tree)
    assert machine is not None
    return machine


def compiled(machine_text: str, program: list[Step]) -> tuple[Machine, Program]:
    machine = resolved(machine_text)
    lines = []
    for number, step in enumerate(program):
        parts = [f"source {step.source}", f"goto w{step.to}"]
        parts += [f"load {step.load}"] * bool(step.load) + ["write"] * step.write
        lines += [f"routine w{number}{' at 0' if number == 0 else ''}", "    " + ", ".join(parts)]
    texts, _ = parse_microprogram({"m.micro": "\n".join(lines) + "\n"}, ["m.micro"])
    assert texts is not None
    made, findings = compile_program(machine, texts)
    assert made is not None, findings
    return machine, made


def burned(machine: Machine, program: Program) -> dict[str, bytes]:
    placement, findings = place(machine, program, None)
    assert placement is not None, findings
    return pack(machine, stored_words(machine, placement))


# ---------------------------------------------------------------- every placement, by hand


SOURCES = {"none": 0, "acc": 1, "temp": 2, "sum": 3}
LOADS = {"": 0, "acc": 1, "temp": 2}


def cells_of(word: int) -> tuple[int, int]:
    """What the two chips hold of a word: the wiring of the text above, written down a second time."""
    second = (word >> 3 & 1) << 3 | (1 - (word >> 2 & 1)) << 2 | word & 3
    return word >> 4 & 15, second


def second_cell(address: int) -> int:
    return (address & 1) << 2 | address >> 1


def every_cost(machine: Machine, program: list[Step], images: dict[str, bytes],
               unused: int | None) -> list[tuple[int, int]]:
    """(chips burned, chips erased or replaced) of every placement, with bits that mean nothing chosen as burned."""
    chips = [machine.chips["U1"], machine.chips["U2"]]
    costs = []
    for rest in permutations(range(1, 8), COUNT - 1):
        places = (0, *rest)
        touched, erased = set(), set()
        for address in range(8):
            cells = (address, second_cell(address))
            held = tuple(images[chip.name][cell] for chip, cell in zip(chips, cells))
            if address in places:
                step = program[places.index(address)]
                word = (SOURCES[step.source] << 6 | LOADS[step.load] << 4 | (0 if step.write else 1) << 3
                        | places[step.to])
                wanted = list(cells_of(word))
                if not step.load:                   # `idle any`: as burned
                    wanted[0] = wanted[0] & 12 | held[0] & 3
            elif unused is None:
                continue                            # whatever is there may stay
            else:
                wanted = list(cells_of(unused))
            for chip, was, now in zip(chips, held, wanted):
                if was != now:
                    touched.add(chip.name)
                    back = now & ~was if chip.erased else was & ~now
                    if back and chip.technology != "eeprom":
                        erased.add(chip.name)
        costs.append((len(touched), len(erased)))
    return costs


@given(programs, st.data(), technologies, technologies, st.sampled_from(("", "unused source sum, next 0, load acc")))
@settings(max_examples=40)
def test_nothing_touches_fewer_chips(old: list[Step], data: st.DataObject, one: str, two: str, unused: str) -> None:
    new = list(old)
    for at in data.draw(st.lists(st.integers(0, COUNT - 1), max_size=2)):
        new[at] = data.draw(steps)
    text = TEXT.format(one=one, two=two, unused=unused)
    machine, before = compiled(text, old)
    images = burned(machine, before)
    _, program = compiled(text, new)
    told: list[Fewest] = []
    placement, findings = touching_fewest(images, told.append)(machine, program, None)
    assert placement is not None and not findings
    found, = told
    filler = SOURCES["sum"] << 6 | LOADS["acc"] << 4 | 8 if unused else None
    costs = every_cost(machine, new, images, filler)
    assert found.exact and found.touched.cost == min(costs)
    assert found.at_least == min(costs)[0] and found.touched.cost <= found.plain.cost
    images_now = pack(machine, stored_words(machine, placement))
    assert {name for name in images if images[name] != images_now[name]} == set(found.touched.burned)


@given(programs)
@settings(max_examples=20)
def test_the_same_program_touches_nothing_wherever_it_was_recorded(program: list[Step]) -> None:
    """No record of the last build at all: the sockets alone say where the words stand."""
    machine, compiled_program = compiled(TEXT.format(one="", two="", unused=""), program)
    images = burned(machine, compiled_program)
    told: list[Fewest] = []
    touching_fewest(images, told.append)(machine, compiled_program, None)
    assert told[0].touched.cost == (0, 0) and told[0].exact


def test_a_chip_of_which_nothing_is_known_is_burnt() -> None:
    program = [Step("acc", "temp", True, 1), *(Step("none", "", False, 0) for _ in range(COUNT - 1))]
    machine, compiled_program = compiled(TEXT.format(one="", two="", unused=""), program)
    images = burned(machine, compiled_program)
    del images["U2"]
    told: list[Fewest] = []
    touching_fewest(images, told.append)(machine, compiled_program, None)
    assert told[0].touched.burned == {"U2"} and told[0].exact and told[0].at_least == 1


# ---------------------------------------------------------------- three chips, a table of starts among them

THREE = """machine three
microprogram "m.micro"
store control 8 words of 7 bits
    address here
field lamps 3 bits, idle 0
field next 3 bits address, active low
field back 1 bit
store entry 2 words of 3 bits
    address key
    word start of instruction
store glow 4 words of 2 bits
    address lamps[1:0]
    word {{{glow}}}
input key 1 bit
state here 3 bits, reset 0
    next entry if back else next
chip U1 8 x 4
    holds lamps, back
    address here
    {one}
chip U2 8 x 3
    holds next
    address here
    {two}
chip U3 2 x 3
    holds entry
    address key
    {three}
chip U4 4 x 2
    holds glow
    address lamps[1:0]
"""
GLOWS = {"lamps[0], lamps[1]": lambda at: (at & 1) << 1 | at >> 1, "lamps[1:0]": lambda at: at,
         "lamps[1], lamps[0]": lambda at: at}


class Three(NamedTuple):
    """`lamps`, `to` of the four words: the start, two instructions, a routine; `glow`: what the table says."""

    words: list[tuple[int, int]]
    glow: str

    def compiled(self, one: str, two: str, three: str) -> tuple[Machine, Program]:
        machine = resolved(THREE.format(glow=self.glow, one=one, two=two, three=three))
        names = ("start.w0", "i0.w1", "i1.w2", "rest.w3")
        heads = ("routine start at 0", 'instruction 0 "i0"', 'instruction 1 "i1"', "routine rest")
        lines = [line for number, (head, (lamps, to)) in enumerate(zip(heads, self.words)) for line in
                 (head, f"  w{number}: lamps {lamps}, next {names[to]}" + ", back" * (number == 0))]
        texts, _ = parse_microprogram({"m.micro": "\n".join(lines) + "\n"}, ["m.micro"])
        assert texts is not None
        made, findings = compile_program(machine, texts)
        assert made is not None, findings
        return machine, made

    def cost(self, machine: Machine, images: dict[str, bytes], places: tuple[int, ...]) -> tuple[int, int]:
        """(chips burned, chips erased) with the words at these places; what stands elsewhere stays."""
        wanted = {("U1", places[at]): lamps << 1 | (at == 0) for at, (lamps, _) in enumerate(self.words)}
        wanted |= {("U2", places[at]): 7 - places[to] for at, (_, to) in enumerate(self.words)}
        wanted |= {("U3", key): places[1 + key] for key in (0, 1)}
        wanted |= {("U4", at): GLOWS[self.glow](at) for at in range(4)}
        touched, erased = set(), set()
        for (name, cell), value in wanted.items():
            was, chip = images[name][cell], machine.chips[name]
            if was != value:
                touched.add(name)
                if (value & ~was if chip.erased else was & ~value) and chip.technology != "eeprom":
                    erased.add(name)
        return len(touched), len(erased)


threes = st.builds(Three, st.lists(st.tuples(st.integers(0, 7), st.integers(0, 3)), min_size=4, max_size=4),
                   st.sampled_from(sorted(GLOWS)))


@given(threes, threes, st.booleans(), st.tuples(technologies, technologies, technologies),
       st.sampled_from((None, "confined.MOST_STEPS", "fewest.MOST_SETS", "fewest.MOST_OFFERS")), st.integers(0, 6))
@settings(max_examples=60, deadline=None)
def test_nothing_touches_fewer_of_more_chips(old: Three, other: Three, near: bool, kinds: tuple[str, str, str],
                                             limit: str | None, most: int) -> None:
    """With a limit of effort it may not be found, but then it is not said to be exact either."""
    new = other._replace(words=[*old.words[:3], other.words[3]], glow=old.glow) if near else other
    machine, before = old.compiled(*kinds)
    images = burned(machine, before)
    _, program = new.compiled(*kinds)
    told: list[Fewest] = []
    with MonkeyPatch.context() as patch:
        if limit is not None:
            patch.setattr(f"ordain.placement.{limit}", most)
        placement, findings = touching_fewest(images, told.append)(machine, program, None)
    assert placement is not None and not findings
    found, = told
    best = min(new.cost(machine, images, (0, *rest)) for rest in permutations(range(1, 8), 3))
    assert found.at_least <= best[0] <= found.touched.cost[0] and found.touched.cost >= best
    assert limit is not None or (found.exact and found.touched.cost == best)
    assert not found.exact or found.touched.cost[0] == best[0]
    images_now = pack(machine, stored_words(machine, placement))
    assert {name for name in images if images[name] != images_now[name]} == set(found.touched.burned)


# ---------------------------------------------------------------- which sets are tried, whatever they are sets of


class Options(NamedTuple):
    """What placements there are, by number: the chips that each would burn and erase. `deaf`: placement does not do
    what is wished, and comes to the first whatever is asked."""

    touched: tuple[TouchedChips, ...]
    unknown: frozenset[str]
    deaf: bool

    def search(self, allowed: Allowed) -> dict[int, int] | None:
        assert allowed.erased <= allowed.touched
        return next(({0: number} for number, one in reversed(list(enumerate(self.touched)))
                     if one.burned <= allowed.touched and one.erased <= allowed.erased), None)

    def place(self, recorded: Recorded | None) -> Placement:
        wished = recorded.addresses.get("control", {}) if recorded is not None else {}
        (number,) = (0,) if self.deaf else wished.get("body/0", (0,))
        return Placement(((number,),), {}, (), {})

    def found(self) -> Fewest:
        terms = Terms()
        machine = by_hand.machine([by_hand.store("control", 2, 1, 1, terms)], [], terms)._replace(
            chips=dict.fromkeys(CHIPS))
        with MonkeyPatch.context() as patch:
            patch.setattr("ordain.placement.fewest.Confined", lambda *args: self)
            found = fewest(machine, by_hand.program([by_hand.word(0)]), None, {"control": (0, 0)}, self.unknown,
                           self.place, lambda placement: self.touched[placement.addresses[0][0]])
        assert found is not None
        return found


CHIPS = ("A", "B", "C", "D", "E")


def some_options(rng: Random, deaf: bool) -> Options:
    unknown = frozenset(name for name in CHIPS if rng.random() < 0.15)
    options = []
    for _ in range(rng.randint(1, 6)):
        burned = unknown | {name for name in CHIPS if rng.random() < 0.5}
        options.append(TouchedChips(burned, unknown | {name for name in sorted(burned) if rng.random() < 0.5}))
    return Options(tuple(options), unknown, deaf)


@pytest.mark.parametrize("seed", range(3))
def test_the_cheapest_of_all_placements_is_found(seed: int) -> None:
    rng = Random(seed)
    for _ in range(150):
        options = some_options(rng, False)
        best, found = min(one.cost for one in options.touched), options.found()
        assert (found.touched.cost, found.at_least, found.exact) == (best, best[0], True), options
        assert options.touched[0].cost != best or found.placement.addresses == ((0,),)     # of equals the ordinary one
        assert found.plain == options.touched[0] and found.touched is options.touched[found.placement.addresses[0][0]]


@pytest.mark.parametrize("seed", range(3))
def test_what_is_not_placed_as_wished_is_no_bound(seed: int) -> None:
    """Sets that were not refuted leave open whether fewer chips are enough."""
    rng = Random(seed)
    for _ in range(150):
        options = some_options(rng, True)
        fewest_burned, found = min(len(one.burned) for one in options.touched), options.found()
        assert found.touched == found.plain == options.touched[0]
        assert found.at_least == fewest_burned and found.exact == (fewest_burned == len(found.plain.burned)), options


@pytest.mark.parametrize(("most", "at_least", "tried"), [(3, 0, 3), (4, 1, 4), (9, 1, 9), (24, 1, 24), (300, 1, 89)])
def test_sets_are_tried_up_to_a_limit(most: int, at_least: int, tried: int) -> None:
    """All but A, but B, but C; none; each alone, of which E may do; each two; and of each three those that may be
    erased: none, each, each two."""
    options = Options((TouchedChips(frozenset("ABC"), frozenset("ABC")), TouchedChips(frozenset("E"), frozenset())),
                      frozenset(),
                      True)
    with MonkeyPatch.context() as patch:
        patch.setattr("ordain.placement.fewest.MOST_SETS", most)
        found = options.found()
    assert (found.touched.cost, found.at_least, found.exact, found.sets) == ((3, 3), at_least, False, tried)


@pytest.mark.parametrize(("most", "cost"), [
    (0, (3, 3)), (1, (1, 1)), (2, (1, 1)), (3, (1, 1)), (4, (1, 0)), (60, (1, 0))])
def test_wishes_are_placed_up_to_a_limit(most: int, cost: tuple[int, int]) -> None:
    """Without A, B or C there is the way that burns E and erases it; that E need not be erased is found in the end."""
    options = Options((TouchedChips(frozenset("ABC"), frozenset("ABC")), TouchedChips(frozenset("E"), frozenset()),
                       TouchedChips(frozenset("E"), frozenset("E"))), frozenset(), False)
    with MonkeyPatch.context() as patch:
        patch.setattr("ordain.placement.fewest.MOST_OFFERS", most)
        assert options.found().touched.cost == cost


def chips(burned: str, erased: str = "") -> TouchedChips:
    return TouchedChips(frozenset(burned), frozenset(erased))


@pytest.mark.parametrize(("touched", "unknown", "cost", "tried"), [
    # without A and without B there is no way, so nothing smaller is tried, but whether any of both may stay as it is
    ([chips("AB", "AB")], "", (2, 2), 2 + 1 + 2),
    ([chips("AB", "AB"), chips("AB", "A")], "", (2, 1), 2 + 1 + 1),
    ([chips("AB", "AB"), chips("AB", "B")], "", (2, 1), 2 + 1 + 2),
    # A has to be burned; without B and without C there is a way, but none with A alone or with another beside it
    ([chips("ABC", "A"), chips("ADE", "A")], "A", (3, 1), 2 + 1 + 4),
    # without A, B or C something else is found first; then none, A, B, C, and D, which is enough
    ([chips("ABC"), chips("D"), chips("BCE"), chips("ACE"), chips("ABE")], "", (1, 0), 3 + 1 + 4),
])
def test_no_set_is_tried_that_cannot_matter(touched: list[TouchedChips], unknown: str, cost: tuple[int, int],
                                            tried: int) -> None:
    found = Options(tuple(touched), frozenset(unknown), False).found()
    assert (found.touched.cost, found.exact, found.sets) == (cost, True, tried)


def without_search(numbers: Mapping[object, int], touched: Sequence[TouchedChips], recorded: Recorded | None) -> Fewest:
    """`numbers`: which placement comes of what is recorded, None where none does; every search is given up."""
    class GivenUp:
        def search(self, allowed: Allowed) -> None:
            raise Unsettled

    def place(asked: Recorded | None) -> Placement | None:
        number = numbers.get(asked if asked is None else (*asked.addresses, bool(asked.words)))
        return None if number is None else Placement(((number,),), {}, (), {})

    terms = Terms()
    small = by_hand.machine([by_hand.store("control", 2, 1, 1, terms)], [], terms)._replace(chips=dict.fromkeys(CHIPS))
    with MonkeyPatch.context() as patch:
        patch.setattr("ordain.placement.fewest.Confined", lambda *args: GivenUp())
        found = fewest(small, by_hand.program([by_hand.word(0)]), recorded, {"control": (0, 0)}, frozenset(), place,
                       lambda placement: touched[placement.addresses[0][0]])
    assert found is not None
    return found


def test_what_was_recorded_is_offered_with_the_bits_of_the_sockets() -> None:
    """Whatever the search comes to; and a search that is given up refutes nothing."""
    touched = [chips("ABC"), chips("A"), chips("AB")]
    assert without_search({None: 0, (True,): 1}, touched, None)[1:5] == (touched[1], touched[0], 0, False)
    before = Recorded({"control": {}}, {})
    assert without_search({("control", False): 0, ("control", True): 2, (True,): 1}, touched, before)[1:5] == (
        touched[2], touched[0], 0, False)
    assert without_search({None: 0}, touched, None)[1:5] == (touched[0], touched[0], 0, False)
