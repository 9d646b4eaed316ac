"""What a term depends on: known things, environment, free things; and its largest parts that depend on one kind."""

from collections.abc import Callable, Iterable

from ordain.logic.valuations import Domain
from ordain.machine.expression import Const, If, Leaf, Node, Slice
from ordain.prover.relation.residues import passes_data

KNOWN, ENVIRONMENT, FREE = 1, 2, 4
"""Control and words; the environment; inputs, conditions and buses. A term's kinds are a sum of these."""

class Support:
    """`known`: leaves given by control or words. `domain`: the environment. `free`: the number of values of each free
    leaf."""

    __slots__ = ("_free", "_kinds", "_known", "domain", "free")

    def __init__(self, known: frozenset[Node], domain: Domain, free: dict[Node, int]) -> None:
        self._known, self.domain, self.free = known, domain, free
        self._kinds: dict[Node, int] = {}
        self._free: dict[Node, frozenset[Node]] = {}

    def kinds(self, root: Node) -> int:
        found = self._kinds.get(root)
        if found is None:
            self._visit(root)
            found = self._kinds[root]
        return found

    def free_leaves(self, root: Node) -> frozenset[Node]:
        if root not in self._kinds:
            self._visit(root)
        return self._free[root]

    def _visit(self, root: Node) -> None:
        kinds, free = self._kinds, self._free
        stack = [root]
        while stack:
            node = stack[-1]
            if node in kinds:
                stack.pop()
                continue
            missing = [arg for arg in node.args if arg not in kinds]
            if missing:
                stack.extend(missing)
                continue
            stack.pop()
            if type(node) is Leaf:
                kinds[node] = KNOWN if node in self._known else ENVIRONMENT if node in self.domain.position else FREE
                free[node] = frozenset((node,)) if kinds[node] == FREE else frozenset()
            else:
                kind = 0
                for arg in node.args:
                    kind |= kinds[arg]
                kinds[node] = kind
                parts = [free[arg] for arg in node.args if free[arg]]
                free[node] = parts[0].union(*parts[1:]) if parts else frozenset()

    def largest(self, roots: Iterable[Node], chosen: Callable[[Node], bool]) -> list[Node]:
        """The largest terms below the roots for which `chosen` holds, each once."""
        found: dict[Node, None] = {}
        seen: set[Node] = set()
        stack = list(roots)[::-1]
        while stack:
            node = stack.pop()
            if node in seen or type(node) is Const:
                continue
            seen.add(node)
            if chosen(node):
                found[node] = None
            else:
                stack.extend(reversed(node.args))
        return list(found)

    def deciding(self, nexts: Iterable[Node], others: Iterable[Node], chosen: Callable[[Node], bool]) -> list[Node]:
        """The largest of the chosen terms (known ones) that decide something: below `others` all of them, in `nexts`
        those that are not just passed on as data."""
        seen: set[Node] = set()
        stack = list(nexts)
        conditions = list(others)
        while stack:
            node = stack.pop()
            leaf = node.args[0] if type(node) is Slice else node
            if node in seen or not self.kinds(node) & KNOWN or type(leaf) is Leaf:
                continue
            seen.add(node)
            if type(node) is If:
                conditions.append(node.args[0])
                stack += node.args[1:]
            elif passes_data(node):
                stack += node.args
            else:
                conditions.append(node)
        return self.largest(conditions, chosen)
