"""Whether a placement is one: asked once more of every placement, in other words than those in which it was found."""

from collections.abc import Mapping, Sequence

from ordain.placement.demands import Demand, Task
from ordain.placement.pages import kept


def met(task: Task, seats: Mapping[int, Sequence[int]]) -> bool:
    """Whether everything that is demanded of a store holds when each of its words stands at these addresses."""
    words, counting = task.program.words, task.counting
    at: dict[int, int] = {}
    for word, places in seats.items():
        for address in places:
            if not 0 <= address < task.size or at.setdefault(address, word) != word:
                return False
    rows = all(at.get(address + step) == word + step and address >> counting == address + step >> counting
               for word, places in seats.items() for address in places for step in range(1, words[word].succeeds + 1))
    return (rows and all(places for places in seats.values()) and len(seats) == task.words
            and all(at.get(address) == word for address, word in task.fixed.items())
            and all(_stands(demand, at, seats) for demand in task.demands)
            and all(kept(bond, seats) for bond in task.bonds))


def _stands(demand: Demand, at: Mapping[int, int], seats: Mapping[int, Sequence[int]]) -> bool:
    """Whether the words of a demand stand together somewhere where they may."""
    (_, word), *_ = demand.cells        # the first stands at the base
    return any(not base & demand.zeros and base & demand.ones == demand.ones
               and all(at.get(base + offset) == other for offset, other in demand.cells) for base in seats[word])
