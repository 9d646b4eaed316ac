"""Many cycles as one piece of Python code: from a state of control on, as long as it is known which state comes next.

Control is what the words, the drivers and the next addresses depend on: together with the inputs, which do not change
meanwhile, it says what a cycle does. So the cycles from one decision to the next are written out one after another,
over plain numbers, for values of which every bit that is read is known. The code gives up, and has changed nothing but
what it notes in a journal, where such a bit is not known, where drivers fight, and where something holds that somebody
waits for.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, NamedTuple, TypeAlias

from ordain.data.compiled import operator_text
from ordain.data.datapath import Datapath
from ordain.data.resolving import Resolving, Undecided, said_by_words
from ordain.machine.expression import Const, Leaf, Node, leaves, postorder, substitute
from ordain.machine.model import Bus

LONGEST = 48
"""Steps in one block, at most."""

WIDEST = 8
"""Bits of a state that counts as control because drivers or the next address depend on it."""

LONGEST_TEXT = 200
"""Characters of an expression in one piece."""

Slots: TypeAlias = list[int | None]
"""What is held beside control, None where some bit is not known."""
Journal: TypeAlias = list[tuple[int, int, int]]
"""What was written over: (number of the memory, address, word)."""
Code: TypeAlias = Callable[[Slots, Sequence[list[int]], Journal], "tuple[int, ...] | None"]


class Stretch(NamedTuple):
    """`code` gives the values of control that are decided as the machine runs, in the order of `open`, their places in
    `after`; None: it has given up. `steps` and `cycles` that it takes; `addresses` of the main store in them."""

    code: Code
    steps: int
    cycles: int
    addresses: tuple[int, ...]
    after: tuple[int, ...]
    open: tuple[int, ...]


class Blocks:
    """`control`, `data`: what is held, by leaf. `events`: expressions that nobody may miss. Raises Undecided where the
    address of a word is not made of what is held and of inputs."""

    def __init__(self, path: Datapath, events: Iterable[Node]) -> None:
        machine, terms = path.machine, path.terms
        self.path = path
        self.stores = [store for store in machine.stores.values() if store.fill == "microprogram"]
        self.phase = None if machine.clock is None or machine.steps == 1 else \
            terms.leaf("state", machine.clock.name, machine.states[machine.clock.name].width)
        every = dict(Resolving(path, {}).nexts())
        self.control = tuple(_control(path, self.stores, self.phase, every))
        self.data = tuple(leaf for leaf in every if leaf not in self.control)
        self.slots = {leaf: number for number, leaf in enumerate(self.data)}
        self.memories = {name: number for number, name in enumerate(machine.memories)}
        self._events = tuple(events)
        self._nexts = every

    def block(self, control: tuple[int, ...], inputs: Mapping[Node, Node]) -> Stretch | None:
        """From this state of control on; None where not even one cycle can be said beforehand."""
        terms = self.path.terms
        writing = _Writing(self)
        addresses: list[int] = []
        now, cycles, opened = control, 0, False
        dynamic: list[tuple[int, str]] = []
        while len(addresses) < LONGEST and not dynamic and not (opened and now == control):
            opened = True
            known: dict[Node, Node] = {**inputs, **{leaf: terms.const(value, leaf.width)
                                                    for leaf, value in zip(self.control, now)}}
            try:
                made = _Cycle(self.path, known, self.stores).whole(self._nexts, self._events)
            except Undecided:
                break
            if made is None:
                break
            writing.cycle(made)
            after = []
            for place, leaf in enumerate(self.control):
                node = made.after[leaf]
                after.append(node.value if type(node) is Const else 0)
                if type(node) is not Const:
                    dynamic.append((place, writing.held[leaf]))
            addresses.append(made.address)
            cycles += self.phase is None or self._turns(now, tuple(after))
            now = tuple(after)
        if not addresses:
            return None
        return Stretch(writing.made([text for _, text in dynamic]), len(addresses), cycles, tuple(addresses), now,
                       tuple(place for place, _ in dynamic))

    def _turns(self, before: tuple[int, ...], after: tuple[int, ...]) -> bool:
        place = next(place for place, leaf in enumerate(self.control) if leaf is self.phase)
        return after[place] < before[place]


def _control(path: Datapath, stores: Sequence[Any], phase: Node | None, nexts: Mapping[Node, Node]) -> list[Node]:
    """Addresses, the phase, narrow states that decide who drives or loads, and narrow states that these depend on."""
    machine = path.machine
    whens = [driver.when for bus in machine.buses.values() for driver in bus.drivers]
    whens += [write.when for memory in machine.memories.values() for write in memory.writes]
    whens += [load.when for register in machine.registers.values() for load in register.loads]
    found: dict[Node, None] = {} if phase is None else {phase: None}
    for line in leaves([store.address for store in stores]):
        if line.kind == "input":
            continue
        if line not in nexts:
            raise Undecided
        found[line] = None
    waiting: list[Node] = [*found, *(leaf for leaf in leaves(whens) if leaf.kind == "state" and leaf.width <= WIDEST)]
    while waiting:
        leaf = waiting.pop()
        if leaf not in nexts:
            continue
        found[leaf] = None
        for below in _read(path, nexts[leaf]):
            if below.kind == "state" and below.width <= WIDEST and below not in found:
                found[below] = None
                waiting.append(below)
    return [leaf for leaf in nexts if leaf in found]


def _read(path: Datapath, node: Node) -> Iterable[Leaf]:
    """The leaves of an expression, those of conditions that it reads included."""
    for leaf in leaves((node,)):
        yield leaf
        value = path.machine.conditions[leaf.name].value if leaf.kind == "condition" else None
        if value is not None:
            yield from leaves((value,))


# ---------------------------------------------------------------- what a cycle does


class _Made(NamedTuple):
    """`checks`: what has to be 0 for the rest to be true. `written`: memory, when, address, word."""

    after: dict[Node, Node]
    checks: list[Node]
    written: list[tuple[str, Node, Node, Node]]
    addresses: dict[Leaf, Node]
    address: int


class _Cycle(Resolving):
    """The cycle of a state of control. Drivers may depend on data, as where an address decides which memory drives."""

    def __init__(self, path: Datapath, known: dict[Node, Node], stores: Sequence[Any]) -> None:
        presented = []
        for store in stores:
            address = substitute(path.terms, (store.address,), known)[0]
            if type(address) is not Const:
                raise Undecided
            presented.append((store, address.value))
        super().__init__(path, {**known, **said_by_words(path, presented)})
        self.address = presented[0][1]
        self.checks: dict[Node, None] = {}

    def whole(self, nexts: Mapping[Node, Node], events: Sequence[Node]) -> _Made | None:
        """None where something surely holds that somebody waits for."""
        path, terms = self.path, self.terms
        for event in events:
            self._check(self.resolved(event))
        for bus in path.machine.buses.values():
            if bus.undriven not in ("wired-and", "wired-or"):
                self._enabled(bus)
        after = {leaf: self.resolved(node) for leaf, node in nexts.items()}
        written = []
        for memory in path.machine.memories.values():
            active = [(when, write) for write in memory.writes
                      if (when := self.resolved(write.when)) is not terms.const(0, 1)]
            for number, (when, _) in enumerate(active):
                for other, _ in active[:number]:
                    self._check(terms.and_((when, other)))
            written += [(memory.name, when, self.resolved(memory.address), self.resolved(write.source))
                        for when, write in active]
        if terms.const(1, 1) in self.checks:
            return None
        return _Made(after, [node for node in self.checks if type(node) is not Const], written, self.addresses,
                     self.address)

    def _check(self, node: Node) -> None:
        self.checks[node] = None

    def decided(self, when: Node) -> Node:
        return self.resolved(when)

    def _enabled(self, bus: Bus) -> list[tuple[Node, str]]:
        """Who may drive the bus, and under which condition; two at once are to be told."""
        terms = self.terms
        found = [(when, driver.name) for driver in bus.drivers
                 if (when := self.resolved(driver.when)) is not terms.const(0, 1)]
        for number, (when, _) in enumerate(found):
            for other, _ in found[:number]:
                self._check(terms.and_((when, other)))
        return found

    def _bus(self, leaf: Leaf) -> Node:
        bus = self.path.machine.buses[leaf.name]
        if bus.undriven in ("wired-and", "wired-or"):
            return super()._bus(leaf)
        terms = self.terms
        enabled = self._enabled(bus)
        if not enabled:
            return self._undriven(bus)
        value = self._put(bus, enabled[-1][1])
        for when, name in reversed(enabled[:-1]):
            value = terms.if_(when, self._put(bus, name), value)
        if any(when is terms.const(1, 1) for when, _ in enabled):
            return value
        driven = terms.or_(tuple(when for when, _ in enabled))
        if bus.undriven in ("floats", "multiplexed"):
            self._check(terms.not_(driven))
            return value
        return terms.if_(driven, value, self._undriven(bus))


# ---------------------------------------------------------------- code


class _Writing:
    """Lines of a function. `held`: the variable or number that has what is held by now, by leaf."""

    def __init__(self, blocks: Blocks) -> None:
        self.blocks = blocks
        self.held: dict[Node, str] = {}
        self.loads: list[str] = []
        self.lines: list[str] = []
        self.constants: dict[str, Any] = {}
        self._count = 0

    def cycle(self, made: _Made) -> None:
        """The lines of one cycle; after them `held` is what is held after it."""
        changed = {leaf: node for leaf, node in made.after.items() if node is not leaf}
        roots = [*made.checks, *changed.values()]
        for _, when, address, word in made.written:
            roots += [when, address, word]
        roots += [made.addresses[leaf] for leaf in leaves(roots) if leaf in made.addresses]
        naming = _Naming(self, made.addresses, roots)
        for check in made.checks:
            self.lines.append(f"if {naming.text(check)}: return None")
        texts = {leaf: naming.variable(node) for leaf, node in changed.items()}
        stores = [(name, naming.variable(when), naming.variable(address), naming.variable(word))
                  for name, when, address, word in made.written]
        for name, active, at, put in stores:
            memory, number = self.blocks.path.machine.memories[name], self.blocks.memories[name]
            conditions = [] if active == "1" else [active]
            conditions += [f"{at} < {memory.words}"] if memory.words < 1 << memory.address.width else []
            put = f"j.append(({number}, {at}, m{number}[{at}])); m{number}[{at}] = {put}"
            self.lines.append(f"if {' and '.join(conditions)}: {put}" if conditions else put)
        self.held.update(texts)

    def load(self, leaf: Node) -> str:
        """The variable of what a leaf holds at the beginning; every bit of it has to be known."""
        if leaf not in self.held:
            slot = self.blocks.slots[leaf]
            name = f"s{slot}"
            self.loads += [f"{name} = s[{slot}]", f"if {name} is None: return None"]
            self.held[leaf] = name
        return self.held[leaf]

    def fresh(self) -> str:
        self._count += 1
        return f"v{self._count}"

    def constant(self, value: object) -> str:
        name = f"c{len(self.constants)}"
        self.constants[name] = value
        return name

    def made(self, dynamic: list[str]) -> Code:
        stored = [f"s[{slot}] = {self.held[leaf]}" for leaf, slot in self.blocks.slots.items()
                  if leaf in self.held and self.held[leaf] != f"s{slot}"]
        first = [f"m{number} = m[{number}]" for number in self.blocks.memories.values()]
        last = f"return ({', '.join(dynamic)}{',' * (len(dynamic) == 1)})"
        text = "def block(s, m, j):\n" + "".join(
            f"    {line}\n" for line in (*first, *self.loads, *self.lines, *stored, last))
        exec(compile(text, "<block>", "exec"), self.constants)
        code: Code = self.constants["block"]
        return code


class _Naming:
    """Expressions of one cycle as text. What is used once stands where it is used; the rest gets a variable."""

    def __init__(self, writing: _Writing, addresses: Mapping[Leaf, Node], roots: Sequence[Node]) -> None:
        self.writing, self.addresses = writing, addresses
        self.names: dict[Node, str] = {}
        self.uses: dict[Node, int] = {}
        for node in roots:
            self.uses[node] = self.uses.get(node, 0) + 1
        for part in postorder(roots):
            for arg in part.args:
                self.uses[arg] = self.uses.get(arg, 0) + 1

    def variable(self, node: Node) -> str:
        """A name or a number."""
        text = self.text(node)
        if text.isidentifier() or text.isdecimal():
            return text
        return self._named(node, text)

    def _named(self, node: Node, text: str) -> str:
        name = self.writing.fresh()
        self.writing.lines.append(f"{name} = {text}")
        self.names[node] = name
        return name

    def text(self, node: Node) -> str:
        """The text of an expression, in brackets where it is one with an operator."""
        for part in postorder((node,)):
            if part in self.names:
                continue
            if type(part) is Const:
                self.names[part] = str(part.value)
            elif type(part) is Leaf:
                self.names[part] = self._leaf(part)
            else:
                text = operator_text(part, [self.names[arg] for arg in part.args], self.writing.constant)
                if self.uses.get(part, 2) > 1 or len(text) > LONGEST_TEXT:
                    self._named(part, text)
                else:
                    self.names[part] = f"({text})"
        return self.names[node]

    def _leaf(self, leaf: Leaf) -> str:
        writing, blocks = self.writing, self.writing.blocks
        if leaf in blocks.slots:
            return writing.load(leaf)
        if leaf.kind == "word":
            words = writing.constant(blocks.path.contents.words[leaf.name])
            return self._named(leaf, f"{words}[{self.text(self.addresses[leaf])}]")
        if leaf.kind == "free" and leaf.name in blocks.memories:
            memory, number = blocks.path.machine.memories[leaf.name], blocks.memories[leaf.name]
            at = self.variable(self.addresses[leaf])
            if memory.words < 1 << memory.address.width:
                writing.lines.append(f"if {at} >= {memory.words}: return None")
            name = self._named(leaf, f"m{number}[{at}]")
            writing.lines.append(f"if {name} < 0: return None")
            return name
        raise TypeError(f"nothing says what `{leaf.name}` holds")
