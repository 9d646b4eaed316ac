"""Circles without a flip-flop that an open latch closes: the address of a store depends on its own word."""

import pytest

from ordain.language.machine_file import parse_machine
from ordain.machine.resolve import resolve

MACHINE = """machine sluice
microprogram "m.micro"
store control 8 words of 8 bits
    address {address}
field target 3 bits address, idle 0
field open 1 bit
field rest 4 bits
store table 8 words of 3 bits
    address {table}
    word {word}
state upc 3 bits, reset 0
    next target
state phase 1 bit, reset 0
    next not phase
{kind} held 3 bits, loads {source} when {when}
latch other 3 bits, loads held when phase
bus data 3 bits, pulled high
"""
SOUND = {"address": "upc", "table": "upc", "word": "upc + 1", "kind": "latch", "source": "data", "when": "phase"}

CIRCLES = [
    ({"address": "held", "source": "target"}, "`held` reads `target` of `control`"),
    ({"address": "held", "when": "open"}, "`held` reads `open` of `control`"),
    ({"address": "{phase, held[1:0]}", "source": "{0b0, target[1:0]}"}, "the address of `control` reads `held`"),
    ({"address": "other", "source": "target"}, "reads `other`, `other` reads `held`, `held` reads"),
    ({"table": "held", "word": "held + 1", "source": "table"}, "`table` reads `held`, `held` reads `table`"),
]


def faults(**changed: str) -> list[tuple[str, str]]:
    tree, unread = parse_machine({"m.machine": MACHINE.format(**{**SOUND, **changed})}, "m.machine")
    assert tree is not None and not unread
    return [(found.name, found.message) for found in resolve(tree)[1] if found.severity.value == "error"]


def test_without_one() -> None:
    assert faults() == []


@pytest.mark.parametrize(("changed", "said"), CIRCLES)
def test_an_open_latch_closes_a_circle(changed: dict[str, str], said: str) -> None:
    ((name, message),) = faults(**changed)
    assert name == "combinational-loop" and said in message
    assert faults(**changed, kind="register") == [], "a register in its place breaks it"


def test_a_latch_that_feeds_itself_is_left_to_the_check_for_races() -> None:
    assert faults(source="held + 1") == [] and faults(source="other") == []


@pytest.mark.parametrize(("changed", "said"), [
    ({"address": "held", "source": "target"}, "write it as a `register` or `state`"),
    ({"address": "table", "table": "target", "word": "upc"}, "put a `state` between the word and the address"),
])
def test_the_way_out_of_latches_that_are_open_in_turn(changed: dict[str, str], said: str) -> None:
    tree, _ = parse_machine({"m.machine": MACHINE.format(**{**SOUND, **changed})}, "m.machine")
    assert tree is not None
    [found] = [one for one in resolve(tree)[1] if one.name == "combinational-loop"]
    assert said in found.help


MEMORIES = MACHINE.format(**SOUND) + """memory page 8 words of 3 bits
    address {page}
memory line 8 words of 3 bits
    address {line}
signal both = page xor line
condition odd 1 bit = line[0]
"""


@pytest.mark.parametrize(("page", "line", "said"), [
    ("page", "upc", "the address of `page` reads `page`"),
    ("upc", "line + 1", "the address of `line` reads `line`"),
    ("line", "page", "the address of `page` reads `line`, the address of `line` reads `page`"),
    ("upc", "both", "the address of `line` reads `line`"),
    ("upc", "{odd, upc[1:0]}", "the address of `line` reads `odd`, `odd` reads `line`"),
    ("line", "upc", ""), ("line", "{data[2:1], phase}", ""), ("held", "page", ""),
])
def test_a_memory_that_is_addressed_by_what_it_holds(page: str, line: str, said: str) -> None:
    tree, _ = parse_machine({"m.machine": MEMORIES.replace("{page}", page).replace("{line}", line)}, "m.machine")
    assert tree is not None
    found = [one.message for one in resolve(tree)[1] if one.severity.value == "error"]
    assert found == ([f"a circle without a flip-flop: {said}"] if said else [])


DECODED = MACHINE.format(**SOUND) + """agent panel
    state mode (idle, asking), reset idle
        next asking
    signal asking = {condition}
signal busy = panel.asking
"""


@pytest.mark.parametrize(("condition", "names"), [
    ("mode is asking", []),
    ("mode is not asking", []),
    ("mode in (asking, idle)", []),
    ("mode is idle or asking", ["combinational-loop"]),
])
def test_a_signal_may_be_called_like_the_code_that_it_decodes(condition: str, names: list[str]) -> None:
    tree, _ = parse_machine({"m.machine": DECODED.format(condition=condition)}, "m.machine")
    assert tree is not None
    machine, found = resolve(tree)
    assert [one.name for one in found if one.severity.value == "error"] == names
    assert names or machine is not None
