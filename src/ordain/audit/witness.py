"""The safety part of a certificate as witness circuits, for those who trust a SAT solver more than this audit.

A pair of files in AIGER 1.9 (A. Biere, K. Heljanko, S. Wieringa, technical report 11/2, JKU Linz, 2011) for each set of
states that something is claimed of: the model as the audit reads it, with a bad state for each of these claims; and the
same model with one bad state, to be outside of the set or to have a fault. That it is not bad at the start, and that no
cycle leads from where it is not bad to where it is (it is *inductive*), is all there is to check. The symbols say which
input and latch of the model each of the witness stands for, as the hardware model checking competition does it
(Certifaiger's README, 2026). One pair for all sets would be as true, and a hundred times the work for a solver: that
each set is closed by itself is not for it to find out.
"""

from collections.abc import Iterable, Iterator, Sequence

from oxidd.bdd import BDDFunction

from ordain.audit.audit import Audit
from ordain.audit.board import NotAudited
from ordain.audit.certificate import Claim, seven_bits
from ordain.audit.meanings import ClaimQuestion


def circuits(audit: Audit, name: str) -> Iterator[tuple[str, bytes, bytes]]:
    """For each set of states the name of a model (`name` and a number), it, and its witness. Raises NotAudited where
    the first states cannot be said bit by bit."""
    about: dict[int, list[tuple[Claim, ClaimQuestion]]] = {}
    for claim in audit.certificate.claims:
        question = audit.asked.get((claim.check, claim.subject))
        if question is not None and question.kind == "never" and claim.outcome in ("proved", "allowed"):
            about.setdefault(claim.states, []).append((claim, question))
    latches = [(_first(audit, number), audit.board.next(bit)) for number, bit in enumerate(audit.certificate.bits)]
    for number, (states, claims) in enumerate(about.items(), 1):
        model = f"{name}-{number}.aig"
        yield model, *_pair(audit, model, latches, audit.sets[states], claims)


def _pair(audit: Audit, name: str, latches: Sequence[tuple[int | None, BDDFunction]], inside: BDDFunction,
          claims: Sequence[tuple[Claim, ClaimQuestion]]) -> tuple[bytes, bytes]:
    faults = [question.cycles for _, question in claims]
    bits = [f"{bit} {number}" for bit, number in audit.certificate.bits]
    free = audit.board.manager.num_vars() - len(bits)
    symbols = [f"l{number} {bit}" for number, bit in enumerate(bits)]
    symbols += [f"b{number} {claim.check}: {claim.subject}" for number, (claim, _) in enumerate(claims)]
    model = _written(free, latches, faults, audit.allowed, symbols, [f"{audit.certificate.machine}, as it is audited"])
    symbols = [f"i{number} = {2 * number + 2}" for number in range(free)]
    symbols += [f"l{number} = {2 * (free + number) + 2}" for number in range(len(bits))]
    bad = [~inside | audit.board.any_of(faults)]
    return model, _written(free, latches, bad, audit.allowed, symbols, [f"WITNESS b0 {name}"])


def _first(audit: Audit, number: int) -> int | None:
    """What a bit is when the first cycle begins; None: any. The first states have to be all that these say."""
    bit = audit.board.manager.var(number)
    if not (audit.start & bit).satisfiable():
        return 0
    if not (audit.start & ~bit).satisfiable():
        return 1
    if audit.start.exists(bit) != audit.start:
        raise NotAudited("values at the start that cannot be said bit by bit")
    return None


def _written(inputs: int, latches: Sequence[tuple[int | None, BDDFunction]], bad: Iterable[BDDFunction],
             allowed: BDDFunction, symbols: Iterable[str], comment: Iterable[str]) -> bytes:
    """Inputs are the variables behind those of the latches."""
    gates = _Gates(inputs, len(latches))
    following = [gates.of(function) for _, function in latches]
    faults, constraint = [gates.of(function) for function in bad], gates.of(allowed)
    lines = [f"aig {gates.last} {inputs} {len(latches)} 0 {len(gates.made)} {len(faults)} 1"]
    for number, ((first, _), literal) in enumerate(zip(latches, following, strict=True)):
        lines.append(f"{literal} {2 * (inputs + number) + 2 if first is None else first}")
    lines += [str(literal) for literal in (*faults, constraint)]
    body = "".join(f"{line}\n" for line in lines).encode()
    for at, (a, b) in enumerate(gates.made, inputs + len(latches) + 1):
        body += seven_bits(2 * at - a) + seven_bits(a - b)
    return body + "".join(f"{line}\n" for line in (*symbols, "c", *comment)).encode()


class _Gates:
    """And-gates with inverters for diagrams. A literal is twice a number, and one more where it is inverted."""

    def __init__(self, inputs: int, latches: int) -> None:
        self.made: list[tuple[int, int]] = []
        self.last = inputs + latches
        self._inputs, self._latches = inputs, latches
        self._both: dict[tuple[int, int], int] = {}
        self._known: dict[BDDFunction, int] = {}

    def of(self, function: BDDFunction) -> int:
        """Every node chooses between the two below it."""
        waiting = [function]
        while waiting:
            here = waiting[-1]
            parts = here.cofactors()
            if here in self._known:
                waiting.pop()
            elif parts is None:
                self._known[here] = int(here.valid())
            elif left := [part for part in parts if part not in self._known]:
                waiting += left
            else:
                by = here.node_var() or 0
                number = self._inputs + by if by < self._latches else by - self._latches
                yes, no = self._known[parts[0]], self._known[parts[1]]
                self._known[here] = self._choose(2 * number + 2, yes, no)
        return self._known[function]

    def _choose(self, by: int, yes: int, no: int) -> int:
        return self._and(self._and(by, yes) ^ 1, self._and(by ^ 1, no) ^ 1) ^ 1

    def _and(self, a: int, b: int) -> int:
        a, b = max(a, b), min(a, b)
        if b == 0 or a == b ^ 1:
            return 0
        if b == 1 or a == b:
            return a
        if (a, b) not in self._both:
            self.last += 1
            self.made.append((a, b))
            self._both[a, b] = 2 * self.last
        return self._both[a, b]
