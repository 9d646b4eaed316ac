"""Syntax trees of machine and microprogram files. Every node has a place.

Nodes are named tuples: as frozen as a frozen dataclass, but the class costs 0.05 ms at import instead of
0.33 ms, and a cold `ordain build` has to load all of them.
"""

from typing import Literal, NamedTuple, TypeAlias, Union

from ordain.text.source import Span

# ---------------------------------------------------------------- names and expressions


OPERATORS = frozenset({"if", "else", "or", "xor", "and", "not", "is", "in"})
"""Words that are operators wherever they stand in an expression, and so cannot be names."""
FUNCTIONS = frozenset({"and", "or", "xor"})
"""Those of them that can be codes: what an arithmetic unit does is called so."""


class Word(NamedTuple):
    """An identifier as written; dotted (`console.mode`) where the grammar allows it."""

    text: str
    span: Span


class Number(NamedTuple):
    """A number. `digits_width` is the width its digits say (`0b010`: 3, `0x2F`: 8), None for a decimal."""

    value: int
    digits_width: int | None
    span: Span


class Text(NamedTuple):
    """A quoted string, without its quotes."""

    text: str
    span: Span


class Not(NamedTuple):
    operand: "Expr"
    span: Span


class Infix(NamedTuple):
    """`operator` is one of: and or xor is is-not < <= > >= + -"""

    operator: str
    left: "Expr"
    right: "Expr"
    span: Span


class Among(NamedTuple):
    """`operand in (a, b)`; `negated` for `not in`."""

    operand: "Expr"
    choices: "tuple[Expr, ...]"
    negated: bool
    span: Span


class Slice(NamedTuple):
    """`operand[high:low]`; `operand[3]` has high == low."""

    operand: "Expr"
    high: int
    low: int
    span: Span


class Element(NamedTuple):
    """`memory[pc + 1]`: the word of a memory at an address, in meanings of instructions. What reads as a slice too, as
    `memory[3]`, is a `Slice` until it is known whether a memory has the name."""

    memory: "Word"
    address: "Expr"
    span: Span


class Join(NamedTuple):
    """`{a, b}`; left is high."""

    parts: "tuple[Expr, ...]"
    span: Span


class If(NamedTuple):
    """`yes if condition else no`"""

    condition: "Expr"
    yes: "Expr"
    no: "Expr"
    span: Span


class Case(NamedTuple):
    """One line of a `choose`: the codes (names or numbers) and the value."""

    codes: "tuple[Word | Number, ...]"
    value: "Expr"
    span: Span


class Choose(NamedTuple):
    """`choose subject` with its cases; `otherwise` is None when it is not given."""

    subject: "Expr"
    cases: tuple[Case, ...]
    otherwise: "Expr | None"
    span: Span


class At(NamedTuple):
    """`at LABEL`: the control address is the label's. Also `at "load a, n"`: at the first word of that instruction."""

    label: "Word | Text"
    span: Span


class In(NamedTuple):
    """`in ROUTINE`, `in "load a, n"`: the control address is one of that routine's or instruction's words."""

    routine: "Word | Text"
    span: Span


class Prior(NamedTuple):
    """`prior(X)`: X one cycle before, 0 in the first."""

    operand: "Expr"
    span: Span


class Parity(NamedTuple):
    """`parity(X)` (1 when X has an odd number of ones), or `even parity of X` / `odd parity of X`.

    `kind` "sum": the sum modulo 2. "even": the bit that makes the whole even, which is that sum. "odd": its inverse.
    """

    kind: Literal["sum", "even", "odd"]
    operand: "Expr"
    span: Span


Expr: TypeAlias = Union[Word, Number, Not, Infix, Among, Slice, Element, Join, If, Choose, At, In, Prior, Parity]

# ---------------------------------------------------------------- the machine file


class MachineHeader(NamedTuple):
    name: Word
    title: Text | None
    span: Span


class Microprogram(NamedTuple):
    """`microprogram "a.micro", "b.micro"`"""

    files: tuple[Text, ...]
    span: Span


class StartOfInstruction(NamedTuple):
    """`word start of instruction`: the mapping store holds where the instruction of this opcode starts."""

    span: Span


class Store(NamedTuple):
    """`store control 1024 words of 40 bits` and its block.

    `unused` are the clauses of the word put where nothing was placed. `instruction` and `step` name the parts of
    the address with these roles; `steps`: the numbers that the step goes through, in their order, where they are said.
    `starts_at`: the start address as an expression over the instruction's opcode.
    """

    name: Word
    words: Number
    bits: Number
    address: Expr | None
    unused: "tuple[Clause, ...] | None"
    instruction: Expr | None
    step: Expr | None
    steps: tuple[Number, ...]
    word: "Expr | StartOfInstruction | None"
    starts_at: Expr | None
    span: Span


class Code(NamedTuple):
    """A named code of a field or state; `idle`: the code a field takes when no order sets it."""

    name: Word
    value: Number
    idle: bool
    span: Span


class Field(NamedTuple):
    """A field of the nearest store above it in the text.

    `holds`: "code" (named codes or a flag), "number" or "address"; `address_bits` is (high, low) for
    `address[9:2]`: only those bits of the target's address are held. `idle`: a number, the name of a code, "any",
    "following" or None. `at` is (high, low) for `at [hi:lo]`. `derived` is the expression of a computed field.
    """

    name: Word
    width: Number
    holds: Literal["code", "number", "address"]
    address_bits: tuple[int, int] | None
    active_low: bool
    idle: "Number | Word | Literal['any', 'following'] | None"
    at: tuple[int, int] | None
    derived: Expr | None
    codes: tuple[Code, ...]
    span: Span


class Spare(NamedTuple):
    """`spare 3 bits`, `spare 3 bits ones`: bits that nothing uses."""

    width: Number
    ones: bool
    span: Span


class Bank(NamedTuple):
    """What a part of a chip holds. `pins`: data pins left (highest) to right, expressions over store bits, `spare`,
    0 or 1, possibly under `not`. `address`: address pins left (highest) to right, expressions over the store's
    address parts, the word `address`, constants, `any`, possibly under `not`. `repeats`: the bits stand elsewhere
    too."""

    pins: tuple[Expr, ...]
    address: Expr | None
    repeats: bool
    span: Span


class Chip(NamedTuple):
    """`chip U21 32768 x 8` and its block. `erased`: the level of an erased cell. `technology` as written, or None."""

    name: Word
    words: Number
    bits: Number
    banks: tuple[Bank, ...]
    erased_ones: bool
    technology: Word | None
    span: Span


OWN_CLOCK, OSCILLATOR = "own clock", "oscillator"
"""What something can be `on` beside the clock and its phases."""


class Clock(NamedTuple):
    """`clock clk (first, second)`; `moves` and `held` are the lines of its block, None where they are not said."""

    name: Word
    phases: tuple[Word, ...]
    moves: Word | None
    held: Expr | None
    span: Span


class Declared(NamedTuple):
    """One name and width of an `input` line. `on`, here and below: what it moves with, as written (`second`,
    `own clock`); None where nothing is said."""

    name: Word
    width: int
    codes: tuple[Word, ...]
    span: Span
    on: Word | None = None


class Inputs(NamedTuple):
    """`input want 1 bit, press 1 bit`"""

    names: tuple[Declared, ...]
    span: Span


class State(NamedTuple):
    """`state upc 10 bits, reset 0` or `state mode (idle, busy), reset idle`; `reset` is None for `reset any`."""

    name: Word
    width: Number | None
    codes: tuple[Word, ...]
    reset: Number | Word | None
    next: Expr | None
    span: Span
    on: Word | None = None


class Register(NamedTuple):
    """`register mar 16 bits, loads data_path when load is mar`; `latch ...` has transparent True.

    A register may have several `loads X when Y` parts. `reset` None: any value at power-up."""

    name: Word
    width: Number
    loads: "tuple[Load, ...]"
    reset: Number | None
    transparent: bool
    span: Span
    on: Word | None = None


class Load(NamedTuple):
    """`loads SOURCE when CONDITION`; SOURCE None: an unspecified value (`changes when CONDITION`)."""

    source: Expr | None
    when: Expr
    span: Span


class Write(NamedTuple):
    """`writes SOURCE when CONDITION`"""

    source: Expr
    when: Expr
    span: Span


class Memory(NamedTuple):
    """`memory ram 2048 words of 8 bits` and its block. `holds`: what is in it at power-up, "zeros" or a file, whose
    first word stands at `offset`; None: nobody knows."""

    name: Word
    words: Number
    bits: Number
    address: Expr | None
    writes: tuple[Write, ...]
    holds: 'Text | Literal["zeros"] | None'
    offset: Number | None
    span: Span


class Visible(NamedTuple):
    """`visible NAME, NAME`: what a programmer can see."""

    names: tuple[Word, ...]
    span: Span


class Condition(NamedTuple):
    """`condition zero 1 bit = alu is 0`; in proofs it is free."""

    name: Word
    width: Number
    value: Expr | None
    span: Span


class Signal(NamedTuple):
    name: Word
    value: Expr
    span: Span


class Constant(NamedTuple):
    name: Word
    value: Expr
    span: Span


class Assume(NamedTuple):
    condition: Expr
    span: Span


class Home(NamedTuple):
    """`home fetch` (a label) or `home step is 0` (a condition)."""

    where: Expr
    span: Span


class Driver(NamedTuple):
    """`driven by NAME = VALUE when CONDITION, follows BUS, steady while CONDITION`; `when` None: always; `value`: what
    it puts there, None where its name says it or nobody does."""

    name: Word
    when: Expr | None
    follows: Word | None
    steady: Expr | None
    span: Span
    value: Expr | None = None


class Sampler(NamedTuple):
    name: Word
    when: Expr | None
    span: Span


class Bus(NamedTuple):
    """`undriven`: floats, pulled-high, pulled-low, kept, wired-and, wired-or, multiplexed. `in_phases`: the turnaround
    is a number of phases."""

    name: Word
    width: Number
    undriven: str
    turnaround: int
    drivers: tuple[Driver, ...]
    samplers: tuple[Sampler, ...]
    span: Span
    in_phases: bool = False


class SteadyNeed(NamedTuple):
    """`address steady 1 cycle before, 1 cycle after`; `in_phases`: the sides that are said in phases."""

    bus: Word
    before: int
    after: int
    span: Span
    in_phases: frozenset[str] = frozenset()


class Strobe(NamedTuple):
    """`strobe NAME` (a signal) with the buses that it needs steady."""

    name: Word
    needs: tuple[SteadyNeed, ...]
    span: Span
    on: Word | None = None


class Keep(NamedTuple):
    names: tuple[Word, ...]
    condition: Expr
    span: Span


class Exclusive(NamedTuple):
    signals: tuple[Expr, ...]
    span: Span


class Agent(NamedTuple):
    name: Word
    title: Text | None
    inputs: tuple[Inputs, ...]
    states: tuple[State, ...]
    signals: tuple[Signal, ...]
    assumes: tuple[Assume, ...]
    span: Span
    on: Word | None = None


class Never(NamedTuple):
    condition: Expr


class Reach(NamedTuple):
    condition: Expr
    always: bool


class WhenThen(NamedTuple):
    """`when P then Q within N cycles [unless R]`; `in_phases`: N is a number of phases."""

    trigger: Expr
    response: Expr
    cycles: int
    unless: Expr | None
    in_phases: bool = False


class BetweenNever(NamedTuple):
    """`between P and Q never R [after S]`"""

    start: Expr
    end: Expr
    forbidden: Expr
    after: Expr | None


class AfterNever(NamedTuple):
    """`after P never Q until R`"""

    start: Expr
    forbidden: Expr
    until: Expr


RuleForm: TypeAlias = Union[Never, Reach, WhenThen, BetweenNever, AfterNever]


class Rule(NamedTuple):
    text: Text
    form: RuleForm
    span: Span


class Allow(NamedTuple):
    """`allow CHECK [on NAME] [at LABEL] "reason"`"""

    check: Word
    on: Word | None
    at: Word | None
    reason: Text
    span: Span


class Hole(NamedTuple):
    """`<there>`, a part of a phrase that a call fills in."""

    name: str
    span: Span


class Cut(NamedTuple):
    """`<n>[7:4]`, bits of a number that a call fills in."""

    hole: Hole
    high: int
    low: int
    span: Span


Rest = Literal["zeros", "page", "part"]
"""The address bits that a field does not hold: zeros, those of the word's own address, or what the hardware has from
elsewhere."""


class Address(NamedTuple):
    """A value that is an address: `pair(a, b)`, `table(a, b, c, d)`, `page(a)`, `part(a)`, `following`.

    `kind` "following" has no labels. `rest`: what the address bits have to be that the field does not hold."""

    kind: Literal["label", "pair", "table", "following"]
    labels: "tuple[Word | Hole | Number, ...]"
    rest: Rest
    span: Span


class Setting(NamedTuple):
    """`memory_op read`, `target <there>`, `test zero`, or an order's own phrase inside an order (`value` None: a flag).

    In an order, a part may be just a flag field (`drive_address`): value None."""

    field: Word
    value: "Word | Number | Hole | Cut | Address | None"
    span: Span


class Order(NamedTuple):
    """`order if zero goto <there>: branch if_zero, target <there>`"""

    phrase: "tuple[Word | Hole, ...]"
    settings: tuple[Setting, ...]
    span: Span


class Component(NamedTuple):
    """`part U4 "74LS138"`, its pins with the numbers of the package below it."""

    name: Word
    type: Text | None
    pins: tuple[tuple[Word, Number], ...]
    span: Span


class Pins(NamedTuple):
    """Pins of one part, that of the highest bit first: `U4.{C, B, A}`, `U7.D[7:0]`, `U4.Y1`."""

    part: str
    pins: tuple[str, ...]
    span: Span


class Wire(NamedTuple):
    """`wire NET at PINS, PINS`: `net` is a name or bits of it."""

    net: Expr
    pins: tuple[Pins, ...]
    span: Span


class Lamps(NamedTuple):
    """`lamps "TITLE"` and the lines that its lamps show, from left to right: a name, bits of one, either under `not`;
    the name `blank` where there is no lamp."""

    title: Text
    active_low: bool
    lines: tuple[Expr, ...]
    span: Span


class Channels(NamedTuple):
    """Channels of an analyzer, that of the highest bit first: `D3`, `D[9:0]`, `{D3, D5}`, `"CH 7"`."""

    names: tuple[str, ...]
    span: Span


class Clip(NamedTuple):
    """What some channels are clipped to."""

    channels: Channels
    line: Expr


class ClockClip(NamedTuple):
    """`clock CHANNEL [rising|falling]`; `edge` "": not said."""

    channels: Channels
    edge: Literal["rising", "falling", ""]


class Probes(NamedTuple):
    """`probes NAME` and its block: which channel of an analyzer is clipped to what."""

    name: Word
    title: Text | None
    clocks: tuple[ClockClip, ...]
    clips: tuple[Clip, ...]
    span: Span


MachineStatement: TypeAlias = Union[
    MachineHeader, Microprogram, Store, Field, Spare, Chip, Clock, Inputs, State, Register, Condition, Signal, Constant,
    Assume, Home, Bus, Strobe, Keep, Exclusive, Agent, Rule, Allow, Order, Component, Wire, Memory, Visible, Lamps,
    Probes,
]


class MachineFile(NamedTuple):
    """All statements of the machine file and of its includes, in order; includes are already read in.

    `unread`: every name on lines that could not be read. They have their finding; that such a name is not known later
    on is its echo, not a fault of its own.
    """

    statements: tuple[MachineStatement, ...]
    sources: "tuple[SourceFile, ...]"
    unread: frozenset[str] = frozenset()


class SourceFile(NamedTuple):
    """A file that was read: its shown name and the SHA-256 of its bytes, for the manifest."""

    name: str
    sha256: str


# ---------------------------------------------------------------- the microprogram


class Transfer(NamedTuple):
    """`ir <- memory via BUS`; offsets are relative to the clause."""

    target: str
    source: str
    via: str | None


class Phrase(NamedTuple):
    """The words of an order, setting or sequence call. Each part is a name, an int, or an Address-like call
    (`pair(a, b)`); which of the three it is gets decided against the machine."""

    parts: "tuple[PhrasePart, ...]"


class PhrasePart(NamedTuple):
    """`start`, `end`: offsets in the clause text. `call`: the arguments when written as NAME(a, b)."""

    text: str
    number: int | None
    call: tuple[str, ...] | None
    start: int
    end: int


class ClauseError(NamedTuple):
    """The clause text does not parse, which is reported already; `offset` is relative to the clause."""

    message: str
    offset: int


ClauseMeaning: TypeAlias = Union[Transfer, Phrase, ClauseError]


class Clause(NamedTuple):
    """One comma-separated item of a microinstruction, `text` stripped at its ends. Offsets in `meaning` are relative to
    the start of `text`; equal texts share one `meaning` object, so work done per distinct meaning can be cached by
    `text`. In a clause made by substitution offsets past the end of the span are cut to it."""

    text: str
    meaning: ClauseMeaning
    source_span: Span


class Micro(NamedTuple):
    """One microinstruction. A word that came from a sequence has its text in the sequence and `called_from` at the
    line that called it; a family member's word has the substituted text and the place of the family's line."""

    label: Word | None
    clauses: tuple[Clause, ...]
    span: Span
    called_from: Span | None = None


class Arm(NamedTuple):
    """`when CONDITION` or `otherwise` (condition None) and the words below it. `text`: the line as it is read, holes
    filled."""

    condition: Expr | None
    body: "tuple[MicroLine, ...]"
    span: Span
    text: str


class When(NamedTuple):
    """Adjacent arms: the word is chosen by address lines."""

    arms: tuple[Arm, ...]
    span: Span


MicroLine: TypeAlias = Union[Micro, When]


class PlaceConstraint(NamedTuple):
    """`at 0x3F0`, `align 4`, `same page 256` on a routine or instruction header, each optional."""

    at: Number | Word | None
    align: int | None
    same_page: int | None


class Routine(NamedTuple):
    """`store` is given with `routine NAME in STORE` where a machine has several microprogrammed stores."""

    name: Word
    store: Word | None
    constraint: PlaceConstraint
    body: tuple[MicroLine, ...]
    span: Span


class OpcodePattern(NamedTuple):
    """`0b01xx0110`, `0x3A`: `value` under `mask`. Bits that are 0 in `mask` are `x`, any value; all bits above those
    written are 1 in it, so it is negative: an opcode fits when `opcode & mask == value`."""

    value: int
    mask: int
    span: Span


class Bits(NamedTuple):
    """`[7:0]`, `[3]` behind what is changed."""

    high: int
    low: int


class Effect(NamedTuple):
    """`acc <- acc + n`, `flags[0] <- undefined when C`, `memory[sp] <- acc`, in the meaning of an instruction.

    `place`: what stands in square brackets behind the target: the address of a memory's word, or bits.
    `value` None: nothing is said of what it becomes. `when` None: always."""

    target: Word
    place: "Expr | Bits | None"
    value: Expr | None
    when: Expr | None
    span: Span


class Let(NamedTuple):
    """`let nn = {memory[pc + 1], memory[pc]}`: a name for a value, for what comes after it."""

    name: Word
    value: Expr
    span: Span


class Invoke(NamedTuple):
    """`add(memory[pc])`: the effects that are called so, with these values for its names."""

    name: Word
    arguments: tuple[Expr, ...]
    when: Expr | None
    span: Span


EffectItem: TypeAlias = Union[Effect, Let, Invoke]


class Effects(NamedTuple):
    """`effect add(n)` and what is indented under it."""

    name: Word
    parameters: tuple[Word, ...]
    items: tuple[EffectItem, ...]
    span: Span


class Rounds(NamedTuple):
    """`means while C: ...` and `means stopped: ...`, None where it cannot be stopped between two rounds."""

    condition: Expr
    items: tuple[EffectItem, ...]
    stopped: tuple[EffectItem, ...] | None


class Meaning(NamedTuple):
    """The `means` lines of an instruction; of the words `means nothing` there are no items."""

    items: tuple[EffectItem, ...]
    span: Span
    rounds: Rounds | None = None


class Instruction(NamedTuple):
    """One instruction, or one member of a family (families are expanded by the language: `language.expansion`).

    `patterns` is empty for `instruction others`. `title` is the member's own: "load acc, n" for "load {d}, n".
    `family` is the title as written for members of a family, else None."""

    patterns: tuple[OpcodePattern, ...]
    title: Text
    family: str | None
    constraint: PlaceConstraint
    body: tuple[MicroLine, ...]
    span: Span
    meaning: Meaning | None = None


class Prologue(NamedTuple):
    """Words at the first steps of every instruction."""

    body: tuple[MicroLine, ...]
    span: Span


class MapRow(NamedTuple):
    """`0x2B, 0x2F : store_write`; `patterns` is empty for `others`."""

    patterns: tuple[OpcodePattern, ...]
    target: Word
    span: Span


class Map(NamedTuple):
    """`map NAME`: rows of the mapping store of that name."""

    store: Word
    rows: tuple[MapRow, ...]
    span: Span


MicroStatement: TypeAlias = Union[Routine, Instruction, Prologue, Map, Effects]


class MicroFile(NamedTuple):
    """All statements of the microprogram's files, in the order named; sequences and families are expanded. `unread` as
    in `MachineFile`, of headers and map rows."""

    statements: tuple[MicroStatement, ...]
    sources: tuple[SourceFile, ...]
    unread: frozenset[str] = frozenset()


class InputSetting(NamedTuple):
    """What an input is set to; of several `values` the next one each time."""

    name: Word
    values: tuple[Word | Number, ...]


class Doing(NamedTuple):
    """A line of a script: what hands and guests do while a machine runs.

    `begins`: "start", "cycle" or "every" (`number` says which), "when" or "while" (`condition`). `lasts`: for how many
    `unit`s, 0 where that is not said; `until`: the condition with which it ends."""

    begins: Literal["start", "cycle", "every", "when", "while"]
    number: int
    condition: Expr | None
    settings: tuple[InputSetting, ...]
    lasts: int
    unit: Literal["cycles", "phases"]
    until: Expr | None
    span: Span


class Device(NamedTuple):
    """`device NAME = VALUE when CONDITION`: what takes `value` from the machine in each cycle with `when`."""

    name: Word
    value: Expr
    when: Expr
    span: Span


class Script(NamedTuple):
    doings: tuple[Doing, ...]
    devices: tuple[Device, ...]
