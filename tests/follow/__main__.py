"""`python -m tests.follow --faults 500`: faults planted in the chips of machines that run in Icarus Verilog, and
whether `ordain diagnose` finds them again.

Each is one of those that are tried, by chance; the image is bent a second time (`test_diagnosis.planted`), the analyzer
is at lines by chance. Told are: how many show, of how many the one that was planted is among those that explain all,
how many those are, and how many are left after the next measurement that is named.
"""

import argparse
import tempfile
from pathlib import Path
from random import Random
from statistics import median
from typing import NamedTuple

from ordain.capture.sampling import Reading
from ordain.control.system import build_system
from ordain.follow.burning import burning_faults
from ordain.follow.diagnosing import suspects, told_apart
from ordain.follow.faults import faults
from ordain.follow.following import Clips, follow
from ordain.follow.model import Fault
from ordain.follow.states import States
from ordain.follow.wiring import clip_faults, wiring_faults
from tests.follow.test_captures import built_at, ran, words_of
from tests.follow.test_diagnosis import planted

MACHINES = ("heron", "stepper", "two-masters")


class Tried(NamedTuple):
    """`shown`: a sound machine does not explain it. `found`: what was planted is among those that explain all. `left`:
    how many these are; `after`: after the measurement that is named, None where none tells them apart."""

    machine: str
    fault: str
    shown: bool
    found: bool
    left: int
    after: int | None


def tried(name: str, seed: int, cycles: int, place: Path) -> Tried | None:
    """None: the simulator came to something that it does not know before anything could be seen."""
    built, random = built_at(name), Random(seed)
    every = [fault for fault in faults(built.contents, built.images)
             if fault.words and "exchanged" not in fault.text]
    fault = random.choice(every)
    chip = built.machine.chips[fault.text.partition(".")[0].split()[0]]
    images = {**built.images, chip.name: planted(chip, built.images[chip.name], fault.text)}
    run = ran(name, seed, place, images, cycles=cycles, many=True, burned=fault.words)
    words = words_of(run.contents, run, fault.words)
    half = max(1, len(run.lines) // 2)
    lines, others = run.lines[:half], {line.name: line.level for line in run.lines[half:]}
    readings = [Reading(at, word & (1 << half) - 1, 0) for at, word in enumerate(words)]
    if not readings:
        return None
    states = States(build_system(run.contents), [line.level for line in lines], others.values())
    clips = Clips(range(half))
    if follow(states, clips, readings, states.running()).broken is None:
        return Tried(name, fault.text, False, False, 0, None)
    tries: list[Fault] = [*faults(run.contents, built.images), *burning_faults(run.contents, built.images, {}),
                          *wiring_faults(states.system), *clip_faults([line.name for line in lines])]
    whole = [one for one in suspects(states, clips, readings, tries) if one.clocks == len(readings)]
    place_of = [at for at, one in enumerate(whole) if fault.text in [same.text for same in one.faults]]
    apart = told_apart(states, clips, readings, whole, others, "control") if len(whole) > 1 else None
    after = None if apart is None else len(whole) - min(len(apart.ones), len(apart.zeros))
    return Tried(name, fault.text, True, bool(place_of), len(whole), after)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    asked.add_argument("--faults", type=int, default=30)
    asked.add_argument("--cycles", type=int, default=200)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--only", choices=MACHINES)
    given = asked.parse_args()
    names = [given.only] if given.only else list(MACHINES)
    every: list[Tried] = []
    with tempfile.TemporaryDirectory() as directory:
        for number in range(given.faults):
            one = tried(names[number % len(names)], given.seed + number, given.cycles, Path(directory))
            if one is not None:
                every.append(one)
            if one is not None and one.shown and not one.found:
                print(f"not found: {one.machine}: {one.fault} (seed {given.seed + number})", flush=True)
    for name in names:
        own = [one for one in every if one.machine == name]
        shown = [one for one in own if one.shown]
        found = sum(one.found for one in shown)
        several = [one for one in shown if one.left > 1]
        halved = sum(one.after is not None and 2 * one.after <= one.left + 1 for one in several)
        told = sum(one.after is not None for one in several)
        left = median([one.left for one in shown] or [0])
        print(f"{name}: {len(own)} faults in captures of {given.cycles} clocks, {len(shown)} show; in {found} of these "
              f"what was planted explains all, with a median of {left:g} that do; of {len(several)} that leave several "
              f"a next measurement is named in {told}, and halves them in {halved}")


if __name__ == "__main__":
    main()
