"""Whether what a certificate claims is so, without any search.

Of each claim three things are looked at: that the machine begins in the claimed set, that no cycle leads out of it, and
that no cycle from it has what must not be. What must always be possible is so by ranks: from a state of the first rank
it can come at once, from one of each other rank a cycle leads into the rank before, and the set is in the ranks.
"""

from collections.abc import Callable, Iterable, Iterator
from typing import Literal, NamedTuple

from oxidd.bdd import BDDFunction
from oxidd.util import BooleanOperator, DDMemoryError

from ordain.audit.board import Board, NotAudited
from ordain.audit.certificate import Certificate, Claim, digest
from ordain.audit.meanings import ClaimQuestion, questions
from ordain.rom.contents import Contents


class ClaimVerdict(NamedTuple):
    """What an audit says of one claim."""

    check: str
    subject: str
    outcome: Literal["confirmed", "refused", "not audited"]
    why: str


def differs(contents: Contents, sources: Iterable[tuple[str, str]], certificate: Certificate) -> str:
    """In what a machine is not the one that a certificate is about, "" where it is."""
    if certificate.machine != contents.machine.name:
        return f"it is about `{certificate.machine}`"
    theirs, ours = dict(certificate.sources), dict(sources)
    if theirs != ours:
        return "it is about other sources: " + ", ".join(sorted(
            name for name in theirs.keys() | ours.keys() if theirs.get(name) != ours.get(name)))
    stores = {name: digest(words, contents.machine.stores[name].bits) for name, words in contents.words.items()}
    if dict(certificate.stores) != stores:
        return "it is about other words in the chips, or at other addresses"
    return ""


def audit(contents: Contents, certificate: Certificate, told: Callable[[ClaimVerdict], None]) -> list[ClaimVerdict]:
    """What is to be said of every claim, in their order; `told`: each as soon as it is known."""
    found = []
    for finding in Audit(contents, certificate).every():
        found.append(finding)
        told(finding)
    return found


class Refused(Exception):
    """Why a claim is not so."""


class Audit:
    """A certificate held against a machine. `read` has to come first; it raises Refused and NotAudited."""

    def __init__(self, contents: Contents, certificate: Certificate) -> None:
        self.certificate = certificate
        self.board = Board(contents, certificate.bits)
        self._sound: dict[int, str] = {}

    def every(self) -> Iterator[ClaimVerdict]:
        claims = self.certificate.claims
        try:
            self.read()
        except NotAudited as fault:
            yield from (ClaimVerdict(*claim[:2], "not audited", f"this machine has {fault}") for claim in claims)
            return
        except Refused as fault:
            yield from (ClaimVerdict(*claim[:2], "refused", str(fault)) for claim in claims)
            return
        for claim in claims:
            question = self.asked.get((claim.check, claim.subject))
            if claim.outcome not in ("proved", "allowed"):
                yield ClaimVerdict(*claim[:2], "not audited", f"it is not claimed that it holds, but: {claim.outcome}")
            elif question is None:
                yield ClaimVerdict(*claim[:2], "not audited", "this audit does not know what it means")
            else:
                yield self._judged(question, claim)

    def read(self) -> None:
        board, claims = self.board, self.certificate.claims
        if len(set(self.certificate.bits)) != len(self.certificate.bits):
            raise Refused("a bit is named twice")
        bounds = {claim.subject: claim.worst for claim in claims if claim.worst is not None}
        self.asked = questions(board, bounds)
        self.allowed, self.start = board.allowed(), board.start()
        try:
            nexts = [(number, board.next(bit)) for number, bit in enumerate(self.certificate.bits)]
        except (KeyError, IndexError):
            raise Refused("it is about a bit that the machine does not have") from None
        self.onward = BDDFunction.make_substitution(nexts)
        self.loose = bool(self._depends([self.allowed, *(after for _, after in nexts)]) & board.loose)
        self.free = board.true
        for number in range(board.manager.num_vars() - 1, len(nexts) - 1, -1):
            self.free &= board.manager.var(number)
        self.sets = [board.false, board.true]
        for bit, low, high in self.certificate.nodes:
            self.sets.append(board.manager.var(bit).ite(self.sets[high], self.sets[low]))

    def _judged(self, question: ClaimQuestion, claim: Claim) -> ClaimVerdict:
        try:
            self._look(question, claim)
        except Refused as fault:
            return ClaimVerdict(*claim[:2], "refused", str(fault))
        except NotAudited as fault:
            return ClaimVerdict(*claim[:2], "not audited", str(fault))
        except DDMemoryError:
            return ClaimVerdict(*claim[:2], "not audited", "it takes more memory than there is")
        return ClaimVerdict(*claim[:2], "confirmed", "")

    def _look(self, question: ClaimQuestion, claim: Claim) -> None:
        states = self.sets[claim.states]
        if question.kind != "reach":
            if claim.states not in self._sound:
                self._sound[claim.states] = self._unsound(states)
            if self._sound[claim.states]:
                raise Refused(self._sound[claim.states])
        if question.kind == "never":
            if (states & self.allowed & question.cycles).satisfiable():
                raise Refused("a cycle from the set has it")
            return
        if self.loose or self._depends([question.cycles]) & self.board.loose:
            raise NotAudited("it hangs on something of which the certificate does not say what it is")
        if question.kind == "always":
            self._ranked(states, question, claim.ranks)
        else:
            self._followed(question, claim.path)

    def _unsound(self, states: BDDFunction) -> str:
        """Why a set is none in which the machine begins and stays, "" where it is one."""
        if (self.start & ~states).satisfiable():
            return "the machine can begin outside of the set"
        if (states & self.allowed & ~states.substitute(self.onward)).satisfiable():
            return "a cycle leads out of the set"
        return ""

    def _ranked(self, states: BDDFunction, question: ClaimQuestion, ranks: tuple[int, ...]) -> None:
        left = states
        able = self._able(question.cycles)
        for number in ranks:
            rank = self.sets[number]
            if (rank & ~able).satisfiable():
                raise Refused("from a state of a rank no cycle leads on as it should")
            left, able = left & ~rank, self._able(rank.substitute(self.onward))
        if left.satisfiable():
            raise Refused("a state of the set has no rank")

    def _followed(self, question: ClaimQuestion, path: tuple[str, ...]) -> None:
        if not path:
            raise Refused("no way is shown")
        able = self._state(path[-1]) & self._able(question.cycles)
        for state in reversed(path[:-1]):
            able = self._state(state) & self._able(able.substitute(self.onward))
        if not (able & self.start).satisfiable():
            raise Refused("the way that is shown cannot be gone")

    def _able(self, cycles: BDDFunction) -> BDDFunction:
        """The states from which some input makes such a cycle."""
        return cycles.apply_exists(BooleanOperator.AND, self.allowed, self.free)

    def _state(self, said: str) -> BDDFunction:
        found = self.board.true
        for number, level in enumerate(said):
            bit = self.board.manager.var(number)
            found &= bit if level == "1" else ~bit if level == "0" else self.board.true
        return found

    def _depends(self, functions: Iterable[BDDFunction]) -> set[int]:
        """The variables on which some functions depend."""
        found, seen, waiting = set[int](), set[BDDFunction](), list(functions)
        while waiting:
            function = waiting.pop()
            parts = function.cofactors()
            if parts is not None and function not in seen:
                seen.add(function)
                found.add(function.node_var() or 0)
                waiting += parts
        return found
