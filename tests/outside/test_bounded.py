"""A solver (z3) asked about the first cycles of random machines, the machine unrolled into bit vectors straight from
the expression tree: what it finds reachable, and when first, is what the search says."""

import random
from typing import Any

import pytest

from ordain.checks.run import questions
from ordain.machine.expression import (
    Add,
    Among,
    And,
    Const,
    Equal,
    If,
    Join,
    Leaf,
    Less,
    Node,
    Not,
    Or,
    Parity,
    Prior,
    Slice,
    Sub,
    Xor,
    postorder,
)
from ordain.machine.model import Register
from ordain.prover.model import Property
from ordain.rom.contents import Contents
from tests.generated import machine_text, random_words
from tests.oracle import shortest, tracked_registers

z3 = pytest.importorskip("z3", reason="install the Python package z3-solver to have a solver's second opinion")

CYCLES = 4


class Unrolled:
    """Cycles 0, 1, ... of a machine as terms of the solver; `promises` holds what must be true of each."""

    def __init__(self, contents: Contents, asked: Property) -> None:
        self.contents, self.machine = contents, contents.machine
        self.tracked = tracked_registers(self.machine)
        self.monitors = {monitor.name: monitor for monitor in asked.monitors}
        self.known: list[dict[object, Any]] = []
        self.promises: list[list[Any]] = []

    def cycle(self) -> None:
        """Adds a cycle: variables for what is free, and the assumptions."""
        self.known.append({})
        self.promises.append([])
        k = len(self.known) - 1
        self.promises[k] += [self.value(each.condition, k) == 1 for each in self.machine.assumptions]
        for name, given in self.machine.inputs.items():
            if given.codes:
                self.promises[k].append(z3.ULT(self.free(f"input {name}", given.width, k), len(given.codes)))

    def free(self, name: str, width: int, k: int) -> Any:
        return z3.BitVec(f"{name} @{k}", width)

    def stored(self, key: tuple[str, str], k: int) -> Any:
        """The value of a state, register or monitor at the start of cycle k."""
        kind, name = key
        if (key, k) not in self.known[k]:
            if kind == "register":
                register = self.machine.registers[name]
                reset, width, values = register.reset, register.width, 1 << register.width
            elif name in self.monitors:
                monitor = self.monitors[name]
                reset, width, values = monitor.reset, monitor.leaf.width, monitor.values
            else:
                state = self.machine.states[name]
                reset, width, values = state.reset, state.width, len(state.codes) or 1 << state.width
            if k == 0:
                term = self.free(f"start {name}", width, 0) if reset is None else z3.BitVecVal(reset, width)
                if reset is None and values < 1 << width:
                    self.promises[0].append(z3.ULT(term, values))
            elif kind == "register":
                term = self.loaded(self.machine.registers[name], k - 1)
            elif name in self.monitors:
                term = self.value(self.monitors[name].next, k - 1)
            else:
                term = self.value(self.machine.states[name].next, k - 1)
            self.known[k][key, k] = term
        return self.known[k][key, k]

    def loaded(self, register: Register, k: int) -> Any:
        """A register's value after the loads of cycle k."""
        name, width = register.name, register.width
        result = self.stored(("register", name), k)
        loads = [(self.value(load.when, k) == 1, self.free(f"loaded {name}", width, k) if load.source is None
                  else self.value(load.source, k), load.source) for load in register.loads]
        for when, source, _ in loads:
            result = z3.If(when, source, result)
        for index, (when, _, source) in enumerate(loads):
            for other, _, earlier in loads[:index]:
                if earlier is not source:
                    result = z3.If(z3.And(when, other), self.free(f"twice {name}", width, k), result)
        return result

    def register(self, name: str, k: int) -> Any:
        register = self.machine.registers[name]
        if name not in self.tracked:
            return self.free(f"register {name}", register.width, k)
        return self.loaded(register, k) if register.transparent else self.stored(("register", name), k)

    def word(self, store: str, k: int) -> Any:
        address = self.value(self.machine.stores[store].address, k)
        words = self.contents.words[store]
        result = z3.BitVecVal(words[0], self.machine.stores[store].bits)
        for at, word in enumerate(words[1:], 1):
            result = z3.If(address == at, z3.BitVecVal(word, result.size()), result)
        return result

    def leaf(self, leaf: Leaf, k: int) -> Any:
        match leaf.kind:
            case "state":
                return self.stored(("state", leaf.name), k)
            case "register":
                return self.register(leaf.name, k)
            case "field":
                field = self.machine.fields[leaf.name]
                bits = z3.Extract(field.high, field.low, self.word(field.store, k))
                return ~bits if field.active_low else bits
            case "word":
                return self.word(leaf.name, k)
            case "address":
                return self.value(self.machine.stores[leaf.name].address, k)
            case "at" | "in":
                store, addresses = (self.contents.labels if leaf.kind == "at" else self.contents.routines)[leaf.name]
                address = self.value(self.machine.stores[store].address, k)
                return self.bit(z3.Or([address == at for at in addresses]))
        return self.free(f"{leaf.kind} {leaf.name}", leaf.width, k)

    def bit(self, condition: Any) -> Any:
        return z3.If(condition, z3.BitVecVal(1, 1), z3.BitVecVal(0, 1))

    def value(self, node: Node, k: int) -> Any:
        for part in postorder((node,)):
            if part not in self.known[k]:
                self.known[k][part] = self.operator(part, [self.known[k][arg] for arg in part.args], k)
        return self.known[k][node]

    def operator(self, node: Node, args: list[Any], k: int) -> Any:
        match node:
            case Const(value=value, width=width):
                return z3.BitVecVal(value, width)
            case Leaf():
                return self.leaf(node, k)
            case Not():
                return ~args[0]
            case And() | Or():
                result = args[0]
                for arg in args[1:]:
                    result = result & arg if isinstance(node, And) else result | arg
                return result
            case Xor():
                return args[0] ^ args[1]
            case Equal():
                return self.bit(args[0] == args[1])
            case Among(values=values):
                return self.bit(z3.Or([args[0] == value for value in sorted(values)]))
            case Less():
                return self.bit(z3.ULT(args[0], args[1]))
            case Add():
                return args[0] + args[1]
            case Sub():
                return args[0] - args[1]
            case Slice(high=high, low=low):
                return z3.Extract(high, low, args[0])
            case Join():
                return z3.Concat(*args)
            case If():
                return z3.If(args[0] == 1, args[1], args[2])
            case Parity():
                total = z3.Extract(0, 0, args[0])
                for bit in range(1, args[0].size()):
                    total = total ^ z3.Extract(bit, bit, args[0])
                return total
            case Prior(args=(inner,)):
                return z3.BitVecVal(0, node.width) if k == 0 else self.value(inner, k - 1)
        raise TypeError(type(node))


def first_cycle(contents: Contents, asked: Property) -> int | None:
    """The number of cycles of a shortest sequence to the node, if that is at most `CYCLES`."""
    unrolled, solver = Unrolled(contents, asked), z3.Solver()
    for k in range(CYCLES):
        unrolled.cycle()
        node = unrolled.value(asked.node, k)
        for row in unrolled.promises:
            solver.add(row)
            row.clear()
        solver.push()
        solver.add(node == 1)
        if solver.check() == z3.sat:
            return k + 1
        solver.pop()
    return None


@pytest.mark.parametrize("seed", range(24))
def test_a_solver_finds_the_same_first_cycles(seed: int) -> None:
    chance = random.Random(1000 + seed)
    contents = random_words(machine_text(chance.choice), chance.choice)
    asked = [question for _, question in questions(contents) if question.kind in ("bad", "reach")]
    for question in chance.sample(asked, min(8, len(asked))):
        searched = shortest(contents, question)
        assert first_cycle(contents, question) == (searched if searched is not None and searched <= CYCLES else None), (
            question.check, question.subject)
