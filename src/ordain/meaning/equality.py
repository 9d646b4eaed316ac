"""Whether two terms are equal for all values that satisfy conditions: by rewriting, by cases, by a bit-vector solver.

Or values of everything for which they differ. A solver is imported only when it is needed: it is an extra.
"""

from collections.abc import Callable, Iterator, Mapping
from random import Random

from ordain.logic.evaluate import evaluate
from ordain.machine.expression import (
    And,
    Cell,
    Const,
    If,
    Leaf,
    Node,
    Not,
    Or,
    postorder,
    substitute,
)
from ordain.meaning.model import Equality, Question, Values
from ordain.meaning.normal import Normal
from ordain.meaning.solver import solved
from ordain.meaning.splitting import implied

MOST_CASES = 256
SAMPLES = 64

def equal(normal: Normal, question: Question) -> Equality:
    terms = normal.terms
    one, other, where = substitute(terms, question[:3], dict(question.under))
    ones = terms.const((1 << one.width) - 1, one.width)
    if where is not ones:
        one, other = terms.and_((one, where)), terms.and_((other, where))
    one, other = normal.of(one), normal.of(other)
    if one is not other:
        one, other = substitute(terms, (one, other), _in_normal_form(normal, question.under))
    if normal.of(one) is normal.of(other):
        return Equality("rewriting")
    if _by_cases(normal, one, other):
        return Equality("cases")
    apart = _by_chance(question)
    if apart is not None:
        return Equality(None, apart)
    return solved(question)


def _in_normal_form(normal: Normal, under: Mapping[Node, Node]) -> dict[Node, Node]:
    """What must hold, said of normal forms."""
    found: dict[Node, Node] = {}
    for node, value in under.items():
        same = normal.of(node)
        if type(same) is not Const:
            found[same] = value
            if type(value) is Const and value.width == 1:
                found.update(implied(normal.terms, same, value.value))
    return found


# ---------------------------------------------------------------- by cases


def _by_cases(normal: Normal, one: Node, other: Node) -> bool:
    """Whether the two are alike whatever the conditions in them are."""
    terms = normal.terms
    waiting, count = [(normal.of(one), normal.of(other))], 0
    while waiting:
        here, there = waiting.pop()
        if here is there:
            continue
        count += 1
        atom = _condition(here) or _condition(there)
        if atom is None or count > MOST_CASES:
            return False
        for value in (0, 1):
            pair = substitute(terms, (here, there), dict(implied(terms, atom, value)))
            waiting.append((normal.of(pair[0]), normal.of(pair[1])))
    return True


def _condition(root: Node) -> Node | None:
    """A smallest condition in a term: a bit that chooses, or a bit of a term of one bit."""
    for node in postorder((root,)):
        if type(node) is If or (node.width == 1 and type(node) in (And, Or, Not)):
            return node.args[0]
    return None


# ---------------------------------------------------------------- by chance


def value_of(nodes: tuple[Node, ...], leaf: Callable[[Leaf], int],
             word: Callable[[str, int, int], int]) -> list[int]:
    """Values of terms, of which `leaf` gives those of leaves and `word(memory, address, bits)` those in memories."""
    known: dict[Node, int] = {}
    memo: dict[Node, int] = {}
    for part in postorder(nodes):
        if type(part) is Leaf:
            known[part] = leaf(part)
        elif type(part) is Cell:
            known[part] = word(part.name, evaluate(part.args[0], known, memo), part.width)
    return [evaluate(node, known, memo) for node in nodes]


def _by_chance(question: Question) -> Values | None:
    """Values for which they differ, if some that are tried do."""
    asked = (question.one, question.other, question.where, *question.under, *question.under.values())
    given = {leaf: node.value for leaf, node in question.under.items() if type(leaf) is Leaf and type(node) is Const}
    for choose in _choices():
        leaves: dict[Leaf, int] = {}
        words: dict[tuple[str, int], int] = {}

        def leaf(one: Leaf, choose: Callable[[int], int] = choose, leaves: dict[Leaf, int] = leaves) -> int:
            return leaves.setdefault(one, given[one] if one in given else choose(one.width))

        def word(memory: str, address: int, bits: int, choose: Callable[[int], int] = choose,
                 words: dict[tuple[str, int], int] = words) -> int:
            return words.setdefault((memory, address), choose(bits))

        one, other, where, *rest = value_of(asked, leaf, word)
        half = len(rest) // 2
        if (one ^ other) & where and rest[:half] == rest[half:]:
            return Values(leaves, words)
    return None


def _choices() -> Iterator[Callable[[int], int]]:
    yield lambda width: 0
    yield lambda width: 1
    yield lambda width: (1 << width) - 1
    random = Random(1)
    for _ in range(SAMPLES):
        yield lambda width: random.getrandbits(width)
