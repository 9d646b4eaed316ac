"""`python -m tests.judge.choosing pairs compare`: seeds for the fixed sample that together go every way through some
packages. They mean other machines whenever `tests/judge/machines.py` changes, and are then to be chosen anew."""

import sys
from collections import Counter
from pathlib import Path
from random import Random
from time import process_time

from coverage import Coverage

from tests.judge.hunting import examined
from tests.judge.machines import machine

FIRST, SEEDS = 300, 300
TIMES = 3
"""So many of the seeds go each way, where so many do."""


def main() -> None:
    only, *packages = sys.argv[1:]
    ways: dict[int, set[tuple[str, int, int]]] = {}
    seconds: dict[int, float] = {}
    for seed in range(FIRST, FIRST + SEEDS):
        cover = Coverage(data_file=None, config_file=False, branch=True,
                         include=[f"{Path('src/ordain', package).resolve()}/*" for package in packages])
        counts: Counter[str] = Counter()
        began = process_time()
        with cover.collect():
            examined(machine(Random(seed).choice), seed, counts, "" if only == "questions" else only)
        if counts["pairs"] or counts["machines"]:
            data = cover.get_data()
            seconds[seed] = process_time() - began
            ways[seed] = {(file, *way) for file in data.measured_files() for way in data.arcs(file) or ()}
    left = {way: min(TIMES, count) for way, count in Counter(way for each in ways.values() for way in each).items()}
    chosen: list[int] = []
    while any(left.values()):
        best = max((seed for seed in ways if seed not in chosen),
                   key=lambda seed: sum(left[way] > 0 for way in ways[seed]) / (0.05 + seconds[seed]))
        left.update({way: max(0, left[way] - 1) for way in ways[best]})
        chosen.append(best)
    print(f"{sum(seconds[seed] for seed in chosen):.0f} s: {', '.join(map(str, sorted(chosen)))}")


if __name__ == "__main__":
    main()
