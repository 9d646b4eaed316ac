"""`python -m tests.follow --faults 500`: faults planted in machines that run in Icarus Verilog, and whether `ordain
diagnose` finds them again.

Each is one of those that are tried, a kind by chance and of that kind one by chance; it is planted a second time, apart
from how it is tried: the image of a chip is bent (`test_diagnosis.planted`), what comes in is, a state is given another
next value, clips are exchanged in what was seen. The analyzer is at lines by chance. Told are: how many show, of how
many the one that was planted is among those that explain all, how many those are, what the next measurement leaves.
"""

import argparse
import tempfile
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path
from random import Random
from statistics import median
from typing import NamedTuple

from ordain.capture.sampling import ClockedReading
from ordain.control.system import build_system
from ordain.follow.apart import lines_of, look
from ordain.follow.burning import burning_faults
from ordain.follow.cells import CellFault, Cells, cell_fault, stores_with_cells
from ordain.follow.diagnosing import suspects
from ordain.follow.faults import faults
from ordain.follow.following import Clips, follow
from ordain.follow.model import Hypothesis, with_bit
from ordain.follow.states import States
from ordain.follow.wiring import clip_faults, driver_faults, wiring_faults
from ordain.machine.expression import Node, substitute
from ordain.machine.model import BoardLine
from ordain.machine.rewriting import with_terms
from ordain.pipeline import Built
from ordain.rom.contents import Contents
from tests.follow.test_captures import built_at, cells_of, ran, words_of
from tests.follow.test_diagnosis import planted
from tests.twin import comparing
from tests.twin.comparing import Unsettled

MACHINES = ("heron", "stepper", "two-masters", "pause-fight/broken")


class Tried(NamedTuple):
    """`shown`: a sound machine does not explain it. `found`: what was planted is among those that explain all. `left`:
    how many these are; `halves`: whether a measurement is named that leaves half of those at most that were looked at;
    `named`: whether one is; `alike`: whether it is said that nothing tells them apart."""

    machine: str
    fault: Hypothesis
    shown: bool
    found: bool = False
    left: int = 0
    named: bool = False
    halves: bool = False
    alike: bool = False


class Planted(NamedTuple):
    """What a board with a fault is made of. `images`, `change`, `bend`: as `ran` takes them. `earlier`: images that are
    known to have been burned once."""

    fault: Hypothesis
    images: Mapping[str, bytes]
    change: Callable[[Contents], Contents] = lambda sound: sound
    bend: Callable[[str, int], int] = lambda _, level: level
    earlier: Mapping[str, list[tuple[str, bytes]]] = {}


def plant(built: Built, random: Random, lines: int, held: list[Node]) -> Planted:
    contents, system = built.contents, build_system(built.contents, held)
    earlier = {name: [("an earlier build", _revised(image, random))] for name, image in built.images.items()}
    every = [*(one for one in faults(contents, built.images)), *burning_faults(contents, built.images, earlier),
             *wiring_faults(system), *driver_faults(system, held), *_some_cells(built, random),
             *clip_faults([str(number) for number in range(lines)])]
    kinds = sorted({one.kind for one in every})
    kind = random.choice(kinds)
    fault = random.choice([one for one in every if one.kind == kind])
    made = Planted(fault, built.images, earlier=earlier)
    name = fault.text.replace("[", " ").partition(" ")[0]
    match kind:
        case "pin" | "bridge" | "chip":
            chip = built.machine.chips[fault.text.partition(".")[0].split()[0]]
            return made._replace(images={**built.images, chip.name: planted(chip, built.images[chip.name], fault.text)})
        case "exchange":
            one, _, other, _ = fault.text.split()
            return made._replace(images={**built.images, one: built.images[other], other: built.images[one]})
        case "burning":
            (chip,) = [chip for chip in built.machine.chips.values() if chip.name in fault.text.split()]
            half, blank = len(built.images[chip.name]) // 2, bytes([0xFF if chip.erased else 0])
            image = built.images[chip.name]
            bent = earlier[chip.name][0][1] if "holds" in fault.text else image[:half] + blank * (len(image) - half) \
                if "upper" in fault.text else blank * half + image[half:]
            return made._replace(images={**built.images, chip.name: bent})
        case "cell":
            return made._replace(images=_with_cell(built, fault))
        case "state":
            return made._replace(change=lambda sound: _stuck(sound, fault))
        case "input":
            place = 1 << int(fault.text.partition("[")[2].partition("]")[0] or 0)

            def bend(given: str, level: int) -> int:
                if given != name:
                    return level
                return level ^ place if "inverted" in fault.text else \
                    level | place if fault.text.endswith("1") else level & ~place
            return made._replace(bend=bend)
        case "synchroniser":
            return made._replace(change=lambda sound: _without(sound, fault))
        case "driver":
            return made._replace(change=lambda sound: _driving(sound, fault))
    return made


def _revised(image: bytes, random: Random) -> bytes:
    """With another byte here and there."""
    return bytes(random.randrange(256) if random.random() < 0.1 else byte for byte in image)


def _some_cells(built: Built, random: Random) -> list[Hypothesis]:
    """Bits of words that are placed, by chance."""
    contents, found = built.contents, []
    for store in stores_with_cells(contents):
        addresses = [*contents.sites.get(store, {})] or range(len(contents.words[store]))
        for _ in range(40):
            bit = random.randrange(contents.machine.stores[store].bits)
            found.append(cell_fault(contents, CellFault(store, random.choice(addresses), bit, 0)))
    return found


def _with_cell(built: Built, fault: Hypothesis) -> dict[str, bytes]:
    ((store, words),) = fault.words.items()
    ((address, turned),) = [(at, word ^ other) for at, (word, other) in
                            enumerate(zip(words, built.contents.words[store])) if word != other]
    images = dict(built.images)
    for chip in built.machine.chips.values():
        for bank in chip.banks:
            for place, pin in enumerate(bank.pins):
                if bank.store == store and pin.bit is not None and turned >> pin.bit & 1:
                    image, size = bytearray(images[chip.name]), (chip.bits + 7) // 8
                    at = chip.bits - 1 - place
                    for cell in cells_of(bank.address, address):
                        image[cell * size + at // 8] ^= 1 << at % 8
                    images[chip.name] = bytes(image)
    return images


def _stuck(sound: Contents, fault: Hypothesis) -> Contents:
    machine, state = sound.machine, sound.machine.states[fault.state]
    level = machine.terms.const(fault.level, 1)
    reset = None if state.reset is None else state.reset & ~(1 << fault.bit) | fault.level << fault.bit
    return sound._replace(machine=machine._replace(states={**machine.states, state.name: state._replace(
        next=with_bit(machine.terms, state.next, fault.bit, level), reset=reset)}))


def _without(sound: Contents, fault: Hypothesis) -> Contents:
    values = dict(fault.inside)
    return sound._replace(machine=with_terms(
        sound.machine, lambda node: substitute(sound.machine.terms, (node,), values)[0]))


def _driving(sound: Contents, fault: Hypothesis) -> Contents:
    """`console never drives address`"""
    name, how, _, title = fault.text.split()
    bus = sound.machine.buses[title]
    on = sound.machine.terms.const(int(how == "always"), 1)
    drivers = tuple(one._replace(when=on) if one.name == name else one for one in bus.drivers)
    return sound._replace(machine=sound.machine._replace(
        buses={**sound.machine.buses, title: bus._replace(drivers=drivers)}))


def _held(contents: Contents, random: Random) -> list[tuple[str, int]]:
    """Bits of buses that are pulled or keep their level, at which there is a clip."""
    return [(bus.name, bit) for bus in contents.machine.buses.values() if bus.undriven not in ("floats", "multiplexed")
            for bit in range(bus.width) if random.random() < 0.5]


def tried(name: str, seed: int, cycles: int, place: Path) -> Tried | None:
    """None: the simulator came to something that it does not know before anything could be seen."""
    built, random = built_at(name), Random(seed)
    many = max(1, len(ran(name, seed, place, cycles=2, many=True).lines) // 2)
    terms, buses = built.machine.terms, _held(built.contents, random)
    widths = {bus.name: bus.width for bus in built.machine.buses.values()}
    at_buses = tuple(BoardLine(f"{one}[{bit}]", terms.slice(terms.leaf("bus", one, widths[one]), bit, bit))
                     for one, bit in buses)
    made = plant(built, random, many, [line.level for line in at_buses])
    fault = made.fault
    run = ran(name, seed, place, made.images, cycles=cycles, many=True, burned=fault.words, change=made.change,
              bend=made.bend)
    lines = run.lines[:many]
    if fault.kind == "clip":
        (fault,) = [one for one in clip_faults([line.name for line in lines]) if one.clips == fault.clips]
    if fault.kind == "synchroniser":
        values = dict(fault.inside)
        run = run._replace(lines=tuple(line._replace(level=substitute(built.machine.terms, (line.level,), values)[0])
                                       for line in run.lines))
    words = words_of(made.change(run.contents), run, fault.words)
    at_inputs = [(one.name, bit) for one in built.machine.inputs.values() if not one.agent
                 for bit in range(one.width) if random.random() < 0.5]
    lines = (*lines, *(BoardLine(f"{one}[{bit}]", terms.slice(terms.leaf("input", one, built.machine.inputs[one].width),
                                                              bit, bit)) for one, bit in at_inputs), *at_buses)
    readings = []
    for at, (word, given) in enumerate(zip(words, run.given)):
        inputs = sum((given[one] >> bit & 1) << many + number for number, (one, bit) in enumerate(at_inputs))
        low, unknown = _clipped(word, fault, random) & (1 << many) - 1 | inputs, 0
        for number, (one, bit) in enumerate(buses, many + len(at_inputs)):
            low |= (run.rows[at][one].value >> bit & 1) << number
            unknown |= (~run.rows[at][one].known >> bit & 1) << number
        readings.append(ClockedReading(at, low, unknown))
    if not readings:
        return None
    every = lines_of(built.machine)
    levels = [line.level for line in lines]
    states = States(build_system(run.contents, levels), levels, every.values())
    clips = Clips(range(len(lines)))
    if follow(states, clips, readings, states.running()).broken is None:
        return Tried(name, fault, False)
    tries: list[Hypothesis] = [*faults(run.contents, built.images),
                               *burning_faults(run.contents, built.images, made.earlier),
                               *wiring_faults(states.system), *driver_faults(states.system, levels),
                               *clip_faults([line.name for line in lines])]
    cells = [cell for store in stores_with_cells(run.contents)
             for cell in Cells(states.system, store, levels, False).found(clips, readings, None)]
    whole = [one for one in suspects(states, clips, readings, tries, cells) if one.clocks == len(readings)]
    found = fault.text in [same.text for one in whole for same in one.faults]
    if len(whole) < 2:
        return Tried(name, fault, True, found, len(whole))
    looked = look(states, clips, readings, whole, every, "control")
    apart = looked.apart
    halves = apart is not None and 2 * apart.left(looked.among) <= looked.among + 1
    return Tried(name, fault, True, found, len(whole), apart is not None, halves, apart is None and looked.known)


def _clipped(word: int, fault: Hypothesis, random: Random) -> int:
    """What is seen with clips that are exchanged, or one that is at nothing that the machine knows."""
    found = word
    for line, other in fault.clips:
        level = random.getrandbits(1) if other is None else word >> other & 1
        found = found & ~(1 << line) | level << line
    return found


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    asked.add_argument("--faults", type=int, default=30)
    asked.add_argument("--cycles", type=int, default=200)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--only", choices=MACHINES)
    given = asked.parse_args()
    names = [given.only] if given.only else list(MACHINES)
    every: list[Tried] = []
    comparing.LONGEST = 20
    with tempfile.TemporaryDirectory() as directory:
        for number in range(given.faults):
            try:
                one = tried(names[number % len(names)], given.seed + number, given.cycles, Path(directory))
            except Unsettled:
                continue                            # a ring of gates that never comes to rest: nothing was captured
            if one is not None:
                every.append(one)
            if one is not None and one.shown and not one.found:
                print(f"not found: {one.machine}: {one.fault.text} (seed {given.seed + number})", flush=True)
    for name in names:
        _report(name, given.cycles, [one for one in every if one.machine == name])


def _report(name: str, cycles: int, own: list[Tried]) -> None:
    shown = [one for one in own if one.shown]
    several = [one for one in shown if one.left > 1]
    kinds = Counter(one.fault.kind for one in own)
    print(f"{name}: {len(own)} faults in captures of {cycles} clocks, {len(shown)} show; in "
          f"{sum(one.found for one in shown)} of these what was planted explains all, with a median of "
          f"{median([one.left for one in shown] or [0]):g} that do; of {len(several)} that leave several a next "
          f"measurement is named in {sum(one.named for one in several)}, and halves them in "
          f"{sum(one.halves for one in several)}; in {sum(one.alike for one in several)} it is said that no line tells "
          "them apart")
    print("  " + ", ".join(f"{kind}: {sum(one.fault.kind == kind and one.found for one in shown)} of "
                           f"{sum(one.fault.kind == kind for one in shown)} that show, of {count}"
                           for kind, count in sorted(kinds.items())))


if __name__ == "__main__":
    main()
