"""Two meanings of one instruction on machines that are one declaration apart: which of them says more."""

from collections.abc import Callable

import pytest

from ordain.machine.model import Machine
from ordain.meaning.strength import other_meanings
from ordain.rom.contents import Contents
from tests.meaning.till import FETCH, MACHINE
from tests.workshop import contents_of

TILL = contents_of(MACHINE, FETCH + """\
instruction 1 "keep"
    means memory[pc] <- acc when zero
        branch home
instruction 2 "keep all"
    means memory[12] <- acc, memory[pc] <- acc when zero
        branch home
""")


def told(old: Contents, new: Contents, old_title: str = "keep", new_title: str = "keep") -> str:
    """How the meaning of the new one is told beside that of the old one, "" where both say as much."""
    found = list(other_meanings(old._replace(meanings={"it": old.meanings[old_title]}),
                                new._replace(meanings={"it": new.meanings[new_title]})))
    return found[0][0] if found else ""


def words(number: int) -> Callable[[Machine], Machine]:
    return lambda machine: machine._replace(memories={"memory": machine.memories["memory"]._replace(words=number)})


def bits(machine: Machine) -> Machine:
    return machine._replace(memories={"memory": machine.memories["memory"]._replace(bits=9)})


def lines(machine: Machine) -> Machine:
    memory = machine.memories["memory"]
    address = machine.terms.join((machine.terms.const(0, 1), memory.address))
    return machine._replace(memories={"memory": memory._replace(address=address)})


def kind(machine: Machine) -> Machine:
    return machine._replace(memories={}, registers={
        **machine.registers, "memory": machine.registers["acc"]._replace(name="memory")})


def wider(machine: Machine) -> Machine:
    return machine._replace(registers={**machine.registers, "acc": machine.registers["acc"]._replace(width=9)})


def latch(machine: Machine) -> Machine:
    return machine._replace(registers={**machine.registers, "acc": machine.registers["acc"]._replace(transparent=True)})


def unseen(name: str) -> Callable[[Machine], Machine]:
    return lambda machine: machine._replace(visible=tuple(one for one in machine.visible if one != name))


@pytest.mark.parametrize("change, forth, back", [
    (lambda machine: machine, "", ""), (words(10), "weaker", "stronger"), (bits, "changed", "changed"),
    (lines, "changed", "changed"), (kind, "changed", "changed"), (wider, "changed", "changed"),
    (latch, "changed", "changed"), (unseen("zero"), "weaker", "stronger"), (unseen("acc"), "weaker", "stronger"),
    (unseen("memory"), "", "")])
def test_what_holds_something_else_says_something_else(change: Callable[[Machine], Machine], forth: str,
                                                       back: str) -> None:
    """`memory` is named, visible or not."""
    new = TILL._replace(machine=change(TILL.machine))
    assert (told(TILL, new), told(new, TILL)) == (forth, back)


@pytest.mark.parametrize("number, kind", [(16, "changed"), (13, "changed"), (12, ""), (10, "")])
def test_a_word_behind_the_end_of_a_memory_is_none(number: int, kind: str) -> None:
    till = TILL._replace(machine=words(number)(TILL.machine))
    assert told(till, till, "keep", "keep all") == told(till, till, "keep all", "keep") == kind
