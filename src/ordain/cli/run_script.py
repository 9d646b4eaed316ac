"""Scripts and devices of a run: from their text to what the run asks for, names and values checked."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from ordain.data.model import Taker
from ordain.data.outside import OutsideStep
from ordain.language import tree
from ordain.language.script import device, parse_script
from ordain.language.words import Misread
from ordain.machine.expression import Node, leaves
from ordain.text.findings import Finding, error
from ordain.text.lines import Placed
from ordain.text.reading import read_source
from ordain.text.source import Source
from ordain.text.spelling import nearest

if TYPE_CHECKING:
    from ordain.machine.model import Machine
    from ordain.rom.contents import Contents


def settable(machine: "Machine") -> dict[str, int]:
    """What a run can be given from outside, and how many values each has."""
    sizes = {name: len(one.codes) or 1 << one.width for name, one in machine.inputs.items()}
    sizes.update((name, 1 << one.width) for name, one in machine.conditions.items())
    return sizes


def script_of(contents: "Contents", path: Path, shown: str) -> tuple[list[OutsideStep], list[Taker], list[Finding]]:
    """The lines of a script file, which people are shown as `shown`."""
    source, _, findings = read_source(path, shown)
    if source is None:
        return [], [], findings
    script, findings = parse_script(source)
    reading = _Reading(contents, findings)
    doings = [made for line in script.doings if (made := reading.doing(line)) is not None]
    devices = [taken for line in script.devices if (taken := reading.device(line)) is not None]
    return doings, devices, findings


def devices_named(contents: "Contents", texts: tuple[str, ...], option: str) -> tuple[list[Taker], list[Finding]]:
    """`NAME = VALUE when CONDITION`, as --device says it."""
    findings: list[Finding] = []
    reading = _Reading(contents, findings)
    devices = []
    for text in texts:
        placed = Placed(text, Source(option, text), 0)
        try:
            made = reading.device(device(placed, 0))
        except Misread as misread:
            findings.append(misread.finding(placed, "NAME = VALUE when CONDITION"))
            continue
        if made is not None:
            devices.append(made)
    return devices, findings


def devices_declared(machine: "Machine") -> list[Taker]:
    """Whoever samples a bus and is nothing of the machine's own: no register, state, store, memory or driver, and not
    the load of a register under another name."""
    own = {*machine.registers, *machine.states, *machine.stores, *machine.memories,
           *(driver.name for bus in machine.buses.values() for driver in bus.drivers if driver.kind == "part")}
    loads = {load.when for register in machine.registers.values() for load in register.loads}
    return [Taker(sampler.name, machine.terms.leaf("bus", bus.name, bus.width), sampler.when)
            for bus in machine.buses.values() for sampler in bus.samplers
            if sampler.name not in own and sampler.when not in loads]


def unknown_label(contents: "Contents", node: Node) -> str:
    """What is wrong with the labels that a condition names, "" for nothing."""
    for leaf in leaves((node,)):
        known: Mapping[str, object] = contents.labels if leaf.kind == "at" else contents.routines
        if leaf.kind in ("at", "in") and leaf.name not in known:
            near = nearest(leaf.name, list(known))
            return f"no label or instruction is called `{leaf.name}`" + (f". Did you mean `{near}`?" if near else "")
    return ""


class _Reading:
    def __init__(self, contents: "Contents", findings: list[Finding]) -> None:
        self.contents, self.machine, self.findings = contents, contents.machine, findings
        self.sizes = settable(contents.machine)

    def doing(self, line: tree.Doing) -> OutsideStep | None:
        before = len(self.findings)
        condition = None if line.condition is None else self._node(line.condition, True)
        until = None if line.until is None else self._node(line.until, True)
        settings = tuple((setting.name.text, self._values(setting)) for setting in line.settings)
        steps = line.lasts * (self.machine.steps if line.unit == "cycles" else 1)
        if line.unit == "phases" and self.machine.steps == 1:
            self.findings.append(error("syntax", "nothing in this machine depends on which phase it is", line.span,
                                       "counted in phases", help="count cycles"))
        if len(self.findings) > before:
            return None
        return OutsideStep(line.begins, line.number, condition, settings, steps, until)

    def device(self, line: tree.Device) -> Taker | None:
        value, when = self._node(line.value, False), self._node(line.when, True)
        return None if value is None or when is None else Taker(line.name.text, value, when)

    def _node(self, expr: tree.Expr, condition: bool) -> Node | None:
        node, findings = self.machine.lower(expr, True, condition)
        self.findings += findings
        if node is None or findings:
            return None
        lost = unknown_label(self.contents, node)
        if lost:
            self.findings.append(error("unknown-name", lost, expr.span, "named here"))
        return None if lost else node

    def _values(self, setting: tree.InputSetting) -> tuple[int, ...]:
        name = setting.name
        if name.text not in self.sizes:
            near = nearest(name.text, list(self.sizes))
            self.findings.append(error(
                "unknown-name", f"no input or condition is called `{name.text}`", name.span, "set here",
                help=f"did you mean `{near}`?" if near else "a script sets inputs and conditions: "
                + (", ".join(self.sizes) or "this machine has none")))
            return ()
        declared = self.machine.inputs.get(name.text)
        codes = declared.codes if declared is not None else ()
        found = []
        for value in setting.values:
            number = value.value if isinstance(value, tree.Number) else \
                codes.index(value.text) if value.text in codes else None
            if number is None or number >= self.sizes[name.text]:
                text = value.span.text
                self.findings.append(error(
                    "too-wide" if number is not None else "unknown-code",
                    f"`{text}` is no value of `{name.text}`", value.span, "this value",
                    help=f"it is one of {', '.join(codes)}" if codes else
                    f"`{name.text}` goes from 0 to {self.sizes[name.text] - 1}"))
            else:
                found.append(number)
        return tuple(found)
