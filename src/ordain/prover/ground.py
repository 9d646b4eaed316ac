"""What families of machines (`prover.family`) have in common: the questions' space, and what the sound machine reaches.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from time import monotonic
from typing import TypeAlias

from oxidd.bdd import BDDFunction
from oxidd.util import DDMemoryError

from ordain.control.model import System, Variable, Versions
from ordain.control.system import with_free
from ordain.machine.expression import Node
from ordain.prover.limits import LimitReached
from ordain.prover.model import Limits, Property
from ordain.prover.questions import lower_properties, nodes_of
from ordain.prover.symbolic.cases import SearchWatch, model_of, start_of
from ordain.prover.symbolic.reads import members
from ordain.prover.symbolic.relation import Relation
from ordain.prover.symbolic.space import by_value

NAME = "which machine"
"""The variable's name: no machine file can have one with a space in it."""
LARGEST = 200_000
"""Nodes of what is new in a cycle up to which machines are looked at together."""


class TooMany(Exception):
    """The machines have too little in common to be looked at together, or a limit was reached. The argument says
    which: "width" or a limit."""


Words: TypeAlias = frozenset[tuple[str, int]]
"""Words of stores: store and address."""


@contextmanager
def not_too_many() -> Iterator[None]:
    """A limit that is reached within is raised as TooMany."""
    try:
        yield
    except LimitReached as limit:
        raise TooMany(str(limit)) from None
    except DDMemoryError:
        raise TooMany("memory") from None


def with_versions(system: System, changes: Mapping[str, tuple[Mapping[int, int], ...]], count: int) -> System:
    """The system of up to `count` machines, and of the sound one, whose number that is. `changes`: as in `Versions`."""
    leaf = system.terms.leaf("state", NAME, count.bit_length())
    variable = Variable(NAME, leaf, count + 1, None, leaf, "monitor")
    return system._replace(variables=(*system.variables, variable), versions=Versions(leaf, dict(changes)))


class Ground:
    """What all families of one sound machine have in common: the space of some questions, and what the sound machine
    reaches in it. `most`: machines in one family. `occurs`: of conditions of which that is known, the words, store and
    address, that are presented on some way of the sound machine to a cycle that has it, with the words of that cycle;
    None where the sound machine never has it. Raises TooMany."""

    def __init__(self, system: System, properties: Sequence[Property], most: int, limits: Limits,
                 occurs: Mapping[Node, Words | None] | None = None) -> None:
        asked = lower_properties(system, tuple(properties))
        nodes = tuple(node for prop in asked for node in nodes_of(prop))
        self.system = system._replace(free=with_free(system.free, nodes))
        self.properties, self.most, self.occurs = asked, most, occurs or {}
        self.watch = SearchWatch(limits, None, monotonic())
        self._limits = limits
        self._remembered: dict[int, BDDFunction] = {}
        self._presented: dict[str, frozenset[int]] = {}
        with not_too_many():
            self.model = model_of(with_versions(self.system, {}, most), asked, limits)
            self.space = self.model.space
            assert self.model.system.versions is not None
            self.leaf = self.model.system.versions.leaf
            self.watch.tidy = self.space.tidy
            self.layers = list(self._layers(self.model.plain))
            self.reached = self._joined(self.layers)

    def begun(self) -> SearchWatch:
        """The clock of another search."""
        self.watch = SearchWatch(self._limits, None, monotonic())
        self.watch.tidy = self.space.tidy
        return self.watch

    def remembering(self, memory: int) -> BDDFunction:
        """What the sound machine reaches, with what questions remember, as atoms."""
        found = self._remembered.get(memory)
        if found is None:
            found = self._remembered[memory] = self._joined(self._layers(self.model.plain | memory))
        return found

    def presented(self, store: str) -> frozenset[int]:
        """The addresses of a store that the sound machine presents."""
        found = self._presented.get(store)
        if found is None:
            space, address = self.space, self.model.system.addresses[store]
            others = ((1 << space.atoms.count) - 1) & ~space.read_by(address)
            shown = (self.reached & self.model.required.holds).exists(space.cube(members(others)))
            found = self._presented[store] = frozenset(place for place, _ in by_value(space.bits(address), shown))
        return found

    def _layers(self, atoms: int) -> Iterator[BDDFunction]:
        """The number of the machine is left out: nothing depends on it."""
        space, model = self.space, self.model
        now = reached = start_of(model, atoms).exists(space.cube(space.atoms.of(self.leaf)))
        parts = model.parts(atoms & ~space.atoms.set_of(self.leaf), self.watch.look)
        relation = Relation(space, parts, atoms, model.required, self.watch.look)
        while now.satisfiable():
            if now.node_count() > LARGEST:
                raise TooMany("width")
            yield now
            self.watch.look()
            now = relation.after(now) & ~reached
            reached = reached | now

    def _joined(self, layers: Iterable[BDDFunction]) -> BDDFunction:
        found = self.space.false
        for layer in layers:
            found = found | layer
        return found
