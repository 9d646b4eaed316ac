"""The plain engine and the search side by side, and both beside the plain search of the tests."""

import json
from pathlib import Path
from random import Random

import pytest
from click.testing import CliRunner
from hypothesis import given, reject, settings
from hypothesis import strategies as st

from ordain.cli.prove import command
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.prover.model import Limits, Property, Verdict, Verdicts
from ordain.prover.plain import TooManyCycles, decide_plainly
from ordain.rom.contents import Contents
from tests import oracle
from tests.prover.by_hand import random_comparisons, random_contents, random_journeys, random_successions

SMALL = 4_000
"""Cycles one by one: a machine with more is left to the other tests."""


def plainly(contents: Contents, properties: list[Property]) -> Verdicts:
    try:
        return decide_plainly(build_system(contents), tuple(properties), most=SMALL)
    except TooManyCycles:
        reject()


@settings(max_examples=8)
@given(st.integers(0, 1 << 32))
def test_both_engines_say_the_same(seed: int) -> None:
    random = Random(seed)
    contents, properties = random_contents(random)
    for more in (random_comparisons, random_journeys, random_successions):
        properties += more(random, contents)[:2]
    plain = plainly(contents, properties)
    found = decide(build_system(contents), tuple(properties))
    whole = decide(build_system(contents), tuple(properties), Limits(reduce=False))
    assert (whole.states, whole.transitions, whole.depth) == (plain.states, plain.transitions, plain.depth)
    for one, other in zip((found.over_assumed, *found.verdicts), (plain.over_assumed, *plain.verdicts), strict=True):
        assert _said(contents, one) == _said(contents, other)


@settings(max_examples=8)
@given(st.integers(0, 1 << 32))
def test_the_plain_engine_says_what_the_oracle_says(seed: int) -> None:
    contents, properties = random_contents(Random(seed))
    found = plainly(contents, properties)
    wanted = oracle.decide(contents, properties)
    assert (found.states, found.transitions, found.depth) == (wanted.states, wanted.transitions, wanted.depth)
    assert found.executed == {store: wanted.executed[store] for store in found.executed}
    for mine, theirs in zip(found.verdicts, wanted.verdicts, strict=True):
        assert (mine.outcome, mine.worst, mine.states, mine.transitions) == \
            (theirs.outcome, theirs.worst, theirs.states, theirs.transitions)
        if mine.property.kind in ("bad", "always"):
            assert [each[:3] for each in mine.breaks] == [each[:3] for each in theirs.breaks]
        for trace in (mine.witness, *(each.trace for each in mine.breaks)):
            if trace is not None:
                oracle.replay(contents, mine.property, trace)


@pytest.mark.parametrize("seed", [12, 292, 330, 387])
def test_the_plain_engine_counts_how_long_an_answer_takes(seed: int) -> None:
    """Machines in which some answer takes up to six cycles, asked for in as many, in one more and in fewer."""
    random = Random(seed)
    contents, properties = random_contents(random)
    for more in (random_comparisons, random_journeys, random_successions):
        properties += more(random, contents)
    asked = [one._replace(cycles=cycles) for one in properties if one.kind == "within" for cycles in (0, 1, 2, 5, 6)]
    found, wanted = plainly(contents, asked), oracle.decide(contents, asked)
    assert any(one.worst for one in found.verdicts)
    for mine, theirs in zip(found.verdicts, wanted.verdicts, strict=True):
        assert (mine.outcome, mine.worst) == (theirs.outcome, theirs.worst)
        assert len(mine.breaks) == len(theirs.breaks)
        for broken in mine.breaks:
            assert broken.trace is not None
            oracle.replay(contents, mine.property, broken.trace)


def _said(contents: Contents, verdict: Verdict) -> object:
    """Without the figures of the search. One address is told of those that hold the same word; of what can go on for
    ever, any loop."""
    if verdict.property.kind == "within":
        return verdict.outcome, verdict.worst
    words = contents.words["control"]
    breaks = {(each.address if each.address is None else words[each.address], each.cycles) for each in verdict.breaks}
    return verdict.outcome, breaks, verdict.witness and len(verdict.witness.cycles)


HELP = ["-h", "--help"]
"""As the whole program says: a command keeps what it was first called with."""


def test_from_the_command_line(tmp_path: Path) -> None:
    """Both engines give the same rows; what is too large is a wrong use, not a verdict."""
    (tmp_path / "m.machine").write_text(MACHINE.format(width=1))
    (tmp_path / "m.micro").write_text("routine start at 0\n    low\n    low\n")
    outcomes = []
    for more in ((), ("--plain",)):
        done = CliRunner().invoke(command, [str(tmp_path / "m.machine"), "--no-cache", "--format", "json", *more],
                                  help_option_names=HELP)
        assert done.return_value in (0, 1, None), done.output
        outcomes.append([(row["check"], row["subject"], row["outcome"]) for row in json.loads(done.stdout)["verdicts"]])
    assert outcomes[0] == outcomes[1] and ("never", "level is kept", "broken") in outcomes[1]
    (tmp_path / "m.machine").write_text(MACHINE.format(width=24))
    done = CliRunner().invoke(command, [str(tmp_path / "m.machine"), "--plain"], help_option_names=HELP)
    assert done.exit_code == 2 and "too large for --plain: 16,777,216 choices of inputs" in done.stderr


MACHINE = """machine lock
microprogram "m.micro"
store control 2 words of 1 bit
    address step
field low 1 bit
chip U1 2 x 1
    holds control
    address address
state step 1 bit, reset 0
    next not step
input level {width} bit
home start
rule "level is kept" never level is not prior(level)
"""
