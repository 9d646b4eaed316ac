"""Small machines and microprograms as text, compiled and placed."""

from pathlib import Path

from ordain.language.machine_file import parse_machine
from ordain.language.micro_file import parse_microprogram
from ordain.machine.model import Machine
from ordain.machine.resolve import resolve
from ordain.microprogram.compile import compile_program
from ordain.microprogram.model import Program
from ordain.placement.model import Placement
from ordain.placement.place import place
from ordain.text.findings import Finding

REFERENCE = Path(__file__).parent.parent / "reference"


def described(text: str) -> Machine:
    """The machine of a text in which nothing is wrong."""
    tree, unreadable = parse_machine({"small.machine": text}, "small.machine")
    assert tree is not None and not unreadable, shown(unreadable)
    machine, findings = resolve(tree)
    assert machine is not None and not findings, shown(findings)
    return machine


def compiled(machine: Machine, micro: str) -> tuple[Program | None, list[Finding]]:
    """The program and the findings of the compiler. The text itself must be readable."""
    file, unreadable = parse_microprogram({"small.micro": micro}, ["small.micro"])
    assert file is not None and not unreadable, shown(unreadable)
    return compile_program(machine, file)


def faults(machine: Machine, micro: str) -> list[str]:
    """`place: name: message` of every finding of the compiler."""
    return shown(compiled(machine, micro)[1])


def program_of(machine: Machine, micro: str) -> Program:
    """The program of a text in which nothing is wrong."""
    program, findings = compiled(machine, micro)
    assert program is not None and not findings, shown(findings)
    return program


def placed(machine: Machine, micro: str) -> Placement:
    placement, findings = place(machine, program_of(machine, micro), None)
    assert placement is not None and not findings, shown(findings)
    return placement


def shown(findings: list[Finding]) -> list[str]:
    return [f"{finding.span}: {finding.name}: {finding.message}" for finding in findings]
