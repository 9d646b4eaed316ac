"""What people call every word of a body, the same in every command.

`hold` at its first word, `hold.wait` at a label, `hold.wait+2` two words further. A word of an arm says which, unless a
label in the arm does: `go n when zero`, `go n+1 otherwise`. Words are counted along the way that passes it; below arms
the count goes on from the longest of them.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from ordain.language import tree
from ordain.microprogram.bodies import BodyPlan


class _Way(NamedTuple):
    """What stands before a word: the last label with its owner, the words since then, the arms that lead to it."""

    place: str
    words: int
    arms: tuple[str, ...] = ()


def word_names(plan: BodyPlan) -> tuple[str, ...]:
    """The names of the words of a body, in the order of the text."""
    return tuple(_names(plan.name, plan.body, _Way(plan.name, 0)))


def _names(owner: str, lines: Sequence[tree.MicroLine], way: _Way) -> Iterator[str]:
    """Recursion ends with the limit on arms."""
    for line in lines:
        if isinstance(line, tree.Micro):
            if line.label is not None and line.label.text != owner:
                way = _Way(f"{owner}.{line.label.text}", 0)
            name = f"{way.place}+{way.words}" if way.words else way.place
            yield f"{name} {', '.join(way.arms)}" if way.arms else name
            way = way._replace(words=way.words + 1)
        else:
            for arm in line.arms:
                yield from _names(owner, arm.body, way._replace(arms=(*way.arms, arm.text)))
            way = way._replace(words=way.words + _longest((line,)))


def _longest(lines: Sequence[tree.MicroLine]) -> int:
    """The words on the longest way through some lines. Recursion ends with the limit on arms."""
    return sum(1 if isinstance(line, tree.Micro) else max(_longest(arm.body) for arm in line.arms) for line in lines)
