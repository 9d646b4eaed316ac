"""The audit confirms what is so and nothing that is not: examples, machines by chance, and what one bit changes."""

from pathlib import Path

import pytest

from ordain.checks.run import prove
from ordain.control.system import build_system
from ordain.pipeline import build_model
from ordain.prover.plain import decide_plainly
from ordain.prover.symbolic import cases
from tests.audit.chance import tried
from tests.audit.kept import boasting, kept, outcomes, proved
from tests.workshop import contents_of

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
SOUND = sorted(path for path in EXAMPLES.rglob("*.machine") if path.parent.name not in ("broken", "silenced")
               and path.read_text().lstrip().startswith("machine "))

SMALL = """\
machine small "two drivers, and a guest that asks"
microprogram "m.micro"
store control 8 words of 8 bits
    address pc
field after 3 bits address, idle following
field drive 1 bit
field lend 1 bit
field spared 3 bits
    plain 0 idle
    mark 5
state pc 3 bits, reset 0
    next after
input asks 1 bit
state guest 1 bit, reset 0
    next lend and asks
bus data 8 bits, floats, turnaround 1
    driven by own   when drive
    driven by other when guest
home at first
rule "lent before it is taken"   never guest and not prior(lend)
rule "the guest comes"           reach guest
rule "the guest can always come" always reach guest
rule "it goes round"             when drive then lend within 3 cycles
rule "silent until it is lent"   after drive never guest until lend
"""
ROUND = """\
routine main at 0
    first: drive
    second: spared mark
    third: lend
    fourth: spared mark
    fifth: spared mark, after first
"""


def small(changes: tuple[tuple[str, str], ...] = ()) -> dict[tuple[str, str], str]:
    machine, micro = SMALL, ROUND
    for old, new in changes:
        assert (machine + micro).count(old) == 1, old
        machine, micro = machine.replace(old, new), micro.replace(old, new)
    contents = contents_of(machine, micro)
    return outcomes(contents, kept(contents, boasting(proved(contents))))


def test_all_that_is_proved_of_a_small_machine_is_confirmed() -> None:
    found = small()
    assert set(found.values()) == {"confirmed"} and len(found) == 10


@pytest.mark.parametrize(("old", "new", "lost"), [
    ("first: drive", "first: drive, lend", {("turnaround", "data"), ("after-never", "silent until it is lent")}),
    ("third: lend", "third: lend, drive", {("turnaround", "data")}),
    ("fourth: spared mark", "fourth: drive", {("contention", "data")}),
    ("next lend and asks", "next asks", {("never", "lent before it is taken"), ("contention", "data")}),
    ("next lend and asks", "next 0", {("reach", "the guest comes"), ("always-reach", "the guest can always come")}),
    ("fifth: spared mark, after first", "fifth: spared mark, after third", {("stuck", "home")}),
    ("within 3 cycles", "within 1 cycle", {("when-then", "it goes round")}),
    ("fourth: spared mark", "fourth: after 6", {("nowhere", "control")}),
    ("reset 0\n    next lend", "reset 1\n    next lend",
     {("contention", "data"), ("never", "lent before it is taken")}),
    ("input asks 1 bit", "input asks 1 bit\nassume asks and not asks", {("over-assumed", "assumptions")}),
])
def test_of_what_one_change_breaks_nothing_is_confirmed(old: str, new: str, lost: set[tuple[str, str]]) -> None:
    """Whatever a report says: here it says that all is proved. What is broken is said state by state."""
    found = small(((old, new),))
    system = build_system(contents_of(SMALL.replace(old, new), ROUND.replace(old, new)))
    plain = prove(system.contents, lambda asked: decide_plainly(system, asked))
    broken = {(row.check, row.subject) for row in plain.rows if row.outcome in ("broken", "vacuous")}
    assert {question for question, outcome in found.items() if outcome != "confirmed"} == broken >= lost


@pytest.mark.parametrize("path", SOUND, ids=lambda path: path.parent.name + "/" + path.name)
def test_nothing_proved_of_an_example_is_refused(path: Path) -> None:
    built, _ = build_model(path)
    assert built is not None
    report = proved(built.contents)
    found = outcomes(built.contents, kept(built.contents, report))
    assert "refused" not in found.values()
    assert sum(outcome == "confirmed" for outcome in found.values()) >= len(found) // 2


@pytest.mark.parametrize("seed", range(40))
@pytest.mark.parametrize("judged", [False, True])
def test_of_machines_by_chance_all_that_holds_is_confirmed_and_nothing_that_is_broken(seed: int, judged: bool) -> None:
    """What holds is said by the prover, which other tests hold against searches and solvers that share no code."""
    counts, wrong = tried(seed, judged)
    assert counts and not wrong


def test_two_needs_of_one_name_are_one_claim() -> None:
    """Neither may be confirmed for the other: the bus holds still over two edges into cycle 3, not over three."""
    bus = "bus lane 1 bit, floats\n    driven by fixed = 0b1 when pc in (1, 2, 3)\nsignal here = pc is 3\nstrobe here\n"
    two, three = "    lane steady 2 cycles before\n", "    lane steady 3 cycles before\n"
    for needs, outcome in ((two + three, "refused"), (three + two, "refused"), (two, "confirmed"), (three, "refused")):
        found = small((("home at first\n", "home at first\n" + bus + needs),))
        assert found["missing-hold", "lane before here"] == outcome


@pytest.mark.parametrize(("other", "outcome"), [("drive", "refused"), ("not drive", "confirmed")])
def test_two_drivers_with_one_enable_fight_and_are_not_still(other: str, outcome: str) -> None:
    """In cycle 1, of which the strobe asks what stands there; neither is alone where both are on."""
    bus = f"bus lane 1 bit, floats\n    driven by one = 0b0 when drive\n    driven by two = 0b1 when {other}\n"
    found = small((("home at first\n", f"home at first\n{bus}signal here = pc is 0\nstrobe here\n"
                                       "    lane steady 0 cycles before\n"),))
    assert found["missing-hold", "lane during here"] == outcome


def test_where_being_stuck_is_allowed_everywhere_nothing_is_asked() -> None:
    """Also where a state has no input at all, of which there is another finding."""
    found = small((("fifth: spared mark, after first", "fifth: spared mark, after third"),
                   ("home at first\n", "home at first\nallow stuck \"it is pressed\"\nassume not guest or not asks\n")))
    assert found["stuck", "home"] == "confirmed"


@pytest.mark.parametrize("name", ["paired/tideclock", "slices/orrery"])
def test_a_search_that_held_bits_at_0_is_confirmed_too(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """As in machines that are so large that the search begins anew."""
    built, _ = build_model(EXAMPLES / f"{name}.machine")
    assert built is not None
    monkeypatch.setattr(cases, "WIDE", 3)
    certificate = kept(built.contents, proved(built.contents))
    assert set(outcomes(built.contents, certificate).values()) == {"confirmed", "not audited"}


def test_two_loads_at_once_are_two_only_where_they_differ() -> None:
    """Loaded at once in cycle 1: from one source twice, or from two."""
    register = "register held 3 bits\n    loads {0} when spared is mark\n    loads {1} when pc is 1\n"
    for sources, outcome in ((("pc", "pc"), None), (("pc", "after"), "refused"), (("pc", "{0b00, lend}"), "refused")):
        found = small((("home at first\n", "home at first\n" + register.format(*sources)),))
        assert found.get(("double-load", "held")) == outcome
