"""How long it takes to try every single-bit fault of a machine.

    python benchmarks/faults.py [MACHINE...] [--without PART]

The machines of `examples/` and `heron`, or those that are named. `--without PART`: rules with PART in their text are
left out first: a rule about parity notices everything within a few cycles, and a machine without one takes longer.
Given are seconds of the processor, reading and compiling not counted.
"""

import sys
import time
from pathlib import Path

from ordain.faulting import Campaign
from ordain.faults.listing import bit_faults
from ordain.faults.model import CLASSES
from ordain.faults.summary import counts
from ordain.pipeline import build_model

ROOT = Path(__file__).parent.parent
MACHINES = ("examples/two-masters/signalbox.machine", "examples/refresh/starmap.machine",
            "examples/paired/tideclock.machine", "examples/stepper/carillon.machine",
            "examples/slices/orrery.machine", "examples/half-clock/mended/barograph.machine",
            "microcode/heron.machine")


def main(arguments: list[str]) -> None:
    without = arguments.pop(arguments.index("--without") + 1) if "--without" in arguments else ""
    named = [Path(one) for one in arguments if one != "--without"] or [ROOT / one for one in MACHINES]
    print(f"{'machine':24}{'faults':>8}{'seconds':>9}   {'  '.join(CLASSES)}")
    for path in named:
        built, findings = build_model(path)
        assert built is not None, findings
        machine = built.machine
        kept = tuple(rule for rule in machine.rules if not without or without not in rule.text)
        contents = built.contents._replace(machine=machine._replace(rules=kept))
        faults = list(bit_faults(contents))
        started = time.process_time()
        tried = list(Campaign(contents).of(faults))
        taken = time.process_time() - started
        found = counts(tried).get("bit", dict.fromkeys(CLASSES, 0))
        figures = "  ".join(f"{found[name]:>{len(name)}}" for name in CLASSES)
        print(f"{machine.name:24}{len(faults):>8}{taken:>9.1f}   {figures}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
