"""Conditions said in words: as they would stand in a machine file, codes and signals by their names."""

import pytest

from ordain.checks.phrasing import phrase
from ordain.machine.model import Never
from tests.rom.machines import machine_of

MACHINE = """machine lock "a lock on a canal"
store control 16 words of 8 bits
    address upc
field source 2 bits
    none  0 idle
    level 1
    depth 2
field open 1 bit
field shut 1 bit
field pace 1 bit
    walk 0 idle
    trot 1
spare 3 bits
state upc 4 bits, reset 0
    next upc + 1
state mode (low, rising, high), reset low
    next mode
register level 4 bits, loads level when open
register depth 4 bits, loads depth when shut
input dial (slow, fast), full 1 bit
signal moving = open or shut
"""

CLOCKED = MACHINE.replace("store control", "clock beat (rise, fall)\nstore control")


def said(text: str, machine: str = MACHINE) -> str:
    resolved = machine_of(f'{machine}rule "it" never {text}\n')
    form = resolved.rules[0].form
    assert isinstance(form, Never)
    return phrase(resolved, form.condition)


@pytest.mark.parametrize("text", [
    "open", "not open", "open and shut", "open xor shut", "source is level", "source in (level, depth)",
    "mode is rising", "dial is fast", "level is depth", "level < depth", "level + depth is 3", "level - 1 is depth",
    "level[0]", "level[2:1] is 3", "{open, shut} is 2", "parity(level)", "prior(open)", "upc is 5", "upc in (1, 15)",
    "(open xor shut) and full", "not (open and shut)", "mode in (low, high)", "dial is slow", "pace is trot",
    "pace is walk",
])
def test_as_it_is_written(text: str) -> None:
    """But for the brackets that a sum does without."""
    assert said(text).replace("(level + depth)", "level + depth").replace("(level - 1)", "level - 1") == text


@pytest.mark.parametrize("text", ["open", "level[0]", "parity(level)", "prior(open)", "moving"])
def test_what_stands_by_itself_has_no_brackets_around_it(text: str) -> None:
    assert said(f"{text} xor full") == f"{text} xor full"


@pytest.mark.parametrize("text", ["not open", "open and shut", "open xor shut", "source is level", "pace is trot",
                                  "pace is walk", "source in (level, depth)", "mode is rising", "level is depth",
                                  "level < depth", "open if shut else level[0]", "at start", "in start"])
def test_what_does_not_has(text: str) -> None:
    assert said(f"({text}) xor full") == f"({text}) xor full"


def test_a_number_of_several_bits_and_what_is_made_of_them() -> None:
    assert said("{level[0], open} + source is 3") == "({level[0], open} + source) is 3"
    assert said("(level if open else 5) < depth") == "(level if open else 5) < depth"
    assert said("(level if open else 3) is depth") == "(level if open else 3) is depth"


def test_what_no_text_can_name_is_called_by_its_store() -> None:
    machine = machine_of(MACHINE)
    word, address = (machine.terms.leaf(kind, "control", width) for kind, width in (("word", 8), ("address", 4)))
    assert phrase(machine, machine.terms.slice(word, 7, 4)) == "control.word[7:4]"
    assert phrase(machine, machine.terms.equal(machine.terms.slice(word, 3, 0), address)) == \
        "control.word[3:0] is control.address"


@pytest.mark.parametrize(("text", "expected"), [
    ("open or shut", "moving"), ("moving and full", "moving and full"), ("not moving", "not moving"),
    ("source is 3", "source is 3"), ("mode is 3", "mode is 3"),
    ("full if dial is fast else open", "full if (dial is fast) else open"),
])
def test_in_other_words(text: str, expected: str) -> None:
    """What has a name is called by it, and a code without a name by its number."""
    assert said(text) == expected


def test_phases_by_their_names() -> None:
    assert said("rise and open", CLOCKED) == "(beat is rise) and open"
    assert said("fall", CLOCKED) == "beat is fall"
    assert said("mode is rising", CLOCKED) == "mode is rising"


def test_what_is_longer_than_a_line_is_cut() -> None:
    parts = [f"{left} is {right}" for left in ("level", "depth", "upc") for right in (1, 2, 4, 7)]
    text = said(" xor ".join(f"({part})" for part in parts))
    assert len(text) == 80 and text.endswith("...")


def test_what_is_as_long_as_a_line_is_not_cut() -> None:
    """Two names with ` xor ` between, 80 characters and 81."""
    for length, cut in ((39, False), (40, True)):
        one, other = "a" * 36, "b" * length
        text = said(f"{one} xor {other}", f"{MACHINE}input {one} 1 bit\ninput {other} 1 bit\n")
        assert len(text) == 80 and text.endswith("...") == cut


def test_a_name_for_what_has_one_already_is_not_taken() -> None:
    assert said("open and full", MACHINE + "signal alias = open\n") == "open and full"


@pytest.mark.parametrize(("codes", "plain", "turned"), [
    ("", "pace", "not pace"), ("    walk 0\n", "pace", "pace is walk"),
    ("    trot 1\n", "pace is trot", "not (pace is trot)"),
    ("    walk 0\n    trot 1\n", "pace is trot", "pace is walk")])
def test_a_line_of_which_one_level_has_a_name(codes: str, plain: str, turned: str) -> None:
    machine = MACHINE.replace("    walk 0 idle\n    trot 1\n", codes)
    assert said("pace xor full", machine) == f"{plain if ' ' not in plain else f'({plain})'} xor full"
    resolved = machine_of(machine)
    assert phrase(resolved, resolved.terms.not_(resolved.terms.leaf("field", "pace", 1))) == turned


def test_what_a_proof_remembers_is_called_by_its_name() -> None:
    """It is no state of the machine."""
    for text in (MACHINE, CLOCKED):
        machine = machine_of(text)
        assert phrase(machine, machine.terms.leaf("state", "hold owed", 1)) == "hold owed"
