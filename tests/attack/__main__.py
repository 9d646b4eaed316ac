"""`python -m tests.attack --seconds 600`: hostile inputs with fresh seeds; `--only readers`: a thousand times as many,
handed to the functions that read files, without a command; `--only kills`: processes are killed."""

import argparse
import multiprocessing
import sys
import tempfile
from collections import Counter
from hashlib import sha256
from multiprocessing.connection import Connection
from pathlib import Path
from random import Random, SystemRandom
from time import monotonic

from tests.attack.kills import kill
from tests.attack.readers import READERS, trials
from tests.attack.trials import KINDS, LONGEST, SOURCES, Found, trial, workplace

ROUND = 150
"""Trials, or batches of them, for one process: what one has left behind is no part of the next."""
BATCH = 200
"""Trials of a reader, one after another."""


def _rounds(pipe: Connection, seed: int, only: str, name: str, directory: str) -> None:
    with workplace(Path(directory) / "work", name) as place:
        for number in range(seed, seed + ROUND):
            choose = Random(number).choice
            kind = only or choose(list(KINDS))
            pipe.send((number, kind, 1))
            pipe.send(trial(place, kind, choose))


def _readings(pipe: Connection, seed: int, only: str, name: str, directory: str) -> None:
    with workplace(Path(directory) / "work", name) as place:
        for number in range(ROUND):
            kind = list(READERS)[number % len(READERS)]
            first = seed + number * BATCH
            pipe.send((first, kind, BATCH))
            for found in trials(place, kind, range(first, first + BATCH)):
                if found is not None:
                    pipe.send(found)


def attack(seconds: float, seed: int, only: str, machine: str, into: Path | None) -> Counter[str]:
    """How many trials of each kind, and of what was found."""
    counts: Counter[str] = Counter()
    end, names = monotonic() + seconds, list(SOURCES)
    rounds, step = (_readings, ROUND * BATCH) if only == "readers" else (_rounds, ROUND)
    while monotonic() < end:
        name = machine or names[seed // step % len(names)]
        with tempfile.TemporaryDirectory() as directory:
            ours, theirs = multiprocessing.Pipe()
            process = multiprocessing.Process(target=rounds, args=(theirs, seed, only, name, directory))
            process.start()
            theirs.close()
            _listen(ours, process, counts, name, into, end)
        seed += step
    return counts


def _listen(pipe: Connection, process: multiprocessing.Process, counts: Counter[str], name: str, into: Path | None,
            end: float) -> None:
    number, kind = -1, ""
    try:
        while monotonic() < end:
            if not pipe.poll(80 * LONGEST):
                _tell(Found(kind, "?", "it hangs where no signal is heard", b""), number, name, counts, into)
                break
            said = pipe.recv()
            if isinstance(said, Found):
                _tell(said, number, name, counts, into)
            elif isinstance(said, tuple):
                number, kind, count = said
                counts[kind] += count
    except EOFError:
        if process.exitcode not in (0, None):
            _tell(Found(kind, "?", f"the process ended with {process.exitcode}", b""), number, name, counts, into)
    finally:
        process.kill()
        process.join()


def _tell(found: Found, seed: int, name: str, counts: Counter[str], into: Path | None) -> None:
    counts["FOUND"] += 1
    print(f"seed {seed}, {name}, {found.kind}, `{found.command}`: {found.fault}", flush=True)
    if into is not None:
        into.mkdir(parents=True, exist_ok=True)
        (into / f"{found.kind}-{Path(name).name}-{sha256(found.data).hexdigest()[:8]}").write_bytes(found.data)


def main() -> int:
    """Exit status 1 when something was found."""
    parser = argparse.ArgumentParser(prog="python -m tests.attack", description=__doc__)
    parser.add_argument("--seconds", type=float, default=600)
    parser.add_argument("--seed", type=int, default=None, help="the first seed; a fresh one when it is not given")
    parser.add_argument("--only", default="", choices=("", *KINDS, "kills", "readers"))
    parser.add_argument("--machine", default="", choices=("", *SOURCES), help="change the files of this one only")
    parser.add_argument("--into", type=Path, default=None, help="a directory for what is found")
    given = parser.parse_args()
    seed = SystemRandom().randrange(1 << 40) if given.seed is None else given.seed
    print(f"first seed {seed}", flush=True)
    began = monotonic()
    counts = kill(given.seconds, seed) if given.only == "kills" else \
        attack(given.seconds, seed, given.only, given.machine, given.into)
    print(", ".join(f"{count} {name}" for name, count in sorted(counts.items())), f"in {monotonic() - began:.0f} s")
    return 1 if counts["FOUND"] else 0


if __name__ == "__main__":
    sys.exit(main())
