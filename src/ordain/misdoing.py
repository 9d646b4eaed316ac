"""Which changed instructions of a faulty machine no longer do what is said of them.

Like `faulting`, of which it is a part, this stands above the packages: meanings, the prover and faults meet here.
"""

from collections.abc import Mapping
from functools import cached_property
from typing import NamedTuple, TypeAlias

from ordain.control.system import build_system
from ordain.faults.model import Changes, FaultOutcome
from ordain.logic.narrowing import bits_read
from ordain.machine.expression import Leaf, Node
from ordain.meaning.following import Read
from ordain.meaning.run import broken
from ordain.prover.decide import ProofRounds
from ordain.prover.family import MachineFamily
from ordain.prover.model import Limits, Property, Verdict, Verdicts
from ordain.prover.questions import lower_properties, nodes_of
from ordain.prover.symbolic.cone import with_addresses
from ordain.rom.contents import Contents

FREE = frozenset(("input", "condition", "bus", "free"))
"""Kinds of leaves that have any value in every cycle."""

Bits: TypeAlias = Mapping[Node, int]
"""Bits of leaves, as masks."""


class OneOfMany(NamedTuple):
    """One of the machines of a family that are left in it, by its number."""

    family: MachineFamily
    number: int

    def decided(self, asked: tuple[Property, ...]) -> Verdicts | None:
        """The verdicts on some questions (one at least), lowered, that speak of bits of variables that were followed
        and of what is free alone; None where one of them remembers earlier cycles, or reads what is free and in no
        diagram. Raises TooMany."""
        if any(prop.monitors or prop.kind != "bad" or prop.vacuity is not None or not self.family.knows(prop.node)
               for prop in asked):
            return None
        verdicts = tuple(Verdict(prop, "broken" if self.family.occurs(self.number, prop.node) else "proved",
                                 (), None, None, 0, 0) for prop in asked)
        return Verdicts(verdicts, verdicts[0]._replace(outcome="undecided"), {}, 0, 0, 0, "", "")


class SaidOfSound:
    """What is said of the instructions of a sound machine. `rounds`: of its prover."""

    def __init__(self, contents: Contents, rounds: ProofRounds, limits: Limits) -> None:
        self._contents, self._rounds, self._limits = contents, rounds, limits
        self._system = build_system(contents)

    def otherwise(self, outcome: FaultOutcome, faulty: Contents, changes: Changes,
                  one: OneOfMany | None) -> FaultOutcome:
        """The outcome of a fault with the changed instructions that no longer do what their text says. `faulty`:
        without meanings. `one`: the faulty machine, where it was searched together with others. May raise TooMany.

        Where it comes to the same values of some bits of variables, with the same inputs, as the sound machine, what is
        taken for granted about an instruction holds of both machines or of neither, if it speaks of these bits and of
        what is free alone; and an instruction for which no word was read that is another is proved or not as it was.
        Wherever it comes to, what speaks of these bits alone is told by the search."""
        if outcome.kind != "changed":
            return outcome
        said = {title: self._contents.meanings[title] for title in outcome.titles if title in self._contents.meanings}
        known: Mapping[str, bool] = {}
        alike = one is not None and one.number in one.family.alike
        if said and one is not None and alike:
            before, read, taken = self._sound
            if speaks_of(taken, one.family.followed):
                known = {title: title in before for title in said if not read[title].touches(changes)}
        anew = {title: meaning for title, meaning in said.items() if title not in known}
        if not anew:
            return outcome._replace(meanings=tuple(title for title in said if known[title]))
        other = ProofRounds(build_system(faulty))

        def decide(properties: tuple[Property, ...]) -> Verdicts:
            followed = one is not None and speaks_of(self._depends_on(properties), one.family.followed)
            found = one.decided(lower_properties(self._system, properties)) if one is not None and followed else None
            return found or (self._rounds if alike and followed else other).decide(properties, self._limits)

        wrong, _ = broken(faulty._replace(meanings=anew), decide)
        return outcome._replace(meanings=tuple(title for title in said if known.get(title, title in wrong)))

    @cached_property
    def _sound(self) -> tuple[frozenset[str], dict[str, Read], Bits]:
        """The instructions of the sound machine that do not do what is said of them; what was read for each of all;
        and on what depends what was taken for granted."""
        asked: dict[Node, int] = {}

        def decide(properties: tuple[Property, ...]) -> Verdicts:
            for leaf, bits in self._depends_on(properties).items():
                asked[leaf] = asked.get(leaf, 0) | bits
            return self._rounds.decide(properties, self._limits)

        found, read = broken(self._contents, decide)
        return frozenset(found), read, asked

    def _depends_on(self, properties: tuple[Property, ...]) -> Bits:
        """What some questions depend on, and the addresses that they speak of."""
        nodes = [node for asked in lower_properties(self._system, properties) for node in nodes_of(asked)]
        return bits_read(with_addresses(self._system, tuple(nodes)))


def speaks_of(asked: Bits, followed: Bits) -> bool:
    """Whether what is asked about are these bits of variables, or free."""
    return all(not bits & ~followed.get(leaf, 0) or (type(leaf) is Leaf and leaf.kind in FREE)
               for leaf, bits in asked.items())
