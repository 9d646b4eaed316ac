"""A counter that begins again at a number: a routine whose last word stands there is whole, and no other is.

Each form of the counter stands beside the same in Python. What control does is walked there, address by address.
"""

from collections.abc import Callable
from itertools import product

import pytest

from tests.microprogram.compiled import compiled, described, placed

Next = Callable[[int, int], int]

COUNTERS: dict[str, Next] = {
    "0 if upc is 5 else upc + 1": lambda upc, c: 0 if upc == 5 else upc + 1,
    "upc + 1 if upc < 5 else 0": lambda upc, c: upc + 1 if upc < 5 else 0,
    "2 if upc[2] and upc[0] else upc + 1": lambda upc, c: 2 if upc & 5 == 5 else upc + 1,
    "0 if upc is 5 and c else upc + 1": lambda upc, c: 0 if upc == 5 and c else upc + 1,
    "0 if upc is 5 or c else upc + 1": lambda upc, c: 0 if upc == 5 or c else upc + 1,
    "(1 if upc in (4, 6) else upc) + 1": lambda upc, c: (1 if upc in (4, 6) else upc) + 1,
    "{0b00, upc[0]} if upc is 6 else upc + 1": lambda upc, c: upc & 1 if upc == 6 else upc + 1,
    "upc + 1 if c or upc is not 6 else 3": lambda upc, c: upc + 1 if c or upc != 6 else 3,
    "not upc if upc is 5 else upc + 1": lambda upc, c: 2 if upc == 5 else upc + 1,
    "(upc if upc is 5 else 0) + 1": lambda upc, c: (upc if upc == 5 else 0) + 1,
    "upc - 3 if upc is 6 else upc + 1": lambda upc, c: upc - 3 if upc == 6 else upc + 1,
    "upc + (5 if upc is 6 else 1)": lambda upc, c: upc + 5 if upc == 6 else upc + 1,
    "upc + 1": lambda upc, c: upc + 1,
}

MACHINE = """machine small
store control 8 words of 4 bits
    address {}
field mark 4 bits, idle 0
input c 1 bit
state upc 3 bits, reset 0
    next {}
"""


def leaves_by(counter: Next, first: int, count: int) -> bool:
    """Whether control that begins with the first word comes to an address at which there is none."""
    seen, waiting = set(), [first]
    while waiting:
        here = waiting.pop()
        if not first <= here < first + count:
            return True
        if here not in seen:
            seen.add(here)
            waiting += [counter(here, c) & 7 for c in (0, 1)]
    return False


@pytest.mark.parametrize("text", COUNTERS)
def test_a_routine_is_whole_where_the_counter_begins_again(text: str) -> None:
    machine = described(MACHINE.format("upc", text))
    verdicts = set()
    for first, count in product(range(4), range(1, 8)):
        if first + count > 8:
            continue
        lines = "".join(f"    mark {number}\n" for number in range(count))
        program, findings = compiled(machine, f"routine one at {first}\n{lines}")
        last = COUNTERS[text]
        runs = any(last(first + count - 1, c) & 7 == (first + count) & 7 for c in (0, 1)) and (first, count) != (0, 8)
        assert {each.name for each in findings} == ({"runs-off"} if runs else set()), (first, count)
        verdicts.add((program is None, leaves_by(last, first, count)))
    assert (True, True) in verdicts
    if "upc is 5 else" in text or "upc < 5" in text:
        assert (False, False) in verdicts


DISTANCES = """machine small
store control 32 words of 16 bits
    address upc
field branch 2 bits
    on 0 idle
    by 1
    to 2
    or_on 3
field by 4 bits, idle 0
field there 5 bits address, idle 0
field mark 5 bits, idle 0
input c 1 bit
state upc 5 bits, reset 1
    next choose branch
        on   : upc + 1
        by   : upc + {by[3], by}
        to   : there
        or_on: upc + {by[3], by} if c else upc + 1
"""


@pytest.mark.parametrize("holes", [(), (1, 3, 5, 7, 9, 11), (0, 2, 4, 6), tuple(range(2, 14, 3))])
@pytest.mark.parametrize("branch", ["by", "or_on"])
def test_a_distance_back_leads_to_the_line_that_is_so_many_above(branch: str, holes: tuple[int, ...]) -> None:
    """Between them a word jumps, so nothing else keeps them together; other routines leave holes of one word."""
    machine = described(DISTANCES)
    others = "".join(f"routine h{at} at {at}\n    branch to, there h{at}\n" for at in holes)
    for back, above in product(range(1, 5), range(4)):
        lines = [f"    branch to, there last, mark {number}\n" for number in range(above)]
        micro = (f"{others}routine one\n{''.join(lines)}  last: branch {branch}, by {16 - back}, mark 31\n"
                 "    branch to, there one\n")
        program, findings = compiled(machine, micro)
        if back > above:
            assert [each.name for each in findings] == ["runs-off"]
            continue
        assert findings == [] and program is not None
        addresses = placed(machine, micro).addresses
        (here,), (there,) = addresses[len(holes) + above], addresses[len(holes) + above - back]
        assert there == here - back


def test_behind_a_register_a_distance_back_keeps_the_body_in_a_row() -> None:
    """The word two lines above what is on its way when the branch is obeyed is the one above the branch."""
    machine = described(DISTANCES.replace("address upc", "address active").replace("reset 1", "reset 2")
                        + "state active 5 bits, reset 1\n    next upc\n")
    holes = "".join(f"routine h{at} at {at}\n    branch to, there h{at}\n    branch to, there h{at}\n"
                    for at in (1, 5, 9))
    body = "    branch to, there rest\n    mark 1\n    branch to, there rest\n    mark 2\n  rest: mark 3\n"
    end = "    branch to, there rest\n    mark 4\n"
    for branch, whole in (("branch by, by 14", True), ("branch on", False)):
        micro = f"{holes}routine one\n{body}    {branch}\n{end}"
        one = [addresses[0] for addresses in placed(machine, micro).addresses[6:]]
        assert (one == list(range(one[0], one[0] + len(one)))) is whole
