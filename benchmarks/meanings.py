"""`python -m benchmarks.meanings`: how long it takes to prove what heron's instructions are said to do, and by what.

The search that is asked about guests is counted; reading and compiling are not. Then `ordain prove` whole, meanings and
all: the first time, and once more with nothing changed; seconds of the processor, the least of five.
"""

import os
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path
from time import perf_counter

from ordain.control.system import build_system
from ordain.meaning.run import outcomes
from ordain.pipeline import build_model
from ordain.prover.decide import ProofRounds

HERON = Path(__file__).parent.parent / "microcode" / "heron.machine"


def main() -> int:
    built, findings = build_model(HERON)
    if built is None:
        print(findings, file=sys.stderr)
        return 1
    began = perf_counter()
    found, _ = outcomes(built.contents, ProofRounds(build_system(built.contents)).decide)
    took = perf_counter() - began
    ways = Counter(one.way or "not proved" for one in found.values())
    print(f"{len(found)} meanings of heron in {took:.2f} s: "
          + ", ".join(f"{count} by {way}" for way, count in sorted(ways.items())))
    with tempfile.TemporaryDirectory() as cache:
        print(f"ordain prove: {min(prove(cache, '--no-cache') for _ in range(5)):.2f} s; "
              f"once more: {min(prove(cache) for _ in range(6)):.2f} s")
    return 0


def prove(cache: str, *more: str) -> float:
    """Its seconds of the processor."""
    given = {**os.environ, "XDG_CACHE_HOME": cache, "PYTHONDONTWRITEBYTECODE": ""}
    process = subprocess.Popen([sys.executable, "-m", "ordain", "prove", str(HERON), *more], stdout=subprocess.DEVNULL,
                               env=given)
    _, _, used = os.wait4(process.pid, 0)
    return used.ru_utime + used.ru_stime


if __name__ == "__main__":
    sys.exit(main())
