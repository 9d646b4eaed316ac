"""The same machine with an opcode that is only some bits of a wider register, as address lines of a board often are.

What read the opcode reads a signal of its old name, so everything else of the text stays as it is.
"""

import re
from collections.abc import Callable, Sequence
from typing import Any

from tests.judge.tool import Text


def sliced(choose: Callable[[Sequence[Any]], Any], text: Text) -> Text:
    """The text itself where the opcode is loaded in a way that is not known here."""
    lines = text.machine.splitlines()
    found = [(number, made) for number, line in enumerate(lines)
             if (made := re.fullmatch(r"(register|latch) ir 2 bits, loads (.+) when load is ir(, reset (\w+))?", line))]
    if len(found) != 1:
        return text
    above, below = choose((0, 1)), choose((0, 1, 1))
    if not above + below:
        below = 1
    [(number, made)] = found
    kind, source, _, reset = made.groups()
    parts = [*(["key"] if above else []), source, *(["low"] if below else [])]
    said = "" if reset is None else ", reset any" if reset == "any" else f", reset {int(reset) << below}"
    opcode = f"whole[{below + 1}:{below}]"
    loads = f"loads {{{', '.join(parts)}}} when load is ir{said}"
    lines[number:number + 1] = [f"{kind} whole {2 + above + below} bits, {loads}", f"signal ir = {opcode}"]
    made_of = []
    for line in lines:
        if re.match(r"    (address|instruction|starts at) ", line):
            line = re.sub(r"\bir\b(?!\[)", opcode, line)
            line = re.sub(r"\bir\[(\d)\]", lambda bit: f"whole[{int(bit[1]) + below}]", line)
        elif line.startswith("keep "):
            names, while_, rest = line.partition(" while ")
            line = re.sub(r"\bir\b", "whole", names) + while_ + rest
        made_of += [f"    instruction {opcode}", line] if line.startswith("    starts at") else [line]
    return text._replace(machine="\n".join(made_of) + "\n")
