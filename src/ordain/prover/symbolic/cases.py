"""A search for some questions: the space they share, the monitors that run along, and what was reached."""

from collections.abc import Callable, Iterable
from time import monotonic
from typing import NamedTuple

from oxidd.bdd import BDDFunction
from oxidd.util import BooleanOperator

from ordain.control.model import System, Variable
from ordain.machine.expression import Node
from ordain.prover.limits import LimitReached, look, memory_taken
from ordain.prover.model import Limits, Progress, Property, Report
from ordain.prover.symbolic.cone import asked_anyway, needs, with_addresses
from ordain.prover.symbolic.dead import Support, live_atoms
from ordain.prover.symbolic.layers import Layers
from ordain.prover.symbolic.reads import members
from ordain.prover.symbolic.relation import LARGEST, Conjunct, Graph, Relation, parts_of
from ordain.prover.symbolic.space import Space, by_value

WIDE = 8192
"""Nodes of what is new in a cycle up to which nothing is done about it."""
WIDE_PARTS = 15_000
"""Nodes up to which parts of the relation are joined when sets of states are large."""


class SearchWatch:
    """Looks at the limits and tells how far a search is, and how many of the questions `asked` are `decided`."""

    def __init__(self, limits: Limits, report: Report | None, started: float) -> None:
        self._limits, self._report, self._started, self._told = limits, report, started, started
        self._states, self._level, self._most = 0, 0, 0
        self.decided, self.asked = 0, 0
        self.tidy: Callable[[], None] = lambda: None

    def look(self) -> None:
        """Raises LimitReached."""
        self.tidy()
        look(self._limits, self._started, self._states)
        now = monotonic()
        if self._report is not None and now - self._told > 0.1:
            self._told = now
            self._report(Progress(self._most, self._level, self.decided, self.asked))

    def begin(self) -> None:
        """A search begins, or ends: a limit of states is one of each search."""
        self._states = 0

    def level_done(self, level: int, states: int) -> None:
        self._level = level
        self._states += states
        self._most = max(self._most, self._states)
        self.look()


class Dead(NamedTuple):
    """Bits that are held at 0 where nothing reads them (`dead`). `place`: the atoms that say where that is. `live`: for
    each atom that can be dead, where it is not; `live_next`: the same over next values, of those that are held. What is
    held at 0 may go on into what is dead and is not held: with one bit all the dead ones are as good as any."""

    place: int
    live: dict[int, BDDFunction]
    live_next: dict[int, BDDFunction]


NOTHING_DEAD = Dead(0, {}, {})


class Model(NamedTuple):
    """The space of all questions, and in it what is required of every cycle. `plain`: the atoms of the system's
    variables; `monitors`: those of each monitor that is kept. `needed`: the bits of each leaf that count; the others
    are 0. `largest`: nodes up to which parts of the relation are joined."""

    system: System
    space: Space
    required: Conjunct
    plain: int
    monitors: dict[Variable, int]
    needed: dict[Node, int]
    dead: Dead = NOTHING_DEAD
    largest: int = LARGEST

    def parts(self, sets: int, look: Callable[[], None]) -> list[Conjunct]:
        """The next values of some atoms. Dead bits are held at 0 if the place is among these atoms; if it is not, what
        comes out differs in dead bits at most."""
        live = self.dead.live_next if not self.dead.place & ~sets else {}
        return parts_of(self.space, members(sets), look, live, self.largest)


def model_of(system: System, properties: tuple[Property, ...], limits: Limits, apart: bool = False) -> Model:
    """`properties`: lowered. Without `limits.reduce` all variables of the system are kept, whatever is asked. `apart`:
    see `Space`."""
    kept, needed, free = needs(system, properties, limits)
    memory = None if limits.memory is None else limits.memory - memory_taken()
    space = Space(system, kept, free, memory, apart)
    watched = {monitor.leaf: monitor for prop in properties for monitor in prop.monitors}
    plain, of_monitors = 0, dict[Variable, int]()
    for variable in kept:
        atoms = space.atoms.set_of(variable.leaf)
        if variable.leaf in watched:
            of_monitors[watched[variable.leaf]] = atoms
        else:
            plain |= atoms
    return Model(system, space, required_of(system, space), plain, of_monitors, needed)


def required_of(system: System, space: Space) -> Conjunct:
    """What is assumed of every cycle, and that nothing free has a value that it cannot have."""
    holds, reads = space.true, 0
    for node in system.assumptions:
        holds, reads = holds & space.of(node), reads | space.read_by(node)
    for one in space.free:
        if one.values < 1 << one.leaf.width:
            holds = holds & space.within(one.leaf, one.values)
            reads |= space.atoms.set_of(one.leaf)
    return Conjunct(holds, reads, 0)


def wide_model_of(system: System, properties: tuple[Property, ...], limits: Limits,
                  look: Callable[[], None]) -> Model:
    """The model for a search in which sets of states become large: in another order, and with dead bits held at 0. May
    raise what ends a search."""
    model = model_of(system, properties, limits, apart=True)
    space = model.space
    conditions = [node for prop in properties for node in (prop.node, prop.trigger, prop.unless, prop.vacuity)
                  if node is not None]
    told_apart = {prop.per_word for prop in properties if prop.per_word}
    conditions += with_addresses(system, tuple(system.addresses[store] for store in sorted(told_apart)))
    observed = [Support(bit, space.read_by(node)) for node in dict.fromkeys(conditions) for bit in space.bits(node)]
    states = (1 << space.states) - 1
    place = sum(space.atoms.set_of(variable.leaf) for variable in space.selecting)
    for node in with_addresses(system, tuple(asked_anyway(system))):
        place |= space.read_by(node) & states
    family = [space.atoms.set_of(variable.leaf) for variable in space.stored]
    place, live, held = live_atoms(space, model.required, observed, place, family, start_of(model, model.plain), look)
    to_next = space.renamed(members(place), True)
    live_next = {atom: where.substitute(to_next) for atom, where in live.items() if atom in held}
    return model._replace(dead=Dead(place, live, live_next) if held else NOTHING_DEAD, largest=WIDE_PARTS)


class SearchCase:
    """What is reached, with some monitors running along. Sets of states are over `atoms`. `within`: the cycles that are
    known to be all there are. `transitions`: pairs of a reached state and one of those that follow it; of a search that
    was stopped they are not counted. `wide`: whether sets of states may become large; else it is stopped then, by a
    limit of "width". `ended`: what ended the search before it began."""

    def __init__(self, model: Model, monitors: Iterable[Variable], watch: SearchWatch, relation: Relation | None = None,
                 within: Graph | None = None, wide: bool = True, ended: str = "") -> None:
        self.model, self.space = model, model.space
        self.monitors = tuple(monitors)
        self.atoms = model.plain | atoms_of(model, self.monitors)
        self._free = self.space.cube(range(self.space.states, self.space.atoms.count))
        self._graphs: dict[Node | None, Graph] = {}
        self._within = within
        self.start = start_of(model, self.atoms)
        self.layers, self.transitions = Layers(self.start), 0
        watch.begin()
        with self.layers.until_a_limit():
            if ended:
                raise LimitReached(ended)
            if relation is None:
                parts = model.parts(self.atoms, watch.look)
                relation = Relation(self.space, parts, self.atoms, model.required, watch.look)
            self.relation = relation

            def level_done(level: int, new: BDDFunction) -> None:
                if not wide and new.node_count() > WIDE:
                    raise LimitReached("width")
                watch.level_done(level, self.count(new))

            self.layers.search(relation.after if within is None else within.after, level_done)
            self.transitions = self.graph().holds.sat_count(2 * self.atoms.bit_count())
        watch.begin()
        self.states = self.count(self.layers.reached)

    def count(self, states: BDDFunction) -> int:
        """How many states a set has."""
        return states.sat_count(self.atoms.bit_count())

    def having(self, condition: BDDFunction) -> BDDFunction:
        """The states in which some input makes a condition true, and what is required."""
        return condition.apply_exists(BooleanOperator.AND, self.model.required.holds, self._free)

    def having_node(self, node: Node) -> BDDFunction:
        return self.having(self.space.of(node))

    def presented(self, store: str, cycles: BDDFunction) -> set[int]:
        """The addresses of a store that some cycles, over states and inputs, present."""
        space, address = self.space, self.model.system.addresses[store]
        others = ((1 << space.atoms.count) - 1) & ~space.read_by(address)
        wanted = (cycles & self.model.required.holds).exists(space.cube(members(others)))
        return {value for value, _ in by_value(space.bits(address), wanted)}

    def graph(self, node: Node | None = None) -> Graph:
        """The cycles from what is reached, or those of them in which a condition holds."""
        found = self._graphs.get(node)
        if found is None:
            condition, reads = (self.space.true, 0) if node is None else (self.space.of(node), self.space.read_by(node))
            if node is None and self._within is not None:
                found = self._within.having(self.layers.reached)
            elif node is None or reads >> self.space.states:
                found = self.relation.graph(self.layers.reached, condition, reads)
            else:
                found = self.graph().having(condition)
            self._graphs[node] = found
        return found

    def closed(self, start: BDDFunction, onward: Callable[[BDDFunction], BDDFunction], among: BDDFunction,
               enough: Callable[[BDDFunction], bool] = lambda _: False) -> BDDFunction:
        """A set with everything that leads on from it, within another; less of it once that is `enough`."""
        found = now = start & among
        while now.satisfiable() and not enough(found):
            now = onward(now) & among & ~found
            found = found | now
        return found


def covers(case: SearchCase, system: System, properties: tuple[Property, ...], limits: Limits) -> bool:
    """Whether a search that was made for other questions serves these as well: it came to its end; every variable,
    every bit of it and everything free on which they depend has a place of its own in its space, their monitors as they
    are; and it holds no bit at 0 because nobody asked about it."""
    model, space = case.model, case.space
    if case.layers.stopped or model.dead.live:
        return False
    kept, needed, free = needs(system, properties, limits)
    monitors = {monitor.leaf: monitor for prop in properties for monitor in prop.monitors}
    return (all(not needed[variable.leaf] & ~model.needed.get(variable.leaf, 0) for variable in kept)
            and all(monitors[variable.leaf] in model.monitors for variable in kept if variable.leaf in monitors)
            and set(free) <= set(space.free))


def atoms_of(model: Model, monitors: Iterable[Variable]) -> int:
    """The atoms of some monitors, as far as they are kept."""
    found = 0
    for monitor in monitors:
        found |= model.monitors.get(monitor, 0)
    return found


def beside(base: SearchCase, monitors: Iterable[Variable]) -> Relation:
    """What a cycle does with some monitors beside the states of a search without any."""
    of_monitors, look = atoms_of(base.model, monitors), base.relation.look
    parts = [*base.relation.parts, *base.model.parts(of_monitors, look)]
    return Relation(base.space, parts, base.atoms | of_monitors, base.model.required, look)


def start_of(model: Model, atoms: int) -> BDDFunction:
    """The states at the start."""
    space, found = model.space, model.space.true
    for variable in model.space.variables:
        own = space.atoms.of(variable.leaf)
        if not atoms >> own.start & 1:
            continue
        if variable.reset is None:
            found = found & space.within(variable.leaf, variable.values)
        else:
            for bit, atom in enumerate(own):
                found = found & (space.now[atom] if variable.reset >> bit & 1 else ~space.now[atom])
    return found


