"""`python -m benchmarks.follow`: a capture of a million clocks of heron, followed to its end; time and greatest memory.
With `--diagnose` all single faults are held against 10,000 clocks of which the last but ten cannot be: the most work.

The machine runs a program of opcodes by chance, with both guests asking for the backplane now and then, by the plain
evaluation of control with inputs by chance; the capture has six samples a clock, in sigrok's format.
"""

import argparse
import random
import resource
import sys
import zipfile
from array import array
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter, process_time

from ordain.cli.main import run as command
from ordain.control.cycle import Running
from ordain.control.system import build_system
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Node, substitute
from ordain.pipeline import Built, build_model

HERON = Path(__file__).parent.parent / "microcode" / "heron.machine"
SAMPLES, PIECE = 6, 20_000


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m benchmarks.follow", description=__doc__)
    parser.add_argument("--clocks", type=int)
    parser.add_argument("--diagnose", action="store_true")
    given = parser.parse_args()
    clocks = given.clocks or (10_000 if given.diagnose else 1_000_000)
    built, findings = build_model(HERON)
    if built is None:
        print(findings, file=sys.stderr)
        return 1
    with TemporaryDirectory() as place:
        file = Path(place) / "heron.sr"
        _write(file, built, clocks, clocks - 10 if given.diagnose else None)
        began, worked = perf_counter(), process_time()
        status = command(["diagnose" if given.diagnose else "follow", str(file), "-m", str(HERON), "-q", "--probes",
                          "sequencer"])
        took, worked = perf_counter() - began, process_time() - worked
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{clocks:,} clocks in {took:.1f} s ({worked:.1f} s of one processor), {clocks / took:,.0f} a second, "
          f"{memory:.0f} MB, exit status {status}")
    return int(status != int(given.diagnose))


def _write(file: Path, built: Built, clocks: int, wrong: int | None) -> None:
    """A piece that was run is repeated from a state in which it had been: it goes on like a machine that runs. `wrong`:
    a clock in which a line of the address shows the other level."""
    probes = built.machine.probes["sequencer"]
    words, first, last = _round(built)
    order = [*words[:first], *(words[first:last] * (clocks // (last - first) + 1))][:clocks + 1]
    if wrong is not None:
        order[wrong] ^= 8
    data = array("H")
    high = 1 << len(probes.probes)
    for word in order:
        data.extend([word | high] * (SAMPLES // 2) + [word] * (SAMPLES - SAMPLES // 2))
    names = [*(probe.channel for probe in probes.probes), probes.clock]
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("version", "2")
        archive.writestr("metadata", f"[device 1]\ncapturefile=logic-1\ntotal probes={len(names)}\nsamplerate=6 MHz\n"
                         + "".join(f"probe{at}={name}\n" for at, name in enumerate(names, 1)) + "unitsize=2\n")
        archive.writestr("logic-1", data.tobytes())


def _round(built: Built) -> tuple[list[int], int, int]:
    """Readings of a run, and from where to where it goes round."""
    system = build_system(built.contents)
    running = Running(system)
    lines = substitute(system.terms, tuple(probe.line.level for probe in built.machine.probes["sequencer"].probes),
                       system.lowering)
    chance = random.Random(1)
    state = {variable.leaf: variable.reset or 0 for variable in system.variables}
    seen: dict[tuple[int, ...], int] = {}
    words: list[int] = []
    while True:
        key = tuple(state.values())
        if len(words) >= PIECE and key in seen:
            return words, seen[key], len(words)
        seen.setdefault(key, len(words))
        free = {one.leaf: chance.randrange(one.values) if one.leaf.width > 1 else int(chance.random() < 0.05)
                for one in system.free}
        values = running.values({**state, **free})
        memo: dict[Node, int] = {}
        words.append(sum(evaluate(node, values, memo) << bit for bit, node in enumerate(lines)))
        state = running.next(values)


if __name__ == "__main__":
    sys.exit(main())
