"""The steps of a card, as data."""

from typing import NamedTuple

Lit = int | None
"""1 lit, 0 dark, None: it may be either."""


class BenchStep(NamedTuple):
    """What stands before one clock. `cycle`: of the clock, from 1; `phase`: its name, "" where a cycle is one step.
    `addresses`: of each microprogrammed store, None where it is not known; `near`: one that it may be, where one
    and the same word of the source stands at all of those. `lamps`: for each row of the machine's, from
    left to right; None where it may be lit or not, and where there is no lamp. `inputs`: every input with its value.
    `depends`: inputs of which another value leads to another word. `needs`: (name, value, bits) of lines, conditions
    and registers that have to have that value for the sequence to go on as it is told."""

    cycle: int
    phase: str
    addresses: dict[str, int | None]
    near: dict[str, int]
    lamps: tuple[tuple[Lit, ...], ...]
    inputs: dict[str, int]
    depends: tuple[str, ...]
    needs: tuple[tuple[str, int, int], ...]


class Card(NamedTuple):
    """`begins`: values of states before the first step that were chosen for it. `ending`: what comes after the last
    step, in words."""

    title: str
    steps: tuple[BenchStep, ...]
    ending: str
    begins: tuple[tuple[str, int], ...] = ()
