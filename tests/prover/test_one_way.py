"""Machines that can go one way only: the search and the plain engine tell the same sequences, to the last value."""

import pytest

from ordain.control.model import Trace, Variable
from ordain.control.system import build_system
from ordain.machine.expression import Node, Prior, postorder
from ordain.prover.decide import decide
from ordain.prover.model import Limits, Property, Verdict
from ordain.prover.plain import decide_plainly
from ordain.prover.questions import nodes_of
from ordain.rom.contents import Contents
from tests.workshop import contents_of

MACHINE = """machine chime
microprogram "chime.micro"
store control 8 words of 8 bits
    address upc
field target 3 bits address, idle following
field ring 1 bit
field lamp 1 bit
field take 1 bit
spare 2 bits
input go 1 bit
state upc 3 bits, reset 1
    next target
state turned 2 bits, reset 0
    next turned + 1 if ring else turned
state held 2 bits, reset 2
    next {go, lamp} if take else held
bus data 1 bit, pulled low
    driven by bell when ring
    driven by wheel when lamp
    sampled by horn when take
strobe take
register seen 2 bits
    loads turned when lamp
"""
MICRO = """
routine begin at 1
    lamp
  round:
    ring
    take, lamp
    ring, take
    lamp, target round
"""
"""1, then 2, 3, 4, 5 again and again; `turned` goes up at 2 and 4, `held` is set at 3 and 4."""


class Asked:
    """Makers of questions about one machine."""

    def __init__(self, contents: Contents) -> None:
        self.terms = terms = contents.machine.terms
        self.ring, self.lamp, self.take = (terms.leaf("field", name, 1) for name in ("ring", "lamp", "take"))
        self.held, self.turned = terms.leaf("state", "held", 2), terms.leaf("state", "turned", 2)
        self.go, self.window = terms.leaf("input", "go", 1), terms.leaf("state", "window", 1)
        following = terms.or_((self.ring, terms.and_((self.window, terms.not_(self.take)))))
        self.open = Variable("window", self.window, 2, 0, following, "monitor")

    def at(self, *places: int) -> Node:
        return self.terms.among(self.terms.leaf("state", "upc", 3), frozenset(places))

    def turns(self, *values: int) -> Node:
        return self.terms.among(self.turned, frozenset(values))

    def all_of(self, *nodes: Node) -> Node:
        return self.terms.and_(nodes)

    def none_of(self, *nodes: Node) -> Node:
        return self.terms.and_(self.terms.not_(node) for node in nodes)

    def questions(self) -> list[Property]:
        ring, lamp, take, at, prior = self.ring, self.lamp, self.take, self.at, self.terms.prior
        never = self.all_of(ring, lamp)

        def asked(kind: str, node: Node, **more: object) -> Property:
            return Property("asked", f"{kind} {len(found)}", kind, node, **more)  # type: ignore[arg-type]

        found: list[Property] = []
        found += [asked("bad", lamp), asked("bad", lamp, per_word="control"), asked("bad", never),
                  asked("bad", never, vacuity=self.turns(3)), asked("bad", never, vacuity=at(6)),
                  asked("bad", self.all_of(take, self.turns(3)), per_word="control", vacuity=at(6)),
                  asked("bad", self.all_of(prior(prior(lamp)), take), per_word="control"),
                  asked("bad", self.all_of(self.window, lamp), monitors=(self.open,), per_word="control"),
                  asked("reach", self.turns(3)), asked("reach", self.turns(3), shown=False), asked("reach", never),
                  asked("reach", self.all_of(self.turns(2), lamp), vacuity=at(6)),
                  asked("reach", self.all_of(self.turns(2), lamp), vacuity=lamp),
                  asked("reach", self.all_of(self.window, self.turns(3)), monitors=(self.open,)),
                  asked("always", at(1)), asked("always", at(4)), asked("always", self.turns(0)),
                  asked("always", self.all_of(prior(at(1)), ring)),
                  asked("within", ring), asked("within", lamp, trigger=never, cycles=3),
                  asked("within", at(1), trigger=ring, cycles=2), asked("within", at(1), trigger=lamp, cycles=0),
                  asked("within", self.turns(3), trigger=self.all_of(ring, self.turns(0)), cycles=9)]
        found += [asked("within", self.all_of(lamp, self.turns(2)), trigger=self.all_of(take, lamp), cycles=cycles)
                  for cycles in range(8)]
        found += [asked("within", at(1), trigger=at(3), cycles=cycles, unless=self.turns(0)) for cycles in range(8)]
        return found


def without_figures(verdict: Verdict) -> Verdict:
    """How many states a break of `within` has is not counted by the plain engine; with a memory both count others."""
    if verdict.property.kind == "within":
        verdict = verdict._replace(breaks=tuple(one._replace(states=0) for one in verdict.breaks))
    remembers = verdict.property.monitors or any(type(node) is Prior for node in postorder(nodes_of(verdict.property)))
    return verdict._replace(states=0, transitions=0) if remembers else verdict


def settled(trace: Trace | None) -> Trace | None:
    """The plain engine does not know which inputs matter."""
    return trace and trace._replace(cycles=tuple(one._replace(matters=frozenset()) for one in trace.cycles))


def told(verdict: Verdict) -> Verdict:
    verdict = without_figures(verdict)
    return verdict._replace(witness=settled(verdict.witness),
                            breaks=tuple(one._replace(trace=settled(one.trace)) for one in verdict.breaks))


@pytest.mark.parametrize("traces", [0, 1, 16])
@pytest.mark.parametrize("assumed", ["", "assume not (turned is 2 and upc is 4)\n", "assume not ring or upc is 1\n"])
def test_both_engines_tell_the_same_sequences(assumed: str, traces: int) -> None:
    """Under the last two assumptions the machine comes to a state from which it cannot go on."""
    contents = contents_of(f"{MACHINE}assume go\n{assumed}", MICRO)
    asked, system = tuple(Asked(contents).questions()), build_system(contents)
    limits = Limits(traces=traces, reduce=False)
    found, plain = decide(system, asked, limits), decide_plainly(system, asked, limits)
    for mine, theirs in zip((found.over_assumed, *found.verdicts), (plain.over_assumed, *plain.verdicts), strict=True):
        assert told(mine) == told(theirs)


GATES = """machine gates
microprogram "gates.micro"
store control 4 words of 4 bits
    address upc
field pass 2 bits
    never  0 idle
    both   1
    either 2
    dialled 3
field lamp 1 bit
spare 1 bit
input go 1 bit
input halt 1 bit
input other 1 bit
input dial (slow, fast, off)
input nobody 1 bit
state upc 2 bits, reset 0
    next choose pass
        both    : upc + 1 if go and not halt else upc
        either  : upc + 1 if go or other else upc
        dialled : upc + 1 if dial is off else upc
        never   : upc
state seen 1 bit, reset 0
    next nobody
"""


def test_the_inputs_that_matter_are_those_without_which_it_might_go_another_way() -> None:
    """Two that have to be as they are, one of two of which one is enough, one of three values, and what is asked of the
    last cycle; all the others are 0."""
    contents = contents_of(GATES, "routine main at 0\n    pass both\n    pass either\n    pass dialled\n    lamp\n")
    terms = contents.machine.terms
    end = terms.and_((terms.leaf("field", "lamp", 1), terms.leaf("input", "halt", 1)))
    asked = (Property("asked", "", "reach", end), Property("asked", "", "bad", end),
             Property("asked", "", "always", terms.among(terms.leaf("state", "upc", 2), frozenset((0,)))))
    there, back, stay = decide(build_system(contents), asked).verdicts
    for trace in (there.witness, back.breaks[0].trace):
        assert trace is not None
        first, second, third, last = trace.cycles
        assert (first.matters, third.matters, last.matters) == ({"go", "halt"}, {"dial"}, {"halt"})
        assert len(second.matters) == 1 and second.matters < {"go", "other"}
        assert [sum(cycle.free.values()) for cycle in trace.cycles] == [1, 1, 2, 1]
        assert (first.free["go"], third.free["dial"], last.free["halt"]) == (1, 2, 1)
        assert all(second.free[name] for name in second.matters)
        assert (trace.loop, trace.dead_end, trace.after["upc"]) == (None, False, 3)
    (left,) = stay.breaks
    assert left.trace is not None and left.cycles == 1 and left.trace.loop is not None
    assert left.trace.cycles[0].matters == {"go", "halt"}
    assert left.trace.cycles[-1].states["upc"] == left.trace.cycles[left.trace.loop].states["upc"] > 0


FORK = """machine fork
microprogram "fork.micro"
store control 2 words of 1 bit
    address go
field lamp 1 bit
input go 1 bit
state place 2 bits, reset 0
    next choose place
        0 : FAR if go else NEAR
        NEAR : 3
        FAR : NEAR
        3 : 0
"""


@pytest.mark.parametrize(("far", "near"), [(1, 2), (2, 1)])
@pytest.mark.parametrize("cycles", [0, 1, 2, 3])
def test_what_begins_a_wait_may_also_say_where_it_leads(cycles: int, far: int, near: int) -> None:
    """With `go` from 0 the long way, and the answer at 3 comes three cycles after it; without, the shorter way, which
    begins no wait."""
    contents = contents_of(FORK.replace("FAR", str(far)).replace("NEAR", str(near)),
                           "routine all at 0\n    lamp\n    lamp\n")
    terms = contents.machine.terms
    place, go = terms.leaf("state", "place", 2), terms.leaf("input", "go", 1)
    asked = Property("asked", "", "within", terms.among(place, frozenset((3,))), cycles=cycles,
                     trigger=terms.and_((go, terms.among(place, frozenset((0,))))))
    (found,) = decide(build_system(contents), (asked,)).verdicts
    assert (found.outcome, found.worst) == ("proved" if cycles == 3 else "broken", 3)
    for broken in found.breaks:
        assert broken.trace is not None and broken.trace.cycles[0].free["go"] == 1
        assert [cycle.states["place"] for cycle in broken.trace.cycles] == [0, far, near][:cycles + 1]
