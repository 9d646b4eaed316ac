"""The machine model: what the hardware is, as data. Made by `machine.resolve`, read by every later stage.

Named tuples, for the reason given in `language.tree`. Dicts are in the order of the text. Names of what belongs to an
agent are dotted: `console.mode`. Every declaration has the place where it was made.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Literal, NamedTuple, Protocol, TypeAlias

from ordain.language import tree
from ordain.machine.expression import Node, Terms
from ordain.text.findings import Finding, error
from ordain.text.source import Span

LabelKind: TypeAlias = Literal["at", "in"]


class Code(NamedTuple):
    """A named code; for a field in its asserted sense (before `active low` turns it)."""

    name: str
    value: int
    span: Span


class Field(NamedTuple):
    """Bits `high` down to `low` of the word of `store`.

    `holds`: "code", "number", "address", "derived" or "spare". The value people speak of is the asserted one; the
    stored bits are its complement when `active_low`. `idle` is the asserted code when no order sets the field; "none":
    it must be set; "any": it does not matter; "following": the address of the next microinstruction. `address_bits`
    (high, low): which bits of the target's address an address field holds. `derived` is over the `word` leaf of the
    same store.
    """

    name: str
    store: str
    high: int
    low: int
    holds: Literal["code", "number", "address", "derived", "spare"]
    active_low: bool
    idle: int | Literal["none", "any", "following"]
    codes: tuple[Code, ...]
    address_bits: tuple[int, int]
    derived: Node | None
    span: Span

    @property
    def width(self) -> int:
        return self.high - self.low + 1

    @property
    def mask(self) -> int:
        """The bits of the word that belong to the field."""
        return ((1 << self.width) - 1) << self.low

    def read(self, word: int) -> int:
        """The asserted value in a stored word."""
        every = (1 << self.high - self.low + 1) - 1
        value = word >> self.low & every
        return value ^ every if self.active_low else value

    def write(self, value: int) -> int:
        """An asserted value as bits of the stored word."""
        return value << self.low ^ (self.mask if self.active_low else 0)


class Store(NamedTuple):
    """A control store, mapping store or decoder PROM.

    `address_width` is the width of `address`; `words` <= 2**address_width. `fill`: "microprogram" (words placed by the
    compiler), "start" (`word start of instruction`), "computed" (`word` an expression over its own `address` leaf's
    parts: `computed` is that expression, its free leaves are exactly those of `address`), "map" (filled by `map` rows).
    `instruction`, `step`: (high, low) bits of the address with that role, or None; `steps`: the numbers that the step
    goes through, in their order, empty where there is none. `opcode_width`: bits of an opcode,
    0 when the store has none. `starts_at` is over an `opcode` leaf, or None; `opcode`: what that leaf stands for.
    `unused` are the clauses for words in which nothing was placed; None: the erased cells show.
    """

    name: str
    words: int
    bits: int
    address: Node
    address_width: int
    fill: Literal["microprogram", "start", "computed", "map"]
    computed: Node | None
    instruction: tuple[int, int] | None
    step: tuple[int, int] | None
    opcode_width: int
    opcode: Node | None
    starts_at: Node | None
    unused: tuple[tree.Clause, ...] | None
    fields: tuple[str, ...]
    span: Span
    steps: tuple[int, ...] = ()


class Pin(NamedTuple):
    """One data pin. `bit` of the store's word, or None for a constant pin of level `level` (`spare`, 0, 1)."""

    bit: int | None
    inverted: bool
    level: int


class AddressPin(NamedTuple):
    """One address pin: `bit` of the store's address (inverted or not); or, with `bit` None, tied to `level`; or, with
    `level` None too, `any`: the same content for both levels."""

    bit: int | None
    inverted: bool
    level: int | None


class Bank(NamedTuple):
    """A part of a chip given to one store. `pins` and `address` are highest pin first."""

    store: str
    pins: tuple[Pin, ...]
    address: tuple[AddressPin, ...]
    repeats: bool
    span: Span

    def levels(self, word: int) -> str:
        """What the data pins read, highest first, while a word of the store is presented: 0 and 1."""
        return "".join([str(pin.level if pin.bit is None else (word >> pin.bit & 1) ^ pin.inverted)
                        for pin in self.pins])

    def cell(self, address: int) -> int:
        """The device address at which the word of a store address stands, pins that may be any at 0."""
        at = 0
        for pin in self.address:
            at = at << 1 | (pin.level or 0 if pin.bit is None else (address >> pin.bit & 1) ^ pin.inverted)
        return at


class Chip(NamedTuple):
    """`words` x `bits`; `erased` is the level of an erased cell (0 or 1); `technology`: "uv", "once", "eeprom",
    "flash" (with `sector` words) as far as the file says, else ""."""

    name: str
    words: int
    bits: int
    erased: int
    technology: str
    sector: int
    banks: tuple[Bank, ...]
    span: Span


class Clock(NamedTuple):
    """What the machine's registers, latches and states move with. `moves`: at the end of which phase they do, by
    number, where nothing else is said of them. `held`: while this is 1 the clock stands still; None: it never does.

    `steps`: how many steps of the machine's expressions make up a cycle. 1: nothing depends on phases, a step is a
    cycle. Else as many as there are phases: a state of the clock's name says which one it is, and whatever moves with a
    phase has that in its `next` or in the conditions of its loads. All lengths of time in the model are in steps."""

    name: str
    phases: tuple[str, ...]
    moves: int
    held: Node | None
    steps: int
    span: Span


class State(NamedTuple):
    """`reset` None: any value. `codes` are the names of enumerated values (0, 1, ...), empty for plain vectors; an
    enumerated state never has a value beyond its codes. `agent` is "" for the machine's own."""

    name: str
    width: int
    codes: tuple[str, ...]
    reset: int | None
    next: Node
    agent: str
    span: Span


class Load(NamedTuple):
    """`source`: what is loaded, None when unspecified; a `bus` leaf when it comes from a bus."""

    source: Node | None
    when: Node


class Register(NamedTuple):
    """Data. It changes only at the end of a cycle in which a load's `when` is 1 (`transparent`: a latch, which changes
    during that cycle). Proofs track its value only where control reads it, and then as an unknown value after a load
    from a bus or an untracked source. `reset` None: any value."""

    name: str
    width: int
    loads: tuple[Load, ...]
    reset: int | None
    transparent: bool
    span: Span


class Write(NamedTuple):
    """At the end of a cycle in which `when` is 1, the word at the memory's address becomes `source`."""

    source: Node
    when: Node


class Memory(NamedTuple):
    """Words that programs read and write; proofs of control take anything for what is read, a `free` leaf of its name.

    `address_width` is the width of `address`; `words` <= 2**address_width, beyond them nothing is read. `holds`: "" for
    contents that nobody knows at power-up, "zeros", or a file, whose first word stands at `offset`."""

    name: str
    words: int
    bits: int
    address: Node
    writes: tuple[Write, ...]
    holds: Literal["", "zeros"] | tree.Text
    offset: int
    span: Span


class Effect(NamedTuple):
    """What an instruction does to a register, a state or a word of a memory, over what they held before it.

    `address`: of a memory's word; None for what is no memory, and for a whole memory of which nothing is known any
    more. `high`, `low`: the bits that it changes. `value` None: nothing is said of what they become."""

    name: str
    kind: Literal["register", "state", "memory"]
    address: Node | None
    high: int
    low: int
    value: Node | None
    when: Node
    span: Span


class Rounds(NamedTuple):
    """Effects that are done again and again while `when` holds, each time over what the time before left. `stopped`: it
    may end after any round, and then does this too; None: it may not."""

    when: Node
    effects: tuple[Effect, ...]
    stopped: tuple[Effect, ...] | None


class Meaning(NamedTuple):
    """What an instruction does, as its text says. Of two effects on one place the later counts. What is visible and not
    named stays as it was. With `rounds` there are no other effects."""

    effects: tuple[Effect, ...]
    span: Span
    rounds: Rounds | None = None


class Input(NamedTuple):
    name: str
    width: int
    codes: tuple[str, ...]
    agent: str
    span: Span


class Condition(NamedTuple):
    """Free in proofs. `value` is what is computed when a program is run, or None."""

    name: str
    width: int
    value: Node | None
    span: Span


class Signal(NamedTuple):
    """A name for an expression; uses of it are already replaced by `value` everywhere."""

    name: str
    value: Node
    agent: str
    span: Span


class Assumption(NamedTuple):
    condition: Node
    text: str
    span: Span


class Driver(NamedTuple):
    """`when` is constant 1 for `always`. `follows`: a bus, or "". `steady`: while this is 1, what it drives is promised
    not to change; None: no promise. `kind`: what the name is: "register", "state", "store", "memory", "agent" or
    "part". `value`: what it puts on the bus, where the line says it; proofs take what is data for anything."""

    name: str
    when: Node
    follows: str
    steady: Node | None
    kind: Literal["register", "state", "store", "memory", "agent", "part"]
    span: Span
    value: Node | None = None


class Sampler(NamedTuple):
    name: str
    when: Node
    span: Span


Undriven: TypeAlias = Literal["floats", "pulled-high", "pulled-low", "kept", "wired-and", "wired-or", "multiplexed"]
"""What a bus does while nobody drives it, or how many may."""


class Bus(NamedTuple):
    name: str
    width: int
    undriven: Undriven
    turnaround: int
    drivers: tuple[Driver, ...]
    samplers: tuple[Sampler, ...]
    span: Span


class SteadyNeed(NamedTuple):
    bus: str
    before: int
    after: int
    span: Span


class Strobe(NamedTuple):
    name: str
    active: Node
    needs: tuple[SteadyNeed, ...]
    span: Span


class Keep(NamedTuple):
    """`names` are registers, latches and states."""

    names: tuple[str, ...]
    condition: Node
    text: str
    span: Span


class Exclusive(NamedTuple):
    names: tuple[str, ...]
    signals: tuple[Node, ...]
    span: Span


class Agent(NamedTuple):
    name: str
    title: str
    span: Span


class Part(NamedTuple):
    """A part of a condition, with its source text."""

    text: str
    condition: Node


class Never(NamedTuple):
    """`parts`: A and B of `never A and B`, as they are written; none where it is not written as an `and`."""

    condition: Node
    parts: tuple[Part, ...] = ()


class Reach(NamedTuple):
    condition: Node
    always: bool


class WhenThen(NamedTuple):
    """After every cycle with `trigger`, `response` holds in that cycle or one of the `cycles` next ones, or `unless`
    (const 0 when not given) has held by then."""

    trigger: Node
    response: Node
    cycles: int
    unless: Node


class BetweenNever(NamedTuple):
    """From a cycle with `start` up to the next later cycle with `end`: after a cycle with `after` (const 1 when not
    given) inside, `forbidden` does not hold."""

    start: Node
    end: Node
    forbidden: Node
    after: Node


class AfterNever(NamedTuple):
    """After a cycle with `start`, `forbidden` does not hold until a cycle with `until`."""

    start: Node
    forbidden: Node
    until: Node


class Rule(NamedTuple):
    """`text` is the quoted name of the rule, `source` its form as written."""

    text: str
    source: str
    form: Never | Reach | WhenThen | BetweenNever | AfterNever
    span: Span


class Allowance(NamedTuple):
    """`check` names a check; `on` a bus or other name, "" for any; `at` a label or routine, "" for any."""

    check: str
    on: str
    at: str
    reason: str
    span: Span


class Order(NamedTuple):
    """The phrase (words and holes) and what it sets, as written; fields are known to exist, codes to be defined."""

    phrase: tuple[tree.Word | tree.Hole, ...]
    settings: tuple[tree.Setting, ...]
    span: Span


class LowerText(Protocol):
    """Makes a term of an expression that stands outside the machine file, and says what is wrong with it. `labels`:
    whether it may know labels; `condition`: whether it has to be one, else it may have any width."""

    def __call__(self, expr: tree.Expr, labels: bool, condition: bool = True) -> tuple[Node | None, list[Finding]]: ...


def _no_names(expr: tree.Expr, labels: bool, condition: bool = True) -> tuple[Node | None, list[Finding]]:
    return None, [error("unknown-name", "this machine has no names", expr.span)]


Understand: TypeAlias = Callable[[tree.Meaning, "Mapping[str, tree.Effects]"], "tuple[Meaning | None, list[Finding]]"]
"""Makes a meaning of its text, with the effects that it may call by name, and says what is wrong with it."""


def _no_meaning(text: tree.Meaning, effects: "Mapping[str, tree.Effects]") -> "tuple[Meaning | None, list[Finding]]":
    return None, [error("unknown-name", "this machine has no names", text.span)]


Released: TypeAlias = "Callable[[], Machine]"
"""Makes the machine as it is while nothing holds its clock."""


def _never_held() -> "Machine":
    raise ValueError("a machine that was put together without a clock")


class Component(NamedTuple):
    """A part of the board. `pins`: (name, number of the package)."""

    name: str
    type: str
    pins: tuple[tuple[str, int], ...]
    span: Span


class Wire(NamedTuple):
    """The net `name`, or its bits `low` up to `low + width - 1` (None: all `width` of them), touches `pins`: (part,
    pins), the pin of the highest bit first. `kind`: what it is: "field", "signal", "bus" ..."""

    name: str
    low: int | None
    width: int
    kind: str
    pins: tuple[tuple[str, tuple[str, ...]], ...]
    span: Span


class BoardLine(NamedTuple):
    """A line of the board that can be seen: its name as people write it, `upc[9]`, and the level on it, 1 bit. Of an
    active low field that is the level as stored, 0 while it is asserted."""

    name: str
    level: Node


class Lamp(NamedTuple):
    """`lit`: 1 bit, over the machine's leaves. An active low lamp is lit while its line is 0."""

    line: BoardLine
    lit: Node


class LampRow(NamedTuple):
    """The lamps from left to right; None: a place without one."""

    title: str
    lamps: tuple[Lamp | None, ...]
    active_low: bool
    span: Span


class Probe(NamedTuple):
    channel: str
    line: BoardLine


class ProbeSet(NamedTuple):
    """How an analyzer is clipped on. `clock`: the channel at the clock, "" where none is; `edge`: at which edge states
    change, "" where that is not said."""

    name: str
    title: str
    probes: tuple[Probe, ...]
    clock: str
    edge: Literal["rising", "falling", ""]
    span: Span


class Machine(NamedTuple):
    """Everything the machine file says. `terms` made all its expressions.

    `labels` are the names used by `at` and `in` leaves, checked against the microprogram when that is compiled:
    (kind, name, place). `home` may hold an `at` leaf; None when the file says none; `home_name` is the name alone that
    was taken for a condition, since something in the machine is called so. `broken`: names whose declaration,
    or whose line in a bus, has been reported; a use of them is nobody's further fault. `lower` reads the conditions of
    arms, as those of the machine file were read; `understand` reads the meanings of instructions.
    """

    name: str
    title: str
    microprogram: tuple[tree.Text, ...]
    stores: dict[str, Store]
    fields: dict[str, Field]
    chips: dict[str, Chip]
    states: dict[str, State]
    registers: dict[str, Register]
    inputs: dict[str, Input]
    conditions: dict[str, Condition]
    signals: dict[str, Signal]
    constants: dict[str, int]
    assumptions: tuple[Assumption, ...]
    home: Node | None
    buses: dict[str, Bus]
    strobes: tuple[Strobe, ...]
    keeps: tuple[Keep, ...]
    exclusives: tuple[Exclusive, ...]
    agents: dict[str, Agent]
    rules: tuple[Rule, ...]
    allowances: tuple[Allowance, ...]
    orders: tuple[Order, ...]
    labels: tuple[tuple[LabelKind, str, Span], ...]
    terms: Terms
    span: Span
    broken: frozenset[str] = frozenset()
    lower: LowerText = _no_names
    understand: Understand = _no_meaning
    clock: Clock | None = None
    released: Released = _never_held
    components: Mapping[str, Component] = MappingProxyType({})
    wires: tuple[Wire, ...] = ()
    memories: Mapping[str, Memory] = MappingProxyType({})
    visible: tuple[str, ...] = ()
    lamps: tuple[LampRow, ...] = ()
    probes: Mapping[str, ProbeSet] = MappingProxyType({})
    home_name: tree.Word | None = None

    @property
    def steps(self) -> int:
        """How many steps of its expressions make up a cycle."""
        return 1 if self.clock is None else self.clock.steps
