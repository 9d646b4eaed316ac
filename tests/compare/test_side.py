"""What one build is said to be before it is compared: what of its data is remembered, and which of its pointers hold a
place."""

import pytest

from ordain.compare.side import holds_place, make_side
from ordain.machine.expression import Leaf, Terms
from tests.compare.bench import Word, burned, resolved

SIEVE = """\
machine sieve
microprogram "m.micro"
store control 32 words of 20 bits
    address upc
field branch 2 bits
    step 0 idle
    jump 1
    ask  2
field target 5 bits address, idle 0
field five   5 bits, idle 0
field four   4 bits, idle 0
field one    1 bit
field set    1 bit
spare 2 bits
store marks 2 words of 1 bit
    address wet
    word wet
state upc 5 bits, reset 0
    next choose branch
        step: upc + 1
        jump: target
        ask : target if TERM else upc + 1
        otherwise: 0
input wet 1 bit, rain 4 bits
register level 2 bits, loads rain[1:0] when set
KIND held WIDTH
    loads SOURCE when set
home upc is 0
"""


def flags(source: str, width: str = "1 bit", kind: str = "register", term: str = "held is 1") -> list[str]:
    text = SIEVE.replace("SOURCE", source).replace("WIDTH", width).replace("KIND", kind).replace("TERM", term)
    contents = burned(resolved(text), {0: Word("start", {})})
    return [leaf.name for leaf in make_side(contents, Terms()).flags]


@pytest.mark.parametrize(("source", "width"), [
    ("one", "1 bit"), ("not one", "1 bit"), ("four", "4 bits"), ("not four", "4 bits"), ("0b1", "1 bit"),
    ("marks", "1 bit"), ("one if rain is 3 else wet", "1 bit"), ("wet if rain is 3 else one", "1 bit"),
    ("rain if wet else 0b0101", "4 bits"), ("rain if one else (four if wet else {level, level})", "4 bits"),
    ("four if rain is 3 else {level, level}", "4 bits")])
def test_what_a_word_can_say_is_remembered(source: str, width: str) -> None:
    assert flags(source, width) == ["held"]


@pytest.mark.parametrize(("source", "width"), [
    ("wet", "1 bit"), ("rain", "4 bits"), ("wet if one else rain[0]", "1 bit"), ("level < 3", "1 bit"),
    ("level[0] if level < 3 else wet", "1 bit")])
def test_what_only_lines_say_is_not(source: str, width: str) -> None:
    """A number that is compared with, and a field by which it is chosen, are no value that it takes."""
    assert flags(source, width) == []


def test_what_is_remembered_is_narrow_and_asked_and_no_open_latch() -> None:
    assert flags("five", "5 bits") == []
    assert flags("one", kind="latch") == []
    assert flags("one", term="wet is 1") == []
    assert flags("one", term="level is 1") == []          # of which rain alone says the value


@pytest.mark.parametrize(("words", "width", "place"), [
    (32, 5, True), (32, 6, True), (32, 4, False), (16, 4, True), (16, 3, False), (8, 3, True), (8, 2, False),
    (64, 5, True), (64, 4, False)])
def test_which_pointers_hold_places(words: int, width: int, place: bool) -> None:
    """One that is as wide as the address, or wider than any count."""
    assert count_holds_place(words, width) == place


@pytest.mark.parametrize(("words", "place"), [(8, True), (16, False)])
def test_of_two_control_stores_the_smaller_one_counts(words: int, place: bool) -> None:
    inner = f"store nano {words} words of 4 bits\n    address branch_to\nfield ring 4 bits, idle 0\n"
    assert count_holds_place(64, 3, inner, f"field branch_to {words.bit_length() - 1} bits, idle 0\n") == place


def test_an_opcode_is_no_flag() -> None:
    entry = "store entry 2 words of 5 bits\n    address held\n    word start of instruction\ninput wet"
    text = SIEVE.replace("SOURCE", "one").replace("WIDTH", "1 bit").replace("KIND", "register").replace(
        "TERM", "held is 1").replace("input wet", entry).replace("        otherwise: 0\n", "        otherwise: entry\n")
    assert make_side(burned(resolved(text), {0: Word("start", {})}), Terms()).flags == ()


def count_holds_place(words: int, width: int, inner: str = "", more: str = "") -> bool:
    """Whether a state that goes into the address does, in a machine with one control store or two."""
    used = words.bit_length() + 1 + (int(more.split()[2]) if more else 0)
    text = f"""\
machine tally
microprogram "m.micro"
store control {words} words of 16 bits
    address upc
field branch 2 bits, idle 0
field target {words.bit_length() - 1} bits address, idle 0
{more}spare {16 - used} bits
{inner}state upc {words.bit_length() - 1} bits, reset 0
    next target if branch is 1 else upc + 1 if count is 1 else upc
state count {width} bits, reset 0
    next count + 1 if branch is 2 else count
home upc is 0
"""
    side = make_side(burned(resolved(text), {0: Word("start", {})}), Terms())
    count = side.machine.terms.leaf("state", "count", width)
    return type(count) is Leaf and holds_place(side, count)
