"""Which addresses words had in the last recorded build."""

from collections import Counter
from collections.abc import Sequence

from ordain.machine.model import Machine
from ordain.microprogram.model import Body, Program
from ordain.placement.clusters import Units
from ordain.placement.model import Recorded
from ordain.placement.quick import Wishes


def recall(machine: Machine, program: Program, recorded: Recorded) -> dict[int, tuple[int, ...]]:
    """Word -> its recorded addresses. A body that grew or shrank is matched from both ends by what its words do, so
    that a word put in or taken out moves only itself."""
    found: dict[int, tuple[int, ...]] = {}
    for body in program.bodies:
        addresses = recorded.addresses.get(body.store)
        if not addresses:
            continue
        old: list[tuple[int, ...]] = []
        while (place := addresses.get(f"{body.name}/{len(old)}")) is not None:
            old.append(place)
        if len(old) == body.end - body.first:
            found.update((body.first + at, place) for at, place in enumerate(old))
        else:
            found.update(_matched(machine, program, body, old, recorded.words.get(body.store, {})))
    return found


def _matched(machine: Machine, program: Program, body: Body, old: list[tuple[int, ...]],
             stored: dict[int, int]) -> dict[int, tuple[int, ...]]:
    """The words of a body that has another length than recorded, matched at its start and at its end."""
    derived = 0
    for name in machine.stores[body.store].fields:
        field = machine.fields[name]
        if field.holds == "derived":
            derived |= field.mask

    def same(word: int, place: tuple[int, ...]) -> bool:
        micro = program.words[word]
        blind = derived | micro.open
        for name, _ in micro.targets:
            blind |= machine.fields[name].mask
        return bool(place) and place[0] in stored and not (stored[place[0]] ^ micro.bits) & ~blind

    count = body.end - body.first
    most = min(count, len(old))
    front = next((at for at in range(most) if not same(body.first + at, old[at])), most)
    back = next((at for at in range(most - front) if not same(body.end - 1 - at, old[-1 - at])), most - front)
    found = {body.first + at: old[at] for at in range(front)}
    found.update({body.end - 1 - at: old[-1 - at] for at in range(back)})
    return found


def wishes(units: Units, recalled: dict[int, tuple[int, ...]]) -> Wishes:
    """Where every unit and run would have to stand to keep the most of its words in place."""
    firm: set[tuple[str, int]] = set()
    for_units: list[int | None] = []
    for number, unit in enumerate(units.units):
        base, whole = _base(unit.offsets, unit.words, recalled)
        for_units.append(base)
        if whole:
            firm.add(("unit", number))
    for_runs: list[int | None] = []
    for number, (first, length) in enumerate(units.runs):
        if length == 1:
            places = recalled.get(first)
            base, whole = (places[0], True) if places else (None, False)
        else:
            base, whole = _base(range(length), range(first, first + length), recalled)
        for_runs.append(base)
        if whole:
            firm.add(("run", number))
    return Wishes(tuple(for_units), tuple(for_runs), frozenset(firm))


def _base(offsets: Sequence[int], words: Sequence[int], recalled: dict[int, tuple[int, ...]]
          ) -> tuple[int | None, bool]:
    """The base that keeps the most words in place, and whether it keeps all of them."""
    votes: Counter[int] = Counter()
    for offset, word in zip(offsets, words):
        votes.update(place - offset for place in recalled.get(word, ()) if place >= offset)
    if not votes:
        return None, False
    base, count = max(votes.items(), key=lambda vote: (vote[1], -vote[0]))
    return base, count == len(words)
