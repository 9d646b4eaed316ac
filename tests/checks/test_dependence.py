"""What depends on what within one cycle, over ways of several pieces, in whatever order the machine file has them."""

from itertools import permutations

import pytest

from ordain.checks.dependence import bus_leaf, depending, takings
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Node, leaves
from ordain.rom.contents import Contents
from tests.workshop import contents_of

MACHINE = """\
machine canal "locks, one behind the other"
microprogram "m.micro"
store control 4 words of 8 bits
    address upc
field a 1 bit
field b 1 bit
field c 1 bit
field d 1 bit
field e 1 bit
spare 3 bits
state upc 2 bits, reset 0
    next upc
input wind 2 bits
bus spring 2 bits, floats
    driven by wind when e
"""
PIECES = {
    "upper": "bus upper 2 bits, pulled low\n    driven by gate when a, follows spring\n",
    "table": "store table 4 words of 2 bits\n    address upper\n    word upper + 1\n",
    "middle": "bus middle 2 bits, pulled low\n    driven by table when b\n    driven by wind when not b\n",
    "pool": "memory pool 4 words of 2 bits\n    address middle\n",
    "basin": "latch basin 2 bits, loads pool when c\n",
    "lower": "bus lower 2 bits, pulled low\n    driven by basin when d\n",
}


def canal(*pieces: str) -> Contents:
    return contents_of(MACHINE + "".join(pieces), "routine lock at 0\n        a\n")


def holds(contents: Contents, condition: Node, fields: str) -> bool:
    """With these fields at 1 and all else at 0."""
    known = {leaf: int(leaf.name in fields.split()) for leaf in leaves((condition,))}
    return bool(evaluate(condition, known))


def dependent(contents: Contents, fields: str, acting: bool) -> set[str]:
    machine = contents.machine
    spring = {bus_leaf(machine, machine.buses["spring"]): machine.terms.const(1, 1)}
    found = depending(machine, spring, acting)
    return {f"{leaf.kind} {leaf.name}" for leaf, condition in found.items() if holds(contents, condition, fields)}


@pytest.mark.parametrize("order", list(permutations(PIECES))[::60])
@pytest.mark.parametrize(("fields", "acting", "expected"), [
    ("a b c d", True, 6), ("a b c", True, 5), ("a b d", True, 4), ("a c d", True, 2), ("b c d", True, 0),
    ("a b c d", False, 4), ("a", False, 2), ("", False, 0)])
def test_a_way_through_everything(order: tuple[str, ...], fields: str, acting: bool, expected: int) -> None:
    """From the spring to the gate, the table, its bus, the memory, a latch that may be open, the last bus."""
    whole = (("bus upper",), ("address table", "word table"), ("bus middle",), ("free pool",), ("register basin",),
             ("bus lower",))
    contents = canal(*(PIECES[name] for name in order))
    assert dependent(contents, fields, acting) == {"bus spring", *(leaf for part in whole[:expected] for leaf in part)}


@pytest.mark.parametrize(("pieces", "fields", "who"), [
    ("memory pool 4 words of 2 bits\n    address wind\n    writes spring when a\n", "a", {"`pool`"}),
    ("memory pool 4 words of 2 bits\n    address wind\n    writes spring when a\n", "", set()),
    ("memory pool 4 words of 2 bits\n    address spring\n    writes wind when a\n", "a", {"`pool`"}),
    ("memory pool 4 words of 2 bits\n    address spring\n    writes wind when a\n", "", set()),
    ("memory pool 4 words of 2 bits\n    address wind\n    writes wind when a and spring[0]\n", "a", {"`pool`"}),
    ("memory pool 4 words of 2 bits\n    address wind\n    writes wind when a and spring[0]\n", "", set()),
    ("memory pool 4 words of 2 bits\n    address wind\n    writes wind when a\n", "a", set()),
    ("memory pool 4 words of 2 bits\n    address wind\n    writes wind when a\n    writes spring when b\n", "b",
     {"`pool`"}),
    ("memory pool 4 words of 2 bits\n    address spring\nregister basin 2 bits, loads pool when c\n", "c", {"`basin`"}),
    ("memory pool 4 words of 2 bits\n    address wind\nregister basin 2 bits, loads pool when c\n", "c", set()),
    ("    sampled by eye when a\n", "a", {"`eye`"}),
    ("    sampled by eye when a\n", "b", set()),
    ("    sampled by eye when a and spring[1]\n", "a", {"`eye`"}),
    ("    sampled by eye when a and not spring[1]\nregister eye 2 bits, loads wind when b\n", "a", {"`eye`"}),
    ("register basin 2 bits\n    loads spring when a\n    loads wind when b\n", "b", set()),
    ("register basin 2 bits\n    changes when a\n    loads spring when b\n", "a", set()),
    ("register basin 2 bits\n    changes when a and spring is 2\n", "a", {"`basin`"}),
    ("    sampled by basin when a\nregister basin 2 bits, loads spring when b\n", "a", {"`basin`"}),
    ("    sampled by basin when a\nregister basin 2 bits, loads spring when b\n", "b", {"`basin`"}),
    ("bus upper 2 bits, floats\n    driven by gate when a and spring[0]\n", "a", {"the enable of `gate` on `upper`"}),
    ("bus upper 2 bits, floats\n    driven by gate when a, follows spring\n", "a", set()),
    ("bus upper 2 bits, floats\n    driven by gate when a, follows spring\n    sampled by eye when c\n", "a c",
     {"`eye`"}),
    ("bus upper 2 bits, floats\n    driven by gate when a, follows spring\n    sampled by eye when c\n", "c", set()),
    ("state mill 2 bits, reset 0\n    next mill + 1 if spring[0] and a else mill\n", "a", {"`mill`"}),
    ("signal beat = a and spring is 1\nbus upper 2 bits, pulled low\n    driven by wind when b\nstrobe beat\n"
     "    upper steady 0 cycles before, 0 cycles after\n", "a", {"the strobe `beat`"}),
])
def test_who_takes_it_and_in_which_cycles(pieces: str, fields: str, who: set[str]) -> None:
    contents = canal(pieces)
    machine = contents.machine
    spring = {bus_leaf(machine, machine.buses["spring"]): machine.terms.const(1, 1)}
    found = takings(machine, spring)
    assert len({taking.phrase for taking in found}) == len(found)
    assert {taking.phrase for taking in found if holds(contents, taking.when, fields)} == who
