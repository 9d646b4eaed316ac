"""Machines put together from terms, without their text: for systems that no text would describe, and random ones."""

from random import Random

from ordain.control.model import Variable
from ordain.logic.narrowing import bits_read
from ordain.machine.expression import Leaf, LeafKind, Node, Terms
from ordain.machine.model import (
    Agent,
    Assumption,
    Condition,
    Field,
    Input,
    Load,
    Machine,
    Register,
    State,
    Store,
)
from ordain.prover.model import Property
from ordain.rom.contents import Contents, Site
from ordain.text.source import Source, Span

SPAN = Span(Source("by hand", ""), 0, 0)


class Bench:
    """A machine under construction. Every maker returns the leaf to be used in expressions."""

    def __init__(self) -> None:
        self.terms = Terms()
        self.states: dict[str, State] = {}
        self.registers: dict[str, Register] = {}
        self.inputs: dict[str, Input] = {}
        self.conditions: dict[str, Condition] = {}
        self.stores: dict[str, Store] = {}
        self.fields: dict[str, Field] = {}
        self.words: dict[str, tuple[int, ...]] = {}
        self.placed: dict[str, list[int]] = {}
        self.assumptions: list[Assumption] = []
        self.agents: dict[str, Agent] = {}

    def leaf(self, kind: LeafKind, name: str, width: int) -> Node:
        return self.terms.leaf(kind, name, width)

    def state(self, name: str, width: int, reset: int | None, values: int | None = None, agent: str = "") -> Node:
        codes = () if values is None else tuple(f"code{value}" for value in range(values))
        leaf = self.leaf("state", name, width)
        self.states[name] = State(name, width, codes, reset, leaf, agent, SPAN)
        if agent:
            self.agents[agent] = Agent(agent, "", SPAN)
        return leaf

    def next(self, name: str, node: Node) -> None:
        self.states[name] = self.states[name]._replace(next=node)

    def register(self, name: str, width: int, loads: list[tuple[Node | None, Node]], reset: int | None = 0,
                 latch: bool = False) -> Node:
        self.registers[name] = Register(name, width, tuple(Load(source, when) for source, when in loads), reset, latch,
                                        SPAN)
        return self.leaf("register", name, width)

    def input(self, name: str, width: int, values: int | None = None) -> Node:
        codes = () if values is None else tuple(f"code{value}" for value in range(values))
        self.inputs[name] = Input(name, width, codes, "", SPAN)
        return self.leaf("input", name, width)

    def condition(self, name: str, width: int = 1) -> Node:
        self.conditions[name] = Condition(name, width, None, SPAN)
        return self.leaf("condition", name, width)

    def store(self, name: str, address: Node, widths: dict[str, int], words: list[int],
              placed: list[int] | None = None) -> dict[str, Node]:
        """Fields from the highest bits down. Returns their leaves by name."""
        bits = sum(widths.values())
        top = bits
        for field, width in widths.items():
            self.fields[field] = Field(field, name, top - 1, top - width, "code", field.startswith("low_"), 0, (),
                                       (width - 1, 0), None, SPAN)
            top -= width
        self.stores[name] = Store(name, 1 << address.width, bits, address, address.width, "microprogram", None, None,
                                  None, 0, None, None, None, tuple(widths), SPAN)
        self.words[name] = tuple(words)
        self.placed[name] = list(range(len(words))) if placed is None else placed
        assert len(words) == 1 << address.width
        return {field: self.leaf("field", field, width) for field, width in widths.items()}

    def assume(self, node: Node) -> None:
        self.assumptions.append(Assumption(node, "", SPAN))

    def contents(self) -> Contents:
        machine = Machine("by_hand", "", (), self.stores, self.fields, {}, self.states, self.registers, self.inputs,
                          self.conditions, {}, {}, tuple(self.assumptions), None, {}, (), (), (), self.agents, (), (),
                          (), (), self.terms, SPAN)
        sites = {store: {address: Site(store, address, f"w{address}", "all", "", (), SPAN, self.words[store][address])
                         for address in placed} for store, placed in self.placed.items()}
        return Contents(machine, self.words, sites, {}, {})


# ---------------------------------------------------------------- random machines


class Dice:
    """Random terms over given leaves."""

    def __init__(self, random: Random, terms: Terms) -> None:
        self.random, self.terms = random, terms

    def bit(self, leaves: list[Node], depth: int = 2) -> Node:
        """A random condition."""
        terms, random = self.terms, self.random
        if depth == 0 or random.random() < 0.25:
            leaf = random.choice(leaves)
            if leaf.width == 1:
                return leaf if random.random() < 0.7 else terms.not_(leaf)
            values = frozenset(random.sample(range(1 << leaf.width), random.randint(1, (1 << leaf.width) - 1)))
            return terms.among(leaf, values)
        kind = random.randrange(7)
        if kind < 2:
            return terms.and_((self.bit(leaves, depth - 1), self.bit(leaves, depth - 1)))
        if kind < 4:
            return terms.or_((self.bit(leaves, depth - 1), self.bit(leaves, depth - 1)))
        if kind == 4:
            return terms.if_(self.bit(leaves, depth - 1), self.bit(leaves, depth - 1), self.bit(leaves, depth - 1))
        width = random.choice([leaf.width for leaf in leaves])
        a, b = self.vector(leaves, width, depth - 1), self.vector(leaves, width, depth - 1)
        return terms.less(a, b) if kind == 5 else terms.equal(a, b)

    def vector(self, leaves: list[Node], width: int, depth: int = 2) -> Node:
        terms, random = self.terms, self.random
        if width == 1:
            return self.bit(leaves, depth)
        same = [leaf for leaf in leaves if leaf.width == width]
        wide = [leaf for leaf in leaves if leaf.width > width]
        if depth == 0 or random.random() < 0.3:
            if same and random.random() < 0.8:
                return random.choice(same)
            if wide and random.random() < 0.5:
                leaf = random.choice(wide)
                low = random.randrange(leaf.width - width + 1)
                return terms.slice(leaf, low + width - 1, low)
            if random.random() < 0.5:
                return terms.join([self.vector(leaves, width - 1, 0), self.bit(leaves, 0)])
            return terms.const(random.randrange(1 << width), width)
        kind = random.randrange(6)
        a = self.vector(leaves, width, depth - 1)
        if kind == 0:
            return terms.add(a, terms.const(1, width))
        b = self.vector(leaves, width, depth - 1)
        if kind == 1:
            return random.choice([terms.xor, terms.sub, terms.add])(a, b)
        return terms.if_(self.bit(leaves, depth - 1), a, b)

    def choose(self, subject: Node, arms: list[Node]) -> Node:
        """By the value of the subject; the last arm for every further value."""
        result = arms[-1]
        for value, arm in list(enumerate(arms))[:-1]:
            result = self.terms.if_(self.terms.among(subject, frozenset((value,))), arm, result)
        return result

    def held_mostly(self, leaf: Node, value: Node, when: Node) -> Node:
        return self.terms.if_(when, value, leaf)


SEQUENCERS = ("counter", "slots", "delayed", "returning", "paged", "mapped", "lines", "nested")


def random_contents(random: Random, kinds: tuple[str, ...] = SEQUENCERS) -> tuple[Contents, list[Property]]:
    """A machine of one of several kinds of sequencer, with agents, flags, counters, latches; and questions about it.
    Small enough for a search over single states."""
    bench = Bench()
    terms, dice = bench.terms, Dice(random, bench.terms)
    kind = random.choice(kinds)
    a = random.choice([2, 3, 3])
    go = bench.input("go", 1)
    zero = bench.condition("zero")
    free = [go, bench.input("more", *random.choice([(1, None), (2, 3)])), zero, bench.input("one.press", 1)]
    widths = {"branch": 2, "target": a, "latch": 1, "grant": 1, "low_x": 1}
    words = [random.randrange(1 << sum(widths.values())) for _ in range(1 << a)]
    placed = sorted(random.sample(range(1 << a), random.randint(2, 1 << a)))
    words = [word if address in placed else words[0] for address, word in enumerate(words)]

    upc = bench.state("upc", a, random.choice([0, 0, 0, 1, None]))
    flag = bench.state("flag", 1, random.choice([0, 0, 1, None]))
    opcode = bench.state("opcode", 2, random.choice([0, None]), random.choice([None, 3]))
    control = [upc, flag]
    address = upc
    if kind == "slots":
        address = terms.join([opcode, terms.slice(upc, 0, 0)]) if a == 3 else terms.join([flag, terms.slice(upc, 1, 1)])
    elif kind == "lines":
        address, own = _with_lines(random, terms, upc, free)
        words = [words[at & own] if random.random() < 0.8 else word for at, word in enumerate(words)]
    elif kind == "delayed":
        address = bench.state("active", a, 0)
        control.append(address)
        bench.next("active", upc)
    fields = bench.store("control", address, widths, words, placed)
    branch, target = fields["branch"], fields["target"]
    if kind == "nested":  # a second word, found through the first
        fields |= bench.store("nano", terms.join([terms.slice(target, 1, 0), random.choice([fields["grant"], flag])]),
                              {"pulse": 1, "mask": 2}, [random.randrange(8) for _ in range(8)])

    mode = bench.state("one.mode", 2, 0, 3, "one")
    inside = [mode, bench.state("sync", 1, 0), bench.state("pending", 1, 0)]
    if random.random() < 0.4:
        inside.append(bench.state("two.mode", 2, random.choice([0, None]), random.choice([None, 3]), "two"))
    everything = [*control, opcode, *inside, *fields.values(), *free]
    if random.random() < 0.3:
        bus = bench.leaf("bus", "data", 2)
        free.append(bus)
        loads = [(bus, fields["latch"]), (opcode, dice.bit(list(fields.values()), 0))][:random.choice([1, 2])]
        everything += [bus, bench.register("trap", 2, loads, random.choice([0, None]), random.random() < 0.3)]

    on = terms.add(upc, terms.const(1, a))
    arms = [on, target, terms.if_(random.choice([zero, flag, *inside[1:3], dice.bit(everything, 1)]), target, on)]
    if kind == "mapped":
        by = random.choice([opcode, opcode, terms.join([flag, go]), terms.join([inside[1], flag])])
        entry = bench.store("entry", by, {"start": a, "extra": 1}, [random.randrange(1 << a + 1) for _ in range(4)])
        everything.append(entry["extra"])
        arms.append(entry["start"])
    elif kind == "returning":
        back = bench.state("back", a, 0)
        bench.next("back", terms.if_(fields["latch"], on, back))
        arms.append(back)
        everything.append(back)
    else:
        arms.append(random.choice([upc, terms.join([terms.slice(target, a - 1, 1), dice.bit(everything, 1)]),
                                   dice.vector(everything, a, 2)]))
    random.shuffle(arms)
    bench.next("upc", dice.choose(branch, arms))
    bench.next("flag", random.choice([terms.if_(fields["latch"], zero, flag), dice.bit(everything, 2),
                                      terms.if_(fields["latch"], dice.bit(everything, 2), flag)]))
    _move_the_rest(bench, random, dice, everything, fields, inside, opcode, go)
    for _ in range(random.choice([0, 0, 1, 2])):
        bench.assume(terms.or_((dice.bit(everything, 1), dice.bit([*inside, *free], 2))))
    return bench.contents(), random_properties(random, dice, everything)


def _with_lines(random: Random, terms: Terms, upc: Node, free: list[Node]) -> tuple[Node, int]:
    """An address of as many bits as the micro-address, some of them free in every cycle: inputs, coded ones, agents'
    inputs, conditions; and the mask of the others."""
    lines: list[Node] = []
    for line in random.sample(free, random.randint(1, 3)):
        if sum(one.width for one in (*lines, line)) <= upc.width:
            lines.append(line)
    left = upc.width - sum(line.width for line in lines)
    return terms.join([*lines, terms.slice(upc, left - 1, 0)] if left else lines), (1 << left) - 1


def _move_the_rest(bench: Bench, random: Random, dice: Dice, everything: list[Node], fields: dict[str, Node],
                   inside: list[Node], opcode: Node, go: Node) -> None:
    """How opcode, agents, synchroniser, pending request and counter move."""
    terms = bench.terms
    loaded = random.choice([opcode, terms.const(1, 2), terms.if_(go, terms.const(2, 2), terms.const(0, 2))])
    if not bench.states["opcode"].codes:
        loaded = random.choice([loaded, dice.vector(everything, 2, 2)])
    bench.next("opcode", terms.if_(random.choice([fields["low_x"], dice.bit(everything, 1)]), loaded, opcode))
    mode, press = inside[0], bench.leaf("input", "one.press", 1)
    bench.next("one.mode", dice.choose(mode, [
        terms.if_(press, terms.const(1, 2), mode),
        terms.if_(random.choice([fields["grant"], dice.bit(everything, 1)]), terms.const(2, 2), terms.const(1, 2)),
        terms.if_(dice.bit(everything, 1), terms.const(0, 2), mode)]))
    bench.next("sync", random.choice([terms.among(mode, frozenset((1, 2))), dice.bit(everything, 2)]))
    bench.next("pending", terms.and_((terms.or_((inside[2], go)), terms.not_(fields["latch"]))))
    if "two.mode" in bench.states:
        pick = [terms.const(0, 2), terms.const(1, 2), terms.const(2, 2), inside[-1]]
        if not bench.states["two.mode"].codes:
            pick.append(dice.vector(everything, 2, 1))
        bench.next("two.mode", terms.if_(dice.bit(everything, 2), random.choice(pick), random.choice(pick)))
    if random.random() < 0.4:
        count = bench.state("count", 2, 0)
        bench.next("count", terms.add(count, terms.const(1, 2)))
        everything.append(count)


def random_properties(random: Random, dice: Dice, leaves: list[Node]) -> list[Property]:
    terms = dice.terms
    properties = []
    for number in range(random.randint(1, 4)):
        kind = random.choice(["bad", "bad", "reach", "always", "within"])
        node = dice.bit(leaves, 2)
        if kind == "bad":
            node = terms.and_((node, dice.bit(leaves, 2)))
        made = Property(
            f"check {number}", "", kind, node,  # type: ignore[arg-type]
            trigger=dice.bit(leaves, 2) if kind == "within" else None, cycles=random.randrange(5),
            unless=dice.bit(leaves, 1) if kind == "within" and random.random() < 0.5 else None,
            vacuity=dice.bit(leaves, 1) if random.random() < 0.3 else None,
            per_word="control" if kind == "bad" and random.random() < 0.5 else "")
        properties.append(with_monitors(random, dice, leaves, made, number) if random.random() < 0.4 else made)
    return properties


def with_monitors(random: Random, dice: Dice, leaves: list[Node], asked: Property, number: int) -> Property:
    """The same property, asked only while some monitor agrees."""
    terms = dice.terms

    def bit(node: Node) -> Node:
        return node if node.width == 1 else terms.among(node, frozenset((1,)))

    monitors: tuple[Variable, ...] = ()
    match random.randrange(6):
        case 0:
            agrees = terms.prior(dice.bit(leaves, 2))
        case 1:
            agrees = terms.prior(terms.and_((dice.bit(leaves, 1), terms.prior(dice.bit(leaves, 1)))))
        case 2:
            some = random.choice(leaves)
            agrees = terms.equal(terms.prior(some), some)
        case 3:  # a window
            leaf = terms.leaf("state", f"window {number}", 1)
            following = terms.or_((terms.and_((leaf, terms.not_(dice.bit(leaves, 1)))), dice.bit(leaves, 1)))
            agrees, monitors = leaf, (Variable(f"window {number}", leaf, 2, 0, following, "monitor"),)
        case 4:  # a bit that turns over
            leaf = terms.leaf("state", f"turning {number}", 1)
            following = terms.xor(leaf, dice.bit(leaves, 1))
            reset = random.choice([0, 1, None])
            agrees, monitors = leaf, (Variable(f"turning {number}", leaf, 2, reset, following, "monitor"),)
        case _:  # a count of three
            leaf = terms.leaf("state", f"count {number}", 2)
            more = terms.if_(terms.among(leaf, frozenset((2,))), leaf, terms.add(leaf, terms.const(1, 2)))
            following = terms.if_(dice.bit(leaves, 1), more, terms.const(0, 2))
            agrees, monitors = bit(leaf), (Variable(f"count {number}", leaf, 3, 0, following, "monitor"),)
    vacuity = asked.vacuity
    if vacuity is not None and random.random() < 0.5:
        vacuity = terms.and_((vacuity, agrees))
    return asked._replace(node=terms.and_((asked.node, agrees)), monitors=monitors, vacuity=vacuity)


def random_journeys(random: Random, contents: Contents) -> list[Property]:
    """Several questions about what can still be reached, and when, of one machine; conditions are free, too."""
    machine, terms = contents.machine, contents.machine.terms
    dice = Dice(random, terms)
    leaves = [terms.leaf("field", name, field.width) for name, field in machine.fields.items()]
    leaves += [terms.leaf("input", name, given.width) for name, given in machine.inputs.items()]
    leaves += [terms.leaf("condition", name, condition.width) for name, condition in machine.conditions.items()]
    leaves += [terms.leaf("state", name, state.width) for name, state in machine.states.items()] * 2
    return [Property(f"journey {number}", "", kind, terms.and_((dice.bit(leaves, 1), dice.bit(leaves, 1))),
                     trigger=dice.bit(leaves, 1) if kind == "within" else None, cycles=random.randrange(6))
            for number, kind in enumerate(random.choices(("always", "reach", "within"), (4, 1, 1), k=6))]


def random_comparisons(random: Random, contents: Contents) -> list[Property]:
    """What is now against what was a cycle before: the same thing, or another of the same width."""
    machine, terms = contents.machine, contents.machine.terms
    dice = Dice(random, terms)
    leaves = [terms.leaf("state", name, state.width) for name, state in machine.states.items()]
    leaves += [terms.leaf("register", name, register.width) for name, register in machine.registers.items()]
    lines = [leaf for leaf in bits_read([machine.stores["control"].address])
             if type(leaf) is Leaf and leaf.kind in ("input", "condition")]
    leaves += lines * 2
    where = [*leaves, *(terms.leaf("field", name, field.width) for name, field in machine.fields.items())]
    properties = []
    for number in range(4):
        now = random.choice(leaves)
        before = terms.prior(random.choice([now, *(leaf for leaf in where if leaf.width == now.width)]))
        if random.random() < 0.3:
            now = random.choice([leaf for leaf in where if leaf.width == now.width])
        node = random.choice([terms.equal(before, now), terms.less(before, now), terms.not_(terms.equal(before, now)),
                              terms.slice(terms.xor(before, now), 0, 0)])
        for _ in range(random.choice([1, 2, 2] if now not in lines else [0, 0, 1])):
            node = terms.and_((node, dice.bit(where, 1)))
        properties.append(Property(f"comparison {number}", "", random.choice(["reach", "bad", "bad"]), node,
                                   vacuity=node if random.random() < 0.2 else None))
    return properties


def random_successions(random: Random, contents: Contents) -> list[Property]:
    """Conditions that must hold in cycles one after another, over words, agents and inputs alone."""
    machine, terms = contents.machine, contents.machine.terms
    dice = Dice(random, terms)
    leaves = [terms.leaf("field", name, field.width) for name, field in machine.fields.items()]
    leaves += [terms.leaf("input", name, given.width) for name, given in machine.inputs.items()]
    leaves += [terms.leaf("state", name, state.width) for name, state in machine.states.items() if state.agent]
    properties = []
    for number in range(4):
        node = dice.bit(leaves, 1)
        for _ in range(random.randint(1, 3)):
            node = terms.and_((dice.bit(leaves, 1), terms.prior(node)))
            if random.random() < 0.2:
                node = terms.and_((node, terms.prior(dice.bit(leaves, 1))))
            elif random.random() < 0.2:
                node = terms.prior(node)
            elif random.random() < 0.2:
                node = terms.and_((dice.bit(leaves, 1), terms.not_(terms.prior(node))))
        properties.append(Property(f"succession {number}", "", random.choice(["reach", "reach", "bad"]),
                                   node, vacuity=dice.bit(leaves, 1) if random.random() < 0.3 else None))
    return properties
