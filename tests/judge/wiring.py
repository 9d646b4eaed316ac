"""Two versions that differ in several wires at once: what is asked in other words, what two things have exchanged, and
the lines of a table crossed. Changes of one word at a time do not come to what only two of these together show."""

import re
from random import Random

from tests.judge.changes import Change
from tests.judge.tool import Text

ASKED = re.compile(r"^    (driven by|sampled by|loads) (.*) when ([^,]*)$")


def rewired(text: Text, seed: int) -> Change:
    """The change that goes with a seed."""
    rng = Random(f"wires {seed}")
    lines = text.machine.splitlines()
    asked = [(number, found) for number, line in enumerate(lines) if (found := ASKED.match(line))]
    kinds = [kind for kind in ("driven by", "sampled by", "loads") if sum(found[1] == kind for _, found in asked) > 1]
    done: list[str] = []
    when = {number: found[3] for number, found in asked}
    if kinds and rng.random() < 0.6:
        kind = rng.choice(kinds)
        one, other = rng.sample([number for number, found in asked if found[1] == kind], 2)
        when[one], when[other] = when[other], when[one]
        done.append(f"{kind}: exchanged")
    for number, found in asked:
        condition = when[number]
        if rng.random() < 0.3:
            condition = f"({condition}) and key or ({condition}) and not key"
        lines[number] = f"    {found[1]} {found[2]} when {condition}"
    tables = [number for number, line in enumerate(lines) if line == "    address ir"]
    if tables and rng.random() < 0.6:
        for number in rng.sample(tables, rng.randint(1, len(tables))):
            lines[number] = rng.choice(("    address {ir[0], ir[1]}", "    address {ir[1], not ir[0]}",
                                        "    address {ir[1], ir[1]}", "    address {ir[1], ir[0]}"))
        done.append("lines of a table: others")
    return Change(", ".join(done) or "other words", text._replace(machine="\n".join(lines) + "\n"), {}, True, not done)
