"""The first pass: what is declared, under which name and how wide, before any expression is looked at."""

from typing import Literal, NamedTuple

from ordain.language import tree
from ordain.machine.context import bits
from ordain.machine.lowering import Lowering
from ordain.machine.names import Codes, DeclaredName
from ordain.text.findings import Place, error
from ordain.text.source import Span

MOST_WORDS = 1 << 24
MOST_BITS = 4096
MOST_CELLS = 1 << 28
"""Limits of a store or chip: words, bits of a word, bits in all. More is a slip of the pen, and no memory is spent."""

_OPERATORS = dict.fromkeys(sorted(tree.OPERATORS), "is an operator wherever a value stands")
RESERVED = {"spare": "is a pin that nothing uses", "any": "is a pin with the same content at both levels", **_OPERATORS}
"""Names that have a meaning of their own where names are expected."""
OF_CODES = {"otherwise": "stands for all other codes in a `choose`",
            **{word: meaning for word, meaning in _OPERATORS.items() if word not in tree.FUNCTIONS}}
"""The same for names of codes."""


class Declarations:
    """The statements sorted by what they declare, without those whose name was taken. The second item of a pair is the
    agent that it belongs to, "" for the machine itself."""

    def __init__(self) -> None:
        self.header: tree.MachineHeader | None = None
        self.microprogram: list[tree.Text] = []
        self.stores: list[StoreText] = []
        self.chips: list[tree.Chip] = []
        self.clocks: list[tree.Clock] = []
        self.inputs: list[tuple[tree.Declared, str]] = []
        self.states: list[tuple[tree.State, str]] = []
        self.registers: list[tree.Register] = []
        self.conditions: list[tree.Condition] = []
        self.signals: list[tuple[tree.Signal, str]] = []
        self.constants: list[tree.Constant] = []
        self.assumptions: list[tuple[tree.Assume, str]] = []
        self.homes: list[tree.Home] = []
        self.buses: list[tree.Bus] = []
        self.strobes: list[tree.Strobe] = []
        self.keeps: list[tree.Keep] = []
        self.exclusives: list[tree.Exclusive] = []
        self.agents: list[tree.Agent] = []
        self.rules: list[tree.Rule] = []
        self.allowances: list[tree.Allow] = []
        self.orders: list[tree.Order] = []
        self.components: list[tree.Component] = []
        self.wires: list[tree.Wire] = []
        self.memories: list[tree.Memory] = []
        self.visible: list[tree.Visible] = []
        self.lamps: list[tree.Lamps] = []
        self.probes: list[tree.Probes] = []


class StoreText(NamedTuple):
    """A store and what stands below it in the text. `broken`: places of fields left out because of a fault; then
    nothing can be said about the sum of the fields."""

    store: tree.Store
    members: list[tree.Field | tree.Spare]
    broken: list[Span]


def declare(statements: tuple[tree.MachineStatement, ...], lowering: Lowering) -> Declarations:
    """Give every name an entry in the scope; sort the statements."""
    found = Declarations()
    for statement in statements:
        match statement:
            case tree.MachineHeader():
                _header(statement, found, lowering)
            case tree.Microprogram():
                found.microprogram.extend(statement.files)
            case tree.Store():
                _store(statement, found, lowering)
            case tree.Field() | tree.Spare():
                _member(statement, found, lowering)
            case tree.Chip():
                found.chips.append(statement)
            case tree.Clock():
                _clock(statement, found, lowering)
            case tree.Inputs():
                _inputs(statement, "", found, lowering)
            case tree.State():
                _state(statement, "", found, lowering)
            case tree.Register():
                _waits(statement.name, statement.on, lowering)
                if _leaf(statement.name, "register", statement.width, lowering):
                    found.registers.append(statement)
            case tree.Condition():
                if _leaf(statement.name, "condition", statement.width, lowering):
                    found.conditions.append(statement)
            case tree.Signal():
                _signal(statement, "", found, lowering)
            case tree.Constant():
                if _add(DeclaredName(statement.name.text, "constant", statement.name.span, value=statement.value),
                        lowering):
                    found.constants.append(statement)
            case tree.Assume():
                found.assumptions.append((statement, ""))
            case tree.Home():
                found.homes.append(statement)
            case tree.Bus():
                if _leaf(statement.name, "bus", statement.width, lowering):
                    found.buses.append(statement)
            case tree.Strobe():
                found.strobes.append(statement)
            case tree.Component():
                found.components.append(statement)
            case tree.Wire():
                found.wires.append(statement)
            case tree.Keep():
                found.keeps.append(statement)
            case tree.Memory():
                _memory(statement, found, lowering)
            case tree.Visible():
                found.visible.append(statement)
            case tree.Lamps():
                found.lamps.append(statement)
            case tree.Probes():
                found.probes.append(statement)
            case tree.Exclusive():
                found.exclusives.append(statement)
            case tree.Agent():
                _agent(statement, found, lowering)
            case tree.Rule():
                found.rules.append(statement)
            case tree.Allow():
                found.allowances.append(statement)
            case tree.Order():
                found.orders.append(statement)
    return found


def size(number: tree.Number, most: int, what: str, lowering: Lowering) -> int | None:
    """A count of words or bits, 1 up to `most`; None when it is not, which is reported."""
    if 1 <= number.value <= most:
        return number.value
    shown = f"{number.value}" if number.value < 1 << 64 else "so many"
    lowering.findings.append(error(
        "bad-size", f"{shown} {what} cannot be: the limit is 1 to {most}", number.span, "out of range",
        help="correct the number" if number.value else "write at least 1"))
    return None


def _add(entry: DeclaredName, lowering: Lowering) -> bool:
    own = entry.name.rpartition(".")[2]
    if entry.name in RESERVED or own in tree.OPERATORS:
        lowering.findings.append(error(
            "reserved", f"`{own}` cannot be a name of yours", entry.span, RESERVED[own],
            help=f"give it another name, such as `{own}_{entry.kind}`"))
        entry.broken = True
    clash = lowering.scope.declare(entry)
    if clash is not None:
        lowering.findings.append(clash)
    return clash is None


def _leaf(name: tree.Word, kind: Literal["register", "condition", "bus"], width: tree.Number,
          lowering: Lowering) -> bool:
    """Declare something that is a leaf of expressions. A bad width makes the name broken, not unknown."""
    checked = size(width, MOST_BITS, "bits", lowering)
    entry = DeclaredName(name.text, kind, name.span, checked or 1)
    entry.node = lowering.terms.leaf(kind, name.text, entry.width)
    entry.broken = checked is None
    return _add(entry, lowering)


def _header(statement: tree.MachineHeader, found: Declarations, lowering: Lowering) -> None:
    if found.header is None:
        found.header = statement
    else:
        lowering.findings.append(error(
            "defined-twice", "a file describes one machine", statement.span, "a second machine",
            places=(Place(found.header.span, "the first"),), help="leave one of the lines out"))


def _store(statement: tree.Store, found: Declarations, lowering: Lowering) -> None:
    width = _cells(statement.words, statement.bits, lowering)
    entry = DeclaredName(statement.name.text, "store", statement.name.span, width or 1)
    entry.node = lowering.terms.leaf("word", statement.name.text, entry.width)
    entry.broken = width is None
    _add(entry, lowering)
    # A second store of one name still takes the fields below it, so that they are not counted into another store.
    found.stores.append(StoreText(statement, [], []))


def _cells(many: tree.Number, wide: tree.Number, lowering: Lowering) -> int | None:
    """The bits of a word; None where words or bits cannot be, which is reported."""
    words = size(many, MOST_WORDS, "words", lowering)
    width = size(wide, MOST_BITS, "bits in a word", lowering)
    if words and width and words * width > MOST_CELLS:
        lowering.findings.append(error(
            "bad-size", f"{words} words of {width} bits are more than {MOST_CELLS} bits in all", many.span,
            "out of range", help="correct one of the two numbers"))
        return None
    return width if words else None


def _memory(statement: tree.Memory, found: Declarations, lowering: Lowering) -> None:
    width = _cells(statement.words, statement.bits, lowering)
    entry = DeclaredName(statement.name.text, "memory", statement.name.span, width or 1)
    entry.node = lowering.terms.leaf("free", statement.name.text, entry.width)
    entry.broken = width is None
    if _add(entry, lowering):
        found.memories.append(statement)


def _member(statement: tree.Field | tree.Spare, found: Declarations, lowering: Lowering) -> None:
    if not found.stores:
        name = f"field `{statement.name.text}`" if isinstance(statement, tree.Field) else "spare bits"
        lowering.findings.append(error(
            "field-without-store", f"{name} before any store", statement.span, "no store above this line",
            help="a field belongs to the nearest `store` above it: move the `store` line up"))
        if isinstance(statement, tree.Field):
            entry = DeclaredName(statement.name.text, "field", statement.name.span, 1)
            entry.broken = True
            lowering.scope.declare(entry)
        return
    store = found.stores[-1]
    if isinstance(statement, tree.Spare):
        if size(statement.width, MOST_BITS, "spare bits", lowering) is None:
            store.broken.append(statement.span)
        else:
            store.members.append(statement)
        return
    width = size(statement.width, MOST_BITS, "bits", lowering)
    entry = DeclaredName(statement.name.text, "field", statement.name.span, width or 1)
    entry.node = lowering.terms.leaf("field", statement.name.text, entry.width)
    entry.broken = width is None
    if statement.codes:
        entry.codes = _field_codes(statement, entry.width, lowering)
    added = _add(entry, lowering)
    if width is None or not added:
        store.broken.append(statement.span)
    else:
        store.members.append(statement)


def _is_reserved(name: tree.Word, lowering: Lowering) -> bool:
    """Report a code that a `choose` or an expression could not name."""
    meaning = OF_CODES.get(name.text)
    if meaning is None:
        return False
    lowering.findings.append(error("reserved", f"`{name.text}` cannot be the name of a code", name.span, meaning,
                                   help=f"give the code another name, such as `{name.text}_code`"))
    return True


def _field_codes(field: tree.Field, width: int, lowering: Lowering) -> Codes:
    """The codes that can be used: of two of one name or number the first. The faults are reported with the field."""
    values: dict[str, int] = {}
    broken: set[str] = set()
    for code in field.codes:
        value, name = code.value.value, code.name.text
        if name in values or name in broken or _is_reserved(code.name, lowering):
            continue
        if value >> width or value in values.values():
            broken.add(name)
        else:
            values[name] = value
    return Codes(f"field `{field.name.text}`", values, width, False, frozenset(broken))


def _enumerated(names: tuple[tree.Word, ...], what: str, lowering: Lowering) -> dict[str, int]:
    """Codes 0, 1, ... for the names, in their order."""
    values: dict[str, int] = {}
    first: dict[str, Span] = {}
    for name in names:
        if name.text in values:
            lowering.findings.append(error(
                "defined-twice", f"{what} has two codes `{name.text}`", name.span, "the second",
                places=(Place(first[name.text], "the first"),), help="give one of them another name"))
        elif not _is_reserved(name, lowering):
            values[name.text] = len(values)
            first[name.text] = name.span
    return values


def _clock(statement: tree.Clock, found: Declarations, lowering: Lowering) -> None:
    """Its value says which phase it is; the name of a phase is a condition."""
    name = statement.name.text
    if found.clocks:
        lowering.findings.append(error(
            "defined-twice", "a machine has one clock", statement.span, "a second clock",
            places=(Place(found.clocks[0].span, "the first"),),
            help="let what is not on the clock be `on oscillator` or `on own clock`"))
        return
    found.clocks.append(statement)
    values = _enumerated(statement.phases, f"clock `{name}`", lowering)
    width = max(1, (len(values) - 1).bit_length())
    entry = DeclaredName(name, "clock", statement.name.span, width if values else 0)
    if values:
        entry.node = lowering.terms.leaf("state", name, width)
        entry.codes = Codes(f"clock `{name}`", values, width, True)
    _add(entry, lowering)
    spans = {phase.text: phase.span for phase in reversed(statement.phases)}    # of two of one name the first
    for phase, number in values.items():
        if entry.node is not None:
            second = DeclaredName(phase, "phase", spans[phase], 1)
            second.node = lowering.terms.among(entry.node, frozenset((number,)))
            _add(second, lowering)


def _waits(name: tree.Word, on: tree.Word | None, lowering: Lowering) -> None:
    """What is on a clock of its own moves unless its input `waits` says otherwise."""
    if on is not None and on.text == tree.OWN_CLOCK:
        entry = DeclaredName(f"{name.text}.waits", "input", on.span, 1)
        entry.node = lowering.terms.leaf("input", entry.name, 1)
        _add(entry, lowering)


def _inputs(statement: tree.Inputs, agent: str, found: Declarations, lowering: Lowering) -> None:
    for declared in statement.names:
        name = f"{agent}.{declared.name.text}" if agent else declared.name.text
        values = _enumerated(declared.codes, f"input `{name}`", lowering)
        given = tree.Number(declared.width, None, declared.span)
        width = max(1, (len(values) - 1).bit_length()) if values else size(given, MOST_BITS, "bits", lowering)
        entry = DeclaredName(name, "input", declared.name.span, width or 1, agent=agent)
        entry.node = lowering.terms.leaf("input", name, entry.width)
        entry.broken = width is None
        if values:
            entry.codes = Codes(f"input `{name}`", values, entry.width, True)
        if _add(entry, lowering) and width:
            found.inputs.append((declared, agent))


def _state(statement: tree.State, agent: str, found: Declarations, lowering: Lowering) -> None:
    name = f"{agent}.{statement.name.text}" if agent else statement.name.text
    values = _enumerated(statement.codes, f"state `{name}`", lowering)
    needed = max(1, (len(values) - 1).bit_length())
    width: int | None = needed
    if statement.width is not None:
        width = size(statement.width, MOST_BITS, "bits", lowering)
        if width is not None and values and width < needed:
            lowering.findings.append(error(
                "too-wide", f"{len(values)} codes need {bits(needed)}, `{name}` has {bits(width)}",
                statement.width.span, "too few bits", help=f"write {needed}, or leave the width out"))
            width = None
    entry = DeclaredName(name, "state", statement.name.span, width or 1, agent=agent)
    entry.node = lowering.terms.leaf("state", name, entry.width)
    entry.broken = width is None
    if values:
        entry.codes = Codes(f"state `{name}`", values, entry.width, True)
    if not agent:
        _waits(statement.name, statement.on, lowering)
    if _add(entry, lowering):
        found.states.append((statement, agent))


def _signal(statement: tree.Signal, agent: str, found: Declarations, lowering: Lowering) -> None:
    name = f"{agent}.{statement.name.text}" if agent else statement.name.text
    if _add(DeclaredName(name, "signal", statement.name.span, value=statement.value, agent=agent), lowering):
        found.signals.append((statement, agent))


def _agent(statement: tree.Agent, found: Declarations, lowering: Lowering) -> None:
    name = statement.name.text
    if not _add(DeclaredName(name, "agent", statement.name.span), lowering):
        lowering.scope.entries[name].broken = True  # names of the second one's parts are nobody's further fault
        return
    found.agents.append(statement)
    _waits(statement.name, statement.on, lowering)
    for inputs in statement.inputs:
        _inputs(inputs, name, found, lowering)
    for state in statement.states:
        _state(state, name, found, lowering)
    for signal in statement.signals:
        _signal(signal, name, found, lowering)
    found.assumptions.extend((assume, name) for assume in statement.assumes)
