"""What one question wants to know of each cycle, `prior` included.

Parts of an expression that do not look back are facts of a cycle; what looks back is worked out from these facts and
from the values that the question itself carries from one cycle to the next.
"""

from collections.abc import Callable
from operator import itemgetter
from typing import Any

from ordain.language import tree
from tests.judge.cycle import Cycle, Facts, looks_back
from tests.judge.description import Codes, Thing
from tests.judge.speech import Speech

Priors = tuple[int, ...]
Seen = tuple[int, ...]


class Observer(Speech):
    """`see` returns the number under which the value is found in what `look` gives for a cycle."""

    def __init__(self, cycle: Cycle) -> None:
        super().__init__(cycle.description)
        self.cycle = cycle
        self._picked: dict[int, int] = {}
        self._seen: dict[str, int] = {}
        self._priors: dict[str, int] = {}
        self._compiled: tuple[Callable[[Facts], Facts], Callable[[Facts, Priors], tuple[Seen, Priors]]] | None = None

    def see(self, expr: tree.Expr | None, agent: str = "", want: int | None = 1) -> int:
        return self.see_text("1" if expr is None else self.text(expr, want, None, agent))

    def see_fact(self, text: str) -> int:
        """A value of the cycle's own words, see `Cycle`."""
        return self.see_text(self._fact(self.cycle.fact_of(text)))

    def see_text(self, text: str) -> int:
        return self._seen.setdefault(text, len(self._seen))

    def start(self) -> Priors:
        return (0,) * len(self._priors)

    def compiled(self) -> tuple[Callable[[Facts], Facts], Callable[[Facts, Priors], tuple[Seen, Priors]]]:
        """What picks the facts that matter here, and what makes of them the values to be seen and those to carry."""
        if self._compiled is None:
            self._compiled = self._compile()
        return self._compiled

    def _compile(self) -> tuple[Callable[[Facts], Facts], Callable[[Facts, Priors], tuple[Seen, Priors]]]:
        going = self.description.goes_on()
        kept = "" if going is None or not self._priors else self.text(going, 1)
        after = [f"({text} if {kept} else P[{n}])" if kept else text for text, n in self._priors.items()]
        picked = list(self._picked)
        pick: Callable[[Facts], Facts]
        if len(picked) == 1:
            only = picked[0]
            pick = lambda facts: (facts[only],)  # noqa: E731
        elif picked:
            pick = itemgetter(*picked)
        else:
            pick = lambda facts: ()  # noqa: E731
        scope: dict[str, Any] = {}
        seen, carried = ("".join(f"{text}, " for text in texts) for texts in (self._seen, after))
        exec(f"def look(F, P):\n    return ({seen}), ({carried})\n", scope)
        return pick, scope["look"]

    # ------------------------------------------------------------ text

    def known(self, expr: tree.Expr, want: int | None, codes: Codes | None, agent: str) -> str | None:
        if looks_back(expr, self.description, agent):
            return None
        return self._fact(self.cycle.fact_of(self.cycle.text(expr, want, codes, agent)))

    def before(self, expr: tree.Expr, width: int, codes: Codes | None, agent: str) -> str:
        text = self.text(expr, width, codes, agent)
        return f"P[{self._priors.setdefault(text, len(self._priors))}]"

    def leaf(self, thing: Thing) -> str:
        raise AssertionError("a leaf does not look back")

    def _fact(self, number: int) -> str:
        return f"F[{self._picked.setdefault(number, len(self._picked))}]"
