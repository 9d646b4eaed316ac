"""What instructions are said to do on both sides of a comparison: as much as before, or other things.

A meaning says as much as another when it speaks of everything that the other speaks of, and says the same of it
wherever that says anything. What cannot be shown to be as much counts as less.
"""

from collections.abc import Iterator
from typing import Literal

from ordain.machine.expression import Node
from ordain.machine.model import Effect, Machine, Meaning
from ordain.meaning import said
from ordain.meaning.equality import equal
from ordain.meaning.model import Question
from ordain.meaning.normal import Normal
from ordain.rom.contents import Contents


def other_meanings(old: Contents, new: Contents) -> Iterator[tuple[Literal["weaker", "stronger", "changed"], str]]:
    """The titles whose meaning says less than before, more, or something else. Both sides over the same terms, under
    common names."""
    normal = Normal(new.machine.terms)
    for title, mine in new.meanings.items():
        its = old.meanings.get(title)
        if its is not None:
            less = not _as_much(normal, (new.machine, mine), (old.machine, its))
            more = not _as_much(normal, (old.machine, its), (new.machine, mine))
            if less or more:
                yield "changed" if less and more else "weaker" if less else "stronger", title


def _as_much(normal: Normal, one: tuple[Machine, Meaning], other: tuple[Machine, Meaning]) -> bool:
    """True when it is sure that the first says at least what the second does."""
    named = said.named(*one)
    parts: list[tuple[tuple[Effect, ...], tuple[Effect, ...]]] = [(one[1].effects, other[1].effects)]
    match one[1].rounds, other[1].rounds:
        case None, None:
            pass
        case None, _:
            return False
        case _, None:
            return False
        case ours, theirs:
            always = normal.terms.const(1, 1)
            if equal(normal, Question(ours.when, theirs.when, always, {})).way is None:
                return False
            parts.append((ours.effects, theirs.effects))
            if ours.stopped is not None:                # who may not be stopped says more than who may
                if theirs.stopped is None:
                    return False
                parts.append((ours.stopped, theirs.stopped))
    return all(_says(normal, name, (one[0], one[1]._replace(effects=first)) if name in named else None,
                     (other[0], other[1]._replace(effects=second)))
               for first, second in parts for name in said.named(*other))


def _says(normal: Normal, name: str, one: tuple[Machine, Meaning] | None, other: tuple[Machine, Meaning]) -> bool:
    """Whether the first says of what has this name all that the second does. None says nothing of it."""
    machine, meaning = one or other
    its_machine, its = other
    terms = normal.terms
    always, under = terms.const(1, 1), dict[Node, Node]()
    if name in its_machine.memories and name in machine.memories:
        memory, shape = machine.memories[name], its_machine.memories[name]
        if (memory.bits, memory.address.width) != (shape.bits, shape.address.width) or memory.words < shape.words:
            return False
        place = said.place(shape, terms)
        if shape.words != 1 << place.width:
            under[terms.less(place, terms.const(shape.words, place.width))] = always
        first, second = (said.of_word(normal, name, place, shape.bits, each) for each in (meaning, its))
    elif name in its_machine.memories or name in machine.memories:
        return False
    else:
        leaf = said.holder(its_machine, name)
        if said.holder(machine, name) is not leaf:      # of another kind or width
            return False
        first, second = (said.of_holder(terms, leaf, name, each) for each in (meaning, its))
    ones = terms.const((1 << second.value.width) - 1, second.value.width)
    defined = terms.const(0, ones.width) if one is None else first.defined
    asked = (Question(defined, ones, second.defined, under), Question(first.value, second.value, second.defined, under))
    return all(equal(normal, question).way is not None for question in asked)
