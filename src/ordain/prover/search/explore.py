"""From a question to everything that can be reached: partition, word classes, dead bits, search, in this order."""

from time import monotonic
from typing import NamedTuple

from ordain.control.model import System
from ordain.machine.expression import Node
from ordain.prover.model import Limits, Report
from ordain.prover.relation.partition import Question, Tables, split
from ordain.prover.relation.word_classes import WordClasses
from ordain.prover.search.breadth_first import Search, run
from ordain.prover.search.conditions import Queries
from ordain.prover.search.dead_bits import hold_dead_bits
from ordain.prover.search.edges import Reopened

SCATTERED = 256
"""Most states to begin with, for what begins with any value, that are kept one by one instead of as a set."""


class Explored(NamedTuple):
    """`search`: what was reached. `queries`: the question's conditions as they are put to it. `held`: how many variable
    bits were found dead, summed over the locations. `explicit`: the leaves that had to be made explicit for it."""

    search: Search
    queries: Queries
    held: int
    explicit: frozenset[Node]


def explore(system: System, question: Question, limits: Limits, *, tables: Tables | None = None,
            report: Report | None = None, started: float | None = None, most: int | None = None,
            explicit: frozenset[Node] = frozenset()) -> Explored:
    """`tables`: see `split`. `started`, `most`: see `run`. `explicit`: leaves known to have to be explicit."""
    started = monotonic() if started is None else started
    scattered: frozenset[Node] = frozenset()
    while True:
        shape, conditions = split(system, question, limits.reduce, explicit, tables, scattered)
        classes = WordClasses(shape)
        queries = Queries(classes, conditions)
        held = hold_dead_bits(classes, queries) if limits.reduce else 0
        more = classes.scattered(SCATTERED)
        if not more <= scattered:
            scattered |= more
            continue
        try:
            return Explored(run(classes, limits, report, started, most), queries, held, explicit)
        except Reopened as again:
            explicit = again.beside(explicit)
