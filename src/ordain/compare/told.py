"""Which values of a field the machine itself tells from all others, by what they drive, load, strobe or choose.

A machine may say that a unit drives its bus while a field is not `pass`, and nothing of what else makes `add` differ
from `subtract`. Such codes can only be known by their names. So can those of which it says one thing in two ways: what
is told differs for some values of everything else, and not only in its words.
"""

from collections.abc import Iterable

from ordain.compare.equal_terms import EqualTerms, Looks
from ordain.logic.diagrams import Functions
from ordain.machine.expression import Node, leaves, substitute
from ordain.machine.model import Machine


class Told:
    """Of one machine. `terms`: all that it says happens."""

    def __init__(self, machine: Machine, terms: Iterable[Node]) -> None:
        self._machine = machine
        self._about: dict[str, list[Node]] = {}
        for term in dict.fromkeys(terms):
            for leaf in leaves((term,)):
                if leaf.kind == "field":
                    self._about.setdefault(leaf.name, []).append(term)
        self._equal_terms = EqualTerms(machine.terms, Functions(()))
        self._memo: dict[tuple[str, int], tuple[Looks, ...]] = {}
        self._told: dict[tuple[str, int], bool] = {}

    def speaks_of(self, name: str) -> bool:
        return name in self._about

    def names(self, name: str, value: int) -> bool:
        """Whether a value of a field is one of its codes, or it has none."""
        codes = self._machine.fields[name].codes
        return not codes or any(code.value == value for code in codes)

    def tells(self, name: str, value: int) -> bool:
        """Whether something happens otherwise than with any other code of the field, and than when it is idle; of a
        number, than with any one of its bits turned."""
        found = self._told.get((name, value))
        if found is None:
            found = self._told[name, value] = name in self._about and self._tells(name, value)
        return found

    def _tells(self, name: str, value: int) -> bool:
        field = self._machine.fields[name]
        others = {code.value for code in field.codes} or {value ^ 1 << bit for bit in range(field.width)}
        if isinstance(field.idle, int):
            others.add(field.idle)
        return all(self._with(name, other) != self._with(name, value) for other in others - {value})

    def untold(self, name: str) -> list[str]:
        """The codes of a field, but the idle one, that are not told from all others."""
        field = self._machine.fields[name]
        return [code.name for code in field.codes if code.value != field.idle and not self.tells(name, code.value)]

    def _with(self, name: str, value: int) -> tuple[Looks, ...]:
        """What all that speaks of the field looks like while it has a value."""
        found = self._memo.get((name, value))
        if found is None:
            terms, width = self._machine.terms, self._machine.fields[name].width
            happening = substitute(terms, tuple(self._about[name]), {
                terms.leaf("field", name, width): terms.const(value, width)})
            found = self._memo[name, value] = tuple([self._equal_terms.looks(term) for term in happening])
        return found
