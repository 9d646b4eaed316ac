"""Blocks of code lead to the same as cycles that are worked out one by one, wherever they stop."""

from collections.abc import Iterator, Mapping
from itertools import islice
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.cli.run_watching import questions_of, watches_of
from ordain.data.blocks import Stretch
from ordain.data.datapath import Datapath
from ordain.data.model import Memories, Record, Taker
from ordain.data.partial import exactly
from ordain.data.record import LATEST, recorded
from ordain.data.run import run
from ordain.data.strides import Strides
from ordain.machine.expression import Node
from ordain.pipeline import build_model
from ordain.rom.contents import Contents
from tests.data.test_compiled import at_power_up
from tests.data.test_heron_programs import heron
from tests.data.test_isa import START, program
from tests.data.test_run import MACHINE
from tests.judge.tool import build
from tests.twin.hunting import EXAMPLES, ROOT
from tests.twin.hunting import made as machine_by_seed
from tests.workshop import contents_of

LOOP = "routine main\n    put count, keep, target main\n"


def both(contents: Contents, memories: Memories, given_: Mapping[str, int], cycles: int, stop: Node | None = None,
         limit: int | None = None, titles: tuple[str, ...] = (), devices: tuple[Taker, ...] = (),
         watched: bool = True) -> list[Record]:
    """The run with strides, and without."""
    watches = watches_of(questions_of(contents)) if watched else {}
    return [recorded(Datapath(contents, watches), {name: dict(cells) for name, cells in memories.items()},
                     lambda cycle: given_, stop, cycles, limit, titles, devices=devices, kept="nothing", steady=steady)
            for steady in (0, None)]


def same(one: Record, other: Record) -> list[str]:
    """What differs, the diagram's cycles included as far as the shorter one has them."""
    wrong = [f"{name}: {getattr(one, name)}, worked out {getattr(other, name)}"
             for name in ("ending", "cycles", "begun", "held", "broken", "sent", "findings")
             if getattr(one, name) != getattr(other, name)]
    for name, cells in one.memories.items():
        wrong += [f"{name} at {at:X}: {cells.get(at)}, worked out {other.memories[name].get(at)}"
                  for at in {*cells, *other.memories[name]} if cells.get(at) != other.memories[name].get(at)]
    if one.broken:
        wrong += [f"{len(one.last)} of {len(other.last)} last cycles"] if len(one.last) < len(other.last) else []
        wrong += [f"cycle {cycle} of the last" for (cycle, mine), (number, its) in zip(one.last, other.last)
                  if cycle != number or dict(mine.held) != dict(its.held) or mine.memories != its.memories]
    return wrong


def went(contents: Contents, memories: Memories, given_: Mapping[str, int], cycles: int) -> int:
    """How many cycles strides go over, of a run that begins as these do."""
    path = Datapath(contents)
    strides = Strides(path, memories, tuple(path.never.values()), frozenset(), margin=LATEST, most=cycles)
    for ran in islice(run(path, memories, lambda cycle: given_, strides=strides), cycles):
        if ran.cycle >= cycles:
            break
    return strides.steps


@pytest.fixture(scope="module", autouse=True)
def soon() -> Iterator[None]:
    """Code is made at the second time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("ordain.data.strides.OFTEN", 2)
        yield


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 1 << 30))
def test_any_machine_comes_to_the_same(seed: int) -> None:
    """Once with all that is watched, which ends most of them soon, and once with nothing."""
    random = Random(seed)
    built, _ = build(machine_by_seed(seed))
    if built is None or (built.contents.machine.clock is not None and built.contents.machine.clock.held is not None):
        return                                          # a clock that stands still ends no run after so many cycles
    contents = at_power_up(built.contents, random.choice) if seed % 5 else built.contents
    memories: Memories = {name: {at: exactly(random.randrange(1 << one.bits), one.bits) for at in range(one.words)
                                 if seed % 3 or at % 4} for name, one in contents.machine.memories.items()}
    given_ = {name: random.randrange(len(one.codes) or 1 << one.width)
              for name, one in contents.machine.inputs.items()}
    given_.update((name, random.randrange(1 << one.width)) for name, one in contents.machine.conditions.items()
                  if one.value is None)
    for watched in (True, False):
        one, other = both(contents, memories, given_, random.choice((60, 100, 150)), watched=watched)
        assert not same(one, other), (seed, same(one, other)[:3])


@pytest.mark.parametrize("name", [name for name in EXAMPLES if "heron" not in name])
def test_examples_come_to_the_same(name: str) -> None:
    built, _ = build_model(ROOT / name)
    assert built is not None
    for seed in range(4):
        random = Random(seed)
        contents = at_power_up(built.contents, random.choice)
        memories: Memories = {one.name: {at: exactly(random.randrange(1 << one.bits), one.bits)
                                         for at in range(one.words)} for one in contents.machine.memories.values()}
        given_ = {one: random.randrange(len(line.codes) or 1 << line.width) if seed else 0
                  for one, line in contents.machine.inputs.items()}
        one, other = both(contents, memories, given_, 250, watched=seed % 2 == 0)
        assert not same(one, other), same(one, other)[:3]


@settings(deadline=None, max_examples=3)
@given(st.integers(0, 1 << 40), st.integers(150, 900), st.one_of(st.none(), st.integers(1, 60)))
def test_programs_on_heron_come_to_the_same(seed: int, cycles: int, limit: int | None) -> None:
    """Programs by chance in a loop without an end, broken off anywhere."""
    path, opcodes, _ = heron()
    memory = program(seed)
    end = next(at for at in range(START, len(memory)) if memory[at:at + 1] == bytes([opcodes["stop"]]))
    memory[end:end + 3] = bytes([opcodes["go nn"], START & 255, START >> 8])
    cells: Memories = {"memory": {at: exactly(byte, 8) for at, byte in enumerate(memory)}}
    titles = tuple(title for title in opcodes if title in path.contents.labels)
    one, other = both(path.contents, cells, {}, cycles, limit=limit, titles=titles)
    assert not same(one, other), same(one, other)[:3]


def test_most_of_a_long_run_is_gone_over() -> None:
    path, opcodes, _ = heron()
    code = [opcodes["load x, nn"], 0, 0x20, opcodes["clear a"], opcodes["add a, n"], 3, opcodes["store a, [x]"],
            opcodes["go nn"], 0x04, 0xE0]
    cells: Memories = {"memory": {0xE000 + at: exactly(byte, 8) for at, byte in enumerate(code)}}
    assert went(path.contents, cells, {}, 5000) > 4500
    assert went(contents_of(MACHINE, LOOP), {"ram": {}}, {}, 2000) > 1900


COUNTER = """\
machine tally
store control 2 words of 2 bits
    address odd
field step 1 bit
spare 1 bit
state odd 1 bit, reset 0
    next not odd
register count 9 bits, loads count + 1 when step, reset 0
register low 4 bits, loads count[3:0] when step
memory ram 16 words of 4 bits
    address count[3:0]
    writes count[7:4] when step
memory rom 8 words of 4 bits
    address count[3:0]
bus data 4 bits, {undriven}
    driven by one = count[3:0] when count[4] and step
    driven by two = low when {second} and step
    sampled by lamp when {lamp}
rule "no {never}" never count is {never}
visible count, low, ram
"""
TICK = "routine main at 0\n    step\n    step\n"


@pytest.mark.parametrize(("change", "ending", "cycles"), [
    ({}, "cycles", 700), ({"never": "333"}, "fault", 334), ({"never": "13"}, "fault", 14),
    ({"second": "count[8]"}, "fault", 0x111), ({"second": "count[8] and not count[4]"}, "cycles", 700),
    ({"undriven": "pulled high"}, "cycles", 700), ({"undriven": "kept"}, "cycles", 700),
    ({"undriven": "wired or", "second": "count[8]"}, "cycles", 700),
    ({"lamp": "count[5:0] is 40"}, "cycles", 700), ({"lamp": "count is 300"}, "cycles", 700)])
def test_what_happens_on_the_way_is_told(change: dict[str, str], ending: str, cycles: int) -> None:
    """Fights that data decide, a rule that data break, a device: each in its cycle, by hand, with the cycles before."""
    usual = {"undriven": "floats", "second": "not count[4]", "never": "511", "lamp": "count is 511"}
    contents = contents_of(COUNTER.format(**{**usual, **change}), TICK)
    terms = contents.machine.terms
    lamp = contents.machine.buses["data"].samplers[0]
    device = Taker("lamp", terms.leaf("bus", "data", 4), lamp.when)
    if ending == "cycles" and change.get("never", "511") == "511":
        contents = contents._replace(machine=contents.machine._replace(rules=()))
    one, other = both(contents, {"ram": {}, "rom": {}}, {}, 700, devices=(device,))
    assert not same(one, other)
    assert (one.ending, one.cycles) == (ending, cycles)
    if ending == "fault":
        assert [cycle for cycle, _ in one.last] == list(range(max(1, cycles - LATEST + 1), cycles + 1))


def test_a_run_stops_where_it_is_asked_to() -> None:
    contents = contents_of(COUNTER.format(undriven="kept", second="count[8]", never="511", lamp="count is 511"), TICK)
    terms = contents.machine.terms
    for at in (*range(1, 60, 7), 200, 201):
        stop = terms.equal(terms.leaf("register", "count", 9), terms.const(at, 9))
        one, other = both(contents, {"ram": {}, "rom": {}}, {}, 250, stop)
        assert not same(one, other) and (one.ending, one.cycles) == ("until", at + 1)


def test_a_word_that_is_not_known_is_worked_out_and_known_again_after_a_write() -> None:
    """count is read from a memory of which word 3 is not known: there the sum is not, and the run goes on."""
    machine = COUNTER.format(undriven="kept", second="count[8]", never="511", lamp="count is 511").replace(
        "loads count[3:0] when step", "loads ram when step")
    contents = contents_of(machine, TICK)
    cells = {at: exactly(at, 4) for at in range(16) if at != 3}
    for cycles in (4, 5, 30, 70, 300):
        one, other = both(contents, {"ram": dict(cells), "rom": {}}, {}, cycles)
        assert not same(one, other)


def test_code_is_made_only_of_what_comes_often(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ordain.data.strides.OFTEN", 8)
    contents = contents_of(MACHINE, LOOP)
    path = Datapath(contents)
    strides = Strides(path, {"ram": {}}, (), frozenset(), margin=LATEST, most=1000)
    list(islice(run(path, {"ram": {}}, lambda cycle: {}, strides=strides), 7))
    assert strides.steps == 0
    list(islice(run(path, {"ram": {}}, lambda cycle: {}, strides=strides), 20))
    assert strides.steps > 0


@pytest.mark.parametrize("after", [1, 2, 7, 30])
def test_a_run_that_is_broken_off_stands_where_it_says(after: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C between two blocks, when the second has been run but not counted: what it wrote is taken back."""
    path, opcodes, _ = heron()
    code = [opcodes["load x, nn"], 0, 0x20, opcodes["clear a"], opcodes["add a, n"], 3, opcodes["store a, [x+]"],
            opcodes["go nn"], 0x04, 0xE0]
    cells: Memories = {"memory": {0xE000 + at: exactly(byte, 8) for at, byte in enumerate(code)}}
    counted, count = Strides._after, iter(range(1 << 30))

    def broken_off(self: Strides, block: Stretch, found: tuple[int, ...]) -> tuple[int, ...]:
        if next(count) == after:
            raise KeyboardInterrupt
        return counted(self, block, found)

    monkeypatch.setattr(Strides, "_after", broken_off)
    one, _ = both(path.contents, cells, {}, 3000)
    assert one.ending == "interrupted" and 10 < one.cycles < 1000
    _, other = both(path.contents, cells, {}, one.cycles)
    assert not same(one._replace(ending="cycles"), other)
