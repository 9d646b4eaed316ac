"""The set of states after every clock, against a plain search state by state; sets, readings and machines by chance."""

from collections.abc import Iterator
from itertools import islice, product
from random import Random

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from ordain.control.cycle import Running
from ordain.control.model import System
from ordain.control.system import build_system
from ordain.follow.model import Seen
from ordain.follow.states import States
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Node, substitute
from ordain.machine.model import Machine
from ordain.prover.model import Limits
from tests.bench.test_card import CONTENTS
from tests.judge.clocks import clocked
from tests.judge.machines import machine
from tests.judge.tool import Built, build

MOST_INPUTS, MOST_STATES, WIDEST = 128, 1500, 14


class Plain:
    """Every state with every input, one by one. `lines`, `held`: lowered. With `held` only the cycles are seen in
    which it is 0."""

    def __init__(self, system: System, lines: list[Node], held: Node | None) -> None:
        self.system, self.running, self.lines = system, Running(system), lines
        self.shown = lines if held is None else [*lines, held]
        self.gated = 0 if held is None else 1 << len(lines)
        self.leaves = [variable.leaf for variable in system.variables]
        self.known: dict[tuple[int, ...], list[tuple[int, tuple[int, ...]]]] = {}

    def start(self) -> set[tuple[int, ...]]:
        return set(islice(product(*(range(one.values) if one.reset is None else (one.reset,)
                                    for one in self.system.variables)), MOST_STATES + 1))

    def cycles(self, state: tuple[int, ...]) -> list[tuple[int, tuple[int, ...]]]:
        """What the lines show in each cycle from a state, and the state after it."""
        if state not in self.known:
            found = {}
            for free in product(*(range(one.values) for one in self.system.free)):
                values = self.running.values({**dict(zip(self.leaves, state)),
                                              **{one.leaf: value for one, value in zip(self.system.free, free)}})
                memo: dict[Node, int] = {}
                if all(evaluate(node, values, memo) for node in self.system.assumptions):
                    shown = sum(evaluate(node, values, memo) << bit for bit, node in enumerate(self.shown))
                    found[shown, tuple(self.running.next(values).values())] = None
            self.known[state] = list(found)
        return self.known[state]

    def after(self, some: set[tuple[int, ...]], seen: Seen) -> set[tuple[int, ...]]:
        now = every = some
        while now and self.gated:
            now = {after for state in now for shown, after in self.cycles(state) if shown & self.gated} - every
            every = every | now
        return {after for state in every for shown, after in self.cycles(state)
                if not (shown ^ seen.word) & (seen.known | self.gated)}

    def reached(self) -> set[tuple[int, ...]]:
        found = now = self.start()
        while now and len(found) <= MOST_STATES:
            now = {after for state in now for _, after in self.cycles(state)} - found
            found = found | now
        return found


def made(random: Random) -> Built | None:
    """A machine of the judge, every other one put on a clock; None where it cannot be built."""
    text = machine(random.choice)
    return build(clocked(random.choice, text) if random.random() < 0.5 else text)[0]


def some_lines(described: Machine, random: Random) -> list[Node]:
    """Bits of anything that has a name."""
    terms = described.terms
    every = [terms.leaf("state", one.name, one.width) for one in described.states.values()]
    every += [terms.leaf("register", one.name, one.width) for one in described.registers.values()]
    every += [terms.leaf("field", one.name, one.width) for one in described.fields.values()]
    every += [terms.leaf("input", one.name, one.width) for one in described.inputs.values()]
    every += [terms.leaf("bus", one.name, one.width) for one in described.buses.values()]
    bits = [terms.slice(leaf, bit, bit) for leaf in every for bit in range(leaf.width)]
    return random.sample(bits, min(len(bits), random.randrange(1, 9)))


def alike(states: States, number: int, plain: set[tuple[int, ...]]) -> bool:
    """The same states, as far as they are told apart: bits on which nothing depends are left aside."""
    variables = states.system.variables
    needed = [states.case.model.needed.get(one.leaf, 0) for one in variables]
    cut = {tuple(value & mask for value, mask in zip(state, needed)) for state in plain}
    space = states.space
    idle = [atom for variable, mask in zip(variables, needed) if variable.leaf in space.atoms.first
            for bit, atom in enumerate(space.atoms.of(variable.leaf)) if not mask >> bit & 1]
    found = states.sets[number].exists(space.cube(idle))
    return states.case.count(found) == len(cut) << len(idle) and all(
        found.eval(
            (space.number[atom], bool(value >> bit & 1))
            for variable, value in zip(variables, state) if variable.leaf in space.atoms.first
            for bit, atom in enumerate(space.atoms.of(variable.leaf)))
        for state in cut)


def walked(plain: Plain, begin: set[tuple[int, ...]], random: Random, wrong: float) -> Iterator[Seen]:
    """Readings of a run by chance, some lines of it not seen in some clocks, now and then one read wrong."""
    state, width = random.choice(sorted(begin)), len(plain.lines)
    for _ in range(20):
        every = plain.cycles(state)
        if not every:
            return
        shown, state = random.choice(every)
        if shown & plain.gated:
            continue
        known = random.getrandbits(width) | random.getrandbits(width)
        yield Seen((shown ^ (1 << random.randrange(width) if random.random() < wrong else 0)) & known, known)


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 1 << 30), st.booleans(), st.sampled_from([0.0, 0.1]))
def test_the_set_is_that_of_a_plain_search(seed: int, running: bool, wrong: float) -> None:
    random = Random(seed)
    built = made(random)
    assume(built is not None)
    assert built is not None
    contents = built.contents
    clock = contents.machine.clock
    gated = clock is not None and clock.held is not None and random.random() < 0.7
    system = build_system(contents)
    assume(sum(one.leaf.width for one in system.variables) <= WIDEST)
    lines = some_lines(contents.machine, random)
    states = States(system, lines, (), gated)
    system = states.system
    inputs = 1
    for one in system.free:
        inputs *= one.values
    assume(inputs <= MOST_INPUTS)
    *lowered, held = substitute(system.terms, (*lines, *((clock.held,) if gated and clock is not None and
                                                         clock.held is not None else lines[:1])), system.lowering)
    plain = Plain(system, lowered, held if gated else None)
    now = plain.reached() if running else plain.start()
    assume(now and len(now) <= MOST_STATES)
    number = states.running() if running else states.at_reset()
    assert alike(states, number, now)
    for seen in walked(plain, now, random, wrong):
        number, now = states.after(number, seen), plain.after(now, seen)
        assert (number < 0) == (not now)
        if number < 0:
            return
        assert alike(states, number, now)
    assert wrong or now


def test_where_the_search_is_stopped_any_state_is_taken() -> None:
    """Nothing that was not reached yet may be held to be impossible."""
    system = build_system(CONTENTS)
    whole = States(system, [], ())
    stopped = States(system, [], (), limits=Limits(states=1))
    assert (whole.stopped, stopped.stopped) == ("", "states")
    assert whole.states(whole.running()) < stopped.states(stopped.running()) == 64


def test_some_of_these_machines_have_a_clock_that_is_held() -> None:
    """Else the test above would say nothing of them."""
    found = 0
    for seed in range(100):
        built = made(Random(seed))
        found += built is not None and built.contents.machine.clock is not None and \
            built.contents.machine.clock.held is not None
    assert found > 10


@pytest.mark.parametrize(("word", "known", "left"), [(0, 0, 8), (0b01, 0b01, 4), (0b11, 0b11, 2), (0b10, 0b01, 4)])
def test_what_is_seen_of_a_register_that_nobody_has_loaded(word: int, known: int, left: int) -> None:
    """By hand: ir may be any of four, and the switch that is asked by the first word leads to one word or the other."""
    system = build_system(CONTENTS)
    terms = system.terms
    ir = terms.leaf("register", "ir", 2)
    made = States(system, [terms.slice(ir, 0, 0), terms.slice(ir, 1, 1)], ())
    first = made.at_reset()
    assert made.states(first) == 4
    assert made.states(made.after(first, Seen(word & known, known))) == left
