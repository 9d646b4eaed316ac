"""Ways that go round for ever or come to an end where several lead on, and what of the whole machine is shown there."""

from collections.abc import Callable
from itertools import pairwise

import pytest

from ordain.control.cycle import Running
from ordain.control.model import Trace, Variable
from ordain.control.system import build_system
from ordain.machine.expression import Node
from ordain.prover.decide import decide
from ordain.prover.model import Break, Limits, Property
from ordain.prover.symbolic.cases import SearchCase, SearchWatch, model_of
from ordain.prover.symbolic.traces import Stage, TraceScript
from ordain.rom.contents import Contents
from tests.workshop import contents_of

MACHINE = """machine rounds
microprogram "rounds.micro"
store control 2 words of 1 bit
    address go
field lamp 1 bit
input go 1 bit
state place 3 bits, reset {first}
    next choose place
"""
NUMBERED = ((0, 1, 2, 3, 4, 5, 6, 7), (7, 6, 5, 4, 3, 2, 1, 0), (2, 5, 7, 0, 6, 1, 4, 3), (5, 2, 4, 6, 3, 0, 7, 1))
"""The same places with other numbers: which of several ways is shown goes by those."""
Ways = dict[str, str]
"""From a place, in letters from `a`, to one or two; of two the second with `go`."""


def machine(ways: Ways, numbers: tuple[int, ...], more: str = "") -> Contents:
    number = dict(zip("abcdefgh", map(str, numbers)))
    rows = "".join(f"        {number[here]} : " + (f"{number[there[1]]} if go else " if there[1:] else "")
                   + f"{number[there[0]]}\n" for here, there in ways.items())
    others = f"        otherwise : {number['h']}\n" if len(ways) < 8 else ""
    return contents_of(MACHINE.format(first=number["a"]) + rows + others + more,
                       "routine all at 0\n    lamp\n    lamp\n")


def at(contents: Contents, numbers: tuple[int, ...], *letters: str) -> Node:
    terms = contents.machine.terms
    return terms.among(terms.leaf("state", "place", 3), frozenset(numbers["abcdefgh".index(one)] for one in letters))


def broken(contents: Contents, kind: str, node: Node, **more: object) -> Break:
    asked = Property("asked", "", kind, node, **more)  # type: ignore[arg-type]
    (found,) = decide(build_system(contents), (asked,)).verdicts
    assert found.outcome == "broken"
    return found.breaks[0]


def letters(trace: Trace | None, numbers: tuple[int, ...]) -> str:
    assert trace is not None
    return "".join("abcdefgh"[numbers.index(cycle.states["place"])] for cycle in trace.cycles)


LONG_WAY = {"a": "be", "b": "c", "c": "d", "d": "e", "e": "f", "f": "ge", "g": "e"}
"""From `a` no way leads back to it, nor from what is farthest, `d`, back to that."""


@pytest.mark.parametrize("numbers", NUMBERED)
@pytest.mark.parametrize("turned", [False, True])
def test_a_way_that_never_comes_back_goes_round_where_it_ends_up(numbers: tuple[int, ...], turned: bool) -> None:
    ways = {here: there[::-1] if turned else there for here, there in LONG_WAY.items()}
    contents = machine(ways, numbers)
    found = broken(contents, "always", at(contents, numbers, "h"))
    way = letters(found.trace, numbers)
    assert found.trace is not None and found.trace.loop is not None and (found.cycles, found.states) == (0, 7)
    assert all(there in ways[here] for here, there in pairwise(way + way[found.trace.loop]))
    assert way[0] == "a" and len({*way}) == len(way)
    assert found.trace.after["place"] == found.trace.cycles[found.trace.loop].states["place"]


@pytest.mark.parametrize("numbers", NUMBERED)
@pytest.mark.parametrize("turned", [False, True])
def test_what_leads_back_is_chosen_as_what_leads_there(numbers: tuple[int, ...], turned: bool) -> None:
    """From `b` one way leads back, the other one to where no way leads back from."""
    contents = machine({"a": "b", "b": "ac" if turned else "ca", "c": "c"}, numbers)
    trace = broken(contents, "always", at(contents, numbers, "h")).trace
    assert trace is not None and (letters(trace, numbers), trace.loop, trace.dead_end) == ("ab", 0, False)


FORK = {"a": "bc", "b": "d", "c": "c", "d": "d", "h": "h"}


@pytest.mark.parametrize("numbers", NUMBERED)
@pytest.mark.parametrize("end", "bc")
def test_a_way_to_an_end_is_shown_beside_one_that_goes_on(numbers: tuple[int, ...], end: str) -> None:
    """One of two ways comes to a place in which no input is allowed."""
    contents = machine(FORK, numbers, f"assume place is not {numbers['abc'.index(end)]}\n")
    found = broken(contents, "always", at(contents, numbers, "h"))
    assert found.trace is not None and (letters(found.trace, numbers), found.trace.dead_end) == ("a", True)
    assert found.trace.after["place"] == numbers["abc".index(end)]


def test_what_no_question_asks_about_begins_as_it_is_reset_and_goes_round_as_well() -> None:
    """The wheel takes two rounds of what is asked about, and the needle leaves its place once; the hand takes longer to
    come round than anybody would look at, and is left out where it begins anew. What begins with anything is shown
    with 0."""
    ways = {"a": "b", "b": "a"}
    more = """state loose 2 bits, reset any
    next loose
state wheel 2 bits, reset 2
    next wheel + 1
state needle 2 bits, reset 1
    next 3
state hand 9 bits, reset 0
    next hand + 1
"""
    without_hand = more[:more.index("state hand")]
    contents = machine(ways, NUMBERED[0], without_hand)
    trace = broken(contents, "always", at(contents, NUMBERED[0], "h")).trace
    assert trace is not None
    assert [(cycle.states["place"], cycle.states["wheel"], cycle.states["needle"]) for cycle in trace.cycles] == [
        (0, 2, 1), (1, 3, 3), (0, 0, 3), (1, 1, 3), (0, 2, 3), (1, 3, 3)]
    assert trace.loop == 2 and trace.after == trace.cycles[2].states and trace.after["loose"] == 0
    contents = machine(ways, NUMBERED[0], more)
    last, place = (contents.machine.terms.leaf("state", name, 3) for name in ("last", "place"))
    monitor = Variable("last", last, 8, 0, place, "monitor")
    trace = broken(contents, "always", at(contents, NUMBERED[0], "h"), monitors=(monitor,)).trace
    assert trace is not None and trace.loop == 0 and trace.cycles[1].states["hand"] == 1
    assert (trace.cycles[0].monitors, trace.cycles[1].monitors) == ({}, {"last": 0})
    assert "hand" not in trace.cycles[0].states and trace.cycles[0].states["place"] == trace.after["place"]


@pytest.mark.parametrize(("part", "said"), [("next", "leaves its path"), ("values", "does not satisfy")])
def test_a_way_that_the_machine_does_not_go_is_not_told(monkeypatch: pytest.MonkeyPatch, part: str, said: str) -> None:
    """The values themselves are looked at: with a place, or a field, that is another than the search found."""
    contents = machine({"a": "b", "b": "c", "c": "a"}, NUMBERED[0])
    terms = contents.machine.terms
    lamp, place = terms.leaf("field", "lamp", 1), terms.leaf("state", "place", 3)
    asked = Property("asked", "", "reach", terms.and_((lamp, at(contents, NUMBERED[0], "c"))))
    (found,) = decide(build_system(contents), (asked,)).verdicts
    assert found.outcome == "proved" and letters(found.witness, NUMBERED[0]) == "abc"
    right: Callable[..., dict[Node, int]] = getattr(Running, part)
    monkeypatch.setattr(Running, part, lambda *given: {**right(*given), place if part == "next" else lamp: 0})
    with pytest.raises(AssertionError, match=said):
        decide(build_system(contents), (asked,))


def test_a_way_from_somewhere_else() -> None:
    """It begins in a state that is reached later: what counts of it as it is there, the rest as it is reset. Of a dial
    only the lower bit counts. What remembers something is shown where it is asked for."""
    contents = machine({"a": "b", "b": "c", "c": "a"}, NUMBERED[1], """state dial 2 bits, reset 2
    next {dial[1], lamp}
state wheel 2 bits, reset 2
    next wheel + 1
""")
    terms = contents.machine.terms
    dial, place = (terms.leaf("state", *one) for one in (("dial", 2), ("place", 3)))
    seen = Variable("seen", terms.leaf("state", "seen", 1), 2, 0, terms.slice(dial, 0, 0), "monitor")
    asked = Property("asked", "", "bad", terms.and_((seen.leaf, at(contents, NUMBERED[1], "h"))), monitors=(seen,))
    case = SearchCase(model_of(build_system(contents), (asked,), Limits()), (seen,), SearchWatch(Limits(), None, 0.0))
    there, then = (case.space.of(terms.and_((at(contents, NUMBERED[1], one), seen.leaf))) & case.layers.reached
                   for one in "ca")
    script = TraceScript([there, then], [(), ()], from_reset=False)
    for shown, named in (((), set[str]()), ((seen,), {"seen"})):
        trace = Stage(case).play(script, {}, shown)
        first, last = trace.cycles
        assert (first.states, last.states["place"]) == ({"place": 5, "dial": 3, "wheel": 2}, 7)
        assert first.monitors == dict.fromkeys(named, 1) and trace.after.keys() == first.states.keys() | named
    assert place in case.model.needed and case.model.needed[dial] == 1
    late = Stage(case).play(script._replace(from_reset=True, sets=[case.start]), {}, ())
    assert late.cycles[0].states == {"place": 7, "dial": 2, "wheel": 2}
