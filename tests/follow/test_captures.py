"""Captures of machines that run in Icarus Verilog, which shares no code with ours, seen through an analyzer that is
none (`sampled`): a sound one is followed to its end, one with a fault up to the fault at least.

Icarus Verilog: https://github.com/steveicarus/iverilog, IEEE 1364-2005.
"""

import shutil
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from pathlib import Path
from random import Random
from typing import NamedTuple

import pytest

from ordain.capture.read import read_capture
from ordain.capture.sampling import ClockedReading, Where, readings
from ordain.capture.sampling import SamplingFaults as Met
from ordain.capture.timing import clocks
from ordain.control.system import build_system
from ordain.data.datapath import Datapath
from ordain.data.partial import Ternary, exactly
from ordain.follow.broken import why
from ordain.follow.fitting import fitted
from ordain.follow.following import Clips, follow
from ordain.follow.model import ClockCycle
from ordain.follow.states import States
from ordain.machine.model import BoardLine
from ordain.pipeline import Built, build_model
from ordain.rom.contents import Contents
from tests.follow.sampled import Analyzer, dump, rows, samples, session
from tests.twin import comparing
from tests.twin.comparing import simulated
from tests.twin.hunting import inputs_by_chance

ROOT = Path(__file__).parents[2]
CYCLES = 400
EXAMPLES = ["stepper", "two-masters", "pause-fight/broken", "late-grant/broken"]

pytestmark = pytest.mark.skipif(shutil.which("iverilog") is None, reason="wants Icarus Verilog: apt install iverilog")


class Run(NamedTuple):
    """A machine that ran: what stood everywhere in each cycle, up to the first of which the simulator does not know all
    that control depends on; and the lines that an analyzer is at. `given`: what stood at the inputs themselves."""

    contents: Contents
    rows: list[dict[str, Ternary]]
    lines: tuple[BoardLine, ...]
    given: tuple[dict[str, int], ...] = ()


@cache
def built_at(name: str) -> Built:
    directory = ROOT / ("microcode" if name == "heron" else f"examples/{name}")
    (file,) = [one for one in directory.glob("*.machine") if "\nmachine " in "\n" + one.read_text()]
    built, findings = build_model(file)
    assert built is not None, findings
    return built


def lines_of(contents: Contents, random: Random, many: bool) -> tuple[BoardLine, ...]:
    """Lines of the address and some bits of states and fields; `many`: the whole address and half of the fields."""
    machine, terms = contents.machine, contents.machine.terms
    every = [(name, terms.leaf("state", name, one.width)) for name, one in machine.states.items()]
    stores = [store for store in machine.stores.values() if store.fill == "microprogram"]
    addresses = [BoardLine(f"{store.name}@{bit}", terms.slice(store.address, bit, bit)) for store in stores
                 for bit in range(store.address_width)]
    bits = [BoardLine(f"{name}[{bit}]", terms.slice(leaf, bit, bit)) for name,
            leaf in every for bit in range(leaf.width)]
    fields = [(name, terms.leaf("field", name, machine.fields[name].width)) for name in machine.fields
              if machine.fields[name].holds != "spare"]
    bits += [BoardLine(f"{name}[{bit}]", terms.slice(leaf, bit, bit)) for name,
             leaf in fields for bit in range(leaf.width)]
    if many:
        return (*addresses, *random.sample(bits, len(bits) // 2))
    return (*random.sample(addresses, random.randrange(len(addresses) // 2, len(addresses) + 1)),
            *random.sample(bits, min(len(bits), random.randrange(2, 9))))


def ran(name: str, seed: int, place: Path, broken: Mapping[str, bytes] | None = None, cycles: int = CYCLES,
        many: bool = False, burned: Mapping[str, Sequence[int]] | None = None,
        change: Callable[[Contents], Contents] = lambda sound: sound,
        bend: Callable[[str, int], int] = lambda _, level: level) -> Run:
    """`broken`: images of chips with a fault in them; the lines are those of the simulated machine all the same.
    `burned`: what stores read then, for those that the simulator does not read through their chips because some
    spare bit is in none. `change`: the machine that is simulated in place of the sound one. `bend`: what it gets of an
    input; so it stands in the rows."""
    built, random = built_at(name), Random(seed)
    contents = with_resets(built.contents, Random(seed).choice)
    memories = {one: {address: exactly(Random(seed * 65536 + address).getrandbits(memory.bits), memory.bits)
                      for address in range(memory.words)}
                for one, memory in contents.machine.memories.items()}
    held = contents._replace(words={**contents.words, **{one: tuple(words) for one, words in (burned or {}).items()}})
    path = Datapath(change(held))
    given = inputs_by_chance(contents, random, cycles)
    inputs = [{name: bend(name, level) for name, level in row.items()} for row in given]
    there = simulated(path, {**built.images, **(broken or {})}, memories, inputs, place)
    ports = {**contents.machine.inputs, **contents.machine.conditions}
    found = [{**{name: exactly(value, ports[name].width) for name, value in got.items()},
              **{name: comparing.bits_of(digits) for name, digits in zip(comparing.shown(path), row)}}
             for got, row in zip(inputs, there, strict=True)]
    names = {*(variable.name for variable in build_system(contents).variables)}
    known = next((at for at, row in enumerate(found) if any(
        bits.known != (1 << wide(contents, one)) - 1 for one, bits in row.items() if one in names)), len(found))
    return Run(built.contents, found[:known], lines_of(contents, random, many), tuple(given[:known]))


def with_resets(contents: Contents, choose: Callable[[Sequence[int]], int]) -> Contents:
    """With a value in everything that has none after reset: one of those that it may come up with."""
    machine = contents.machine
    return contents._replace(machine=machine._replace(
        states={name: one if one.reset is not None else one._replace(
            reset=choose(range(len(one.codes) or 1 << one.width))) for name, one in machine.states.items()},
        registers={name: one if one.reset is not None else one._replace(reset=choose(range(1 << one.width)))
                   for name, one in machine.registers.items()}))


def wide(contents: Contents, name: str) -> int:
    declared = contents.machine.states.get(name) or contents.machine.registers.get(name)
    return 0 if declared is None else declared.width


def words_of(contents: Contents, run: Run, burned: Mapping[str, Sequence[int]] | None = None) -> list[int]:
    """The levels of all lines in each cycle, line N in bit N. `burned`: what the stores of a faulty machine hold."""
    from ordain.control.cycle import Running
    from ordain.logic.evaluate import evaluate
    from ordain.machine.expression import substitute

    held = contents if burned is None else contents._replace(words={**contents.words, **{
        store: tuple(words) for store, words in burned.items()}})
    system = build_system(held)
    running = Running(system)
    nodes = substitute(system.terms, tuple(line.level for line in run.lines), system.lowering)
    words = []
    for row in run.rows:
        values = {variable.leaf: row[variable.name].value if variable.name in row else 0
                  for variable in system.variables}
        values.update((one.leaf, row[one.name].value if one.name in row else 0) for one in system.free)
        values = running.values(values)
        memo: dict[object, int] = {}
        words.append(sum(evaluate(node, values, memo) << bit for bit,
            node in enumerate(nodes)))  # type: ignore[arg-type]
    return words


def followed_through(run: Run, file: Path, states: States) -> tuple[int, ClockCycle | None, Met]:
    """As the command does it: the clock found, the place to read at found, then followed."""
    capture = read_capture(file)
    places = [next(bit for name, bit in capture.channels.items() if name.rpartition(".")[2] == f"c{number}")
              for number in range(len(run.lines))]
    (clock, *_) = clocks(capture, places)
    assert clock.channel == next(bit for name, bit in capture.channels.items() if name.rpartition(".")[2] == "clock")
    clips, start, met = Clips(places), states.running(), Met()
    where = fitted(states, clips, capture, clock, ("rising", "falling"), None, start, 0)
    found = follow(states, clips, readings(capture.events(), where, met), start)
    return found.clocks, found.broken, met


@pytest.mark.parametrize(("name", "seed"), [(name, seed) for name in ("heron", *EXAMPLES) for seed in (1, 2)])
def test_a_sound_machine_is_followed_to_the_end(name: str, seed: int, tmp_path: Path) -> None:
    """With skew, one or two channels missing by chance, the beginning cut off, in all three formats; and the state in
    which the simulator is, is always one of those that it can be in."""
    run, random = ran(name, seed, tmp_path), Random(seed)
    if run.contents.machine.assumptions:
        pytest.skip("inputs by chance break what the surroundings promise")
    words = words_of(run.contents, run)
    states = States(build_system(run.contents), [line.level for line in run.lines], ())
    number, clips = states.running(), Clips(range(len(run.lines)))
    first = random.randrange(3)
    for row, word in zip(run.rows[first:], words[first:]):
        where = {variable.leaf: row[variable.name].value for variable in states.system.variables
                 if variable.name in row}
        space = states.space
        inside = states.sets[number]
        for variable in states.system.variables:
            if variable.leaf in space.atoms.first and variable.name in row:
                mask = states.case.model.needed[variable.leaf]
                for bit, atom in enumerate(space.atoms.of(variable.leaf)):
                    if mask >> bit & 1:
                        inside = inside & (space.now[atom] if where[variable.leaf] >> bit & 1 else ~space.now[atom])
        assert inside.satisfiable()
        number = states.after(number, clips.seen(word, 0))
        assert number >= 0
    names = [*(f"c{at}" for at in range(len(run.lines))), "clock"]
    low = ((2.0, 2.9, 4.0), (2.2, 3.0, 5.2))[seed - 1]
    for write, analyzer in ((session, Analyzer(4.3, 0.5)), (dump, Analyzer(10.0, 0.9)),
                            (lambda path, of, found: rows(path, of, found, True), Analyzer(7.1, 0.7)),
                            *((session, Analyzer(rate, 0.49)) for rate in low)):
        found = samples(words, len(run.lines), analyzer, random)[random.randrange(40):]
        clocks_told, broken, _ = followed_through(run, write(tmp_path / "capture", names, found), states)
        assert broken is None and clocks_told > len(words) - 45 / analyzer.rate - 5, (analyzer, clocks_told)


@pytest.mark.parametrize("rate", [6.3, 16.0])
def test_disturbed_samples_are_told_and_nothing_false_is_said_of_them(rate: float, tmp_path: Path) -> None:
    run = ran("heron", 3, tmp_path)
    words, random = words_of(run.contents, run), Random(3)
    states = States(build_system(run.contents), [line.level for line in run.lines], ())
    names = [*(f"c{at}" for at in range(len(run.lines))), "clock"]
    found = samples(words, len(run.lines), Analyzer(rate, 0.4, 0.02), random)
    count, broken, met = followed_through(run, session(tmp_path / "c.sr", names, found), states)
    assert broken is None and count > len(words) - 10
    assert (met.glitches > 2 or rate < 9) and met.moving > 5


@pytest.mark.parametrize("name", ["heron", "stepper", "two-masters"])
def test_a_bit_that_a_chip_gives_wrong(name: str, tmp_path: Path) -> None:
    """A cell of a chip turned round, in the simulator's file alone. Up to the clock at which something else is seen
    than a sound machine would show, nothing is said against it; and most faults that are executed do show."""
    built, random, shown = built_at(name), Random(7), 0
    sound = ran(name, 5, tmp_path, many=True)
    if sound.contents.machine.assumptions:
        pytest.skip("inputs by chance break what the surroundings promise")
    good = words_of(sound.contents, sound)
    executed = {store: sorted({row_address(sound.contents, store, row) for row in sound.rows[:100]})
                for store, one in sound.contents.machine.stores.items() if one.fill == "microprogram"}
    states = States(build_system(sound.contents), [line.level for line in sound.lines], ())
    clips = Clips(range(len(sound.lines)))
    tries = 4 if name == "heron" else 12
    for _ in range(tries):
        store = random.choice(sorted(executed))
        address, bit = random.choice(executed[store]), random.randrange(sound.contents.machine.stores[store].bits)
        burned = list(sound.contents.words[store])
        burned[address] ^= 1 << bit
        images = dict(built.images)
        for chip in sound.contents.machine.chips.values():
            for bank in chip.banks:
                for place, pin in enumerate(bank.pins):
                    if bank.store == store and pin.bit == bit:
                        image = bytearray(images[chip.name])
                        for cell in cells_of(bank.address, address):
                            image[cell] ^= 1 << (chip.bits - 1 - place)
                        images[chip.name] = bytes(image)
        faulty = ran(name, 5, tmp_path, images, many=True, burned={store: burned})
        words = words_of(faulty.contents, faulty, {store: burned})
        apart = next((at for at, (one, other) in enumerate(zip(good, words)) if one != other), None)
        found = follow(states, clips, (ClockedReading(at, word, 0) for at, word in enumerate(words)), states.running())
        if found.broken is not None:
            shown += 1
            assert apart is not None and found.broken.number - 1 >= apart
            reasons = why(states, found)
            assert reasons.possible and (reasons.never or reasons.together)
            assert len(reasons.possible[0].trace.cycles) >= min(found.broken.number, 2)
    assert shown >= max(1, tries // 6), shown


@pytest.mark.parametrize("oscillator", [False, True])
def test_a_clock_with_phases_that_something_holds(oscillator: bool, tmp_path: Path) -> None:
    """The barograph's clock has two phases, and a slow memory and a button hold it. With a clip at the clock itself
    every edge is seen, and no cycle in which it stood still; with one at the oscillator every step is. A word that is
    changed in the capture is found, and the way there goes through cycles that were held."""
    run = ran("half-clock/mended", 4, tmp_path)
    words, machine = words_of(run.contents, run), run.contents.machine
    assert machine.clock is not None and len(words) > 200
    phases = [row[machine.clock.name].value for row in run.rows]
    gated = not oscillator
    states = States(build_system(run.contents), [line.level for line in run.lines], (), gated)
    high = len(run.lines)
    found = [word | (phase if gated else part < 3) << high for word, phase in zip(words, phases) for part in range(6)]
    capture = read_capture(session(tmp_path / "c.sr", [*(f"c{at}" for at in range(high)), "clk"], found))
    where = Where(high, "both" if gated else "rising", 2, 0, 1)
    read = list(readings(capture.events(), where, Met()))
    seen = [at for at in range(len(phases) - 1) if phases[at] != phases[at + 1]] if gated else range(len(phases) - 1)
    assert [one.word & (1 << high) - 1 for one in read] == [words[at] for at in seen]
    assert not gated or len(read) < len(phases) - 20
    clips, start = Clips(range(high)), states.running()
    assert follow(states, clips, read, start).broken is None
    broken = None
    for line in range(high):
        changed = [one._replace(word=one.word ^ (1 << line if at == 60 else 0)) for at, one in enumerate(read)]
        result = follow(states, clips, changed, start)
        if result.broken is not None:
            broken = result.broken
            assert broken.number >= 61
            trace = why(states, result).possible[0].trace
            assert len(trace.cycles) >= 11 and (not gated or any(
                one.states[machine.clock.name] == other.states[machine.clock.name]
                for one, other in zip(trace.cycles, trace.cycles[1:])) or len(trace.cycles) == 11)
    assert broken is not None


def cells_of(pins: Sequence[object], address: int) -> list[int]:
    """The cells of a chip that a store's address presents, those of pins at any level included."""
    found = [0]
    for pin in pins:
        bit, inverted, level_ = pin.bit, pin.inverted, pin.level  # type: ignore[attr-defined]
        levels = [(address >> bit & 1) ^ inverted] if bit is not None else [0, 1] if level_ is None else [level_]
        found = [cell << 1 | one for cell in found for one in levels]
    return found


def row_address(contents: Contents, store: str, row: Mapping[str, Ternary]) -> int:
    from ordain.logic.evaluate import evaluate
    from ordain.machine.expression import Leaf, leaves

    node = contents.machine.stores[store].address
    return evaluate(node, {leaf: row[leaf.name].value for leaf in leaves((node,)) if isinstance(leaf, Leaf)})


def test_where_the_lines_are_read() -> None:
    """By hand: the clock rises at 10, 20 and 30; the data line changes at 11, 14 and 19. Read 2 before the edge it is
    0, then 1 of the change at 14; with a guard of 1 the third change, at 19, is too near, so nothing is known."""
    events = [(0, 0, 0), (10, 1, 0), (11, 3, 0), (14, 1, 0), (15, 0, 0), (19, 2, 0), (20, 3, 0), (25, 2, 0), (30, 3, 0),
              (40, 3, 0)]
    where = Where(0, "rising", 2, 0, 1)
    plain = [(one.time, one.word >> 1 & 1) for one in readings(iter(events), where, Met())]
    assert plain == [(10, 0), (20, 0), (30, 1)]
    met = Met()
    near = [(one.word >> 1 & 1, one.unknown >> 1 & 1) for one in readings(iter(events), where._replace(guard=1), met)]
    assert near == [(0, 0), (0, 1), (1, 0)] and met.moving == 1
    falling = [one.time for one in readings(iter(events), where._replace(edges="falling"), Met())]
    assert falling == [15, 25]
    assert [one.time for one in readings(iter(events), where._replace(edges="both"), Met())] == [10, 15, 20, 25, 30]


def test_short_pulses_of_the_clock_are_none() -> None:
    events = [(0, 0, 0), (10, 1, 0), (13, 0, 0), (14, 1, 0), (16, 0, 0), (20, 1, 0), (21, 0, 0), (26, 1, 0), (40, 1, 0)]
    met = Met()
    assert [one.time for one in readings(iter(events), Where(0, "rising", 1, 0, 2), met)] == [10, 26]
    assert met.glitches == 2
