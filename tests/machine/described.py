"""Small machines as text, read and resolved; and findings as lines that a test can hold."""

from ordain.language.machine_file import parse_machine
from ordain.machine.model import Machine
from ordain.machine.resolve import resolve
from ordain.text.findings import Finding

FRAME = """\
machine small

store control 16 words of 8 bits
    address upc

field branch 2 bits
    step 0 idle
    jump 1
    loop 2
field target 4 bits address, idle 0
field go 1 bit
field halt 1 bit, active low

state upc 4 bits, reset 0
    next choose branch
        step : upc + 1
        jump : target
        loop : upc
"""
"""A machine with nothing wrong; tests put lines after it, or replace some."""


def understood(text: str) -> tuple[Machine | None, list[Finding]]:
    """The machine and the findings of `resolve`. The text itself must be readable."""
    tree, unreadable = parse_machine({"small.machine": text}, "small.machine")
    assert tree is not None and unreadable == [], [(str(item.span), item.message) for item in unreadable]
    return resolve(tree)


def sound(text: str) -> Machine:
    """The machine of a text with nothing wrong in it."""
    machine, findings = understood(text)
    assert machine is not None and findings == [], shown(findings)
    return machine


def shown(findings: list[Finding]) -> list[str]:
    return [f"{item.span}: {item.severity.value}[{item.name}]: {item.message}" for item in findings]
