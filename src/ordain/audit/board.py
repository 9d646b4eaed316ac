"""What a machine does in one cycle, read straight off its description: `docs/checks.md`, "Cycles".

Everything is a set of cycles, held as a decision diagram over named bits: those of the states, and what is free. A
number is the list of its bits, the lowest first. What no bit of the certificate stands for is free, in every cycle
anew: that lets more happen than can, never less. Nothing here shares code with what found the proof.
"""

from collections.abc import Iterable, Sequence

from oxidd.bdd import BDDFunction, BDDManager

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
from ordain.machine.model import AfterNever, BetweenNever, Bus, Driver, Never, Reach, Register, WhenThen
from ordain.rom.contents import Contents

Bit = tuple[str, int]
"""Of what is remembered from cycle to cycle: a state, a register, the level that a bus keeps, or what a rule looks back
to; and the number of the bit in it."""


class NotAudited(Exception):
    """The description has something of which this audit says nothing. The argument: what."""


class Board:
    """`bits`: those that a certificate is about, in the order of its diagrams. `memory`: what is remembered beside the
    machine's own, by name: its bits at the end of a cycle; at the start they are 0."""

    def __init__(self, contents: Contents, bits: Sequence[Bit]) -> None:
        self.contents, self.machine = contents, contents.machine
        self.manager = BDDManager(1 << 24, 1 << 20, 1)
        self.manager.add_vars(len(bits))
        self.true, self.false = self.manager.true(), self.manager.false()
        self.now = {bit: self.manager.var(number) for number, bit in enumerate(bits)}
        self.numbered: dict[str, range] = {}
        self.memory: dict[str, list[BDDFunction]] = {}
        self.loose: set[int] = set()
        self._known: dict[Node, list[BDDFunction]] = {}
        self.priors: dict[Node, str] = {node: f"prior {number}" for number, node in enumerate(
            (node for node in postorder(written(contents)) if type(node) is Prior), 1)}
        self._open: list[Node] = []

    # ------------------------------------------------------------ what there is

    def held(self, name: str, width: int) -> list[BDDFunction]:
        """What is remembered under a name, as it is in this cycle. `loose`: the variables of bits that the certificate
        does not name."""
        found = []
        for bit in range(width):
            known = self.now.get((name, bit))
            if known is None:
                (known,) = self.anything(f"{name} {bit} as it may be", 1)
                self.loose.add(self.numbered[f"{name} {bit} as it may be"].start)
            found.append(known)
        return found

    def anything(self, name: str, width: int) -> list[BDDFunction]:
        """Bits that have any value in every cycle, the same ones under the same name."""
        if name not in self.numbered:
            self.numbered[name] = self.manager.add_vars(width)
        return [self.manager.var(number) for number in self.numbered[name]]

    def remember(self, name: str, bits: Sequence[BDDFunction], when: BDDFunction) -> list[BDDFunction]:
        """What some bits were at the end of the last cycle that had `when`, before this one; 0 if there was none."""
        held = self.held(name, len(bits))
        self.memory[name] = [when.ite(new, old) for new, old in zip(bits, held, strict=True)]
        return held

    def stands_for(self, name: str, width: int) -> Leaf:
        """A leaf that is, in an expression, what is remembered under a name."""
        leaf = self.machine.terms.leaf("free", f"{name}, remembered", width)
        assert type(leaf) is Leaf
        self._known[leaf] = self.held(name, width)
        return leaf

    def number(self, value: int, width: int) -> list[BDDFunction]:
        return [self.true if value >> bit & 1 else self.false for bit in range(width)]

    def allowed(self) -> BDDFunction:
        """Cycles that keep every `assume`, with inputs that have one of their codes."""
        found = self.true
        for assumption in self.machine.assumptions:
            found &= self.holds(assumption.condition)
        for name, given in self.machine.inputs.items():
            if given.codes:
                found &= self.among(self.bits(self.machine.terms.leaf("input", name, given.width)),
                                    range(len(given.codes)))
        return found

    def start(self) -> BDDFunction:
        """What is remembered when the first cycle begins."""
        found = self.true
        for state in self.machine.states.values():
            values = range(len(state.codes) or 1 << state.width) if state.reset is None else (state.reset,)
            found &= self.among(self.held(state.name, state.width), values)
        for register in self.machine.registers.values():
            if register.reset is not None:
                found &= self.among(self.held(register.name, register.width), (register.reset,))
        for name, bits in self.memory.items():
            found &= self.among(self.held(name, len(bits)), (0,))
        return found

    def next(self, bit: Bit) -> BDDFunction:
        """What a bit is when the next cycle begins."""
        name, number = bit
        if name not in self.memory and name in self.priors.values():
            self.bits(next(node for node, other in self.priors.items() if other == name))
        if name in self.memory:
            return self.memory[name][number]
        if name in self.machine.states:
            return self.bits(self.machine.states[name].next)[number]
        if name in self.machine.registers:
            return self.loaded(self.machine.registers[name])[number]
        bus = self.machine.buses[name.removesuffix(" kept")]
        return self.bits(self.machine.terms.leaf("bus", bus.name, bus.width))[number]

    # ------------------------------------------------------------ expressions

    def holds(self, condition: Node) -> BDDFunction:
        (bit,) = self.bits(condition)
        return bit

    def any_of(self, parts: Iterable[BDDFunction]) -> BDDFunction:
        found = self.false
        for part in parts:
            found |= part
        return found

    def among(self, bits: Sequence[BDDFunction], values: Iterable[int]) -> BDDFunction:
        """That a number is one of some values."""
        members = set(values)
        if len(members) == 1 << len(bits):
            return self.true
        return self._table(sum(1 << value for value in members), list(bits))

    def bits(self, root: Node) -> list[BDDFunction]:
        for node in postorder((root,)):
            if node not in self._known:
                if type(node) in (Leaf, Prior) and node in self._open:
                    raise NotAudited("a ring of latches, buses and addresses within a cycle")
                self._open.append(node)
                self._known[node] = self._leaf(node) if type(node) is Leaf else self._prior(node) \
                    if type(node) is Prior else self._worked(node, [self._known[arg] for arg in node.args])
                self._open.pop()
        return self._known[root]

    def _worked(self, node: Node, args: list[list[BDDFunction]]) -> list[BDDFunction]:
        match node:
            case Const(value=value, width=width):
                return self.number(value, width)
            case Not():
                return [~bit for bit in args[0]]
            case And() | Or() | Xor():
                found = args[0]
                for arg in args[1:]:
                    found = [a & b if type(node) is And else a | b if type(node) is Or else a ^ b
                             for a, b in zip(found, arg, strict=True)]
                return found
            case Equal():
                return [~self.any_of(a ^ b for a, b in zip(*args, strict=True))]
            case Among(values=values):
                return [self.among(args[0], values)]
            case Add():
                return self._sum(args[0], args[1], self.false)[0]
            case Sub():
                return self._sum(args[0], [~bit for bit in args[1]], self.true)[0]
            case Less():
                return [~self._sum(args[0], [~bit for bit in args[1]], self.true)[1]]
            case Slice(high=high, low=low):
                return args[0][low:high + 1]
            case Join():
                return [bit for part in reversed(args) for bit in part]
            case If():
                return [args[0][0].ite(yes, no) for yes, no in zip(args[1], args[2], strict=True)]
            case Parity():
                odd = self.false
                for bit in args[0]:
                    odd ^= bit
                return [odd]
        raise NotAudited(f"an expression of the kind {type(node).__name__}")

    def _sum(self, a: list[BDDFunction], b: list[BDDFunction],
             carry: BDDFunction) -> tuple[list[BDDFunction], BDDFunction]:
        found = []
        for x, y in zip(a, b, strict=True):
            found.append(x ^ y ^ carry)
            carry = (x & y) | (carry & (x | y))
        return found, carry

    def one_more(self, number: list[BDDFunction], most: int) -> list[BDDFunction]:
        """A number and 1, but not more than `most`."""
        full = self.among(number, (most,))
        more = self._sum(number, self.number(1, len(number)), self.false)[0]
        return [full.ite(old, new) for old, new in zip(number, more)]

    def _prior(self, node: Node) -> list[BDDFunction]:
        """What the argument was in the cycle before; with a second argument, in the last one that had that."""
        counts = self.true if len(node.args) == 1 else self._known[node.args[1]][0]
        return self.remember(self.priors[node], self._known[node.args[0]], counts)

    # ------------------------------------------------------------ what stands for what

    def _leaf(self, leaf: Leaf) -> list[BDDFunction]:
        machine, name = self.machine, leaf.name
        match leaf.kind:
            case "state":
                return self.held(name, leaf.width)
            case "register":
                register = machine.registers[name]
                return self.loaded(register) if register.transparent else self.held(name, leaf.width)
            case "bus":
                return self._level(machine.buses[name])
            case "at" | "in":
                store, addresses = (self.contents.labels if leaf.kind == "at" else self.contents.routines)[name]
                return [self.at(store, addresses)]
            case "address":
                return self.bits(machine.stores[name].address)
            case "word":
                return [self.stored(name, bit) for bit in range(leaf.width)]
            case "field":
                field = machine.fields[name]
                bits = [self.stored(field.store, bit) for bit in range(field.low, field.high + 1)]
                return [~bit for bit in bits] if field.active_low else bits
            case "input" | "condition" | "free":
                return self.anything(f"{leaf.kind} {name}", leaf.width)
        raise NotAudited(f"what `{leaf.kind} {name}` stands for")

    def at(self, store: str, addresses: Iterable[int]) -> BDDFunction:
        return self.among(self.bits(self.machine.stores[store].address), addresses)

    def stored(self, store: str, bit: int) -> BDDFunction:
        """A bit of the word that the store presents, as the chips hold it."""
        words = self.contents.words[store]
        column = int("".join("1" if word >> bit & 1 else "0" for word in reversed(words)), 2)
        return self._table(column, self.bits(self.machine.stores[store].address))

    def _table(self, column: int, address: list[BDDFunction]) -> BDDFunction:
        """A bit by number: bit n of `column` is what stands at address n."""
        size = 1 << len(address)
        if column in (0, (1 << size) - 1):
            return self.true if column else self.false
        half = size >> 1
        low = self._table(column & (1 << half) - 1, address[:-1])
        high = self._table(column >> half, address[:-1])
        return address[-1].ite(high, low)

    def driven(self, bus: Bus) -> list[BDDFunction]:
        return [self.holds(driver.when) for driver in bus.drivers]

    def _level(self, bus: Bus) -> list[BDDFunction]:
        """What stands on a bus: what its drivers put there, else the level at which it is held. Data, and what comes of
        a fight, is anything."""
        anything = self.anything(f"put on {bus.name}", bus.width)
        drivers = [(self.holds(driver.when), self._sent(driver, bus, anything)) for driver in bus.drivers]
        if bus.undriven == "wired-and":
            return [~self.any_of(on & ~bits[line] for on, bits in drivers) for line in range(bus.width)]
        if bus.undriven == "wired-or":
            return [self.any_of(on & bits[line] for on, bits in drivers) for line in range(bus.width)]
        level = self.held(f"{bus.name} kept", bus.width) if bus.undriven == "kept" else anything \
            if bus.undriven in ("floats", "multiplexed") else \
            self.number(-1 if bus.undriven == "pulled-high" else 0, bus.width)
        before = self.false
        for on, bits in drivers:
            level = [on.ite(before.ite(odd, sent), old) for odd, sent, old in zip(anything, bits, level)]
            before |= on
        return level

    def _sent(self, driver: Driver, bus: Bus, anything: list[BDDFunction]) -> list[BDDFunction]:
        """What a driver puts on its bus: known where it is made of numbers and states alone."""
        machine, terms, name = self.machine, self.machine.terms, driver.name
        if driver.value is not None:
            value = driver.value
        elif name in machine.constants and not machine.constants[name] >> bus.width:
            return self.number(machine.constants[name], bus.width)
        elif name in machine.signals:
            value = machine.signals[name].value
        elif name in machine.states:
            value = terms.leaf("state", name, machine.states[name].width)
        else:
            return anything
        data = any(leaf.kind != "state" for leaf in postorder((value,)) if type(leaf) is Leaf)
        return anything if data or value.width != bus.width else self.bits(value)

    def loaded(self, register: Register) -> list[BDDFunction]:
        """What a register has at the end of a cycle, and a latch already shows in it: its load's value; anything, where
        loads of two values are asked for at once."""
        found = self.held(register.name, register.width)
        loads = [(self.holds(load.when), load.source) for load in register.loads]
        for when, source in loads:
            value = self.anything(f"{register.name} loads", register.width) if source is None else self.bits(source)
            found = [when.ite(new, old) for new, old in zip(value, found)]
        unclear = self.any_of(a & b for number, (a, first) in enumerate(loads) for b, second in loads[:number]
                              if first is not second)
        return [unclear.ite(odd, bit) for odd, bit in zip(self.anything(f"{register.name} loads two",
                                                                        register.width), found)]


def written(contents: Contents) -> list[Node]:
    """Every expression of the machine file that is about control, in the order of its kinds."""
    machine = contents.machine
    found = [state.next for state in machine.states.values()] + [store.address for store in machine.stores.values()]
    for register in machine.registers.values():
        found += [node for load in register.loads for node in (load.when, load.source) if node is not None]
    for bus in machine.buses.values():
        found += [node for driver in bus.drivers for node in (driver.when, driver.steady, driver.value)
                  if node is not None] + [sampler.when for sampler in bus.samplers]
    found += [assumption.condition for assumption in machine.assumptions]
    found += [strobe.active for strobe in machine.strobes] + [keep.condition for keep in machine.keeps]
    found += [signal for line in machine.exclusives for signal in line.signals]
    for rule in machine.rules:
        match rule.form:
            case Never(condition=condition) | Reach(condition=condition):
                found += [condition]
            case WhenThen(trigger=trigger, response=response, unless=unless):
                found += [trigger, response, unless]
            case BetweenNever(start=start, end=end, forbidden=forbidden, after=after):
                found += [start, end, forbidden, after]
            case AfterNever(start=start, forbidden=forbidden, until=until):
                found += [start, forbidden, until]
    return found + ([machine.home] if machine.home is not None else [])
