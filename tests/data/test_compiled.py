"""Code made for a control word does what the cycle worked out by need does, and gives up where a bit is not known."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import islice
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.control.cycle import Running
from ordain.control.system import build_system
from ordain.data import compiled
from ordain.data.datapath import Datapath
from ordain.data.model import Memories
from ordain.data.partial import UNKNOWN, Ternary, exactly
from ordain.data.run import Ran, run
from ordain.machine.expression import Node
from ordain.rom.contents import Contents
from tests.data.test_heron_programs import heron
from tests.data.test_run import MACHINE
from tests.judge.machines import machine
from tests.judge.tool import build
from tests.workshop import contents_of

Choose = Callable[[Sequence[Any]], Any]
COUNTING = "routine main\n    put count, keep, target main\n"


@pytest.fixture(scope="module", autouse=True)
def at_once() -> Iterator[None]:
    """Code is made the first time that a word acts, else a short run would have none."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compiled, "RIPE", 0)
        yield


def steps(path: Datapath, memories: Memories, inputs: Mapping[int, Mapping[str, int]], count: int,
          plain: bool) -> list[Ran]:
    watched = [store.address for store in path.machine.stores.values()]
    for name in path.machine.memories:
        memories.setdefault(name, {})
    return list(islice(run(path, memories, lambda cycle: inputs.get(cycle, {}), watched, plain=plain), count))


def differences(path: Datapath, memories: Memories, inputs: Mapping[int, Mapping[str, int]],
                count: int) -> tuple[list[str], int]:
    """Where the two runs part, and how many cycles had code of their own."""
    other = {name: dict(cells) for name, cells in memories.items()}
    made, worked_out = steps(path, memories, inputs, count, False), steps(path, other, inputs, count, True)
    wrong = []
    for number, (one, two) in enumerate(zip(made, worked_out), 1):
        for what, mine, its in (("seen", one.seen, two.seen), ("broken", one.broken, two.broken),
                                ("fights", one.fights, two.fights), ("written", one.written, two.written)):
            if mine != its:
                wrong.append(f"{number} {what}: {mine}, {its}")
        wrong += [f"{number} {getattr(leaf, 'name', leaf)}: {bits}, {two.held[leaf]}"
                  for leaf, bits in one.held.items() if bits != two.held[leaf]]
    return wrong, sum(one.known for one in made)


def at_power_up(contents: Contents, choose: Choose) -> Contents:
    """With a value in everything that has none after reset."""
    machine_ = contents.machine
    return contents._replace(machine=machine_._replace(
        states={name: one._replace(reset=choose(range(len(one.codes) or 1 << one.width)) if one.reset is None
                                   else one.reset) for name, one in machine_.states.items()},
        registers={name: one._replace(reset=choose(range(1 << one.width))) for name, one
                   in machine_.registers.items()}))


def by_chance(contents: Contents, choose: Choose, cycles: int) -> dict[int, dict[str, int]]:
    return {cycle: {name: choose(range(len(one.codes) or 1 << one.width))
                    for name, one in contents.machine.inputs.items()} for cycle in range(1, cycles + 1)}


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 1 << 30))
def test_any_machine_runs_the_same_both_ways(seed: int) -> None:
    """Machines of the judge, with values by chance at power-up and from outside."""
    choose = Random(seed).choice
    built, _ = build(machine(choose))
    if built is None:
        return
    contents = at_power_up(built.contents, choose)
    wrong, _ = differences(Datapath(contents), {}, by_chance(contents, choose, 30), 30)
    assert not wrong, wrong[:5]


def test_a_program_runs_the_same_both_ways_and_nearly_all_of_it_as_code() -> None:
    path, opcodes, _ = heron()
    program = ["load sp, nn", 0xFF, 0x1F, "load k, n", 9, "load x, nn", 0x00, 0x20, "clear a",
               "add a, n", 0x47, "store a, [x+]", "push flags", "roll_left a", "differ a, [nn]", 0x00, 0x20,
               "pull flags", "repeat nn", 0x09, 0xE0, "stop"]
    code = [opcodes[part] if isinstance(part, str) else part for part in program]
    cells = {0xE000 + at: exactly(byte, 8) for at, byte in enumerate(code)}
    wrong, made = differences(path, {"memory": cells}, {}, 400)
    assert not wrong, wrong[:5]
    assert made > 200


@pytest.mark.parametrize(("reset", "made"), [(", reset 3", 2), ("", 0)])
def test_code_gives_up_where_a_bit_is_not_known(reset: str, made: int) -> None:
    path = Datapath(contents_of(MACHINE.replace(", reset 3", reset), COUNTING))
    assert differences(path, {"ram": {}}, {}, 2) == ([], made)


def test_code_gives_up_for_a_fight() -> None:
    path = Datapath(contents_of(MACHINE, "routine main\n    put both, target main\n"))
    assert differences(path, {"ram": {3: Ternary(9, 15)}}, {}, 2) == ([], 0)


def test_what_an_input_decides_is_worked_out() -> None:
    keyed = MACHINE.replace("driven by ram   when put in (ram, both)", "driven by ram   when key") + "input key 1 bit\n"
    path = Datapath(contents_of(keyed, COUNTING))
    wrong, made = differences(path, {"ram": {}}, {2: {"key": 1}}, 4)
    assert (wrong, made) == ([], 0)


def test_nodes_are_watched_in_their_order() -> None:
    path = Datapath(contents_of(MACHINE, COUNTING))
    wanted: list[Node] = [path.terms.leaf("bus", "data", 4), path.terms.leaf("field", "put", 2)]
    found = list(islice(run(path, {"ram": {}}, lambda cycle: {}, wanted), 2))
    assert [one.seen for one in found] == [(exactly(3, 4), exactly(1, 2)), (exactly(4, 4), exactly(1, 2))]
    assert all(one.known for one in found)


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 1 << 30))
def test_a_run_goes_where_a_trace_of_the_prover_would(seed: int) -> None:
    """From the same states, with the same levels on buses and from outside, the plain evaluation of `control` goes
    where the run goes: in every cycle in which the run knows all of these."""
    choose = Random(seed).choice
    built, _ = build(machine(choose))
    if built is None:
        return
    contents = at_power_up(built.contents, choose)
    path, system = Datapath(contents), build_system(contents)
    if any(variable.origin == "monitor" for variable in system.variables):
        return                              # what assumptions remember, a run does not
    running = Running(system)
    inputs = by_chance(contents, choose, 30)
    for ran in steps(path, {}, inputs, 30, True):
        states = {one.leaf: value_in(ran, one.leaf) for one in system.variables}
        free = {one.leaf: ran.moment.value(one.leaf) for one in system.free}
        if all(bits.known == (1 << leaf.width) - 1 for leaf, bits in (states | free).items()):
            values = running.values({leaf: bits.value for leaf, bits in (states | free).items()})
            following = running.next(values)
            for one in system.variables:
                after = ran.held.get(kept(path, one.leaf), UNKNOWN)
                if after.known == (1 << one.leaf.width) - 1:
                    assert after.value == following[one.leaf], (one.name, ran.cycle)


def kept(path: Datapath, leaf: Node) -> Node:
    """What holds a latch's value from one cycle to the next."""
    latch = path.latches.get(leaf)
    return leaf if latch is None else path.terms.leaf("state", f"{latch.name} held", latch.width)


def value_in(ran: Ran, leaf: Node) -> Ternary:
    return ran.moment.held.get(kept(ran.moment.path, leaf), UNKNOWN)


OPERATORS = {"not": "not count", "and": "count and far", "or": "count or far", "xor": "count xor far",
             "+": "count + far", "-": "count - far", "slice": "{count[2:1], 0b00}", "join": "{count[1:0], far[3:2]}",
             "if": "count if far[0] else far", "is": "{0b000, count is far}", "in": "{0b000, count in (1, 3, 9)}",
             "<": "{0b000, count < far}", "parity": "{0b000, even parity of count}"}


@pytest.mark.parametrize("name", OPERATORS)
def test_every_operator_as_code(name: str) -> None:
    """`count` takes what the operator makes of it and of `far`, from sixteen pairs of values."""
    machine_ = MACHINE.replace("loads data + 1 when keep", f"loads {OPERATORS[name]} when keep") + \
        "register far 4 bits, loads far + 3 when keep, reset 6\n"
    for value in range(16):
        path = Datapath(contents_of(machine_.replace("reset 3", f"reset {value}"), COUNTING))
        assert differences(path, {"ram": {}}, {}, 4) == ([], 4)


def test_a_word_is_worked_out_by_need_before_code_is_made_for_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a run does that comes to each word once is not waited for."""
    monkeypatch.setattr(compiled, "RIPE", 2)
    path = Datapath(contents_of(MACHINE, COUNTING))
    assert [differences(path, {"ram": {}}, {}, count)[1] for count in (1, 2, 3, 6)] == [0, 0, 1, 4]
