"""What is asked about meanings and what comes out, as data."""

from collections.abc import Mapping
from typing import Literal, NamedTuple

from ordain.machine.expression import Leaf, Node

Way = Literal["rewriting", "cases", "solver"]


class Values(NamedTuple):
    """Values of leaves, and of words of memories by address."""

    leaves: Mapping[Leaf, int]
    words: Mapping[tuple[str, int], int]


class Equality(NamedTuple):
    """`way`: how equality was proved. `apart`: values for which they differ. Neither: `why` it is not known."""

    way: Way | None
    apart: Values | None = None
    why: str = ""


class Question(NamedTuple):
    """Whether `one` is `other` where the bits of `where` are ones, while every key of `under` is what it is said to
    be."""

    one: Node
    other: Node
    where: Node
    under: Mapping[Node, Node]


class Telling(NamedTuple):
    """`effects`: what it does, one by one; none: nothing. `why`: that cannot be told, and for what reason. `scratch`:
    registers, not visible, that it depends on."""

    effects: tuple[str, ...]
    why: str
    paths: int
    cycles: int
    scratch: tuple[str, ...]
