"""`ir <- memory`: the settings under which `memory` drives a bus that `ir` takes.

The bus list says when. Each of the two conditions has to hold *through the word*: in some circumstances in which it
would not hold with other words. What is needed for that is set; what the condition says of states and inputs is left to
the hardware. Where several ways are open, the transfer takes the one under which the condition holds whenever it can
hold at all, if there is one such; else the rest of the word must choose.
"""

from collections.abc import Collection, Mapping, Sequence
from typing import NamedTuple

from ordain.language import tree
from ordain.machine.expression import Const
from ordain.machine.model import Machine
from ordain.microprogram.layout import Layout, is_flag
from ordain.microprogram.meaning import Assign, ClauseFault, Need, said
from ordain.microprogram.phrases import Misuse
from ordain.microprogram.routes import TransferEnd, parts_of, route_of
from ordain.microprogram.survey import (
    Asked,
    Survey,
    TooManyFields,
    allowed,
    asked_by,
    decided,
    ends,
    paths,
    shortened,
    survey,
)
from ordain.text.findings import Place

_MOST_TOLD = 6
"""How many values of a field a message lists."""


class TransferSide(NamedTuple):
    """The driver or the taker of a transfer, and what the word can do for it."""

    part: TransferEnd
    survey: Survey


def transfer(machine: Machine, layout: Layout, meaning: tree.Transfer) -> tuple[list[Assign], list[Need]]:
    """The settings of a transfer, and what the finished word must allow. Raises `Misuse`."""
    route = route_of(machine, meaning)
    try:
        sides = [TransferSide(part, survey(machine, layout.fields, part.condition)) for part in parts_of(route,
                                                                                                         meaning)]
        both = survey(machine, layout.fields, machine.terms.and_((route.drives, route.takes)))
    except TooManyFields:
        raise Misuse(ClauseFault("ambiguous-transfer",
                                 f"`{meaning.target} <- {meaning.source}` depends on too many fields",
                                 None, None, "too much to go through", "write the settings themselves",
                                 (Place(route.take_span, "one of the conditions"),))) from None
    for side in sides:
        if not side.survey.most:
            raise Misuse(_nothing(side.part))
    depending = [side for side in sides if isinstance(side.survey.diagram, tuple)]
    values = _settled(depending)
    if not route.kept and not any(ends(decided(both.diagram, both.numbered(values)))):
        raise Misuse(ClauseFault("never-sampled", f"`{sides[0].part.text}` cannot be: when `{meaning.source}` drives, "
                                 f"`{meaning.target}` does not take", None, None, "never at once",
                                 "correct the conditions in the machine file", tuple(
                               [Place(side.part.span, f"{side.part.verb} on this condition") for side in sides])))
    needs = [Need(found, values, part.name, part.what, tuple(_choices(found, values)), part.span)
             for part, found in depending if isinstance(decided(found.diagram, found.numbered(values)), tuple)]
    if not values and not needs and not all(type(side.part.condition) is Const for side in sides):
        raise Misuse(ClauseFault("nothing-to-set", f"`{sides[0].part.text}` sets no field of `{layout.store.name}`",
                                 None,
                                 None, "the word has no part in it",
                                 "leave it out, or write the settings that bring it about", tuple(
                               [Place(side.part.span, f"{side.part.verb} on this condition") for side in sides])))
    return [Assign(layout.fields[name], value, None) for name, value in values.items()], needs


# ---------------------------------------------------------------- what the word leaves open


def _settled(sides: Sequence[TransferSide]) -> dict[str, int]:
    """The values that fields must have for every side to hold through them. Raises `Misuse`."""
    values: dict[str, int] = {}
    while True:
        before = len(values)
        for side in sides:
            found = allowed(decided(side.survey.through(), side.survey.numbered(values)))
            if found is None:
                raise Misuse(_contradiction(side, sides, values))
            values.update(_single(side.survey, found))
        if len(values) > before:
            continue
        for side in sides:
            values.update(_sure(side.survey, values))
        if len(values) == before:
            return values


def _single(survey: Survey, found: dict[int, set[int]]) -> dict[str, int]:
    """The fields of which only one value is left."""
    return {survey.asked[number].field.name: value for number, choices in found.items()
            if (value := survey.asked[number].only(choices)) is not None}


def _sure(survey: Survey, values: Mapping[str, int]) -> dict[str, int]:
    """Where several ways are open, what all those have in common under which the condition holds whenever it can; but
    nothing that would only add a way to another."""
    left = decided(survey.through(), survey.numbered(values))
    if not isinstance(left, tuple):
        return {}
    found = _single(survey, allowed(decided(survey.sure(), survey.numbered(values))) or {})
    return {name: value for name, value in found.items()
            if any(survey.asked[number].field.name == name for number in asked_by(decided(left, survey.numbered(
                {other: there for other, there in found.items() if other != name}))))}


def _contradiction(side: TransferSide, sides: Sequence[TransferSide], values: Mapping[str, int]) -> ClauseFault:
    for other in sides:
        for name, value in _single(side.survey, allowed(side.survey.through()) or {}).items():
            first = _single(other.survey, allowed(other.survey.through()) or {}).get(name, value)
            if first != value:
                field = next(asked.field for asked in side.survey.asked if asked.field.name == name)
                one, two = said(first, field), said(value, field)
                return ClauseFault(
                    other.part.name, f"`{side.part.text}` needs `{name}` to be {one} and {two} at once", None, None,
                    "cannot be", "use another bus or another word", (
                        Place(other.part.span, f"{other.part.verb} when `{name}` is {one}"),
                        Place(side.part.span, f"{side.part.verb} when `{name}` is {two}")))
    return _nothing(side.part)


def _nothing(part: TransferEnd) -> ClauseFault:
    return ClauseFault(part.name, f"`{part.text}` cannot be: nothing allows {part.what}", None, None, "never happens",
                       "correct the condition in the machine file", (Place(part.span, "this condition"),))


def allows(need: Need, known: Mapping[str, int], said_here: Collection[str]) -> bool:
    """Whether a word leaves a transfer that had a choice possible, by what it says. `known`: the values of its fields
    as far as they are known; `said_here`: the fields that its clauses set."""
    survey, own = need.survey, need.survey.numbered(need.own)
    chosen = survey.numbered(known)
    found = list(ends(decided(survey.diagram, chosen)))
    if survey.most in found or (len(chosen) < len(survey.asked) and any(
            isinstance(end, int) and end & ~survey.always for end in found)):
        return True
    open_fields = {survey.asked[number].field.name for number in asked_by(decided(survey.diagram, own))}
    spoken = {name: value for name, value in known.items() if name in said_here}
    return not open_fields.isdisjoint(spoken) and decided(survey.through(), survey.numbered(spoken)) == 1


def _choices(survey: Survey, values: Mapping[str, int]) -> list[str]:
    """The ways that a word may choose from."""
    chosen = survey.numbered(values)
    left = decided(survey.through(), chosen)
    if isinstance(left, tuple):
        ways = [way for path in paths(left) for way in _parted(shortened(left, path))]
    else:
        ways = [{number: {choice}} for number in sorted(asked_by(decided(survey.diagram, chosen)))
                for choice in range(len(survey.asked[number].choices))]
    ways.sort(key=lambda way: (len(way), [(number, sorted(choices)) for number, choices in way.items()]))
    return list(dict.fromkeys(" and ".join([_told(survey.asked[number], choices) for number, choices in way.items()])
                              for way in ways))


def _parted(way: dict[int, set[int]]) -> list[dict[int, set[int]]]:
    """A way that asks one thing of one field, value by value."""
    return [{number: {choice}} for number, choices in way.items() for choice in sorted(choices)] if len(way) == 1 else [
        way]


def _told(asked: Asked, choices: Collection[int]) -> str:
    field = asked.field
    if is_flag(field):
        return f"`{field.name}`" if asked.only(choices) else f"`{field.name}` 0"
    values = [value for number, value in enumerate(asked.values) if number in choices]
    if len(asked.values) in choices:
        if not field.codes:
            return f"`{field.name}` other than {' or '.join([str(value) for value in asked.values[:_MOST_TOLD]])}"
        values += asked.rest
    told = [said(value, field) for value in values[:_MOST_TOLD]]
    return f"`{field.name}` {' or '.join(told)}{' ...' if values[_MOST_TOLD:] else ''}"
