"""What a clause means: which fields it sets, to what."""

from collections.abc import Mapping, Sequence
from typing import Literal, NamedTuple

from ordain.language import tree
from ordain.machine.model import Field
from ordain.microprogram.survey import Survey
from ordain.text.findings import Finding, Place, Severity
from ordain.text.source import Span


class Aim(NamedTuple):
    """What an address field is to hold, labels as written; see `model.Target`."""

    kind: Literal["label", "pair", "table", "following"]
    labels: tuple[str, ...]
    rest: tree.Rest


class Assign(NamedTuple):
    """A field set to an asserted value, or (`value` None) to the address of an aim."""

    field: Field
    value: int | None
    aim: Aim | None


class Need(NamedTuple):
    """A transfer's condition that its own settings (`own`) leave open: the rest of the word must choose. `name` is that
    of the finding when it does not, `what` says who does what on which bus; `choices`: the ways that are open."""

    survey: Survey
    own: Mapping[str, int]
    name: str
    what: str
    choices: tuple[str, ...]
    span: Span


class ClauseBits(NamedTuple):
    """`mask`: the bits set, `bits`: to what (zeros where an address is still open). `broken`: the clause means nothing,
    which has been reported."""

    mask: int
    bits: int
    assigns: tuple[Assign, ...]
    aims: tuple[tuple[str, Aim], ...]
    needs: tuple[Need, ...]
    broken: bool


class ClauseFault(NamedTuple):
    """A finding without its place: `start`, `end` are offsets in the clause, None for the whole clause."""

    name: str
    message: str
    start: int | None
    end: int | None
    label: str
    help: str
    places: tuple[Place, ...] = ()


BROKEN = ClauseBits(0, 0, (), (), (), True)


def meaning_of(assigns: Sequence[Assign], needs: Sequence[Need] = ()) -> ClauseBits:
    """The bits of settings that do not contradict each other."""
    mask = bits = 0
    for assign in assigns:
        mask |= assign.field.mask
        if assign.value is not None:
            bits |= assign.field.write(assign.value)
    aims = tuple([(assign.field.name, assign.aim) for assign in assigns if assign.aim is not None])
    return ClauseBits(mask, bits, tuple(assigns), aims, tuple(needs), False)


def at_clause(fault: ClauseFault, text: str, span: Span) -> Finding:
    """The finding of a fault in a clause at `span`. Where the text was made by filling holes, all of it is meant."""
    place = span
    if fault.start is not None and fault.end is not None and span.end - span.start == len(text):
        place = Span(span.source, span.start + fault.start, span.start + fault.end)
    return Finding(fault.name, Severity.ERROR, fault.message, place, fault.label, fault.places, (), fault.help)


def said(value: int, field: Field) -> str:
    """A value as the file calls it."""
    return next((f"`{code.name}`" for code in field.codes if code.value == value), str(value))
