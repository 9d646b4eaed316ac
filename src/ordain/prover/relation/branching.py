"""What one kind of control word does to control and to its environment, once everything known is put in.

Given next values and assumptions over environment, free leaves and data of control, the cycle is taken apart into
*branches*: (the next value of each control variable as data, the step of the environment).

1. Free leaves that several parts of the cycle read (control and an agent, an assumption about two agents) are decided
   first; after that every part has free leaves of its own.
2. For each outcome of control's own free leaves, control's remaining conditions are over the environment: the set of
   all environment is cut by them until what is left of the next values is data.
3. Every variable of the environment becomes a factor: its moves under any of its own free leaves.

An assumption belongs to the part whose free leaves it reads, or cuts the set of environment.
"""

from collections.abc import Sequence
from typing import NamedTuple, TypeAlias

from ordain.logic.grouping import connected
from ordain.logic.putting import put_in
from ordain.machine.expression import Const, Node, Terms
from ordain.prover.relation.images import Factor, Moves, Relation, Step, compose, index_changes
from ordain.prover.relation.input_values import Choices
from ordain.prover.relation.term_kinds import ENVIRONMENT, FREE, Support

Roots: TypeAlias = tuple[Node, ...]


class Branch(NamedTuple):
    """`nexts`: the next value of each control variable, over known leaves alone."""

    nexts: tuple[Node, ...]
    step: Step


class Branching:
    """Takes cycles apart, and shares relations and steps between all of them."""

    __slots__ = ("_factors", "_known_parts", "_relations", "_satisfied", "_steps", "_support", "_terms", "choices",
                 "domain", "steps")

    def __init__(self, terms: Terms, support: Support) -> None:
        self._terms, self._support = terms, support
        self.domain = support.domain
        self.choices = Choices(terms, support.free)
        self._known_parts: dict[tuple[Roots, Roots], list[tuple[Roots, int]]] = {}
        self._factors: dict[tuple[object, ...], Factor] = {}
        self._relations: dict[tuple[object, ...], Relation] = {}
        self._steps: dict[tuple[int, Relation], Step] = {}
        self._satisfied: dict[tuple[Node, ...], int] = {}
        self.steps: list[Step] = []

    def branches(self, control: tuple[Node, ...], inside: tuple[Node, ...], assumed: tuple[Node, ...]) -> list[Branch]:
        """The branches of a cycle with these next values, under these assumptions."""
        found: dict[tuple[tuple[Node, ...], Relation], int] = {}
        if any(type(condition) is Const and not condition.value for condition in assumed):
            return []
        size = len(control)
        for remains in self._shared_decided(control, inside, assumed):
            nexts, others, conditions = remains[:size], remains[size:size + len(inside)], remains[size + len(inside):]
            guard, of_control, of_inside = self._attach(nexts, others, conditions)
            if not guard:
                continue
            relation = self._relation(others, of_inside)
            for after, where in self.control(nexts, of_control, guard).items():
                found[after, relation] = found.get((after, relation), 0) | where
        return [Branch(nexts, self.step(guard, relation)) for (nexts, relation), guard in found.items()]

    def step(self, guard: int, relation: Relation) -> Step:
        step = self._steps.get((guard, relation))
        if step is None:
            step = self._steps[guard, relation] = Step(len(self.steps), guard, relation)
            self.steps.append(step)
        return step

    def satisfiable(self, conditions: tuple[Node, ...]) -> int:
        """The environment in which some free values make all the conditions true."""
        found = self._satisfied.get(conditions)
        if found is None:
            found = self.domain.full
            for group in self._apart(conditions):
                found &= self._any_outcome(group)
            self._satisfied[conditions] = found
        return found

    def _any_outcome(self, conditions: list[Node]) -> int:
        found = 0
        for _, remains in self._outcomes(tuple(conditions)):
            where = self.domain.full
            for condition in remains:
                where &= self.domain.true(condition)
            found |= where
        return found

    def _outcomes(self, roots: tuple[Node, ...]) -> list[tuple[tuple[int, ...], tuple[Node, ...]]]:
        """For each outcome of the free terms in the roots, what is left of them."""
        support = self._support
        atoms = tuple(support.largest(roots, lambda node: support.kinds(node) == FREE))
        return [(values, self._put(roots, atoms, values)) for values in self.choices.of(atoms)]

    def _put(self, roots: tuple[Node, ...], atoms: tuple[Node, ...], values: tuple[int, ...]) -> tuple[Node, ...]:
        if not atoms:
            return roots
        terms = self._terms
        return put_in(terms, roots, {atom: terms.const(value, atom.width) for atom, value in zip(atoms, values)})

    def _apart(self, conditions: Sequence[Node]) -> list[list[Node]]:
        """The conditions in groups that share no free leaf with one another."""
        return connected((condition, self._support.free_leaves(condition)) for condition in conditions)

    # ------------------------------------------------------------ shared free leaves

    def _shared_decided(self, control: tuple[Node, ...], inside: tuple[Node, ...],
                        assumed: tuple[Node, ...]) -> list[tuple[Node, ...]]:
        """All roots, one after another, for each outcome of the free leaves that more than one part reads; each
        distinct remainder once."""
        roots = (*control, *inside, *assumed)
        shared = self._shared(control, inside, assumed)
        if not shared:
            return [roots]
        support = self._support
        atoms = tuple(support.largest(
            roots, lambda node: support.kinds(node) == FREE and support.free_leaves(node) <= shared))
        return list(dict.fromkeys(self._put(roots, atoms, values) for values in self.choices.of(atoms)))

    def _shared(self, control: tuple[Node, ...], inside: tuple[Node, ...], assumed: tuple[Node, ...]) -> set[Node]:
        users: dict[Node, set[int]] = {}
        for part, roots in enumerate((control, *((root,) for root in inside))):
            for root in roots:
                for leaf in self._support.free_leaves(root):
                    users.setdefault(leaf, set()).add(part)
        shared = {leaf for leaf, parts in users.items() if len(parts) > 1}
        for group in self._apart(assumed):
            leaves = {leaf for condition in group for leaf in self._support.free_leaves(condition)}
            if len(set().union(*(users.get(leaf, ()) for leaf in leaves))) > 1:
                shared |= leaves
        return shared

    def _attach(self, control: tuple[Node, ...], inside: tuple[Node, ...],
                assumed: tuple[Node, ...]) -> tuple[int, tuple[Node, ...], dict[int, tuple[Node, ...]]]:
        """The environment that the assumptions allow as far as no part is concerned, the assumptions that control's
        free leaves have to satisfy, and those of each variable of the environment."""
        users: dict[Node, int] = {}
        for part, roots in enumerate((control, *((root,) for root in inside))):
            users.update((leaf, part) for root in roots for leaf in self._support.free_leaves(root))
        parts: dict[int, tuple[Node, ...]] = {}
        guard = self.domain.full
        for group in self._apart(assumed):
            concerned = {users[leaf] for condition in group for leaf in self._support.free_leaves(condition)
                         if leaf in users}
            if concerned:
                part = concerned.pop()
                parts[part] = (*parts.get(part, ()), *group)
            else:
                guard &= self.satisfiable(tuple(group))
        return guard, parts.get(0, ()), {part - 1: group for part, group in parts.items() if part}

    # ------------------------------------------------------------ control

    def control(self, nexts: tuple[Node, ...], assumed: tuple[Node, ...], guard: int) -> dict[tuple[Node, ...], int]:
        """From the next values as data to the environment, within the guard, in which some outcome of control's free
        leaves gives them. Next values that share no free leaf are independent of one another."""
        found: list[tuple[dict[int, Node], int]] = [({}, guard)]
        full = self.domain.full
        for members, conditions in self._independent(nexts, assumed):
            parts = self._parts(tuple([nexts[index] for index in members]), conditions)
            if len(parts) == 1 and parts[0][1] == full:
                for before, _ in found:
                    before.update(zip(members, parts[0][0]))
            else:
                found = [({**before, **dict(zip(members, after))}, both) for before, where in found
                         for after, there in parts if (both := where & there)]
        return {tuple([after[index] for index in range(len(nexts))]): where for after, where in found}

    def _independent(self, nexts: tuple[Node, ...],
                     assumed: tuple[Node, ...]) -> list[tuple[list[int], tuple[Node, ...]]]:
        """The next values, by number, in groups that share no free leaf, each with the assumptions about it."""
        groups: list[tuple[frozenset[Node], list[int], tuple[Node, ...]]] = []
        every = [*((root, [index], ()) for index, root in enumerate(nexts)), *((root, [], (root,)) for root in assumed)]
        for root, members, conditions in every:
            leaves = self._support.free_leaves(root)
            apart = []
            for others, numbers, known in groups:
                if others & leaves:
                    leaves, members, conditions = leaves | others, numbers + members, known + conditions
                else:
                    apart.append((others, numbers, known))
            groups = [*apart, (leaves, members, conditions)]
        return [(members, conditions) for _, members, conditions in groups]

    def _parts(self, nexts: tuple[Node, ...], assumed: tuple[Node, ...]) -> list[tuple[tuple[Node, ...], int]]:
        """(next values as data, the environment in which some outcome gives them), for one group."""
        key = nexts, assumed
        parts = self._known_parts.get(key)
        if parts is None:
            found: dict[tuple[Node, ...], int] = {}
            for _, remains in self._outcomes((*nexts, *assumed)):
                where = self.domain.full
                for condition in remains[len(nexts):]:
                    where &= self.domain.true(condition)
                for after, there in self._cut(remains[:len(nexts)], where):
                    found[after] = found.get(after, 0) | there
            parts = self._known_parts[key] = list(found.items())
        return parts

    def _cut(self, nexts: tuple[Node, ...], where: int) -> list[tuple[tuple[Node, ...], int]]:
        """The set cut by the conditions over the environment, until what is left of the next values has none."""
        terms, support = self._terms, self._support
        found = []
        waiting = [(nexts, where)] if where else []
        while waiting:
            remains, there = waiting.pop()
            atom = next(iter(support.largest(remains, lambda node: support.kinds(node) == ENVIRONMENT)), None)
            if atom is None:
                found.append((remains, there))
                continue
            for value, part in self.domain.by_value(atom, there):
                waiting.append((put_in(terms, remains, {atom: terms.const(value, atom.width)}), part))
        return found

    # ------------------------------------------------------------ environment

    def _relation(self, nexts: tuple[Node, ...], assumed: dict[int, tuple[Node, ...]]) -> Relation:
        key: tuple[object, ...] = (nexts, tuple(sorted(assumed.items())))
        relation = self._relations.get(key)
        if relation is None:
            factors = [self._factor(number, root, assumed.get(number, ())) for number, root in enumerate(nexts)]
            content = tuple((factor.invalid, tuple(sorted(factor.moves.items()))) for factor in factors)
            relation = self._relations.get(content)
            if relation is None:
                relation = self._relations[content] = compose(self.domain, factors)
            self._relations[key] = relation
        return relation

    def _factor(self, number: int, root: Node, assumed: tuple[Node, ...]) -> Factor:
        key = (number, root, assumed)
        factor = self._factors.get(key)
        if factor is None:
            moves: Moves = {}
            invalid = 0
            for _, (after, *conditions) in self._outcomes((root, *assumed)):
                where = self.domain.full
                for condition in conditions:
                    where &= self.domain.true(condition)
                found, wrong = index_changes(self.domain, number, self._planes(after), where)
                invalid |= wrong
                for delta, there in found.items():
                    moves[delta] = moves.get(delta, 0) | there
            reads = sum(1 << index for leaf, index in self.domain.position.items()
                        if self._reads((root, *assumed), leaf))
            factor = self._factors[key] = Factor(number, moves, reads, invalid)
        return factor

    def _planes(self, node: Node) -> tuple[int, ...]:
        if type(node) is Const:
            return tuple(self.domain.full if node.value >> bit & 1 else 0 for bit in range(node.width))
        return self.domain.planes(node)

    def _reads(self, roots: tuple[Node, ...], leaf: Node) -> bool:
        support = self._support
        return bool(support.largest(roots, lambda node: node is leaf))
