"""What instructions are said to do, in two versions: each change has a twin, as small, that is none."""

from typing import NamedTuple

import pytest

from ordain.checks.check import Report
from ordain.checks.run import EVERYTHING
from ordain.cli.proving import run
from ordain.compare.correspondence import correspond
from ordain.compare.declared import demands
from ordain.compare.verdicts import VerdictChanges, verdict_changes, worse
from ordain.meaning.strength import other_meanings
from ordain.prover.model import Limits
from ordain.rom.contents import Contents
from tests.compare.judged import Texts, edited
from tests.meaning.till import FETCH, MACHINE
from tests.workshop import contents_of

TILL: Texts = (MACHINE, FETCH + """\
instruction 1 "add n"
    means let s = acc + memory[pc], acc <- s, zero <- s is 0, pc <- pc + 1
        fetched, load temp
        put sum, load acc, flag, branch home
instruction 2 "keep"
    means memory[pc] <- acc when zero
        branch home
instruction 3 "pay out"
    means while acc is not 0: acc <- acc - 1, temp <- undefined
    means stopped: pc <- pc - 1
        branch home
""")

LET = "means let s = acc + memory[pc], acc <- s, zero <- s is 0, pc <- pc + 1\n"


class Change(NamedTuple):
    """`kind`: how `title` is told; "" where nothing is."""

    old: str
    new: str
    kind: str
    title: str


CHANGES = {
    "Meaning.effects": [
        Change(f"    {LET}", "", "dropped", "add n"),
        Change(LET, f"{LET}    means nothing\n", "", ""),
        Change(", pc <- pc + 1\n", ", pc <- pc + 2\n", "changed", "add n"),
        Change(", pc <- pc + 1\n", ", pc <- 1 + pc\n", "", ""),
        Change(", pc <- pc + 1\n", "\n", "changed", "add n"),
        Change(", pc <- pc + 1\n", ", pc <- pc + 1, temp <- undefined\n", "", ""),     # which is not visible
        Change("        branch home\ninstruction 1", '        branch home\ninstruction 4 "rest"\n    means nothing\n'
               "        branch home\ninstruction 1", "added", "rest"),
        Change(LET, LET.replace("let s ", "let sum_ ").replace(" s,", " sum_,").replace(" s is", " sum_ is"), "", ""),
        Change(LET, "means acc <- acc + memory[pc], pc <- pc + 1, zero <- acc + memory[pc] is 0\n", "", "")],
    "Effect.name": [Change(LET, LET.replace("acc <- s", "temp <- s"), "changed", "add n")],
    "Effect.address": [Change("memory[pc] <- acc", "memory[pc + 1] <- acc", "changed", "keep"),
                       Change("memory[pc] <- acc", "memory[pc + 8 - 8] <- acc", "", "")],
    "Effect.high": [Change("acc <- s,", "acc[6:0] <- s[6:0],", "changed", "add n"),
                    Change("acc <- s,", "acc[7:0] <- s[7:0],", "", "")],
    "Effect.low": [Change("acc <- s,", "acc[7:1] <- s[7:1],", "changed", "add n")],
    "Effect.value": [Change("acc <- s,", "acc <- undefined,", "weaker", "add n"),
                     Change("acc <- s,", "acc <- undefined, acc <- s,", "", ""),
                     Change("acc <- s,", "acc <- s, temp <- memory[pc],", "stronger", "add n")],
    "Effect.when": [Change("when zero\n", "when not zero\n", "changed", "keep"),
                    Change("when zero\n", "when zero is 1\n", "", "")],
    "Meaning.rounds": [Change("while acc is not 0: acc <- acc - 1, temp <- undefined\n"
                              "    means stopped: pc <- pc - 1\n", "acc <- 0\n", "changed", "pay out")],
    "Rounds.when": [Change("acc is not 0:", "acc is not 1:", "changed", "pay out"),
                    Change("acc is not 0:", "not acc is 0:", "", "")],
    "Rounds.effects": [Change("acc <- acc - 1,", "acc <- acc - 2,", "changed", "pay out"),
                       Change("temp <- undefined\n", "temp <- 0\n", "stronger", "pay out")],
    "Rounds.stopped": [Change("stopped: pc <- pc - 1", "stopped: pc <- pc - 2", "changed", "pay out"),
                       Change("stopped: pc <- pc - 1", "stopped: pc <- pc + 15", "", ""),
                       Change("    means stopped: pc <- pc - 1\n", "", "stronger", "pay out")],
    "Machine.visible": [Change("visible acc, zero, pc, memory", "visible acc, zero, pc", "weaker", "nothing"),
                        Change("visible acc, zero, pc, memory", "visible acc, zero, pc, memory, mar", "stronger",
                               "keep"),
                        Change("visible acc, zero, pc, memory", "visible zero, acc, memory, pc", "", "")],
}
"""By field of the model."""

_reports: dict[Texts, tuple[Contents, Report]] = {}


def report(texts: Texts) -> tuple[Contents, Report]:
    if texts not in _reports:
        contents = contents_of(*texts)
        _reports[texts] = contents, run(contents, EVERYTHING, Limits(), True)
    return _reports[texts]


def verdicts(old: Texts, new: Texts) -> VerdictChanges:
    (before, was), (now, is_) = report(old), report(new)
    return verdict_changes(was, is_, demands(before, now, correspond(before, now), other_meanings))


def told(changes: VerdictChanges) -> set[tuple[str, str]]:
    return {(one.kind, one.subject) for one in changes.moved if one.check == "meaning"}


@pytest.mark.parametrize("change", [change for changes in CHANGES.values() for change in changes])
def test_what_is_said_is_compared(change: Change) -> None:
    changes = verdicts(TILL, edited(TILL, (change.old, change.new)))
    if not change.kind:
        assert not changes.moved
        return
    assert (change.kind, change.title) in told(changes)
    counted = {(one.kind, one.subject) for one in worse(changes)}
    assert ((change.kind, change.title) in counted) == (change.kind in ("dropped", "weaker", "changed"))
    assert (change.kind, change.title) not in {(one.kind, one.subject) for one in worse(changes, {change.title})}


def test_what_may_not_be_stopped_says_more() -> None:
    less = edited(TILL, ("    means stopped: pc <- pc - 1\n", ""))
    assert told(verdicts(less, TILL)) == {("weaker", "pay out")}


def test_a_meaning_that_was_proved_and_is_broken_is_worse() -> None:
    """By one clause; and by none where the words stay and other ones are added that do nothing more."""
    broken = verdicts(TILL, edited(TILL, ("put sum, load acc, flag", "put sum, load acc, flag, less")))
    assert told(broken) == {("newly-broken", "add n")} == {(one.kind, one.subject) for one in worse(broken, {"add n"})}
    assert not verdicts(TILL, edited(TILL, ("fetched, load temp", "fetched, load temp, write"))).moved


def test_other_names_of_registers_and_instructions_are_no_change() -> None:
    """`temp` is nowhere in a meaning but for the last; there, and in a title, the name goes along."""
    new = (TILL[0].replace("temp", "held"), TILL[1].replace("temp", "held").replace('"add n"', '"add temp"'))
    assert not verdicts(TILL, new).moved
    twin = edited(new, ("acc <- s,", "acc <- s + 1,"))
    assert ("changed", "add temp") in told(verdicts(TILL, twin))
    assert told(verdicts(TILL, edited(new, (f"    {LET}", "")))) == {("dropped", "add n")}
