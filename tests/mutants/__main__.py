"""Puts faults into a package of the program and says which of them its tests do not notice.

    python -m tests.mutants measure                 # every fault of every module
    python -m tests.mutants measure.mix rom         # one module, one package
    python -m tests.mutants checks --sample 200 --seed 7
    python -m tests.mutants prover --unreached      # faults to which no test comes: quick, and a good beginning

The first run of a package finds out which tests come to which lines; that is kept in `.mutants/` for each file of tests
until it, a source or what tests share changes. A fault is tried on the tests that come to its statement, the quickest
first. Faults that change nothing that anybody could see are listed in tests/mutants/equivalent.txt with the reason, and
are left out of the count.
"""

import argparse
import hashlib
import json
import os
import random
import subprocess
import sys
from collections import Counter
from collections.abc import Sequence
from itertools import accumulate
from pathlib import Path
from typing import NamedTuple

from tests.mutants import trial
from tests.mutants.faults import Fault, faults
from tests.mutants.trial import Covered, Trial, covered, timed, tried

HERE = Path(__file__).parents[2]
SOURCE = HERE / "src"
EQUIVALENT = Path(__file__).parent / "equivalent.txt"
KEPT = HERE / ".mutants"

SHORT = 16
"""Characters; what a shorter part stands in is printed, too."""

LONGEST = 20
"""Seconds; tests that take longer are left out: what only they notice deserves a smaller one."""

BESIDE = {
    "checks": ("planted", "judge/test_judge.py"), "control": ("prover", "measure", "compare"),
    "prover": ("checks", "faults", "judge/test_judge.py"),
    "compare": ("cli/test_compare.py", "cli/test_since.py", "judge/test_judge.py"),
    "rom": ("show", "images", "cli/test_burned.py", "cli/test_use.py"),
    "measure": ("cli/test_step.py",),
    "logic": ("prover",), "show": ("cli/test_use.py",), "microprogram": ("placement", "images"),
    "placement": ("images",),
}
"""Tests of a package beside those in the directory of its name."""

EXAMPLES = {"prover": 12, "placement": 400}
"""Of each property that takes long, or that is quick, where they are not as many as else."""


class Candidate(NamedTuple):
    module: str
    path: Path
    fault: Fault


def key_of(one: Candidate | Trial) -> str:
    where = f"{one.module.removeprefix('ordain.')} {one.fault.function}".strip()
    within = f" in {one.fault.within}" if len(one.fault.before) < SHORT else ""
    return f"{where}: {one.fault.before} => {one.fault.after}{within}"


def _whole(one: Candidate) -> str:
    return f"{one.module.removeprefix('ordain.')}: *"


def main() -> int:
    options = _options()
    os.chdir(HERE)      # from there tests are named
    if len(options.of) == 1:
        return int(_package(options.of[0], options) > 0)
    # Each in a process that has not imported the program yet, as faults outside of functions need it.
    rest = [f"--{name}" if value is True else f"--{name}={value}" for name, value in vars(options).items()
            if name not in ("of", "tests") and value not in (None, False)]
    rest += ["--tests", *options.tests] if options.tests else []
    return max(subprocess.run([sys.executable, "-m", "tests.mutants", name, *rest]).returncode for name in options.of)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("of", nargs="+", metavar="PACKAGE", help="a package or module, such as rom or rom.raw")
    parser.add_argument("--sample", type=int, metavar="N", help="only so many faults, chosen by chance")
    parser.add_argument("--seed", type=int, default=1, help="of that choice (default 1)")
    parser.add_argument("--only", metavar="TEXT", help="those that are printed with this text in them")
    parser.add_argument("--tests", nargs="+", metavar="FILE", default=[],
                        help="try faults on all tests of these files, without finding out which lines they come to")
    parser.add_argument("--seconds", type=float, metavar="N",
                        help="for a quick look: a fault is tried on the tests of its module, and of the others on the "
                             "quickest, a case of each before another, until they take so long together")
    parser.add_argument("--unreached", action="store_true", help="list those to which no test comes and try none")
    parser.add_argument("--list", action="store_true", help="list the faults and try none")
    return parser.parse_args()


def _package(name: str, options: argparse.Namespace) -> int:
    """The number of faults that survive."""
    found = candidates(name)
    equivalent = listed_as_equivalent()
    left_out = [one for one in found if key_of(one) in equivalent or _whole(one) in equivalent]
    chosen = [one for one in found if one not in left_out]
    if options.only:
        chosen = [one for one in chosen if options.only in key_of(one)]
    if options.sample is not None and options.sample < len(chosen):
        chosen = sorted(random.Random(options.seed).sample(chosen, options.sample),
                        key=lambda one: (one.module, one.fault.number))
    package = name.split(".")[0]
    trial.examples = EXAMPLES.get(package, trial.examples)
    tests = {} if options.list or options.tests else _tests(package)
    if options.list or options.unreached:
        for one in chosen:
            if not _trial(one, tests, None).tests:
                print(f"{one.path.relative_to(HERE)}:{one.fault.line}  {key_of(one)}")
        return 0
    hows: Counter[str] = Counter()
    survivors: list[Fault] = []

    def tell(trial: Trial, how: str) -> None:
        hows[how] += 1
        if not how:
            survivors.append(trial.fault)
            print(f"{trial.path.relative_to(HERE)}:{trial.fault.line}  {key_of(trial)}", flush=True)
        print(f"{hows.total()}/{len(chosen)}, {len(survivors)} survive", end="\r", file=sys.stderr, flush=True)

    given = timed(options.tests) if options.tests else {}
    tried([Trial(one.module, one.path, one.fault, given) if given else _trial(one, tests, options.seconds)
           for one in chosen], tell)
    killed = len(chosen) - len(survivors)
    share = f"{100 * killed / len(chosen):.1f} %" if chosen else "none"
    print(f"{name}: {killed} of {len(chosen)} faults noticed ({share}; {hows['effort']} by the time or memory they "
          f"take, {hows['crash']} by the end of the process), "
          f"{len(left_out)} of {len(found)} left out as equivalent")
    return len(survivors)


def candidates(name: str) -> list[Candidate]:
    place = SOURCE / "ordain" / Path(*name.split("."))
    paths = sorted(place.rglob("*.py")) if place.is_dir() else [place.with_suffix(".py")]
    found = []
    for path in paths:
        if "texts" not in path.parts:       # explanations for people
            module = ".".join(path.relative_to(SOURCE).with_suffix("").parts).removesuffix(".__init__")
            found += [Candidate(module, path, fault) for fault in faults(path.read_text())]
    return found


def _trial(one: Candidate, tests: dict[str, Covered], seconds: float | None) -> Trial:
    """With the tests that come to it; of a module in which nothing runs after it is imported all tests may. `seconds`:
    that tests of other modules may take together."""
    first, last = one.fault.lines
    data = last == 0 and not any(str(one.path) in test.lines for test in tests.values())
    concerned = {name: test for name, test in tests.items() if test.seconds <= LONGEST and (data or (
        (lines := test.lines.get(str(one.path))) and (last == 0 or any(first <= line <= last for line in lines))))}
    if seconds is not None:
        own = f"/test_{one.path.stem}.py::"
        others = sorted((name for name in concerned if own not in name), key=lambda name: concerned[name].seconds)
        cases: Counter[str] = Counter()
        turns: dict[str, int] = {}
        for name in others:
            cases[test := name.split("[")[0]] += 1
            turns[name] = cases[test]
        others.sort(key=turns.__getitem__)      # first one case of every test, then another
        until = accumulate(concerned[name].seconds for name in others)
        late = {name for name, total in zip(others, until) if total > seconds}
        concerned = {name: test for name, test in concerned.items() if name not in late}
    return Trial(one.module, one.path, one.fault, concerned)


def _tests(package: str) -> dict[str, Covered]:
    """What is known of the tests of a package, found out anew for every file of tests for which anything changed."""
    where = [HERE / "tests" / part for part in (package, *BESIDE.get(package, ()))]
    files = sorted(path for place in where for path in ([place] if place.is_file() else place.rglob("test_*.py")))
    shared = [path for path in sorted([*SOURCE.rglob("*.py"), *(HERE / "tests").rglob("*.py")])
              if not path.name.startswith("test_") and path.parent != EQUIVALENT.parent]
    kept = KEPT / f"{package}.json"
    known = json.loads(kept.read_text()) if kept.exists() else {}
    found = {}
    for path in files:
        name, digest = str(path.relative_to(HERE)), _digest([*shared, path])
        if known.get(name, {}).get("digest") == digest:
            found[name] = known[name]
            continue
        print(f"which lines do the tests in {name} come to?", file=sys.stderr)
        found[name] = {"digest": digest, "tests": covered(sorted((SOURCE / "ordain" / package).rglob("*.py")), [name])}
        KEPT.mkdir(exist_ok=True)
        kept.write_text(json.dumps({**known, **found}))
    return {name: Covered(*test) for one in found.values() for name, test in one["tests"].items()}


def _digest(paths: Sequence[Path]) -> str:
    return hashlib.sha256(b"".join(path.read_bytes() for path in paths)).hexdigest()


def listed_as_equivalent() -> dict[str, str]:
    """The listed faults with their reasons: a line is a fault as it is printed, ` # ` and the reason."""
    rows = [line.rpartition(" # ") for line in EQUIVALENT.read_text().splitlines() if line and not line.startswith("#")]
    return {fault.strip(): reason for fault, _, reason in rows}


if __name__ == "__main__":
    sys.exit(main())
