"""Which instruction each opcode means."""

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from ordain.language import tree
from ordain.machine.model import Machine
from ordain.microprogram.bodies import BodyPlan
from ordain.text.findings import Finding, Place, error, warning
from ordain.text.source import Span

_MOST_TOLD = 12
"""How many stretches of undefined opcodes a message lists."""


class Opcodes(NamedTuple):
    """`width` in bits, 0 where the machine has no opcodes. `plans`: opcode -> number of its plan, ascending; `of_plan`
    the other way round; `others`: the opcodes that came from `instruction others`."""

    width: int
    plans: dict[int, int]
    of_plan: dict[int, list[int]]
    others: frozenset[int]


def assign_opcodes(machine: Machine, plans: Sequence[BodyPlan]) -> tuple[Opcodes, list[Finding]]:
    """Every opcode's instruction; opcodes that mean two or none are findings."""
    width = max((store.opcode_width for store in machine.stores.values()), default=0)
    instructions = [number for number, plan in enumerate(plans) if plan.kind == "instruction"]
    if not instructions:
        return _opcodes(width, {}, ()), []
    first = plans[instructions[0]]
    if not width:
        return _opcodes(0, {}, ()), [error(
            "no-opcodes", "nothing says where an instruction starts", first.span, "this machine has no opcodes",
            help="give a store `word start of instruction`, or the control store `starts at ...` or `instruction ...`")]
    found: dict[int, int] = {}
    spans: dict[int, Span] = {}
    findings: list[Finding] = []
    for number in instructions:
        for pattern in plans[number].patterns:
            if pattern.value >> width:
                findings.append(error(
                    "too-wide", f"opcode 0x{pattern.value:X} needs {pattern.value.bit_length()} bits, an opcode has "
                    f"{width}", pattern.span, f"more than 0x{(1 << width) - 1:X}",
                    help="correct the opcode, or say in the store's `instruction` line which bits hold it"))
            else:
                _claim(plans, number, pattern, width, found, spans, findings)
    missing = (1 << width) - len(found)
    others = next((number for number in instructions if plans[number].others), None)
    if others is not None:
        added = [opcode for opcode in range(1 << width) if opcode not in found] if missing else []
        found.update(dict.fromkeys(added, others))
        if not added:
            findings.append(warning("unused-others", "every opcode has an instruction of its own", plans[others].span,
                                    "never used", help="leave `instruction others` out"))
        return _opcodes(width, found, added), findings
    if missing and not findings:
        findings.append(_gap(found, width, missing, plans[instructions[-1]]))
    return _opcodes(width, found, ()), findings


def _opcodes(width: int, found: dict[int, int], others: Iterable[int]) -> Opcodes:
    plans = dict(sorted(found.items()))
    of_plan: dict[int, list[int]] = {}
    for opcode, plan in plans.items():
        of_plan.setdefault(plan, []).append(opcode)
    return Opcodes(width, plans, of_plan, frozenset(others))


def matching(pattern: tree.OpcodePattern, width: int) -> Iterator[int]:
    """The opcodes that a pattern stands for, ascending."""
    free = ~pattern.mask & ((1 << width) - 1)
    some = 0
    while True:
        yield pattern.value & ~free | some
        some = (some - free) & free
        if not some:
            return


def _claim(plans: Sequence[BodyPlan], number: int, pattern: tree.OpcodePattern, width: int, found: dict[int, int],
           spans: dict[int, Span], findings: list[Finding]) -> None:
    """Gives the opcodes of a pattern to a plan; one finding for each other pattern that has some of them."""
    clashes: dict[tuple[int, Span], list[int]] = {}
    for opcode in matching(pattern, width):
        if opcode in found:
            clashes.setdefault((found[opcode], spans[opcode]), []).append(opcode)
        else:
            found[opcode], spans[opcode] = number, pattern.span
    for (other, span), opcodes in clashes.items():
        findings.append(error(
            "opcode-clash", f"opcode {stretches(opcodes, width)} means `{plans[other].name}` and "
            f"`{plans[number].name}`", pattern.span, f"`{plans[number].name}`",
            places=(Place(span, f"`{plans[other].name}`"),), help="give each opcode to one instruction"))


def _gap(found: dict[int, int], width: int, missing: int, last: BodyPlan) -> Finding:
    count = 1 << width
    undefined = [opcode for opcode in range(count) if opcode not in found] if width <= 16 else []
    told = f": {stretches(undefined, width)}" if undefined else ""
    return warning(
        "opcode-gap", f"{missing} of {count} opcodes mean nothing{told}", last.span, "the last instruction",
        help='say what they do: `instruction others "trap"`')


def stretches(numbers: Iterable[int], width: int) -> str:
    """Ascending numbers as `0x10-0x1F, 0x3B`."""
    digits = -(-width // 4)
    found: list[list[int]] = []
    for number in numbers:
        if found and found[-1][1] == number - 1:
            found[-1][1] = number
        else:
            found.append([number, number])
    told = [f"0x{low:0{digits}X}" if low == high else f"0x{low:0{digits}X}-0x{high:0{digits}X}"
            for low, high in found[:_MOST_TOLD]]
    more = len(found) - len(told)
    return ", ".join(told) + (f" and {more} more stretches" if more else "")
