"""Which instruction stands at an opcode: whatever name it has, had or lost, what an opcode does otherwise is told."""

from functools import cache
from itertools import product

import pytest

from ordain.rom.contents import Contents
from tests.compare.judged import compared, unit
from tests.compare.test_how_it_is_told import hoist
from tests.workshop import contents_of

DOES = {"up": "        up, branch jump, target wait\n", "down": "        down, branch jump, target wait\n"}


@cache
def named(titles: tuple[str, ...], **bodies: str) -> Contents:
    """Instructions by opcode, and what each does."""
    at = {title: ", ".join(str(opcode) for opcode, other in enumerate(titles) if other == title) for title in titles}
    return contents_of(hoist()[0], "routine wait at 0\n        branch go\n" + "".join(
        f'instruction {opcodes} "{title}"\n{DOES[bodies[title]]}' for title, opcodes in at.items()))


BEFORE = {"lift": "up", "lower": "down"}


@pytest.mark.parametrize("titles", [*product(BEFORE, repeat=3)])
def test_every_opcode_that_does_something_else_is_told(titles: tuple[str, ...]) -> None:
    """The fourth was `lift`. Every way to name four opcodes anew, by names that stay and one that comes:
    one is told when it does something else, and not else but where an instruction has gone."""
    old = named((*titles, "lift"), **BEFORE)
    for names in product(("lower", "raise"), repeat=3):
        for lower, rise in product(DOES, repeat=2):
            bodies = {"lower": lower, "raise": rise, "lift": "up"}
            for fourth in ("lift", "raise"):
                now = (*names, fourth)
                found = compared(old, named(now, **bodies))
                told = {opcode for one in found.units if one.kind == "instruction" and one.status != "same"
                        for opcode in (one.differing if one.status == "changed" else one.opcodes)}
                differs = {opcode for opcode, (before, after) in enumerate(zip((*titles, "lift"), now))
                           if BEFORE[before] != bodies[after]}
                assert differs <= told, (now, bodies, found.units)
                gone = {opcode for opcode, title in enumerate((*titles, "lift")) if title not in now}
                assert differs or not told - gone, (now, bodies, found.units)


def test_an_instruction_that_has_another_name_at_one_opcode_and_gave_up_the_other() -> None:
    found = compared(named(("lower", "lift", "lift", "lower"), **BEFORE),
                    named(("lower", "raise", "lower", "lower"), **{"raise": "up", "lower": "down"}))
    assert {one.title: (one.status, one.was, one.differing) for one in found.units if one.kind == "instruction"} == {
        "raise": ("same", "lift", ()), "lower": ("changed", "", (2,))}
    first = unit(found, "lower").difference
    assert first is not None and first.cycle == 1


def test_an_instruction_that_gave_up_all_its_opcodes_is_gone_and_nobody_else_has_changed() -> None:
    found = compared(named(("lower", "lift", "lift", "lower"), **BEFORE), named(("lower",) * 4, **BEFORE))
    assert {one.title: (one.status, one.note) for one in found.units if one.kind == "instruction"} == {
        "lower": ("same", ""), "lift": ("gone", "its opcode is now `lower`")}
