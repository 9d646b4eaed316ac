"""Many machines that differ little, looked at in one search.

A variable that no cycle changes says which machine it is (`control.model.Versions`), so what is reached is a set of
pairs of a machine and a state, and every answer is the set of machines that it holds for. What the machines have in
common is worked out once. A machine leaves the search with the first cycle in which a question that one cycle answers
is broken: nothing is asked of what follows.

One machine more is looked at first, that in which nothing is other (the *sound* one, see `prover.ground`). What it
says of the others:

- Where in no cycle from a state that it reaches anything other follows in another machine, that machine reaches the
  same states after the same numbers of cycles, and takes no search of its own (`alike`).
- Where besides a condition, and what is remembered for it, are the same in these states, the answer is the sound
  machine's (`_own`).
- A way of the sound machine that presents no word which is another is a way of the other machine (`occurring`).

What questions remember from cycle to cycle is left out of the first search. What may occur with it is known from what
the sound machine reaches with it and all that follows from there in another machine: only from a state that presents a
word which is another can anything follow that the sound machine does not reach (`_beside`). Machines in which a
question with a memory may be broken are searched once more, with it.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from oxidd.bdd import BDDFunction
from oxidd.util import BooleanOperator

from ordain.machine.expression import Node
from ordain.prover.ground import LARGEST, Ground, TooMany, Words, not_too_many, with_versions
from ordain.prover.model import Property
from ordain.prover.symbolic.cases import required_of, start_of
from ordain.prover.symbolic.reads import members
from ordain.prover.symbolic.relation import Conjunct, Graph, Relation
from ordain.prover.symbolic.space import by_value

MANY = 12
"""Bits that questions remember up to which it is asked together whether they may be broken."""
FEW = 8
"""So many machines are searched as quickly as something is found out about them otherwise."""


class Broken(NamedTuple):
    """A question, by its number, that is broken in a machine. `cycles`: how many the shortest sequence has."""

    question: int
    cycles: int


class MachineFamily:
    """`first[machine]`: the questions among `stopping` (of kind "bad", not broken in the sound machine) that are broken
    in the first cycle in which one of them is; those that remember earlier cycles are asked only where no other is
    broken. `left`: the machines in which none is; of these more can be asked. `alike`: of those that are left, machines
    in which no cycle from a state that the sound one reaches leads elsewhere, so that both reach the same, as far as
    the bits of variables are concerned that are `followed`. `changes`: per machine. Raises TooMany."""

    def __init__(self, ground: Ground, changes: Sequence[Mapping[str, Mapping[int, int]]],
                 stopping: Collection[int]) -> None:
        assert len(changes) <= ground.most
        self._ground, self._watch, self._properties = ground, ground.begun(), ground.properties
        self._words = [frozenset((store, address) for store, row in change.items() for address in row)
                       for change in changes]
        by_store = {store: tuple(dict(change.get(store, {})) for change in changes)
                    for store in dict.fromkeys(name for change in changes for name in change)}
        system = with_versions(ground.system, by_store, ground.most)
        self._terms, self._system, self._leaf = system.terms, system, ground.leaf
        with not_too_many():
            space = self._space = ground.space.changed(system, ground.model.space.variables)
            self._model = ground.model._replace(system=system, space=space, required=required_of(system, space))
            self.followed: Mapping[Node, int] = self._model.needed
            watched = sum(own for own in self._model.monitors.values())
            number = self._number_atoms = space.atoms.set_of(self._leaf)
            self._others = space.cube(members((self._model.plain | watched) & ~number))
            self._free = space.cube(range(space.states, space.atoms.count))
            self._watched = watched
            self._besides: dict[int, tuple[frozenset[int], BDDFunction]] = {}
            self._remembered: dict[int, tuple[frozenset[int], BDDFunction]] = {}
            self._having: dict[Node, BDDFunction] = {}
            self._listed: dict[BDDFunction, frozenset[int]] = {}
            self._graphs: dict[tuple[frozenset[int], int], Graph] = {}
            self._inevitable: list[tuple[frozenset[int], BDDFunction]] = []
            self.first: dict[int, list[Broken]] = {}
            self._sound = ground.reached
            self._search(sorted(stopping))

    # ------------------------------------------------------------ the search

    def _search(self, stopping: list[int]) -> None:
        space, plain = self._space, self._model.plain
        self._parts: dict[int, list[Conjunct]] = {}
        self._to_sound = BDDFunction.make_substitution(
            (space.number[atom], space.true if self._ground.most >> bit & 1 else space.false)
            for bit, atom in enumerate(space.atoms.of(self._leaf)))
        at_once = [number for number in stopping if not self._properties[number].monitors]
        everyone = space.within(self._leaf, len(self._words))
        gone = everyone & self._projected(self._moving())
        same = everyone & ~gone
        for level, layer in enumerate(self._ground.layers):
            same = self._stopped(layer & same, same, at_once, level)
        reached = self._sound & same
        if gone.satisfiable():
            for layer in self._layers(plain, gone, at_once):
                reached = reached | layer
        self._plain = reached & ~self._among(self.first) if self.first else reached
        self.alike = self.machines(same)
        self.left = frozenset(range(len(self._words)))
        self._again([number for number in stopping if self._properties[number].monitors])
        self.restrict(self.left - self.first.keys())

    def _again(self, remembering: list[int]) -> None:
        """Search the machines once more in which only a question with a memory may be broken: once for each set of
        things to remember, or for several sets together where few are left. In which it may be is first asked for
        several together."""
        groups: dict[int, list[int]] = {}
        for number in remembering:
            groups.setdefault(self._memory((self._properties[number].node,)), []).append(number)
        before = frozenset(self.first)
        for memories in _joined(sorted(groups, key=int.bit_count)):
            together = [number for memory in memories for number in groups[memory]]
            some = self._perhaps(together, self.left - before)
            apart = [groups[memory] for memory in memories] if len(some) > FEW else [together]
            for questions in apart if some else ():
                maybe = some if len(apart) == 1 else self._perhaps(questions, some)
                if maybe:
                    atoms = self._model.plain | self._memory([self._properties[number].node for number in questions])
                    for _ in self._layers(atoms, self._among(maybe), questions):
                        pass
        for machine, found in self.first.items():
            least = min(one.cycles for one in found)
            self.first[machine] = [one for one in found if one.cycles == least]

    def _perhaps(self, numbers: list[int], machines: frozenset[int]) -> frozenset[int]:
        """Those of some machines in which one of some questions may be broken."""
        nodes = [self._properties[number].node for number in numbers]
        memory = self._memory(nodes)
        return self._maybe(memory, self.having(self._terms.or_(nodes)), self._own(nodes, memory) & machines)

    def _memory(self, nodes: Iterable[Node]) -> int:
        """What questions remember that some conditions depend on, as atoms."""
        found, now = 0, 0
        for node in nodes:
            now |= self._space.read_by(node) & self._watched
        while now:
            found |= now
            more = 0
            for atom in members(now):
                more |= self._space.reads[atom] & self._watched
            now = more & ~found
        return found

    def _maybe(self, memory: int, condition: BDDFunction, machines: frozenset[int]) -> frozenset[int]:
        """Those of some machines in which a condition may occur: all others certainly never have it."""
        machines &= self.machines(self._plain & condition.exists(self._space.cube(members(memory))))
        return machines & self.machines(self._beside(memory, machines) & condition) \
            if len(machines) > FEW else machines

    def _beside(self, memory: int, machines: frozenset[int]) -> BDDFunction:
        """More than what some machines reach: what the sound one reaches, and all that follows from that in them."""
        known = self._besides.get(memory)
        if known is None or not machines <= known[0]:
            atoms, plain = self._model.plain | memory, self._plain & self._among(machines)
            sound = self._ground.remembering(memory) & plain
            relation = self._relation(atoms)
            found, now = sound, relation.after(sound & self._presenting(machines)) & plain & ~sound
            while now.satisfiable():
                if now.node_count() > LARGEST:
                    raise TooMany("width")
                self._watch.look()
                found = found | now
                now = relation.after(now) & plain & ~found
            known = self._besides[memory] = machines, found
        return known[1]

    def _presenting(self, machines: frozenset[int]) -> BDDFunction:
        """With machines, the states that can present a word which is another in them: from any others, what follows is
        what follows in the sound machine."""
        terms, found = self._terms, self._space.false
        alike: dict[Words, list[int]] = {}
        for machine in machines:
            alike.setdefault(self._words[machine], []).append(machine)
        for words, some in alike.items():
            at: dict[str, list[int]] = {}
            for store, address in words:
                at.setdefault(store, []).append(address)
            presented = terms.or_([terms.const(0, 1), *(
                terms.among(self._system.addresses[store], frozenset(addresses)) for store, addresses in at.items()
                if store in self._system.addresses and self._space.knows(self._system.addresses[store]))])
            found = found | self._having_of(self._space.of(presented)) & self._among(some)
        return found

    def _relation(self, atoms: int, reads: int = 0) -> Relation:
        """What follows, as far as some atoms know. `reads`: what conditions read that sets are met with."""
        if atoms not in self._parts:
            self._parts[atoms] = self._model.parts(atoms, self._watch.look)
        required = self._model.required
        return Relation(self._space, self._parts[atoms], atoms, Conjunct(required.holds, required.reads | reads, 0),
                        self._watch.look)

    def _layers(self, atoms: int, machines: BDDFunction, stopping: Sequence[int]) -> Iterator[BDDFunction]:
        """What some machines reach, cycle after cycle, as long as none of the questions is broken."""
        now = reached = start_of(self._model, atoms) & machines
        relation, level = self._relation(atoms), 0
        while now.satisfiable():
            if now.node_count() > LARGEST:
                raise TooMany("width")
            now = self._stopped(now, now, stopping, level)
            yield now
            self._watch.look()
            now = relation.after(now) & ~reached
            reached = reached | now
            level += 1

    def _stopped(self, now: BDDFunction, among: BDDFunction, stopping: Sequence[int], level: int) -> BDDFunction:
        """Of a set the part with machines in which no question is broken in a layer; the others are noted."""
        hit = now & self.having(self._terms.or_([self._properties[number].node for number in stopping])) \
            if stopping else self._space.false
        if not hit.satisfiable():
            return among
        self._note(now, self.machines(hit), stopping, level)
        return among & ~self._projected(hit)

    def _moving(self) -> BDDFunction:
        """The sound machine's states with the machines in which something else can follow."""
        space = self._space
        found = space.false
        for atom in members(self._model.plain):
            function = space.function(atom)
            sound = function.substitute(self._to_sound)
            if sound != function and not self._number_atoms >> atom & 1:
                self._watch.look()
                found = found | self._having_of((function ^ sound) & self._sound)
        required = self._model.required.holds
        return found | self._differing(required, required.substitute(self._to_sound))

    def _differing(self, one: BDDFunction, other: BDDFunction) -> BDDFunction:
        return ((one ^ other) & self._sound).exists(self._free)

    def _note(self, now: BDDFunction, machines: frozenset[int], stopping: Sequence[int], level: int) -> None:
        for number in stopping:
            holding = now & self.having(self._properties[number].node)
            for machine in self.machines(holding):
                self.first.setdefault(machine, []).append(Broken(number, level + 1))
        assert machines <= self.first.keys()

    def having(self, node: Node) -> BDDFunction:
        """The states, with machines, in which some input makes a condition true."""
        found = self._having.get(node)
        if found is None:
            found = self._having[node] = self._having_of(self._space.of(node))
        return found

    def _having_of(self, condition: BDDFunction) -> BDDFunction:
        return condition.apply_exists(BooleanOperator.AND, self._model.required.holds, self._free)

    def _projected(self, states: BDDFunction) -> BDDFunction:
        return states.exists(self._others)

    def machines(self, states: BDDFunction) -> frozenset[int]:
        """Those that have a state in a set."""
        return self._numbers(self._projected(states))

    def _numbers(self, projected: BDDFunction) -> frozenset[int]:
        """The machines in a set of them alone."""
        found = self._listed.get(projected)
        if found is None:
            found = self._listed[projected] = frozenset(
                value for value, _ in by_value(self._space.bits(self._leaf), projected))
        return found

    def _among(self, machines: Collection[int]) -> BDDFunction:
        return self._space.of(self._terms.among(self._leaf, frozenset(machines)))

    def restrict(self, machines: Collection[int]) -> None:
        """Ask no more of others."""
        wanted = self._among(machines) if machines else self._space.false
        self._plain = self._plain & wanted
        self.left = frozenset(machines)
        self.alike &= self.left

    # ------------------------------------------------------------ what is asked of those that are left

    def occurring(self, node: Node) -> frozenset[int]:
        """The machines that are left in which some cycle has a condition.

        Of the others than those of `_own` the sound machine says it. And where a way of the sound machine to it
        presents no word that is another, it is a way of the other machine as well."""
        memory = self._memory((node,))
        asked, sure = self.left, frozenset[int]()
        if node in self._ground.occurs:
            words = self._ground.occurs[node]
            if words is None:
                asked = self._own((node,), memory)
            else:
                sure = frozenset(machine for machine in self.left if words.isdisjoint(self._words[machine]))
                if sure != self.left:
                    sure |= self.left - self._own((node,), memory)
                asked -= sure
        if not asked:
            return sure
        having = self.having(node)
        if not memory:
            return sure | asked & self.machines(self._plain & self._among(asked) & having)
        return sure | self._met(memory, self._maybe(memory, having, asked), having)

    def _met(self, memory: int, machines: frozenset[int], condition: BDDFunction) -> frozenset[int]:
        """Those of some machines that reach a condition, with what questions remember; each is followed until then."""
        atoms, found = self._model.plain | memory, frozenset[int]()
        relation = self._relation(atoms)
        now = reached = start_of(self._model, atoms) & self._among(machines)
        while now.satisfiable():
            if now.node_count() > LARGEST:
                raise TooMany("width")
            self._watch.look()
            hit = self.machines(now & condition)
            if hit:
                found |= hit
                now = now & ~self._among(hit)
            now = relation.after(now) & ~reached
            reached = reached | now
        return found

    def _remembering(self, memory: int, machines: frozenset[int]) -> BDDFunction:
        """What some machines reach, with what questions remember."""
        before = self._remembered.get(memory)
        if before is None or not machines <= before[0]:
            found = self._space.false
            for layer in self._layers(self._model.plain | memory, self._among(machines), ()):
                found = found | layer
            before = self._remembered[memory] = machines, found
        return before[1] & self._among(machines)

    def broken(self, number: int) -> frozenset[int]:
        """The machines that are left in which a question is broken that is not broken in the sound machine."""
        prop = self._properties[number]
        with not_too_many():
            match prop.kind:
                case "bad":
                    return self.occurring(prop.node)
                case "reach":
                    return self.left - self.occurring(prop.node)
                case "always":
                    return self._lost(prop)
                case "within":
                    return self._late(prop)

    def vacuous(self, number: int) -> frozenset[int]:
        """Those in which what a question takes for granted never occurs."""
        prop = self._properties[number]
        return frozenset() if prop.vacuity is None else self.left - self.occurring(prop.vacuity)

    def knows(self, node: Node) -> bool:
        """Whether everything that a condition reads has a place in the diagrams."""
        return self._space.knows(node)

    def occurs(self, machine: int, node: Node) -> bool:
        """Whether some cycle of a machine that is left has a condition over what is `followed` and what is free."""
        with not_too_many():
            return (self._plain & self._among((machine,)) & self.having(node)).satisfiable()

    def dead(self) -> frozenset[int]:
        """Those in which some state has no input that satisfies the assumptions."""
        return self.machines(self._plain & ~self._having_of(self._space.true))

    def _own(self, conditions: Sequence[Node], memory: int) -> frozenset[int]:
        """The machines that are left of which the sound one does not say what follows, or in which some expressions,
        or what is remembered for them, are others in a state that the sound one reaches."""
        return self.left - self.alike | self._otherwise(
            [*(bit for node in conditions for bit in self._space.bits(node)),
             *(self._space.function(atom) for atom in members(memory))])

    def _otherwise(self, functions: Sequence[BDDFunction]) -> frozenset[int]:
        """The machines that are left in which some of these are others in a state that the sound one reaches."""
        apart = frozenset[int]()
        for holds in functions:
            sound = holds.substitute(self._to_sound)
            if holds != sound:
                apart |= self.machines(self._differing(holds, sound)) & self.left
        return apart

    def _lost(self, prop: Property) -> frozenset[int]:
        """From some state no way leads to what is always to be reached: backwards from all that has it."""
        memory = self._memory((prop.node,))
        own = self._own((prop.node,), memory)
        if not own:
            return own
        reached = self._remembering(memory, own) if memory else self._plain & self._among(own)
        graph = self._graph(own, reached, self._model.plain | memory)
        able = now = goal = reached & self.having(prop.node)
        while now.satisfiable() and not self._from_everywhere(own, able):
            now = graph.before(now) & ~able
            able = able | now
        lost = frozenset[int]() if self._from_everywhere(own, able) else self.machines(reached & ~able)
        if not memory:
            self._inevitable.append((own - lost, goal))
        return lost

    def _from_everywhere(self, machines: frozenset[int], able: BDDFunction) -> bool:
        """Whether some machines come to a set from everywhere, since from everywhere they come to another set of which
        all is in it."""
        return any(machines <= some and not (goal & self._among(machines) & ~able).satisfiable()
                   for some, goal in self._inevitable)

    def _graph(self, machines: frozenset[int], reached: BDDFunction, atoms: int) -> Graph:
        """The cycles from what some machines reach."""
        found = self._graphs.get((machines, atoms))
        if found is None:
            self._graphs.clear()
            found = self._graphs[machines, atoms] = self._relation(atoms).graph(reached, self._space.true, 0)
        return found

    def _late(self, prop: Property) -> frozenset[int]:
        """After a cycle with the trigger and no response, so many more without one."""
        terms, space = self._terms, self._space
        assert prop.trigger is not None
        open_ = terms.and_([terms.not_(node) for node in (prop.node, prop.unless) if node is not None])
        ignored = terms.and_((prop.trigger, open_))
        if not prop.cycles:
            return self.occurring(ignored)
        memory = self._memory((open_, ignored))
        own = self._own((open_, ignored), memory)
        if not own:
            return own
        reached = self._remembering(memory, own) if memory else self._plain & self._among(own)
        relation = self._relation(self._model.plain | memory, space.read_by(open_) | space.read_by(ignored))
        waiting = space.of(open_)
        now = relation.after(reached & space.of(ignored))
        for _ in range(prop.cycles - 1):
            if not now.satisfiable():
                break
            now = relation.after(now & waiting)
        return self.machines(now & self.having(open_))

    def presented(self, store: str) -> dict[int, tuple[frozenset[int], frozenset[int]]]:
        """Per machine that is left the addresses of a store that the sound one presents and it does not, and those that
        it presents and the sound one does not; of others than those of `_own` there are none, and they are left out.

        Looked at are the addresses in what one of both reaches and the other does not: in an address that is formed
        otherwise from what the sound one reaches, all of them."""
        space, address = self._space, self._system.addresses[store]
        own = self._own((address,), 0)
        if not own:
            return {}
        others = space.cube(members(((1 << space.atoms.count) - 1) & ~space.read_by(address) & ~self._number_atoms))
        bits, cube = space.bits(address), space.cube(members(space.read_by(address) & ~self._number_atoms))
        shown = (self._plain & self._among(own) & self._model.required.holds).exists(others)
        sound = (self._sound & self._ground.model.required.holds).exists(others)
        known, anew = self._ground.presented(store), self._otherwise(bits)
        apart = shown ^ (sound & self._among(own))
        if anew:
            apart = apart | shown & self._among(anew)
        lacks: dict[int, set[int]] = {machine: {*known} if machine in anew else set() for machine in own}
        more: dict[int, set[int]] = {machine: set() for machine in own}
        for place, some in by_value(bits, apart):
            there = shown
            for bit, level in zip(bits, f"{place:0{len(bits)}b}"):
                there = there & (bit if level == "1" else ~bit)
            having = self._numbers(there.exists(cube))
            for machine in self._numbers(some.exists(cube)):
                if machine in having:
                    lacks[machine].discard(place)
                    if place not in known:
                        more[machine].add(place)
                elif place in known:
                    lacks[machine].add(place)
        return {machine: (frozenset(lacks[machine]), frozenset(more[machine])) for machine in sorted(own)}


def _joined(memories: Iterable[int]) -> list[list[int]]:
    """Sets of atoms, those put together that have few."""
    found: list[list[int]] = []
    together = 0
    for memory in memories:
        if found and (together | memory).bit_count() <= MANY:
            found[-1].append(memory)
            together |= memory
        else:
            found.append([memory])
            together = memory
    return found
