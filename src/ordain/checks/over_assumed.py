"""The assumptions leave no input at all in a reachable state."""

from collections.abc import Iterator

from ordain.checks.check import About, Check, Explanation
from ordain.checks.wording import about, from_reset, spot
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, Place, error

EXPLANATION = Explanation(
    name="over-assumed",
    fault="the assumptions leave no input at all in a state that can be reached",
    about="""\
`assume` says what the surroundings promise. A promise that nobody could keep in some state ends every sequence
that comes there: whatever would have happened next is not looked at, and a proof says nothing about it. So this
is an error and not a proof.""",
    example="""\
input stop 1 bit
assume stop or not running                    # while running, stop is always held ...
assume not (stop and running)                 # ... and never held""",
    repair="""\
Widen the assumption until every state leaves the surroundings a choice, or write what was meant as a rule,
where it is looked at instead of believed.""",
)

CONSEQUENCES = ("stuck", "unreachable", "inactive", "vacuous", "stale-allowance", "reach", "always-reach")
"""What is missing may only be missing because sequences end early, so findings of these names wait."""


def ask(contents: Contents) -> Iterator[Property]:
    """Nothing: the search answers this for every machine (`Verdicts.over_assumed`)."""
    return iter(())


def subject(contents: Contents, verdict: Verdict) -> Verdict:
    """The verdict with this check's name and place on it."""
    machine = contents.machine
    span = machine.assumptions[0].span if machine.assumptions else machine.span
    named = verdict.property._replace(check=EXPLANATION.name, subject="assumptions", data=About((), span))
    return verdict._replace(property=named)


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    assert found is not None
    assumptions = contents.machine.assumptions
    at = spot(contents, found)
    if found.cycles:
        notes = [f"shortest sequence to such a state: {from_reset(contents.machine, found)}"]
        notes += [f"the last cycle before it is {at.phrase}"] * bool(at.phrase)
    else:
        notes = ["already in the first cycle none does"]    # so there is no sequence to show
    return error(
        EXPLANATION.name,
        "the assumptions leave no input in a state that can be reached, so nothing after it is proved",
        about(verdict.property).span, "no input satisfies every `assume` there",
        places=tuple(Place(assumption.span, "also assumed") for assumption in assumptions[1:]), notes=tuple(notes),
        help="widen an assumption so that each state leaves the surroundings something to do",
    )._replace(trace=found.trace if found.cycles else None)


CHECK = Check(EXPLANATION, ask, tell)
