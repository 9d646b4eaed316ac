"""The places of words in a store addressed by instruction and step.

The n-th word of an instruction stands at the n-th step, for every value of the address lines that it does not ask
about. A set of addresses is a number with a bit for each (see `tables`); a body is walked once, with the set of all
addresses of its opcodes whose step bits are 0, and each arm takes its part of the set.
"""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from ordain.language import tree
from ordain.machine.lines import computed_by_lines
from ordain.machine.model import Machine, Store
from ordain.microprogram.bodies import BodyPlan
from ordain.microprogram.opcodes import Opcodes
from ordain.microprogram.tables import address_columns, members, table
from ordain.text.findings import Finding, error

Front = dict[int, int]
"""How many steps came before -> the set of addresses, with zeros for the step, whose next word stands at that step."""


class Slots(NamedTuple):
    """`addresses`: word index -> its addresses, ascending."""

    addresses: dict[int, tuple[int, ...]]
    findings: list[Finding]


class _Walk:
    """`sets`: word index -> set of its addresses. `steps`: the numbers that the step goes through. `first_steps`: the
    addresses with zeros for the step. `late`: words beyond the last step -> the step that they would need."""

    __slots__ = ("conditions", "every", "findings", "first_steps", "late", "low", "machine", "sets", "steps", "store")

    def __init__(self, machine: Machine, store: Store) -> None:
        assert store.step is not None
        self.machine, self.store = machine, store
        self.low, self.steps = store.step[1], store.steps
        self.every = range(1 << (store.step[0] - store.step[1] + 1))
        self.first_steps = (1 << (1 << store.address_width)) - 1
        for line in address_columns(store.address_width)[store.step[1]:store.step[0] + 1]:
            self.first_steps &= ~line
        self.sets: dict[int, int] = {}
        self.conditions: dict[int, int] = {}
        self.late: dict[int, int] = {}
        self.findings: list[Finding] = []

    def body(self, lines: Sequence[tree.MicroLine], first: int, front: Front) -> tuple[int, Front]:
        """Places the words of some lines, the first of them being word `first`; the index after the last word, and
        where things stand then. Recursion ends with the limit on arms."""
        for line in lines:
            if isinstance(line, tree.Micro):
                front = self._word(first, front)
                first += 1
            else:
                first, front = self._arms(line, first, front)
        return first, front

    def _word(self, index: int, front: Front) -> Front:
        after: Front = {}
        for step, where in front.items():
            if not where:
                continue
            if step >= len(self.steps):
                self.late[index] = step
            else:
                self.sets[index] = self.sets.get(index, 0) | where << (self.steps[step] << self.low)
            after[step + 1] = after.get(step + 1, 0) | where
        return after

    def _arms(self, when: tree.When, first: int, front: Front) -> tuple[int, Front]:
        left = dict(front)
        after: Front = {}
        for arm in when.arms:
            chosen = self._chosen(arm)
            taken = {step: where & chosen for step, where in left.items()}
            left = {step: where & ~chosen for step, where in left.items()}
            first, done = self.body(arm.body, first, taken)
            for step, where in done.items():
                after[step] = after.get(step, 0) | where
        for step, where in left.items():
            if where:
                after[step] = after.get(step, 0) | where
        return first, after

    def _chosen(self, arm: tree.Arm) -> int:
        """The set of addresses at which the condition of an arm holds."""
        if arm.condition is None:
            return -1
        key = id(arm.condition)
        if key not in self.conditions:
            self.conditions[key] = self._condition(arm.condition)
        return self.conditions[key]

    def _condition(self, condition: tree.Expr) -> int:
        machine, store = self.machine, self.store
        node, found = machine.lower(condition, False)
        if node is None:
            self.findings += found
            return 0
        over, missing = computed_by_lines(machine.terms, store.name, store.address, node)
        if over is None:
            names = ", ".join(f"`{leaf.name}`" for leaf in missing)
            self.findings.append(error(
                "not-in-address", f"{names} does not reach the address of `{store.name}`", condition.span,
                "no address line", help="only lines of the address choose between words of one step"))
            return 0
        holds = table(machine.terms.leaf("address", store.name, store.address_width), over)[0]
        at_first = holds & self.first_steps
        if holds != _at_all_steps(at_first, self.every, self.low):
            self.findings.append(error(
                "wrong-kind", "an arm asks at which step the instruction is", condition.span, "depends on the step",
                help="words stand one below the other for the steps; ask about other address lines"))
            return 0
        return at_first

    def too_late(self, plan: BodyPlan) -> None:
        """The finding for a body with more words than there are steps."""
        late = [index for index in range(plan.first, plan.end) if index in self.late]
        if late:
            steps = len(self.steps)
            over = max(self.late[index] for index in late) + 1 - steps
            span = plan.words[late[0] - plan.first].span
            self.findings.append(error(
                "over-full", f"the slot of `{plan.name}` holds {steps} words, needs {steps + over}", span,
                f"there is no step {steps}", help="shorten the instruction, or give the step counter another bit"))


def slots_of(machine: Machine, store: Store, plans: Sequence[BodyPlan], opcodes: Opcodes) -> Slots:
    """The addresses of all words of instructions and prologues in a store addressed by instruction and step."""
    walk = _Walk(machine, store)
    front: Front = {0: walk.first_steps}
    mine = [(number, plan) for number, plan in enumerate(plans) if plan.store is store and plan.kind != "routine"]
    for _, plan in mine:
        if plan.kind == "prologue":
            _, front = walk.body(plan.body, plan.first, front)
            walk.too_late(plan)
    for number, plan in mine:
        if plan.kind == "instruction":
            own = _of_opcodes(store, opcodes.of_plan.get(number, ()), walk.first_steps)
            walk.body(plan.body, plan.first, {step: where & own for step, where in front.items()})
            walk.too_late(plan)
    return Slots({index: tuple(members(found)) for index, found in walk.sets.items()}, walk.findings)


def _of_opcodes(store: Store, opcodes: Sequence[int], within: int) -> int:
    """The addresses of the given set that belong to one of the opcodes."""
    assert store.instruction is not None
    lines = address_columns(store.address_width)[store.instruction[1]:store.instruction[0] + 1]
    found = 0
    for opcode in opcodes:
        own = within
        for bit, line in enumerate(lines):
            own &= line if opcode >> bit & 1 else ~line
        found |= own
    return found


def _at_all_steps(where: int, steps: Iterable[int], low: int) -> int:
    """The same addresses at every step."""
    found = 0
    for step in steps:
        found |= where << (step << low)
    return found
