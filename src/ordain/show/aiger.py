"""The transition system and its safety properties in AIGER 1.9, binary form, for any hardware model checker.

Format: A. Biere, K. Heljanko, S. Wieringa, "AIGER 1.9 and Beyond", technical report 11/2, FMV, JKU Linz, 2011. Every
bit of a variable is a latch with its reset value, every bit of something free an input; the assumptions are invariant
constraints, each question is a bad state. What has any value at the start has in the first cycle that of an input of
its own, and afterwards that of its latch: of latches without a reset value some readers take 0. The bad states:

    bad        the fault itself: safe means proved
    reach      the target: safe means that it is never reached
    within     a monitor counts the cycles since the oldest trigger that has had no response: safe means in time

and for a question that can be vacuous a second one, its trigger: safe means vacuous. `always` is no safety property and
is named in the comment only.
"""

from collections.abc import Iterator, Sequence
from typing import Literal, NamedTuple

from ordain.control.bits import BitValues, store_of
from ordain.control.model import System, Variable
from ordain.control.system import with_free
from ordain.logic.gates import Gates, among
from ordain.machine.expression import Leaf, Node, postorder
from ordain.prover.model import Property

AT_THE_START = "at the start"
STARTED = "after the first cycle"


class BadState(NamedTuple):
    """One bad state of the file: of which property (by its place in the list), and in what role."""

    property: int
    role: Literal["fault", "target", "trigger"]
    name: str


class Aiger(NamedTuple):
    """The bytes of the file, and what its bad states are, in order."""

    data: bytes
    bad: tuple[BadState, ...]


def aiger(system: System, properties: Sequence[Property]) -> Aiger:
    """`properties` are lowered to the leaves of the system, as by `prover.system.lower_properties`."""
    return _File(system, properties).written()


class _Question(NamedTuple):
    what: BadState
    node: Node


class _File:
    def __init__(self, system: System, properties: Sequence[Property]) -> None:
        self._system, self._properties = system, properties
        self._waits: list[Variable] = []
        self._questions = [question for number, prop in enumerate(properties)
                           for question in self._asked(number, prop)]
        roots = [*(question.node for question in self._questions), *system.assumptions]
        self._variables, self._leaves = self._cone(roots)
        asked = (*roots, *(monitor.next for prop in properties for monitor in prop.monitors))
        self._free = [free for free in with_free(system.free, asked) if free.leaf in self._leaves]
        self._bits: dict[Node, list[int]] = {}
        self._inputs = self._number([free.leaf for free in self._free], 1)
        unknown = [variable.leaf for variable in self._variables if variable.reset is None]
        self._inputs += [f"{AT_THE_START} {name}" for name in self._number(unknown, 1 + len(self._inputs))]
        chosen = {leaf: self._bits[leaf] for leaf in unknown}
        first_latch = 1 + len(self._inputs)
        self._latches = self._number([variable.leaf for variable in self._variables], first_latch)
        started = 2 * (first_latch + len(self._latches))
        self._latches += [STARTED] if unknown else []
        self._gates = Gates(first_latch + len(self._latches))
        for leaf, inputs in chosen.items():
            self._bits[leaf] = [self._gates.choose(started, latch, one)
                                for latch, one in zip(self._bits[leaf], inputs, strict=True)]
        self._made = BitValues(self._gates, system, self._bits)

    # ------------------------------------------------------------ what is asked

    def _asked(self, number: int, prop: Property) -> Iterator[_Question]:
        name = " ".join(f"{prop.check}: {prop.subject}".split())
        match prop.kind:
            case "bad":
                yield _Question(BadState(number, "fault", name), prop.node)
            case "reach":
                yield _Question(BadState(number, "target", f"{name} (reached)"), prop.node)
            case "within":
                yield _Question(BadState(number, "fault", name), self._late(number, prop))
            case "always":
                pass
        if prop.vacuity is not None:
            yield _Question(BadState(number, "trigger", f"{name} (occurs)"), prop.vacuity)

    def _late(self, number: int, prop: Property) -> Node:
        """The oldest trigger without a response lies `cycles` back, and this cycle has none either."""
        terms = self._system.terms
        zero = terms.const(0, 1)
        missing = terms.not_(terms.or_((prop.node, prop.unless or zero)))
        trigger = prop.trigger or zero
        if prop.cycles == 0:
            return terms.and_((missing, trigger))
        width = prop.cycles.bit_length()
        name = f"cycles waited {number}"
        waited = terms.leaf("state", name, width)
        idle = terms.among(waited, frozenset((0,)))
        late = terms.among(waited, frozenset((prop.cycles,)))
        longer = terms.if_(late, waited, terms.add(waited, terms.const(1, width)))
        started = terms.if_(trigger, terms.const(1, width), terms.const(0, width))
        following = terms.if_(missing, terms.if_(idle, started, longer), terms.const(0, width))
        self._waits.append(Variable(name, waited, prop.cycles + 1, 0, following, "monitor"))
        return terms.and_((missing, late))

    # ------------------------------------------------------------ what it depends on

    def _cone(self, roots: list[Node]) -> tuple[list[Variable], set[Node]]:
        """The variables that the roots depend on, and every leaf below."""
        system = self._system
        every = [*system.variables, *(monitor for prop in self._properties for monitor in prop.monitors), *self._waits]
        by_leaf: dict[Node, Variable] = {}
        for variable in every:
            by_leaf.setdefault(variable.leaf, variable)
        found: set[Node] = set()
        pending = list(roots)
        while pending:
            new = [node for node in postorder(pending) if isinstance(node, Leaf) and node not in found]
            found.update(new)
            pending = [by_leaf[leaf].next for leaf in new if leaf in by_leaf]
            pending += [system.addresses[store] for leaf in new if (store := store_of(system, leaf)) is not None]
        return [variable for leaf, variable in by_leaf.items() if leaf in found], found

    def _number(self, leaves: Sequence[Node], first: int) -> list[str]:
        """Numbers the bits of the leaves, lowest first, and gives the name of each."""
        names: list[str] = []
        for leaf in leaves:
            name = leaf.name if isinstance(leaf, Leaf) else "?"
            self._bits[leaf] = [2 * (first + len(names) + bit) for bit in range(leaf.width - 1, -1, -1)]
            names += [f"{name}[{bit}]" if leaf.width > 1 else name for bit in range(leaf.width)]
        return names

    # ------------------------------------------------------------ gates

    def _literal(self, node: Node) -> list[int]:
        return self._made.of(node)

    def _ranges(self) -> Iterator[int]:
        """Values beyond the last code of an enumeration do not occur."""
        ranges = [(free.leaf, free.values) for free in self._free]
        ranges += [(variable.leaf, variable.values) for variable in self._variables if variable.reset is None]
        for leaf, values in ranges:
            if values < 1 << leaf.width:
                yield among(self._gates, self._bits[leaf], frozenset(range(values)))

    # ------------------------------------------------------------ the file

    def written(self) -> Aiger:
        bad = [self._literal(question.node)[0] for question in self._questions]
        constraints = [self._literal(node)[0] for node in self._system.assumptions]
        constraints += self._ranges()
        latches = [line for variable in self._variables for line in self._latch_lines(variable)]
        latches += ["1"] if self._latches[-1:] == [STARTED] else []
        gates = self._gates.gates
        counts = (self._gates.first - 1 + len(gates), len(self._inputs), len(self._latches), 0, len(gates), len(bad),
                  len(constraints))
        head = [f"aig {' '.join(map(str, counts))}", *latches, *map(str, bad), *map(str, constraints)]
        body = bytearray("".join(f"{line}\n" for line in head).encode())
        for number, (a, b) in enumerate(gates, self._gates.first):
            body += _delta(2 * number - a) + _delta(a - b)
        symbols = [f"i{number} {name}" for number, name in enumerate(self._inputs)]
        symbols += [f"l{number} {name}" for number, name in enumerate(self._latches)]
        symbols += [f"b{number} {question.what.name}" for number, question in enumerate(self._questions)]
        symbols += [f"c{number} {assumption.text}" for number, assumption
                    in enumerate(self._system.contents.machine.assumptions)]
        body += "".join(f"{line}\n" for line in (*symbols, "c", *self._comment())).encode()
        return Aiger(bytes(body), tuple(question.what for question in self._questions))

    def _latch_lines(self, variable: Variable) -> Iterator[str]:
        following, reset = self._literal(variable.next), variable.reset or 0
        for bit in range(variable.leaf.width):
            literal = following[variable.leaf.width - 1 - bit]
            yield f"{literal} 1" if reset >> bit & 1 else str(literal)

    def _comment(self) -> Iterator[str]:
        machine = self._system.contents.machine
        yield " ".join(f"{machine.name}: {machine.title}".split())
        for prop in self._properties:
            if prop.kind == "always":
                yield " ".join(f"not a safety property, left out: {prop.check}: {prop.subject}".split())


def _delta(difference: int) -> bytes:
    """Seven bits a byte, lowest first, the top bit set on all but the last."""
    result = bytearray()
    while difference & ~0x7F:
        result.append(difference & 0x7F | 0x80)
        difference >>= 7
    result.append(difference)
    return bytes(result)
