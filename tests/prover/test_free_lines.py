"""Address lines that are free in every cycle: what compares two cycles must not lose them.

Where no question tells the values of such a line apart, and neither do the words, the search keeps one value of it. A
question about the cycle before is put to that search afterwards, and then has the line in it again.
"""

import pytest

from ordain.checks.run import Selection, prove
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.prover.model import Property, Verdicts
from ordain.rom.contents import Contents
from tests import oracle
from tests.workshop import contents_of

MICRO = """instruction 0 "rest"
    take
    end
instruction 1 "work"
    take
    end
"""


def machine(line: str, declared: str, *rest: str) -> Contents:
    """Instruction, step and one free line address the store; the same words stand at both values of the line."""
    return contents_of(f"""machine ferry
microprogram "m.micro"
store control 8 words of 2 bits
    address {{{line}, code, step}}
    instruction code
    step step
field end 1 bit
field take 1 bit
{declared}
state step 1 bit, reset 0
    next 0 if end else step + 1
register code 1 bit
    loads cargo when take
bus cargo 1 bit, pulled high
""" + "\n".join(rest) + "\n", MICRO)


TWO_DRIVERS = """bus quay 4 bits, floats{turn}
    driven by left when not {line}{left}
    driven by right when {line}{right}
    sampled by lamps when take"""

LINES = [("wind", "input wind 1 bit"), ("zero", "condition zero 1 bit"),
         ("guest.asks", 'agent guest "comes and goes"\n    input asks 1 bit')]


def asked_of(contents: Contents, check: str) -> dict[str, str]:
    """The outcome of a check for each subject."""
    system = build_system(contents)

    def decided(asked: tuple[Property, ...]) -> Verdicts:
        return decide(system, asked)

    report = prove(contents, decided, Selection(frozenset((check,))))
    return {row.subject: row.outcome for row in report.rows if row.check == check}


@pytest.mark.parametrize(("line", "declared"), LINES)
def test_two_drivers_that_follow_a_free_line_are_never_apart(line: str, declared: str) -> None:
    drivers = TWO_DRIVERS.format(turn=", turnaround 1", line=line, left="", right="")
    assert asked_of(machine(line, declared, drivers), "turnaround") == {"quay": "broken"}


@pytest.mark.parametrize(("line", "declared"), LINES)
def test_a_driver_that_a_free_line_turns_off_does_not_stay(line: str, declared: str) -> None:
    drivers = TWO_DRIVERS.format(turn="", line=line, left=f", steady while not {line}", right=f", steady while {line}")
    contents = machine(line, declared, drivers, "strobe take", "    quay steady 1 cycle before, 1 cycle after")
    assert asked_of(contents, "missing-hold") == {"quay before take": "broken", "quay during take": "proved",
                                                  "quay after take": "broken"}


@pytest.mark.parametrize("kind", ["bad", "reach"])
@pytest.mark.parametrize(("line", "declared"), [*LINES, ("level[1]", "input level (low, middle, high)")])
def test_a_free_line_may_change(line: str, declared: str, kind: str) -> None:
    """Alone and beside a question that keeps the line in the search."""
    contents = machine(line, declared, f'rule "changes" never {line} is not prior({line})')
    terms = contents.machine.terms
    (changes,) = contents.machine.rules
    node = changes.form[0]
    assert not isinstance(node, int)
    asked = Property("changes", "", kind, node)  # type: ignore[arg-type]  # one of the two kinds
    beside = Property("beside", "", "bad", terms.and_((node.args[0], terms.leaf("field", "take", 1))))
    wanted = oracle.verdict(contents, asked).outcome
    assert wanted == ("broken" if kind == "bad" else "proved")
    for company in ((), (beside,)):
        found = decide(build_system(contents), (asked, *company)).verdicts[0]
        assert found.outcome == wanted
        trace = found.witness or found.breaks[0].trace
        assert trace is not None
        oracle.replay(contents, asked, trace)
