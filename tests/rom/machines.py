"""Machines read from text, for tests."""

from ordain.language.machine_file import parse_machine
from ordain.machine.model import Machine
from ordain.machine.resolve import resolve
from ordain.text.findings import has_errors


def machine_of(text: str) -> Machine:
    """The machine of a text that is free of errors."""
    tree, findings = parse_machine({"t.machine": text}, "t.machine")
    assert tree is not None and not has_errors(findings), findings
    machine, findings = resolve(tree)
    assert machine is not None and not has_errors(findings), [finding.message for finding in findings]
    return machine
