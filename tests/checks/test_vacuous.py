"""What holds only for want of anything to happen, and what an allowance does not change about that."""

import pytest

from tests.checks.reports import edited, findings_named, names, outcomes, report
from tests.planted.organ import ORGAN
from tests.planted.plant import Sound

MACHINE = """\
machine orchard "a press that is filled and emptied"
microprogram "m.micro"
store control 8 words of 8 bits
    address upc
field target 3 bits address, idle following
field fill  1 bit
field press 1 bit
field drain 1 bit
spare 2 bits
state upc 3 bits, reset 0
    next target
state full 1 bit, reset 0
    next 1 if fill else 0 if drain else full
register must 2 bits, loads 3 when press
input hand 1 bit
signal never_here = 0b0
signal both = drain and hand
RULES
"""
MICRO = """\
routine yard at 0
  one:   fill
  two:   press
  three: target one
"""


def said(rules: str) -> dict[str, str]:
    """The outcome of every row, and what is told of the vacuous ones."""
    found = report(Sound(MACHINE.replace("RULES", rules), MICRO))
    told = [finding.message.partition("happen: ")[2] for finding in findings_named("vacuous", found)]
    return {**{subject: outcome for subject, outcome in outcomes(found).items() if subject.endswith(" r")},
            "": " / ".join(told)}


@pytest.mark.parametrize(("rule", "outcome", "told"), [
    ("never never_here and fill", "vacuous", "`never_here` never occurs"),
    ("never fill and drain", "vacuous", "`drain` never occurs"),
    ("never drain and hand and never_here", "vacuous", "`drain` never occurs and `never_here` never occurs"),
    ("never (fill and press)", "proved", ""),
    ("never fill and not (full is 0 or full is 1)", "vacuous", "`not (full is 0 or full is 1)` never occurs"),
    ("never both", "proved", ""),                                   # of one part nothing can be said
    ("never not (not drain or not hand)", "proved", ""),
    ("never drain", "proved", ""),
    ("when drain then at yard.one within 9 cycles", "vacuous", "what it waits for never occurs"),
    ("when press then at yard.one within 9 cycles", "proved", ""),
    ("after at yard.one never drain until at yard.two", "vacuous",
     "its window opens, but no cycle ever lies inside it"),
    ("after at yard.one never drain until at yard.three", "proved", ""),
    ("after drain never press until at yard.three", "vacuous", "`drain` never occurs"),
    ("between at yard.one and at yard.two never drain", "vacuous",
     "its window opens, but no cycle ever lies inside it"),
    ("between at yard.one and at yard.one never drain", "proved", ""),
    ("between drain and at yard.one never fill", "vacuous", "`drain` never occurs"),
    ("between at yard.one and at yard.one never press after at yard.three", "vacuous",
     "its window opens, but no cycle ever lies inside it"),
    ("between at yard.one and at yard.one never fill after at yard.two", "proved", ""),
])
def test_a_rule(rule: str, outcome: str, told: str) -> None:
    found = said(f'rule "r" {rule}')
    assert found[f"{'-'.join(_form(rule))} r"] == outcome
    assert found[""] == told


def _form(rule: str) -> list[str]:
    first = rule.split()[0]
    return {"never": ["never"], "when": ["when", "then"], "after": ["after", "never"],
            "between": ["between", "never"]}[first]


ALLOWED = 'allow lost-state on must "a hand is quicker"\n'


@pytest.mark.parametrize("allowance", ["", ALLOWED, ALLOWED.replace(" on must", ""),
                                       ALLOWED.replace(" on must", " at yard.one"),
                                       ALLOWED.replace(" on must", " on must at yard.one")])
def test_a_keep_that_is_never_asked_is_vacuous_whatever_is_allowed(allowance: str) -> None:
    keep = "keep must, full while drain\n"
    found = report(Sound(MACHINE.replace("RULES", keep + allowance), MICRO))
    assert outcomes(found)["lost-state must, full while drain"] == "vacuous"
    [finding] = findings_named("vacuous", found)
    assert finding.message == ('`keep` "must, full while drain" holds for want of anything to happen: its condition '
                               "never occurs")
    assert len(findings_named("stale-allowance", found)) == bool(allowance)
    asked = report(Sound(MACHINE.replace("RULES", keep.replace("drain", "press") + allowance.replace("one", "two")),
                         MICRO))
    assert outcomes(asked)["lost-state must, full while press"] == ("allowed" if allowance else "broken")
    assert names(asked) == ([] if allowance else ["lost-state"])


def test_what_never_occurs_cannot_be_allowed_at_one_place_only() -> None:
    """`reach` of a part of the machine is broken everywhere or nowhere, so the place of an allowance says nothing."""
    silent = edited(ORGAN, ("        ring, level medium, goto start", "        level medium, goto start"))
    assert names(report(silent)) == ["vacuous", "inactive"]     # `bars` counts the rings
    for place in ("", " at start.pump"):
        allowed = edited(silent, ("home start", f'home start\nallow vacuous on ring{place} "the bell is cracked"'))
        found = report(allowed)
        assert names(found) == ["inactive"]
        assert [applied.needed for applied in found.allowances] == [True]


HALTS = """\
machine post "a post with two ways to stop"
microprogram "m.micro"
store control 8 words of 4 bits
    address upc
field target 3 bits address, idle following
field ask    1 bit
state upc 3 bits, reset 0
    next target xor {0b00, key and ask}
input key 1 bit
home at office.desk
"""
POST = """\
routine office at 0
  desk:  ask, target pair(door, cellar)
  door:  target door
  cellar: target cellar
  attic: target attic
"""


@pytest.mark.parametrize(("at", "stale", "stuck"), [
    ("", [], True),
    ("office.attic", ["office.attic"], True),               # never reached: allows nothing
    ("office.door", [], True),
    ("office.door office.attic", ["office.attic"], True),
    ("office.door office.cellar", [], False),
    ("office.door office.cellar office.desk", ["office.desk"], False),      # home anyway
    ("office office", [], False),       # each would do: neither is needed but for the other, and both are not to go
    ("office office.door", [], False),
    ("office.door office.door", [], True),
])
def test_a_way_home_is_allowed_where_it_is_one(at: str, stale: list[str], stuck: bool) -> None:
    allowances = "".join(f'allow stuck at {place} "closed"\n' for place in at.split())
    found = report(Sound(HALTS + allowances, POST))
    assert [applied.allowance.at for applied in found.allowances if applied.needed is False] == stale
    assert ("stuck" in names(found)) == stuck
    assert outcomes(found)["stuck home"] == ("broken" if stuck else "allowed")


BOY = """\
bus rope 2 bits, pulled low
    driven by boy when boy.pulls
    driven by must when drain and press
    sampled by bell when press
agent boy "a boy who helps"
    input call 1 bit
    state mode (rests, pulls), reset rests
        next pulls if CALLED else rests
    signal pulls = mode is pulls
"""


@pytest.mark.parametrize(("called", "outcome"), [("call and press", "proved"), ("call and drain", "vacuous")])
def test_who_drives_from_outside_has_to_come_to_it(called: str, outcome: str) -> None:
    """What is in the machine itself need not drive."""
    found = report(Sound(MACHINE.replace("RULES", BOY.replace("CALLED", called)), MICRO))
    [row] = [row for row in found.rows if row.check == "vacuous"]
    assert (row.outcome, row.note, row.witness) == (outcome, f"{1 + (outcome == 'proved')} of 2 occur", None)
    assert [finding.message for finding in findings_named("vacuous", found)] == [
        "`boy` driving `rope` can never occur, so what is proved of it says nothing"] * (outcome == "vacuous")
