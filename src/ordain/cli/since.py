"""What a save has changed, in a few printable lines: verdicts, instructions, chips."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from ordain.text.findings import Finding

if TYPE_CHECKING:
    from ordain.checks.check import Report
    from ordain.machine.model import Machine
    from ordain.rom.contents import Contents
    from ordain.show.page import Page

FEW = 8
"""So many names stand in a line."""


def verdict_changes(old: "Report", new: "Report", page: "Page") -> list[str]:
    """How many verdicts moved, and which, as `ordain compare` says it."""
    from ordain.compare.verdicts import verdict_changes
    from ordain.show.comparison import verdict_lines

    return verdict_lines(verdict_changes(old, new), page)


def finding_changes(old: Iterable[Finding], new: Iterable[Finding]) -> list[str]:
    """How many findings are new, and which are gone."""
    from ordain.show.paint import printable
    from ordain.show.sarif import fingerprints

    old, new = list(old), list(new)
    before, now = dict(zip(fingerprints(old), old)), dict(zip(fingerprints(new), new))
    gone = [finding for print_, finding in before.items() if print_ not in now]
    fresh = [finding for print_, finding in now.items() if print_ not in before]
    lines = [printable(f"gone: {finding.name}: {finding.message}") for finding in gone[:FEW]]
    if len(gone) > FEW:
        lines.append(f"gone: {len(gone) - FEW} more findings")
    return lines + ([f"new findings: {len(fresh)}"] if fresh else [])


def instruction_changes(old: "Contents", new: "Contents") -> list[str]:
    """Which instructions, and what else is entered from outside, behave differently."""
    from ordain.compare.behaviour import behaviour
    from ordain.compare.joint import join
    from ordain.show.paint import printable

    compared = behaviour(join(old, new))
    lines = list(map(printable, compared.machine))
    for status in ("changed", "new", "gone"):
        titles = list(dict.fromkeys(unit.title for unit in compared.units if unit.status == status))
        if titles:
            lines.append(printable(f"{status}: {some(titles)}"))
    return lines or ["every instruction behaves as before"]


def chip_changes(machine: "Machine", old: dict[str, bytes], new: dict[str, bytes]) -> list[str]:
    """Which chips would hold something else, and in how many of their words."""
    parts = []
    for name, image in new.items():
        size = (machine.chips[name].bits + 7) // 8
        before = old.get(name)
        if before is None or len(before) != len(image):
            parts.append(f"{name} (all)")
        elif before != image:
            count = sum(before[at:at + size] != image[at:at + size] for at in range(0, len(image), size))
            parts.append(f"{name} ({count} word{'s' if count != 1 else ''})")
    parts += [f"{name} (gone)" for name in old if name not in new]
    return [f"chips: {some(parts, 12)}" if parts else "chips: all as before"]


def some(names: list[str], most: int = FEW) -> str:
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")
