"""Machines from text, all the way to what their chips hold; for tests above the compiler."""

from ordain.language.machine_file import parse_machine
from ordain.language.micro_file import parse_microprogram
from ordain.machine.resolve import resolve
from ordain.microprogram.compile import compile_program
from ordain.placement.place import place
from ordain.rom.assemble import make_contents, stored_words
from ordain.rom.contents import Contents
from ordain.rom.images import pack
from ordain.text.findings import Finding, Severity


def contents_of(machine_text: str, micro_text: str) -> Contents:
    """What the chips hold, of texts in which nothing is wrong for the compiler. The microprogram is one file,
    whatever the machine calls it."""
    tree, found = parse_machine({"m.machine": machine_text}, "m.machine")
    assert tree is not None
    machine, more = resolve(tree)
    _expect_none(found + more)
    assert machine is not None
    texts, found = parse_microprogram({"m.micro": micro_text}, ["m.micro"])
    assert texts is not None
    program, more = compile_program(machine, texts)
    _expect_none(found + more)
    assert program is not None
    placement, found = place(machine, program, None)
    _expect_none(found)
    assert placement is not None
    stored = stored_words(machine, placement)
    return make_contents(machine, program, placement, stored, pack(machine, stored))


def _expect_none(findings: list[Finding]) -> None:
    wrong = [f"{found.span}: {found.name}: {found.message}" for found in findings if found.severity is Severity.ERROR]
    assert not wrong, "\n".join(wrong)
