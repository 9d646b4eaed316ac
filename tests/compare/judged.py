"""What a comparison says, in a form that is short to write down in a test."""

from ordain.compare.behaviour import Behaviour, ComparedUnit, behaviour
from ordain.compare.joint import join
from ordain.rom.contents import Contents
from tests.workshop import contents_of

Texts = tuple[str, str]
"""A machine file and a microprogram."""


def compared(old: Contents, new: Contents) -> Behaviour:
    return behaviour(join(old, new))


def moved(found: Behaviour) -> dict[str, str]:
    """title -> status of what is not the same."""
    return {unit.title: unit.status for unit in found.units if unit.status != "same"}


def unit(found: Behaviour, title: str) -> ComparedUnit:
    return next(one for one in found.units if one.title == title)


def edited(texts: Texts, *edits: tuple[str, str]) -> Texts:
    """The texts with pieces replaced, each of which stands in exactly one place of one of them."""
    for old, new in edits:
        assert texts[0].count(old) + texts[1].count(old) == 1, old
        texts = (texts[0].replace(old, new), texts[1].replace(old, new))
    return texts


def between(old: Texts, new: Texts) -> Behaviour:
    return compared(contents_of(*old), contents_of(*new))


def after(texts: Texts, *edits: tuple[str, str]) -> Behaviour:
    """The texts against themselves with pieces replaced."""
    return between(texts, edited(texts, *edits))
