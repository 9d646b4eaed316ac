"""One cycle of the whole machine, values and all: what stands on each bus, what every name is worth, what follows.

Values are found by need, so that buses that could lead into one another are no loop while nothing leads back: what a
driver puts on its bus is looked at only where it may be enabled. A way that does close in a cycle gives a value that is
not known.
"""

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from ordain.control.registers import after_loads
from ordain.control.standing import stands_for
from ordain.control.system import prior_leaves, remembered
from ordain.data.model import Watch
from ordain.data.partial import UNKNOWN, Ternary, applied, conjunction, disjunction, exactly, merged, whole
from ordain.machine.driving import put
from ordain.machine.expression import And, If, Leaf, Node, Or, Prior, Terms, substitute
from ordain.machine.model import Bus, Driver, Memory, Never
from ordain.rom.contents import Contents

MOST_COMMON = 16
"""So many bits of an address may be unknown while it is still asked what all words that it may mean have in common."""

Cells = Mapping[int, Ternary]
"""What is known of a memory, by address; of other addresses nothing is known."""


class Fight(NamedTuple):
    """Drivers that are enabled on a bus at once."""

    bus: str
    drivers: tuple[str, ...]


class Datapath:
    """The machine with an expression for everything that has a value. `nexts`: for each state and register the value
    after a cycle. `never`: what must not hold, by name: `watches`, or else the `never` rules. `priors`: for each value
    that these remember, what it becomes; `at_first`: what it is in the first cycle; `looks_back`: the leaf that stands
    for each of them. `common`: what words of a store have in common, once found."""

    def __init__(self, contents: Contents, watches: Mapping[str, Watch] | None = None) -> None:
        machine, terms = contents.machine, contents.machine.terms
        self.contents, self.machine, self.terms = contents, machine, terms
        self.latches = {terms.leaf("register", one.name, one.width): one for one in machine.registers.values()
                        if one.transparent}
        self.nexts: dict[Node, Node] = {terms.leaf("state", one.name, one.width): one.next
                                        for one in machine.states.values()}
        for register in machine.registers.values():
            leaf = terms.leaf("register", register.name, register.width)
            if not register.transparent:                # what a latch shows is what it keeps
                self.nexts[leaf] = after_loads(register, leaf, terms)
        self.puts: dict[tuple[str, str], Node | None] = {}
        for bus in machine.buses.values():
            for driver in bus.drivers:
                value = put(machine, driver, bus.width)
                self.puts[bus.name, driver.name] = value if value is not None and value.width == bus.width else None
        self.common: dict[tuple[str, Ternary], Ternary] = {}
        watched = {rule.text: Watch(rule.form.condition) for rule in machine.rules if isinstance(rule.form, Never)} \
            if watches is None else watches
        monitors = {one.leaf: one for watch in watched.values() for one in watch.monitors}
        never = [watch.node for watch in watched.values()]
        changing = [one.next for one in monitors.values()]
        shown = [*([] if machine.home is None else [machine.home]), *(strobe.active for strobe in machine.strobes),
                 *(sampler.when for bus in machine.buses.values() for sampler in bus.samplers)]
        priors = dict(prior_leaves((*never, *changing, *shown), terms, "prior", {}))
        self.looks_back = priors
        after = [remembered(prior, leaf, terms) for prior, leaf in priors.items()]
        self.never = dict(zip(watched, substitute(terms, tuple(never), priors)))
        self.priors = dict(zip((*priors.values(), *monitors), substitute(terms, (*after, *changing), priors)))
        self.at_first = {**dict.fromkeys(priors.values(), 0),
                         **{leaf: one.reset or 0 for leaf, one in monitors.items()}}

    def present(self, nodes: tuple[Node, ...]) -> tuple[Node, ...]:
        """The same expressions, what they look back at being remembered."""
        return substitute(self.terms, nodes, self.looks_back)


class Moment:
    """One cycle. `held`: states, registers and what is remembered, by leaf; `memories`: their cells; `outside`: inputs
    and conditions by name, those that nobody sets being 0 and not known. `fights`, `loops`: what was met on the way."""

    def __init__(self, path: Datapath, held: Mapping[Node, Ternary], memories: Mapping[str, Cells],
                 outside: Mapping[str, int]) -> None:
        self.path, self.held, self.memories, self.outside = path, held, memories, outside
        self.known: dict[Node, Ternary] = {}
        self.fights: dict[str, Fight] = {}
        self.loops: list[tuple[str, ...]] = []

    def value(self, node: Node) -> Ternary:
        """The value of an expression over the machine's leaves."""
        known = self.known
        if node in known:
            return known[node]
        working: dict[Node, Iterator[Node]] = {}
        stack = [node]
        while stack:
            here = stack[-1]
            if here in known and here not in working:
                stack.pop()
                continue
            if here not in working:
                working[here] = self._made(here)
            wanted = next(working[here], None)
            if wanted is None:
                del working[here]
                stack.pop()
            elif wanted in working:                     # a way that leads back to itself
                names = [one.name for one in stack[stack.index(wanted):] if type(one) is Leaf]
                self.loops.append(tuple(names))
                known[wanted] = UNKNOWN
            elif wanted not in known:
                stack.append(wanted)
        return known[node]

    def _made(self, node: Node) -> Iterator[Node]:
        """Says one after another what has to be known first, then notes the value."""
        known = self.known
        if node in self.held:
            known[node] = self.held[node]
        elif type(node) is Leaf:
            yield from self._leaf(node)
        elif type(node) is Prior:
            known[node] = self.held.get(self.path.looks_back[node], UNKNOWN)
        elif type(node) is If:
            yield node.args[0]
            chosen = known[node.args[0]]
            for branch, excluded in ((node.args[1], 0), (node.args[2], 1)):
                if chosen != Ternary(excluded, 1):
                    yield branch
            known[node] = known[node.args[2 - chosen.value]] if chosen.known else \
                merged(known[node.args[1]], known[node.args[2]])
        elif type(node) is And or type(node) is Or:
            absorbing = exactly(0 if type(node) is And else (1 << node.width) - 1, node.width)
            found = []
            for arg in node.args:
                yield arg
                found.append(known[arg])
                if found[-1] == absorbing:
                    break
            known[node] = absorbing if found[-1] == absorbing else applied(node, found)
        else:
            for arg in node.args:
                yield arg
            known[node] = applied(node, [known[arg] for arg in node.args])

    # ------------------------------------------------------------ what has a name

    def _leaf(self, leaf: Leaf) -> Iterator[Node]:
        machine, known = self.path.machine, self.known
        match leaf.kind:
            case "bus":
                yield from self._bus(leaf, machine.buses[leaf.name])
            case "word":
                store = machine.stores[leaf.name]
                yield store.address
                known[leaf] = self._stored(leaf.name, known[store.address], store.address_width)
            case "input":
                known[leaf] = exactly(self.outside.get(leaf.name, 0), leaf.width)
            case "condition" if leaf.name in self.outside:
                known[leaf] = exactly(self.outside[leaf.name], leaf.width)
            case "free" if leaf.name in machine.memories:
                memory = machine.memories[leaf.name]
                yield memory.address
                known[leaf] = self.read(memory, known[memory.address])
            case _:
                meant = stands_for(self.path.contents, leaf)
                if meant is not None:
                    yield meant
                known[leaf] = UNKNOWN if meant is None else known[meant]

    def read(self, memory: Memory, address: Ternary) -> Ternary:
        """The word at an address of which every bit is known; beyond the last word, and else, nothing is known."""
        return self.memories[memory.name].get(address.value, UNKNOWN) if whole(address, memory.address.width) \
            else UNKNOWN

    def _stored(self, store: str, address: Ternary, width: int) -> Ternary:
        """The word of a store, or what all words have in common that the address may mean."""
        words, known = self.path.contents.words[store], self.path.common
        bits = self.path.machine.stores[store].bits
        if whole(address, width):
            return exactly(words[address.value], bits)
        free = (1 << width) - 1 & ~address.known
        if free.bit_count() > MOST_COMMON:
            return UNKNOWN
        if (store, address) not in known:
            ones = always = (1 << bits) - 1
            some = free
            while True:                                 # every choice of the bits that are not known
                ones &= words[address.value | some]
                always &= ~(words[address.value | some] ^ words[address.value])
                if not some:
                    break
                some = some - 1 & free
            known[store, address] = Ternary(ones & always, always)
        return known[store, address]

    def _bus(self, leaf: Leaf, bus: Bus) -> Iterator[Node]:
        known = self.known
        enabled: list[tuple[Driver, Ternary]] = []
        for driver in bus.drivers:
            yield driver.when
            when = known[driver.when]
            if when == Ternary(0, 1):
                continue
            value = self.path.puts[bus.name, driver.name]
            if value is not None:
                yield value
            enabled.append((driver, UNKNOWN if value is None else known[value]))
        surely = [one for one in enabled if known[one[0].when] == Ternary(1, 1)]
        if bus.undriven in ("wired-and", "wired-or"):
            known[leaf] = self._wired(bus, enabled)
            return
        if len(surely) > 1:
            self.fights[bus.name] = Fight(bus.name, tuple(driver.name for driver, _ in surely))
        if not enabled:
            known[leaf] = self._undriven(bus, leaf)
            return
        found = enabled[0][1]
        for _, other in enabled[1:]:
            found = merged(found, other)
        known[leaf] = found if surely else merged(found, self._undriven(bus, leaf))

    def _wired(self, bus: Bus, enabled: list[tuple[Driver, Ternary]]) -> Ternary:
        ones = (1 << bus.width) - 1
        rest = exactly(ones if bus.undriven == "wired-and" else 0, bus.width)
        pulls = [bits if self.known[driver.when] == Ternary(1, 1) else merged(bits, rest) for driver, bits in enabled]
        return conjunction(pulls, ones) if bus.undriven == "wired-and" else disjunction(pulls, ones)

    def _undriven(self, bus: Bus, leaf: Leaf) -> Ternary:
        match bus.undriven:
            case "pulled-high":
                return exactly((1 << bus.width) - 1, bus.width)
            case "pulled-low":
                return exactly(0, bus.width)
            case "kept":
                return self.held.get(self.path.terms.leaf("state", f"{bus.name} kept", leaf.width), UNKNOWN)
        return UNKNOWN


def kept_leaf(bus: Bus, terms: Terms) -> Node:
    """What a bus that keeps its level has kept."""
    return terms.leaf("state", f"{bus.name} kept", bus.width)
