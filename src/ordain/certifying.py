"""A proof written down so that others can check it: what the prover has reached, in the words of the audit.

Prover and audit meet here and nowhere else. The sets that a question needs beside what it looks back to, the ranks of
what must always be possible, and the ways to what can be reached are worked out over the audit's own reading of the
machine; whether any of it is right is for the audit to say.
"""

from collections.abc import Callable, Container, Iterator, Mapping, Sequence

from oxidd.bdd import BDDFunction
from oxidd.util import BooleanOperator

from ordain import __version__
from ordain.audit.board import Bit, Board, NotAudited
from ordain.audit.certificate import Certificate, Claim, digest
from ordain.audit.meanings import ClaimQuestion, questions
from ordain.checks.check import Report, Row
from ordain.checks.run import questions as asked_of
from ordain.control.system import build_system, kept_bits
from ordain.machine.expression import Node
from ordain.prover.decide import reached
from ordain.prover.symbolic.cases import NOTHING_DEAD, SearchCase
from ordain.prover.symbolic.relation import Relation
from ordain.rom.contents import Contents


class NotKept(Exception):
    """Why no certificate can be written."""


def certificate_of(contents: Contents, sources: Sequence[tuple[str, str]], report: Report,
                   told: Callable[[int], None]) -> Certificate:
    """Everything that a report says holds. `told`: how many claims are made. Raises NotKept."""
    if report.ended or report.stopped:
        raise NotKept(f"the proof came to no end: {report.ended or report.stopped}")
    bounds = {row.subject: row.worst for row in report.rows if row.worst is not None}
    try:
        empty = Board(contents, ())
        questions(empty, bounds)
    except NotAudited as fault:
        raise NotKept(f"the audit does not know what it would have to look at: {fault}") from fault
    case = _search(contents)
    names = _names(contents, case, empty.priors)
    order = sorted(names, key=lambda atom: case.space.number[atom])
    bits = [names[atom] for atom in order]
    bits += [(name, number) for name, held in empty.memory.items() for number in range(len(held))
             if (name, number) not in bits]
    writer = _Writer(contents, bits, bounds)
    states = writer.carried(case, names)
    claims = []
    for row in report.rows:
        claims.append(writer.claim(row, states))
        told(len(claims))
    stores = [(name, digest(words, contents.machine.stores[name].bits)) for name, words in contents.words.items()]
    return Certificate(f"ordain {__version__}", contents.machine.name, tuple(sources), tuple(stores), tuple(bits),
                       tuple(claims), tuple(writer.nodes))


def _search(contents: Contents) -> SearchCase:
    case = reached(build_system(contents), tuple(asked for _, asked in asked_of(contents)))
    if case.layers.stopped:
        raise NotKept(f"the search came to no end: {case.layers.stopped}")
    return case


def _names(contents: Contents, case: SearchCase, priors: Mapping[Node, str]) -> dict[int, Bit]:
    """What the audit calls each bit of the states of a search, by atom."""
    kept, lowering = kept_bits(contents.machine), case.model.system.lowering
    remembered = {lowering[node]: name for node, name in priors.items() if node in lowering}
    found = {}
    for variable in case.space.variables:
        for number, atom in enumerate(case.space.atoms.of(variable.leaf)):
            if case.model.plain >> atom & 1 and case.model.needed[variable.leaf] >> number & 1:
                if variable.origin == "bus":
                    found[atom] = (variable.name, kept[variable.name][number])
                else:
                    found[atom] = (remembered.get(variable.leaf, variable.name), number)
    return found


def _whole(case: SearchCase, names: Mapping[int, Bit]) -> BDDFunction:
    """What is reached; where bits were held at 0 because nothing reads them there, or nowhere, with any value of these.
    What is dead may go on into what is dead and was not held, so that a few cycles more may be needed until nothing is
    new."""
    space, model, found = case.space, case.model, case.layers.reached
    for atom in model.dead.live_next:
        found = found | (found & ~model.dead.live[atom]).exists(space.cube((atom,)))
    if model.dead.live:
        parts = model._replace(dead=NOTHING_DEAD).parts(case.atoms, _nothing)
        relation, now = Relation(space, parts, case.atoms, model.required, _nothing), found
        while now.satisfiable():
            now = relation.after(now) & ~found
            found = found | now
    unread = [atom for atom in range(space.states) if case.atoms >> atom & 1 and atom not in names]
    return found.exists(space.cube(unread))


def _nothing() -> None:
    pass


class _Writer:
    def __init__(self, contents: Contents, bits: Sequence[Bit], bounds: dict[str, int]) -> None:
        self.machine, self.bits = contents.machine, bits
        self.board = board = Board(contents, bits)
        self.asked = questions(board, bounds)
        self.allowed = board.allowed()
        self.onward = BDDFunction.make_substitution([(at, board.next(bit)) for at, bit in enumerate(bits)])
        self.free = board.true
        for number in range(board.manager.num_vars() - 1, len(bits) - 1, -1):
            self.free = board.manager.var(number) & self.free
        self.nodes: list[tuple[int, int, int]] = []
        self._numbers = {board.false: 0, board.true: 1}

    def carried(self, case: SearchCase, names: Mapping[int, Bit]) -> BDDFunction:
        """What a search has reached, over the bits of the audit."""
        known = {case.space.false: self.board.false, case.space.true: self.board.true}
        whole = _whole(case, names)
        for function in _upwards(whole, known.keys()):
            high, low = _below(function)
            bit = names[case.space.atom_of[function.node_var() or 0]]
            known[function] = self.board.now[bit].ite(known[high], known[low])
        return known[whole]

    def claim(self, row: Row, states: BDDFunction) -> Claim:
        question = self.asked.get((row.check, row.subject))
        if question is None or row.outcome not in ("proved", "allowed"):
            return Claim(row.check, row.subject, row.outcome, 0, None, (), ())
        ranks: tuple[int, ...] = ()
        path: tuple[str, ...] = ()
        if question.kind == "never":
            states = self._safe(states, question)
        elif question.kind == "always":
            ranks = tuple(self._number(rank) for rank in self._ranks(states, question))
        elif row.witness is not None:
            path = tuple(self._state(cycle.states) for cycle in row.witness.cycles)
        return Claim(row.check, row.subject, row.outcome, self._number(states), row.worst, ranks, path)

    def _safe(self, states: BDDFunction, question: ClaimQuestion) -> BDDFunction:
        """Those from which no cycle with the question can come."""
        gone = states & self._able(question.cycles)
        while gone.satisfiable():
            states = states & ~gone
            gone = states & self._able(gone.substitute(self.onward))
        return states

    def _ranks(self, states: BDDFunction, question: ClaimQuestion) -> Iterator[BDDFunction]:
        rank = states & self._able(question.cycles)
        while rank.satisfiable():
            yield rank
            states = states & ~rank
            rank = states & self._able(rank.substitute(self.onward))

    def _able(self, cycles: BDDFunction) -> BDDFunction:
        return cycles.apply_exists(BooleanOperator.AND, self.allowed, self.free)

    def _state(self, values: Mapping[str, int]) -> str:
        own = self.machine.states.keys() | self.machine.registers.keys()
        return "".join(str(values[name] >> number & 1) if name in own and name in values else "-"
                       for name, number in self.bits)

    def _number(self, states: BDDFunction) -> int:
        for function in _upwards(states, self._numbers.keys()):
            high, low = _below(function)
            self._numbers[function] = len(self.nodes) + 2
            self.nodes.append((function.node_var() or 0, self._numbers[low], self._numbers[high]))
        return self._numbers[states]


def _upwards(function: BDDFunction, known: Container[BDDFunction]) -> Iterator[BDDFunction]:
    """The nodes of a diagram that are not known yet, each after those below it."""
    waiting = [function]
    while waiting:
        here = waiting[-1]
        below = [] if here in known else [part for part in _below(here) if part not in known]
        if below:
            waiting += below
        else:
            waiting.pop()
            if here not in known:
                yield here


def _below(function: BDDFunction) -> Sequence[BDDFunction]:
    """Where the topmost bit is 1, and where it is 0."""
    return function.cofactors() or ()
