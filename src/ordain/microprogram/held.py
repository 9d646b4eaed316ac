"""Every transfer held against the finished words, whoever set their fields and how.

It shares nothing with what set them but the bus list and the evaluation of terms: a word's own bits are put into the
two conditions, and what is left of them is worked out.
"""

from collections.abc import Iterator, Mapping, Sequence

from ordain.machine.expression import Leaf, Node, leaves, substitute
from ordain.machine.model import Machine
from ordain.microprogram.model import Microinstruction, Program
from ordain.microprogram.routes import parts_of, route_of
from ordain.microprogram.survey import reaches, written_in_fields
from ordain.text.findings import Finding, Place, error


def broken_transfers(machine: Machine, program: Program, addresses: Sequence[tuple[int, ...]],
                     words: Mapping[str, Mapping[int, int]], unused: Mapping[str, int | None]) -> list[Finding]:
    """The transfers that a finished word does not bring about. `addresses`: of every word; `words`, `unused`: what is
    to stand in each store."""
    findings = []
    finished: dict[str, list[tuple[Microinstruction, int]]] = {text: [] for text in program.transfers}
    for word, bits in _finished(program, addresses, words, unused):
        for text in finished.keys() & word.orders:
            finished[text].append((word, bits))
    for text, meaning in program.transfers.items():
        route = route_of(machine, meaning)
        parts = parts_of(route, meaning)
        conditions = [written_in_fields(machine, {}, part.condition) for part in parts]
        read = leaves(conditions)
        known: dict[object, int | None] = {}
        for word, bits in finished[text]:
            values = _values(machine, read, word.store, bits)
            key = tuple(values.values())
            if key not in known:
                known[key] = _broken(machine, conditions, values, route.kept)
            broken = known[key]
            if broken is not None:
                part = parts[broken]
                findings.append(error(
                    part.name, f"nothing in this word allows {part.what}", word.span, f"`{text}` does not happen",
                    places=(Place(part.span, "the condition"),),
                    help="correct the word, or the condition in the machine file"))
    return list(dict.fromkeys(findings))


def _finished(program: Program, addresses: Sequence[tuple[int, ...]], words: Mapping[str, Mapping[int, int]],
              unused: Mapping[str, int | None]) -> Iterator[tuple[Microinstruction, int]]:
    for word, own in zip(program.words, addresses):
        for address in own:
            yield word, words[word.store][address]
    for store, resting in program.unused.items():
        bits = unused.get(store)
        if resting is not None and bits is not None:
            yield resting, bits


def _values(machine: Machine, read: Sequence[Leaf], store: str, bits: int) -> dict[Node, Node]:
    """What the word itself says of leaves."""
    found: dict[Node, Node] = {}
    for leaf in read:
        if leaf.kind == "field" and machine.fields[leaf.name].store == store:
            found[leaf] = machine.terms.const(machine.fields[leaf.name].read(bits), leaf.width)
        elif leaf.kind == "word" and leaf.name == store:
            found[leaf] = machine.terms.const(bits, leaf.width)
    return found


def _broken(machine: Machine, conditions: Sequence[Node], values: dict[Node, Node], kept: bool) -> int | None:
    """The first condition that no circumstances fulfil, or none in which it would not hold with any other word as well;
    the second, where each of the two can hold, but not both at once."""
    left = substitute(machine.terms, tuple(conditions), values)
    for number, (condition, rest) in enumerate(zip(conditions, left)):
        if not _can_hold(machine, rest):
            return number
        read = any(type(leaf) is Leaf and leaf in values for leaf in leaves((condition,)))
        if read and not _can_hold(machine, rest, machine.terms.not_(condition)):
            return number
    return None if kept or _can_hold(machine, *left) else len(left) - 1


def _can_hold(machine: Machine, *conditions: Node) -> bool:
    return bool(reaches(machine.terms, (machine.terms.and_(conditions),))[0])
