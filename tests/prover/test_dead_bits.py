"""Dead bits held at 0, as in searches whose sets of states become large: with every search taken for such a one,
against a search over single states. And for each condition of `prover.symbolic.dead` a machine that goes wrong
without it."""

from random import Random
from typing import Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import ordain.prover.symbolic.cases
import ordain.prover.symbolic.dead
from ordain.control.system import build_system
from ordain.machine.model import Never
from ordain.prover.decide import decide
from ordain.prover.model import Limits, Property, Verdicts
from ordain.rom.contents import Contents
from tests.prover import test_presented
from tests.prover.by_hand import Bench, random_comparisons, random_contents, random_journeys, random_successions
from tests.prover.test_against_plain_search import LARGEST, agree
from tests.workshop import contents_of

Fill = Literal["map", "microprogram"]


@pytest.fixture(autouse=True)
def every_search_is_wide(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ordain.prover.symbolic.cases, "WIDE", 0)
    monkeypatch.setattr(ordain.prover.symbolic.dead, "SELDOM", 1)


@settings(max_examples=70, deadline=None)
@given(seed=st.integers(0, 1 << 32))
def test_verdicts_agree(seed: int) -> None:
    random = Random(seed)
    ordain.prover.symbolic.dead.SELDOM = random.choice((1, 2, 4))
    contents, properties = random_contents(random)
    asked = [*properties, *random_journeys(random, contents)[:2], *random_comparisons(random, contents),
             *random_successions(random, contents)]
    agree(contents, asked, Limits(traces=3), LARGEST)


MACHINE = """machine small
microprogram "small.micro"
store control 16 words of 8 bits
    address upc
field branch 2 bits
    step 0 idle
    jump 1
    one  2
    two  3
field target 4 bits address, idle 0
field keep_one 1 bit
field keep_two 1 bit
state upc 4 bits, reset 0
    next choose branch
        step : upc + 1
        jump : target
        one  : first
        two  : second
state first 4 bits, reset FIRST
    next upc if keep_one else first
state second 4 bits, reset SECOND
    next upc if keep_two else second
input go 1 bit
"""
"""Two registers for return addresses, seldom set."""


def found(extra: str, micro: str, first: str = "3", second: str = "5") -> tuple[Contents, list[Property], Verdicts]:
    contents = contents_of(MACHINE.replace("FIRST", first).replace("SECOND", second) + extra, micro)
    properties = [Property("asked", rule.text, "bad", rule.form.condition) for rule in contents.machine.rules
                  if isinstance(rule.form, Never)]
    return contents, properties, decide(build_system(contents), tuple(properties), Limits())


ROUND = """
routine start at 0
    branch step
    branch step
    target start, branch jump
"""


def test_what_is_dead_is_held_at_0(monkeypatch: pytest.MonkeyPatch) -> None:
    """Only at 2 `noted` is looked at; at 1 it is set. So there is one state at 0 and one at 1, two are at 2,
    and then there is the start, where `first` and `second` still hold what nothing looks at."""
    noted = "state noted 4 bits, reset 0\n    next (7 if go else 3) if upc is 1 else noted\n"
    rule = 'rule "a" never upc is 2 and noted is 5\n'
    assert found(noted + rule, ROUND)[2].states == 5
    monkeypatch.setattr(ordain.prover.symbolic.cases, "WIDE", 8192)
    assert found(noted + rule, ROUND)[2].states == 3 * 2 + 2  # and 0 and 1 before it was ever set


@pytest.mark.parametrize(("seldom", "states"), [(2, 5), (3, 8), (100, 8)])
def test_what_is_live_at_many_places_is_not_held(monkeypatch: pytest.MonkeyPatch, seldom: int, states: int) -> None:
    """As above, at one place in three: more than one in two is too many, one in three just is."""
    monkeypatch.setattr(ordain.prover.symbolic.dead, "SELDOM", seldom)
    noted = "state noted 4 bits, reset 0\n    next (7 if go else 3) if upc is 1 else noted\n"
    assert found(noted + 'rule "a" never upc is 2 and noted is 5\n', ROUND)[2].states == states


@pytest.mark.parametrize(("often", "states"), [(3, 3), (4, 4), (100, 4)])
def test_what_many_words_set_says_where_control_is(monkeypatch: pytest.MonkeyPatch, often: int, states: int) -> None:
    """One word in three sets `first`, from 3 to 1, and one goes there. Where it says where control is, it is never held
    at 0; else it is dead at 0 and 1, and the two states at 1 are one."""
    monkeypatch.setattr(ordain.prover.symbolic.dead, "OFTEN", often)
    micro = "\nroutine start at 0\n    branch step\n    keep_one\n    branch one\n"
    assert found('rule "a" never upc is 5 and first is 6\n', micro)[2].states == states


def test_what_a_condition_reads_is_not_dead() -> None:
    kept = "state junk 4 bits, reset 0\n    next 7 if go and upc is 0 else junk\n"
    contents, properties, _ = found(kept + 'rule "a" never upc is 2 and junk is 7\n', ROUND)
    agree(contents, properties, Limits())


def test_what_goes_on_into_what_is_read_is_not_dead() -> None:
    kept = ("state junk 4 bits, reset 0\n    next 7 if go and upc is 0 else junk\n"
            "state later 4 bits, reset 0\n    next junk if upc is 1 else later\n")
    contents, properties, _ = found(kept + 'rule "a" never upc is 2 and later is 7\n', ROUND)
    agree(contents, properties, Limits())


def test_what_matters_only_where_another_dead_one_is_changed_is_not_dead() -> None:
    """With `second` at 5, `first` does not matter, nor does `second` with `first` at 3; with both at 0 the fault would
    be there."""
    contents, properties, verdicts = found('rule "a" never upc is 1 and first is 0 and second is 0\n', ROUND)
    assert verdicts.verdicts[0].outcome == "proved"
    agree(contents, properties, Limits())


@pytest.mark.parametrize(("first", "second"), [(3, 5), (12, 0), (15, 15)])
def test_a_way_is_shown_as_the_machine_goes_it(first: int, second: int) -> None:
    """What is held at 0 in the search is shown as it is: as it begins until it is set, then as it was set."""
    noted = "state noted 4 bits, reset 0\n    next (7 if go else 3) if upc is 1 else noted\n"
    micro = "\nroutine start at 0\n    keep_one\n    branch step\n    branch step\n    target start, branch jump\n"
    _, _, verdicts = found(noted + 'rule "a" never upc is 2 and noted is 7\n', micro, str(first), str(second))
    trace = verdicts.verdicts[0].breaks[0].trace
    assert trace is not None
    assert [(cycle.states["first"], cycle.states["second"]) for cycle in trace.cycles] == [
        (first, second), (0, second), (0, second)]


@pytest.mark.parametrize("junk", [0, 1])
@pytest.mark.parametrize("seldom", [1, 2])
def test_what_is_held_may_go_on_into_what_is_dead_and_not_held(junk: int, seldom: int,
                                                               monkeypatch: pytest.MonkeyPatch) -> None:
    """`late` is set anew at 0, and live at 1 and 2: with a limit of one place in two only `junk` is held, and what it
    leaves in `late` from 2 to 0 is 0 in the search, and `junk` in the machine."""
    monkeypatch.setattr(ordain.prover.symbolic.dead, "SELDOM", seldom)
    kept = (f"state junk 1 bit, reset {junk}\n    next junk\n"
            "state late 1 bit, reset 0\n    next junk if upc is 2 else (go if upc is 0 else late)\n"
            "state lap 1 bit, reset 0\n    next 1 if upc is 2 else lap\n")
    _, _, verdicts = found(kept + 'rule "a" never upc is 2 and late and lap\n', ROUND)
    trace = verdicts.verdicts[0].breaks[0].trace
    assert trace is not None
    junks, lates = ([cycle.states[name] for cycle in trace.cycles] for name in ("junk", "late"))
    assert (junks, lates[3:]) == ([junk] * 6, [junk, 1, 1])


@pytest.mark.parametrize("line", ["count", "held", "agent", "input", "agent's input"])
def test_what_is_presented_to_a_store_on_which_nothing_depends(line: str) -> None:
    test_presented.test_a_second_store_on_which_nothing_depends(line, True)


@pytest.mark.parametrize("fill", ["map", "microprogram"])
def test_where_breaks_are_told_apart_by_an_opcode_it_is_not_dead(fill: Fill) -> None:
    """It is taken over once, with any value, and forms the address of a store whose words are alike."""
    bench = Bench()
    terms = bench.terms
    upc, line = bench.state("upc", 2, 0), bench.input("line", 2)
    bench.next("upc", terms.add(upc, terms.const(1, 2)))
    take, lamp = bench.store("control", upc, {"take": 1, "lamp": 1}, [2, 0, 1, 0]).values()
    code = bench.state("code", 2, 0)
    bench.next("code", terms.if_(take, line, code))
    work = bench.store("work", code, {"mill": 1}, [1, 1, 1, 1])["mill"]
    bench.stores["work"] = bench.stores["work"]._replace(fill=fill)
    asked = Property("asked", "", "bad", terms.and_((lamp, work)), per_word="work")
    (one,) = decide(build_system(bench.contents()), (asked,)).verdicts
    assert [(broken.address, broken.cycles) for broken in one.breaks] == [(code, 3) for code in range(4)]


@pytest.mark.parametrize("line", [0, 1])
def test_what_one_line_of_the_next_address_depends_on_is_not_dead(line: int) -> None:
    """Noted at 0, it says at 1 by one line of the address whether control comes to 2 or 3, or to 1 again or 3."""
    bench = Bench()
    terms = bench.terms
    upc, go = bench.state("upc", 2, 0), bench.input("go", 1)
    flag = bench.state("flag", 1, 0)
    at = [terms.among(upc, frozenset((place,))) for place in range(4)]
    bench.next("flag", terms.if_(at[0], go, flag))
    other = terms.or_((at[0], at[1])) if line else terms.not_(at[0])
    bits = [terms.if_(at[0], terms.const(1 - line, 1), terms.if_(at[1], flag, terms.slice(upc, line, line))),
            terms.if_(terms.or_(at[:2]), other, terms.slice(upc, 1 - line, 1 - line))]
    bench.next("upc", terms.join(bits if line else bits[::-1]))
    bench.store("control", upc, {"lamp": 1}, [0, 0, 0, 0])
    contents = bench.contents()
    asked = [Property("asked", str(place), "bad", at[place]) for place in range(4)]
    agree(contents, asked, Limits())
    assert decide(build_system(contents), tuple(asked)).verdicts[3].outcome == "broken"
