"""The same machine with a counter of single flip-flops, of which some may come up anyhow.

What read the counter reads a signal of its old name, so everything else of the text stays as it is.
"""

import re
from collections.abc import Callable, Sequence
from typing import Any

from tests.judge.tool import Text


def in_flip_flops(choose: Callable[[Sequence[Any]], Any], text: Text, mixed: bool = True) -> Text:
    """The text itself where something holds on to the counter by its name, or there is none. `mixed`: some flip-flops
    may come up anyhow and others not; of such counters a comparison also tells what numbers they hold."""
    lines = text.machine.splitlines()
    found = [(number, made) for number, line in enumerate(lines)
             if (made := re.fullmatch(r"state upc (\d+) bits, reset (\w+)", line))]
    if len(found) != 1 or re.search(r"^(keep|visible|allow|    (driven|sampled) by) .*\bupc\b", text.machine, re.M):
        return text
    [(number, made)] = found
    width, reset = int(made[1]), made[2]
    end = number + 1
    while end < len(lines) and lines[end].startswith("    "):
        end += 1
    block = lines[number + 1:end]
    block[0] = block[0].replace("    next ", "signal becomes = ", 1)
    for bit in range(width):
        anyhow = reset == "any" or (mixed and choose((False, False, False, True)))
        level = "any" if anyhow else int(reset, 0) >> bit & 1
        block += [f"state u{bit} 1 bit, reset {level}", f"    next becomes[{bit}]"]
    block.append(f"signal upc = {{{', '.join(f'u{bit}' for bit in reversed(range(width)))}}}")
    return text._replace(machine="\n".join([*lines[:number], *block, *lines[end:]]) + "\n")
