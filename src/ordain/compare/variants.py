"""One build beside many of the same machine that hold a few other words each: what behaves differently, as `behaviour`
says it of two builds.

The machine is made ready once. What a place of control does and where it leads is worked out anew only where it rests
on a word that is another (`graph.Recalled`); where nothing is other then, the graph is the one that is known. And where
a word does something that no other word of either side does, it does not matter what: all such are one.

Of a store on which it does not depend where control goes, such as a decoder of addresses, only what is done can be
another: as it says what effects mean in every place where they were evaluated, variants in which the same of these
meanings are told apart are one. A store of start addresses that no effect reads says where instructions begin, and no
more: the machine that was made ready serves with other words in it.
"""

from collections.abc import Mapping
from typing import NamedTuple, TypeAlias

from ordain.compare.behaviour import ComparedUnit, behaviour
from ordain.compare.graph import ControlGraph, Move, Recalled
from ordain.compare.joint import JointGraph, Walked, common_of, join, joined
from ordain.compare.places import Unresolved, Vector
from ordain.rom.contents import Contents

Moves: TypeAlias = "list[Move] | Unresolved"


class Differing(NamedTuple):
    """`units`: those that are not the same, without their first differences; `machine`: as in `Behaviour`."""

    units: tuple[ComparedUnit, ...]
    machine: tuple[str, ...]


class Variants:
    """Variants of one build, each by the words that are others in it."""

    def __init__(self, contents: Contents) -> None:
        self._contents = contents
        self._common = common_of(contents, contents, apart=True)
        self._recalled = Recalled(), Recalled()
        self._walked: Walked = {}
        whole = joined(self._common, self._recalled, self._walked)
        self._awaited = tuple(self._walked)[-1]         # both sides are one machine: it waits for that at least
        self._control = frozenset(whole.common.sides[0].sequencing.control)
        self._sound = dict(self._recalled[1].known)
        self._resting: dict[tuple[str, int], list[Vector]] = {}
        for vector, (_, touched) in self._sound.items():
            for word in sorted(touched):
                self._resting.setdefault(word, []).append(vector)
        self._done = frozenset(move.does for moves, _ in self._sound.values() if isinstance(moves, list)
                               for move in moves)
        self._same = _differing(whole)
        self._known: dict[object, Differing] = {}
        places, (old, new) = whole.common.places[1], whole.common.observers
        self._asked = places.asked
        self._starts = frozenset(store for store in places.dispatching if not new.reads(store))
        self._evaluated = old.evaluated, new.evaluated
        self._bases: dict[str, dict[tuple[int, object], int]] = {}

    def of(self, changes: Mapping[str, Mapping[int, int]], changed: Contents) -> Differing:
        """What behaves differently with some words changed. `changed`: the contents then."""
        if len(changes) == 1 and not self._asked.issuperset(changes):
            return self._shown(next(iter(changes)), changed)
        if self._starts.issuperset(changes):
            self._recalled[1].changed = frozenset((store, address) for store, row in changes.items() for address in row)
            return _differing(joined(self._common.holding(changed), self._recalled, self._walked, self._awaited))
        if not self._control.issuperset(changes):
            return _differing(join(self._contents, changed))
        words = [(store, address) for store, row in changes.items() for address in row]
        recalled = self._recalled[1]
        recalled.changed = frozenset(words)
        common = self._common.holding(changed)
        graph = ControlGraph(common.sides[1], common.terms, common.places[1], common.observers[1], recalled=recalled)
        moved: list[tuple[Vector, Moves]] = []
        for vector in dict.fromkeys(vector for word in words for vector in self._resting.get(word, ())):
            moves = graph.moves_at(vector)
            if moves != self._sound[vector][0]:
                moved.append((vector, moves))
        if not moved:
            return self._same
        key = self._key(moved)
        found = self._known.get(key)
        if found is None:
            found = self._known[key] = _differing(joined(common, self._recalled, self._walked, self._awaited))
        return found

    def _shown(self, store: str, changed: Contents) -> Differing:
        """What behaves differently with other words in a store on which it does not depend where control goes."""
        (old, new), (ours, theirs) = self._common.observers, self._evaluated
        base = self._bases.get(store)
        if base is None:
            base = self._bases[store] = {}
            for (bundle, *_), (meaning, _) in old.with_other_words(store, self._contents, ours).items():
                base.setdefault((bundle, meaning), len(base))
        told = dict(base)
        key = (store, *((told.setdefault((bundle, meaning), len(told)), asks)
                        for (bundle, *_), (meaning, asks) in new.with_other_words(store, changed, theirs).items()))
        found = self._known.get(key)
        if found is None:
            found = self._known[key] = _differing(join(self._contents, changed))
        return found

    def _key(self, moved: list[tuple[Vector, Moves]]) -> object:
        """Equal for variants that differ alike. Where only what is done is another, what nobody does otherwise is but
        told apart."""
        told: dict[int, int] = {}
        doings = []
        for vector, moves in moved:
            before = self._sound[vector][0]
            if not isinstance(moves, list) or not isinstance(before, list) or \
                    [move._replace(does=0) for move in moves] != [move._replace(does=0) for move in before]:
                return tuple((vector, tuple(moves)) for vector, moves in moved)
            doings.append((vector, tuple(move.does if move.does in self._done else
                                         -told.setdefault(move.does, len(told) + 1) for move in moves)))
        return tuple(doings)


def _differing(whole: JointGraph) -> Differing:
    found = behaviour(whole)
    return Differing(tuple(unit._replace(difference=None) for unit in found.units if unit.status != "same"),
                     found.machine)
