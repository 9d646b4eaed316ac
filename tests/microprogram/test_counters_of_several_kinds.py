"""Counters wired in many ways, each said a second time in Python by hand: the words of the text come one after the
other, or the machine is refused."""

from collections.abc import Callable

import pytest

from ordain.pipeline import build_texts
from ordain.text.findings import Severity

MACHINE = """\
machine m "a counter of some kind"
microprogram "m.micro"
store control 64 words of 15 bits
    address {address}
field jump 1 bit
field target 6 bits address, idle 0
field mark 8 bits, idle 0
{counter}
order goto <there>: jump, target <there>
"""
ONE = "state upc 6 bits, reset 0\n    next target if jump else {}\n"
LOW = "state low 3 bits, reset 0\n    next target[2:0] if jump else low + 1\n"
TWO = LOW + "state high 3 bits, reset 0\n    next {}\n"
THREE = """\
state low 2 bits, reset 0
    next target[1:0] if jump else low + 1
state mid 2 bits, reset 0
    next target[3:2] if jump else mid + 1 if low is 3 else mid
state high 2 bits, reset 0
    next target[5:4] if jump else {}
"""
Going = Callable[[int], int]
"""From a place to the next one, a place being the address when nothing is crossed."""


def count(place: int) -> int:
    return place + 1 & 63


def as_it_is(place: int) -> int:
    return place


def crossed(place: int) -> int:
    """The halves exchanged."""
    return place >> 3 | (place & 7) << 3


def apart(place: int) -> int:
    """Both halves count always."""
    return place + 8 & 0o70 | place + 1 & 7


GOOD = {
    "one": ("upc", ONE.format("upc + 1"), count, as_it_is),
    "two": ("{high, low}", TWO.format("target[5:3] if jump else high + 1 if low is 7 else high"), count, as_it_is),
    "a carry from an and": ("{high, low}", TWO.format(
        "target[5:3] if jump else high + 1 if low[0] and low[1] and low[2] else high"), count, as_it_is),
    "a carry that is added": ("{high, low}", TWO.format("target[5:3] if jump else high + {0b00, low is 7}"), count,
                              as_it_is),
    "three": ("{high, mid, low}", THREE.format("high + 1 if low is 3 and mid is 3 else high"), count, as_it_is),
}
REFUSED = {
    "three, the highest without the middle": (
        "{high, mid, low}", THREE.format("high + 1 if low is 3 else high"),
        lambda place: place + 1 & 15 | (place >> 4) + (place & 3 == 3) << 4 & 63, as_it_is),
    "a carry one too early": ("{high, low}", TWO.format(
        "target[5:3] if jump else high + 1 if low is 6 else high"),
        lambda place: place + 1 & 7 | (place >> 3) + (place & 7 == 6) << 3 & 63, as_it_is),
    "the lower half in front": ("{low, high}", LOW.replace("2:0", "5:3") + (
        "state high 3 bits, reset 0\n    next target[2:0] if jump else high + 1 if low is 7 else high\n"), count,
        crossed),
    "both always": ("{high, low}", TWO.format("target[5:3] if jump else high + 1"), apart, as_it_is),
    "crossed as it counts": ("upc", ONE.format("{upc[2:0] + 1, upc[5:3]}"),
                             lambda place: (place + 1 & 7) << 3 | place >> 3, as_it_is),
    "turned as it counts": ("upc", ONE.format("not (upc + 1)"), lambda place: 63 ^ count(place), as_it_is),
    "a line tied as it counts": ("upc", ONE.format("(upc + 1) or 0b100000"),
                               lambda place: 32 | count(place), as_it_is),
    "a line lost as it counts": ("upc", ONE.format("(upc + 1) and 0b110111"),
                               lambda place: count(place) & ~8, as_it_is),
}


def built(address: str, counter: str, words: int, more: str = "") -> list[int] | str:
    """What stands in each cell; or the name of the error."""
    micro = "".join(["routine start at 0\n", *[f"    mark {number}\n" for number in range(1, words)],
                     f"    mark {words}, goto start\n{more}"])
    made, findings = build_texts({"m.machine": MACHINE.replace("{address}", address).replace("{counter}", counter),
                                  "m.micro": micro}, "m.machine")
    assert not [finding for finding in findings if finding.severity is Severity.WARNING]
    if made is None:
        (fault,) = {finding.name for finding in findings}
        return fault
    return [made.placement.words["control"].get(cell, 0) & 255 for cell in range(64)]


def walked(cells: list[int], going: Going, shown: Going, words: int) -> list[int]:
    place, found = 0, []
    for _ in range(words):
        found.append(cells[shown(place)])
        place = going(place)
    return found


@pytest.mark.parametrize("words", [5, 20])
@pytest.mark.parametrize("kind", GOOD)
def test_what_counts_by_one_has_its_words_one_after_the_other(kind: str, words: int) -> None:
    address, counter, going, shown = GOOD[kind]
    cells = built(address, counter, words)
    assert isinstance(cells, list) and walked(cells, going, shown, words) == [*range(1, words + 1)]


@pytest.mark.parametrize("words", [5, 20])
@pytest.mark.parametrize("kind", REFUSED)
def test_what_goes_another_way_is_refused_or_does_not_matter(kind: str, words: int) -> None:
    """Five words in a row may stand where a counter of halves does nothing but count."""
    address, counter, going, shown = REFUSED[kind]
    cells = built(address, counter, words)
    if isinstance(cells, list):
        assert words == 5 and walked(cells, going, shown, words) == [*range(1, words + 1)]
    else:
        assert cells in ("goes-astray", "over-full")


def test_it_is_said_where_the_hardware_goes_instead() -> None:
    address, counter, _, _ = REFUSED["the lower half in front"]
    text = MACHINE.replace("{address}", address).replace("{counter}", counter)
    _, findings = build_texts({"m.machine": text, "m.micro": "routine start at 0\n    mark 1\n    goto start\n"},
                              "m.machine")
    assert [finding.message for finding in findings] == [
        "control does not go on to the word below from 0x00: the hardware goes on to 0x08"]


@pytest.mark.parametrize("kind", [*GOOD, *REFUSED])
def test_behind_a_register_the_same_is_refused(kind: str) -> None:
    """Both states begin at 0, so that the first word is obeyed twice; what follows is as above."""
    address, counter, going, shown = {**GOOD, **REFUSED}[kind]
    late = address
    for part in address.strip("{}").split(", "):
        late = late.replace(part, f"late_{part}")
        counter += f"state late_{part} {6 // (address.count(',') + 1)} bits, reset 0\n    next {part}\n"
    cells = built(late, counter, 4, "    goto start\n")
    if isinstance(cells, list):
        assert walked(cells, going, shown, 4) == [1, 2, 3, 4]
    else:
        assert kind in REFUSED and cells == "goes-astray"


STEPPED = """\
machine m "instruction and step"
microprogram "m.micro"
store control 32 words of 8 bits
    address {ir, STEP}
    instruction ir
    step STEP
field last 1 bit
field stay 1 bit
field leap 1 bit
field mark 5 bits, idle 0
state step 3 bits, reset RESET
    next RESET if last else step if stay else NEXT
register ir 2 bits, loads data when mark is 1
bus data 2 bits, floats
    driven by keys when mark is 1
"""
STEPS = """\
prologue
    mark 1
instruction 1 "one"
    mark 2
    mark 3, stay
    mark 4, last
instruction others "rest"
    last
"""


@pytest.mark.parametrize(("step", "reset", "becomes", "said"), [
    ("step", 0, "step + 1", []),
    ("not step", 7, "step - 1", []),
    ("step", 0, "mark[2:0] if leap else step + 1", []),
    ("step", 0, "mark[2:0]", []),                               # each word says which step comes
    ("step", 0, "step - 1", ["from step 0 to step 1: the hardware goes on to step 0 or 7"]),
    ("step", 0, "step + 2", ["from step 0 to step 1: the hardware goes on to step 0 or 2"]),
    ("step", 0, "{step[1:0], not step[2]}", ["from step 1 to step 2: the hardware goes on to step 0 or 1 or 3"]),
    ("step", 0, "{step[0], step[2:1] + 1}", ["from step 1 to step 2: the hardware goes on to step 0 or 1 or 5"]),
    ("not step", 0, "step + 1", ["from step 0 to step 1: the hardware goes elsewhere"]),
])
def test_steps_are_counted_as_the_text_has_them(step: str, reset: int, becomes: str, said: list[str]) -> None:
    text = STEPPED.replace("STEP", step).replace("RESET", str(reset)).replace("NEXT", becomes)
    _, findings = build_texts({"m.machine": text, "m.micro": STEPS}, "m.machine")
    assert [finding.message for finding in findings if finding.severity is Severity.ERROR] == [
        f"no word brings control {one}" for one in said]


STARTED = """\
machine m "wired starts"
microprogram "m.micro"
store control 32 words of 8 bits
    address upc
    starts at {0b1, ir, 0b00}
    instruction ir
field branch 2 bits
    step 0 idle
    jump 1
    dispatch 2
field target 5 bits address, idle 0
field load 1 bit
state upc 5 bits, reset 0
    next choose branch
        step: upc + 1
        jump: target
        dispatch: WAY
        otherwise: 0
register ir 2 bits, loads data when load
bus data 2 bits, floats
    driven by keys when load
input trap 1 bit
"""
STARTS = """\
routine fetch at 0
    load
    branch dispatch
instruction 1 "one"
    branch jump, target fetch
instruction others "rest"
    branch jump, target fetch
"""


@pytest.mark.parametrize(("way", "said"), [
    ("{0b1, ir, 0b00}", []),
    ("0b00001 if trap else {0b1, ir, 0b00}", []),
    ("{0b1, ir, 0b0, trap}", []),
    ("{0b1, ir[0], ir[1], 0b00}", ["opcode 0x1 is said to start at 0x14: the hardware goes on to 0x18"]),
    ("{0b1, not ir, 0b00}", ["opcode 0x0 is said to start at 0x10: the hardware goes on to 0x1C"]),
    ("{0b0, ir, 0b00}", ["opcode 0x0 is said to start at 0x10: the hardware goes on to 0x00"]),
    ("{0b1, 0b00, ir}", ["opcode 0x1 is said to start at 0x14: the hardware goes on to 0x11"]),
])
def test_where_instructions_are_said_to_start_is_where_the_hardware_goes(way: str, said: list[str]) -> None:
    _, findings = build_texts({"m.machine": STARTED.replace("WAY", way), "m.micro": STARTS}, "m.machine")
    assert [finding.message for finding in findings if finding.severity is Severity.ERROR] == said


def test_a_register_behind_the_dispatch_is_looked_through() -> None:
    late = STARTED.replace("address upc", "address shown") + "state shown 5 bits, reset 0\n    next upc\n"
    twice = STARTS
    for word in ("    branch jump, target fetch\n", "    branch dispatch\n"):
        twice = twice.replace(word, 2 * word)
    for way, count in (("{0b1, ir, 0b00}", 0), ("{0b0, ir, 0b00}", 1)):
        _, findings = build_texts({"m.machine": late.replace("WAY", way), "m.micro": twice}, "m.machine")
        assert [finding.name for finding in findings if finding.severity is Severity.ERROR] == ["goes-astray"] * count
