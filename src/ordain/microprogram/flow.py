"""Which words may follow a word in the text of a store that is addressed by instruction and step.

After a word comes the next one below it; before arms, the first word of any of them; at the end of an arm, what stands
below the arms; after the prologue, the first word of any instruction.
"""

from collections.abc import Sequence

from ordain.language import tree
from ordain.machine.model import Store
from ordain.microprogram.bodies import BodyPlan, words_of


def following(store: Store, plans: Sequence[BodyPlan]) -> dict[int, tuple[int, ...]]:
    """For each word of the store's prologues and instructions (an index into all words) those that may follow it."""
    found: dict[int, tuple[int, ...]] = {}
    entered: tuple[int, ...] = ()
    for plan in plans:
        if plan.store is store and plan.kind == "instruction":
            entered += _body(plan.body, plan.first, (), found)
    for plan in reversed(plans):
        if plan.store is store and plan.kind == "prologue":
            entered = _body(plan.body, plan.first, entered, found)
    return found


def _body(lines: Sequence[tree.MicroLine], first: int, after: tuple[int, ...],
          found: dict[int, tuple[int, ...]]) -> tuple[int, ...]:
    """Notes what follows each word of some lines, the first of them being word `first`, before words of which one
    follows the lines; what the lines may begin with. Recursion ends with the limit on arms."""
    starts = []
    for line in lines:
        starts.append(first)
        first += 1 if isinstance(line, tree.Micro) else sum(1 for _ in words_of((line,)))
    for line, start in zip(reversed(lines), reversed(starts)):
        if isinstance(line, tree.Micro):
            found[start] = after
            after = (start,)
        else:
            after = _arms(line, start, after, found)
    return after


def _arms(when: tree.When, first: int, after: tuple[int, ...], found: dict[int, tuple[int, ...]]) -> tuple[int, ...]:
    begins: dict[int, None] = {}
    for arm in when.arms:
        begins.update(dict.fromkeys(_body(arm.body, first, after, found)))
        first += sum(1 for _ in words_of(arm.body))
    if when.arms[-1].condition is not None:             # none of them may hold
        begins.update(dict.fromkeys(after))
    return tuple(begins)
