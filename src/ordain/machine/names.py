"""Names: what was declared under which name, and what a person may have meant by a name that was not."""

from collections.abc import Iterable
from typing import Literal, NamedTuple, TypeAlias

from ordain.language import tree
from ordain.machine.expression import Node
from ordain.text.findings import Finding, Place, error
from ordain.text.source import Span
from ordain.text.spelling import nearest

Kind: TypeAlias = Literal[
    "store", "field", "state", "register", "input", "condition", "signal", "constant", "bus", "agent", "clock", "phase",
    "memory",
]

ARTICLE = {"store": "a store", "field": "a field", "state": "a state", "register": "a register", "input": "an input",
           "condition": "a condition", "signal": "a signal", "constant": "a constant", "bus": "a bus",
           "agent": "an agent", "memory": "a memory", "clock": "a clock", "phase": "a phase"}


class Codes(NamedTuple):
    """Names of values. `what` is how people are told whose codes they are. `closed`: other values never occur.
    `broken`: names whose code has been reported."""

    what: str
    values: dict[str, int]
    width: int
    closed: bool
    broken: frozenset[str] = frozenset()


ANY_CODES = Codes("", {}, 0, False)
"""Stands where codes are expected whose owner is broken: no name of a code can be held against anybody there."""


class DeclaredName:
    """One declared name.

    `node` is its leaf; for a signal its lowered value, None until then; for a constant None. `broken`: its own
    declaration has been reported, so that uses of it stay silent. `value`, `agent`: where a signal or constant is
    written and whose names it may use. `number`, `own_width`: a constant's value and the width that its digits say.
    """

    __slots__ = ("agent", "broken", "codes", "done", "kind", "name", "node", "number", "own_width", "span", "value",
                 "width")

    def __init__(self, name: str, kind: Kind, span: Span, width: int = 0, node: Node | None = None,
                 codes: Codes | None = None, value: "tree.Expr | None" = None, agent: str = "") -> None:
        self.name, self.kind, self.span, self.width, self.node = name, kind, span, width, node
        self.codes, self.value, self.agent = codes, value, agent
        self.broken = False
        self.done = value is None
        self.number = 0
        self.own_width: int | None = None


class Scope:
    """All names of one machine. Names of an agent's parts are dotted; inside the agent they need no prefix."""

    __slots__ = ("entries",)

    def __init__(self) -> None:
        self.entries: dict[str, DeclaredName] = {}

    def declare(self, entry: DeclaredName) -> Finding | None:
        """The first declaration of a name stays; a later one is a finding."""
        earlier = self.entries.setdefault(entry.name, entry)
        if earlier is entry:
            return None
        return error("defined-twice", f"`{entry.name}` is defined twice", entry.span,
                     f"{ARTICLE[entry.kind]} of this name",
                     places=(Place(earlier.span, f"{ARTICLE[earlier.kind]} of the same name"),),
                     help="give one of them another name")

    def find(self, name: str, agent: str = "") -> DeclaredName | None:
        """What `name` means, read inside `agent` ("" for the machine itself)."""
        if agent:
            own = self.entries.get(f"{agent}.{name}")
            if own is not None:
                return own
        return self.entries.get(name)

    def visible(self, agent: str = "") -> list[str]:
        """Every name that could have been meant."""
        own = [name[len(agent) + 1:] for name in self.entries if agent and name.startswith(agent + ".")]
        return [*own, *self.entries]


def unknown(name: str, candidates: Iterable[str], span: Span, wanted: str = "a value") -> Finding:
    """`name` is none of `candidates`; the nearest of them is offered."""
    close = nearest(name, candidates)
    return error("unknown-name", f"nothing is called `{name}`" if wanted == "a value" else f"no {wanted} `{name}`",
                 span, "not declared in the machine file",
                 help=f"did you mean `{close}`?" if close else f"declare `{name}`, or correct its spelling")
