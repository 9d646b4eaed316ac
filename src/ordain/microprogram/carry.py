"""Counters in a chain, each of which counts when those below it are full, as parts of an address: one long counter."""

from collections.abc import Sequence

from ordain.machine.expression import Add, If, Join, Leaf, Node, Terms
from ordain.machine.model import Field, Machine
from ordain.microprogram.survey import reaches, written_in_fields


def counted_width(machine: Machine, fields: dict[str, Field], address: Node, lowest: Leaf) -> int:
    """How many of the lowest bits of an address go on as one number when its lowest part, a state, counts on by one."""
    if type(address) is not Join or address.args[-1] is not lowest or lowest.kind != "state":
        return lowest.width
    terms = machine.terms
    counts = _plus(terms, _next(machine, fields, lowest), lowest, 1)
    below = [lowest]
    for part in reversed(address.args[:-1]):
        if type(part) is not Leaf or part.kind != "state" or part in below or not _carries(
                terms, counts, below, part, _next(machine, fields, part)):
            break
        below.append(part)
    return sum(part.width for part in below)


def _next(machine: Machine, fields: dict[str, Field], state: Leaf) -> Node:
    return written_in_fields(machine, fields, machine.states[state.name].next)


def _carries(terms: Terms, counts: Node, below: Sequence[Leaf], part: Leaf, becomes: Node) -> bool:
    """Whether a part counts on by one as often as all those below it are full while the lowest counts, and stays as it
    is while it counts otherwise."""
    full = terms.and_([terms.equal(one, terms.const((1 << one.width) - 1, one.width)) for one in below])
    counting, carry, up, still = reaches(terms, (counts, full, _plus(terms, becomes, part, 1),
                                                 _plus(terms, becomes, part, 0)))
    return not (counting & carry & ~up or counting & ~carry & ~still)


def _plus(terms: Terms, becomes: Node, part: Leaf, ahead: int) -> Node:
    """The condition under which a part becomes itself plus a number. Recursion ends with what is chosen from."""
    if type(becomes) is If:
        condition, yes, no = becomes.args
        return terms.if_(condition, _plus(terms, yes, part, ahead), _plus(terms, no, part, ahead))
    added: Node | None = terms.const(0, part.width) if becomes is part else None
    if type(becomes) is Add and part in becomes.args:
        added = becomes.args[1] if becomes.args[0] is part else becomes.args[0]
    return terms.const(0, 1) if added is None else terms.equal(added, terms.const(ahead, part.width))
