"""What becomes of the answers: allowances, selection, the static pass, limits, and the words of a finding."""

import pytest

from ordain.checks import contention, run, static
from ordain.checks.allowances import Plan, needed
from ordain.checks.run import Selection, prove, static_pass
from ordain.control.system import build_system
from ordain.machine.expression import Terms
from ordain.prover.decide import decide
from ordain.prover.model import Break, Limits, Property, Verdict, Verdicts
from ordain.text.findings import Severity
from tests.checks.reports import edited, findings_named, names, outcomes, report
from tests.planted.mill import MILL
from tests.planted.organ import ORGAN
from tests.planted.plant import Sound
from tests.planted.weir import WEIR
from tests.workshop import contents_of

FIGHT = edited(WEIR, ("wait: grant, if asked", "wait: grant, source memory, point, if asked"),
               ("exclusive reads, pulse\n", ""))
"""The pause loop leaves pointer and memory on: two fights, on address and on data."""

GAUGES = edited(WEIR, ("driven by gauge  when source is gauge", "driven by gauge  when source in (gauge, copy)"))
"""The four words that have `copy` as their source have two."""

WAYS = """\
machine ways "a points machine"
microprogram "m.micro"
store control 8 words of 6 bits
    address now
field to   3 bits address
field look 1 bit
field a    1 bit
field b    1 bit
state now 3 bits, reset 0
    next LOOK if look else to
state seen 1 bit, reset 0
    next lever
input lever 1 bit
bus rail 1 bit, floats
    driven by seen when a
    driven by left = seen when b
"""


# ---------------------------------------------------------------- findings


def test_a_finding_says_who_where_and_how_to_get_there() -> None:
    finding = next(each for each in report(FIGHT).findings if each.name == "contention" and "`data`" in each.message)
    assert finding.message == "two drivers share bus `data` at `lend.wait` (0xA): `memory` and `panel`"
    assert finding.label == "`memory` and `panel` both drive `data` in this cycle"
    assert finding.severity is Severity.ERROR
    assert finding.span is not None and finding.span.text.startswith("wait: grant, source")
    assert [place.span.text.split(" when ")[0].strip() for place in finding.places] == [
        "driven by memory", "driven by panel"]
    assert finding.notes == ()
    assert finding.help.startswith("take `memory` or `panel` off the bus here")
    assert finding.trace is not None and len(finding.trace.cycles) == 10
    assert finding.trace.cycles[-1].drivers["data"] == ("memory", "panel")


def test_each_pair_and_microinstruction_is_told_once() -> None:
    fights = [finding.message for finding in report(FIGHT).findings if finding.name == "contention"]
    assert fights == ["two drivers share bus `address` at `lend.wait` (0xA): `pointer` and `panel`",
                      "two drivers share bus `data` at `lend.wait` (0xA): `memory` and `panel`"]


def test_a_write_that_fails_only_because_drivers_fight_is_told_as_the_fight() -> None:
    found = report(FIGHT)
    assert "missing-hold" not in names(found)
    row = next(row for row in found.rows if row.check == "missing-hold" and row.subject == "data during pulse")
    assert row.outcome == "broken" and row.note == "only where another finding is the cause"


def test_a_fight_that_the_words_alone_decide_is_the_only_finding() -> None:
    """Where the bus is fought over, it cannot be unsteady for any other reason; the panel's pulse is taken away."""
    found = report(edited(GAUGES, ("signal pulse = write or panel.writes", "signal pulse = write")))
    assert set(names(found)) == {"contention"}
    assert {row.note for row in found.rows if row.check == "missing-hold" and row.outcome == "broken"} == {
        "only where another finding is the cause"}


@pytest.mark.parametrize("place", ["on address", "on address at lend.wait", "on pointer"])
def test_what_follows_from_a_fight_that_is_allowed_is_told(place: str) -> None:
    """The fight on the other bus is told, and is the cause of what is wrong there."""
    found = report(edited(FIGHT, ("home watch", f'home watch\nallow contention {place} "resistors"')))
    assert [finding.message.split(" at ")[0] for finding in found.findings if finding.severity is Severity.ERROR] == [
        "two drivers share bus `data`", "bus `address` is not steady during strobe `pulse`",
        "bus `address` is not held for 1 cycle after strobe `pulse`: it changes"]
    notes = {row.subject: row.note for row in found.rows if row.check == "missing-hold" and row.outcome == "broken"}
    assert notes == {"address during pulse": "", "address after pulse": "",
                     "data during pulse": "only where another finding is the cause",
                     "data after pulse": "only where another finding is the cause"}


@pytest.mark.parametrize(("first", "second", "rounds", "ended"), [
    ("", "", 2, ""), ("", "seconds", 2, "seconds"), ("memory", "", 2, "memory"), ("memory", "seconds", 2, "memory"),
    ("interrupted", "", 1, "interrupted")])
def test_how_two_rounds_of_questions_end(first: str, second: str, rounds: int, ended: str) -> None:
    """Who interrupts the first is not kept waiting for the second; of a sound machine nothing more is asked."""
    def ran(texts: Sound, *endings: str) -> tuple[int, str]:
        contents, left = contents_of(*texts), list(endings)
        system = build_system(contents)
        made = prove(contents, lambda asked: decide(system, asked)._replace(ended=left.pop(0)))
        return len(endings) - len(left), made.ended

    assert ran(FIGHT, first, second) == (rounds, ended)
    assert ran(WEIR, first, second) == (1, first)


def test_what_may_follow_from_a_fight_that_is_not_known_is_told() -> None:
    """The search for the fight itself came to no end."""
    contents = contents_of(*FIGHT)
    system = build_system(contents)

    def decided(asked: tuple[Property, ...]) -> Verdicts:
        found = decide(system, asked)
        return found._replace(verdicts=tuple(
            one._replace(outcome="undecided", breaks=()) if one.property.check == "contention" else one
            for one in found.verdicts))

    assert "missing-hold" in names(prove(contents, decided))


def test_copies_of_one_word_are_one_finding() -> None:
    """In a store addressed by instruction and step one word stands in many cells."""
    machine = """\
machine chimes "of a tower clock"
microprogram "m.micro"
store control 16 words of 4 bits
    address {wind, op, step}
    instruction op
    step step
field ring 1 bit
field read 1 bit
field last 1 bit
spare 1 bit
input wind 1 bit
state op 2 bits, reset 0
    next op + 1 if last else op
state step 1 bit, reset 0
    next 0 if last else step + 1
bus data 1 bit, floats
    driven by drum when read
    driven by bell when ring
    sampled by hammer when ring
"""
    for words in (("read", "ring, read, last"), ("ring, read", "last")):
        micro = 'instruction others "strike"\n' + "".join(f"        {word}\n" for word in words)
        fights = findings_named("contention", report(Sound(machine, micro)))
        assert len(fights) == 1 and fights[0].notes == ()


def test_a_line_that_leads_astray_from_several_columns_is_told_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """`wind` chooses the column; from either the instruction goes on past its last step, into a cell that nobody
    filled."""
    machine = """\
machine chimes "of a tower clock"
microprogram "m.micro"
store control 16 words of 3 bits
    address {wind, op, step}
    instruction op
    step step
field ring 1 bit
field last 1 bit
spare 1 bit
state wind 1 bit, reset any
    next wind
input low 1 bit
state op 1 bit, reset 0
    next low if last else op
state step 2 bits, reset 0
    next 0 if last else step + 1
"""
    micro = """\
instruction 0 "strike"
    when wind
        last
    otherwise
        ring, last
instruction 1 "hum"
        ring
"""
    found = findings_named("nowhere", report(Sound(machine, micro)))
    assert len(found) == 1 and found[0].span is not None and found[0].span.text == "ring"
    assert "the same happens at 0xD" in found[0].notes
    whole = edited(Sound(machine, micro), ('"hum"\n        ring\n', '"hum"\n        ring\n        last\n'))
    assert not findings_named("nowhere", report(whole))
    for bits, most, more in (("3 bits", 8, ""), ("3 bits", 7, ""), ("4 bits", 8, " and 7 more")):
        monkeypatch.setattr(run, "MOST_ADDRESSES", most)
        wide = machine.replace("16 words", f"{8 << int(bits[0])} words").replace("wind 1 bit", f"wind {bits}")
        [finding] = findings_named("nowhere", report(Sound(wide, micro.replace("when wind", "when wind is 1"))))
        (note,) = [note for note in finding.notes if note.startswith("the same happens at ")]
        assert note.count("0x") == (7 if bits == "3 bits" else 8)
        assert note.partition(" and ")[2] == more.removeprefix(" and ")


# ---------------------------------------------------------------- allowances


def test_an_allowance_excuses_its_place_and_no_other() -> None:
    both = edited(FIGHT, ("        quiet\n  wait", "        quiet, grant\n  wait"), ("home watch", "home watch\n"
                  "allow contention at lend.wait \"resistors, measured 4 mA\""))
    found = report(both)
    assert "contention" not in names(found)
    assert outcomes(found)["contention data"] == "allowed"
    elsewhere = report(edited(both, ("at lend.wait", "at watch")))
    assert names(elsewhere).count("contention") == 2 and "stale-allowance" in names(elsewhere)


def test_an_allowance_on_a_driver_excuses_only_its_fights() -> None:
    found = report(edited(FIGHT, ("home watch", "home watch\nallow contention on memory \"weak outputs\"")))
    assert [finding.message for finding in found.findings if finding.name == "contention"] == [
        "two drivers share bus `address` at `lend.wait` (0xA): `pointer` and `panel`"]
    assert [applied.needed for applied in found.allowances] == [True]
    assert outcomes(found)["contention data"] == "allowed" and outcomes(found)["contention address"] == "broken"


def test_an_allowance_on_one_register_keeps_the_others_kept() -> None:
    lost = edited(WEIR, ("wait: grant, if asked", "wait: grant, count, swap, if asked"),
                  ("home watch", "home watch\nallow lost-state on pointer \"the panel sets it anew\""))
    found = report(lost)
    assert [finding.message.split(" is ")[0] for finding in findings_named("lost-state", found)] == ["`turns`"]
    assert [applied.needed for applied in found.allowances] == [True]


def test_hand_over_after_an_allowed_overlap_is_judged() -> None:
    """Red and blue may overlap; that first leaves the line to red in the next cycle is still too quick."""
    overlap = edited(MILL, ("steering if give is blue else asking", "steering if give is not none else asking"))
    unjudged = {finding.message for finding in report(overlap).findings if finding.name == "turnaround"}
    judged = {finding.message for finding in report(edited(
        overlap, ("home grind", "home grind\nallow contention on line \"open collectors\""))).findings
        if finding.name == "turnaround"}
    assert unjudged <= judged


def test_a_deliberate_halt_is_allowed_as_a_way_home() -> None:
    halt = edited(ORGAN, ("instruction 0 \"pause\"\n        goto start\n",
                          "instruction 0 \"pause\"\n        quiet\n  halt: goto halt\n"))
    assert names(report(halt)) == ["stuck"]
    found = report(edited(halt, ("home start", "home start\nallow stuck at pause.halt \"waits for reset\"")))
    assert names(found) == [] and outcomes(found)["stuck home"] == "allowed"


def test_every_allowance_is_listed_with_its_need() -> None:
    found = report(edited(WEIR, ("home watch", "home watch\nallow race \"nothing is a latch here\"\n"
                                 "allow opcode-gap \"never asked here\"")))
    assert [(applied.allowance.check, applied.needed) for applied in found.allowances] == [
        ("race", False), ("opcode-gap", None)]
    assert names(found) == ["inactive", "stale-allowance"]      # no word reads the gauge
    one_check = report(edited(WEIR, ("home watch", "home watch\nallow race \"nothing is a latch here\"")),
                       Selection(frozenset({"contention"})))
    assert [applied.needed for applied in one_check.allowances] == [None] and names(one_check) == []


@pytest.mark.parametrize(("at", "needed"), [("", True), ("lone", True), ("pair.second", True), ("watch", False)])
def test_an_allowance_of_words_that_are_never_executed_counts_at_its_place(at: str, needed: bool) -> None:
    """One routine of one word, one of two: nothing leads to them."""
    idle = Sound(WEIR.machine, WEIR.micro + "routine lone\n        goto watch\nroutine pair\n        quiet\n"
                                             "  second: goto watch\n")
    place = f" at {at}" if at else ""
    found = report(edited(idle, ("home watch", f'home watch\nallow unreachable{place} "later"')))
    assert [applied.needed for applied in found.allowances] == [needed]
    told = {finding.message for finding in findings_named("unreachable", found)}
    assert ("`lone` is never executed: its only word cannot be reached" in told) == (at not in ("", "lone"))
    assert ("`pair` is never executed: none of its 2 words can be reached" in told) == (at not in ("", "pair.second"))


@pytest.mark.parametrize(("words", "said"), [
    (["to 1", "to 3", "to 0", "to 0"], ["no sequence executes `main+2` at 0x2"]),
    (["to 3", "to 2", "to 0", "to 0"], ["no sequence executes `main+1` at 0x1 and 1 more after it"]),
    (["to 2", "to 2", "to 4", "to 4", "to 0"],
     ["no sequence executes `main+1` at 0x1", "no sequence executes `main+3` at 0x3"]),
    (["to 0", "to 0", "to 0", "to 0"], ["no sequence executes `main+1` at 0x1 and 2 more after it"]),
    (["to 1", "to 2", "to 0"], []),
])
def test_runs_of_words_that_are_never_executed(words: list[str], said: list[str]) -> None:
    micro = "routine main at 0\n" + "".join(f"        {word}\n" for word in words)
    found = findings_named("unreachable", report(Sound(WAYS.replace("LOOK", "0b000"), micro)))
    assert [finding.message for finding in found] == said
    assert all(finding.label == "never executed" for finding in found)


@pytest.mark.parametrize(("words", "said"), [
    (["to 1", "to 3", "to 0", "to 0"], ["no sequence executes `main+2` at 0x2"]),
    (["to 3", "to 2", "to 0", "to 0"], ["no sequence executes `main+1` at 0x1 and 1 more after it"])])
def test_of_a_build_that_is_read_from_its_files_each_address_is_a_word(words: list[str], said: list[str]) -> None:
    micro = "routine main at 0\n" + "".join(f"        {word}\n" for word in words)
    contents = contents_of(WAYS.replace("LOOK", "0b000"), micro)
    sites = {at: site._replace(word=-1) for at, site in reversed(contents.sites["control"].items())}
    system = build_system(contents)
    found = prove(contents._replace(sites={"control": sites}), lambda asked: decide(system, asked))
    assert [finding.message for finding in findings_named("unreachable", found)] == said


def test_of_a_store_without_words_nothing_is_unreachable() -> None:
    spare = "store later 4 words of 1 bit\n    address now[1:0]\nfield bell 1 bit\nbus rail"
    machine = WAYS.replace("LOOK", "0b000").replace("bus rail", spare)
    found = report(Sound(machine, "routine main at 0\n        to 0\n"))
    assert names(found) == ["nowhere", "inactive", "inactive"]


def test_words_are_told_in_the_order_of_the_text() -> None:
    """Those behind `when` stand higher in the store than those behind `otherwise`. All wait at the first word."""
    machine, micro = STEPS
    text = machine.replace("0 if last else step + 1", "step").split("home ")[0]
    arms = micro.split("        act\n        last\n")[0] + (
        "        when taken\n            act\n            last\n        otherwise\n            last\n")
    found = findings_named("unreachable", report(Sound(text, arms)))
    assert [finding.message for finding in found] == ["`ZERO` is never executed: its only word cannot be reached",
                                                      "`ONE` is never executed: none of its 3 words can be reached"]
    assert [finding.span.text for finding in found if finding.span is not None] == ["last", "act"]


# ---------------------------------------------------------------- selection and limits


def test_only_what_is_selected_is_looked_at() -> None:
    found = report(FIGHT, Selection(frozenset({"contention"})))
    assert {row.check for row in found.rows} == {"contention"}
    assert set(names(found)) == {"contention"}
    idle = Sound(WEIR.machine, f"{WEIR.micro}routine lone\n        goto watch\n")
    assert "unreachable" in names(report(idle))
    assert names(report(idle, Selection(frozenset({"contention"})))) == []
    ruled = edited(WEIR, ("home watch", "home watch\nrule \"Lending\" reach grant\nrule \"turns\" reach turns is 3"))
    assert [row.subject for row in report(ruled, Selection(rule="lend")).rows] == ["Lending"]
    both = report(ruled, Selection(frozenset({"reach", "race"}), "lend"))
    assert [row.subject for row in both.rows] == ["Lending"]


@pytest.mark.parametrize("name", ["data", "an idle one"])
def test_nothing_is_said_of_the_parts_of_a_rule_that_is_not_selected(name: str) -> None:
    """No word has that target; the rule may be called as the bus is."""
    ruled = edited(WEIR, ("home watch", f'home watch\nrule "{name}" never grant and target is 15'))
    assert names(report(ruled)) == ["vacuous", "inactive"]
    found = report(ruled, Selection(frozenset({"contention"})))
    assert names(found) == [] and {row.outcome for row in found.rows} == {"proved"}


def test_a_check_and_a_rule_may_be_selected_together() -> None:
    ruled = edited(WEIR, ("home watch", "home watch\nrule \"Lending\" reach grant\nrule \"turns\" reach turns is 3\n"
                          "rule \"no lending in a turn\" never grant and swap"))
    def looked_at(only: set[str], rule: str) -> set[str]:
        return {f"{row.check} {row.subject}" for row in report(ruled, Selection(frozenset(only), rule)).rows}

    assert looked_at({"stuck"}, "lending") == {"stuck home", "reach Lending", "never no lending in a turn"}
    assert looked_at({"stuck", "never"}, "lending") == {"stuck home", "never no lending in a turn"}
    assert looked_at({"stuck", "never"}, "") == {"stuck home", "never no lending in a turn"}
    assert looked_at({"stuck"}, "") == {"stuck home"}
    assert looked_at(set(), "turns") == {"reach turns"}


def test_what_a_limit_left_open_is_undecided_and_never_proved() -> None:
    found = report(WEIR, limits=Limits(states=5))
    assert found.stopped == "states" and not found.kept
    assert set(outcomes(found).values()) == {"undecided"}
    assert names(found) == []  # nothing unreachable, vacuous or stale is told of a search that was stopped


@pytest.mark.parametrize("states", [1, 3, 5, 8])
def test_what_the_words_say_is_told_even_when_the_search_was_stopped(states: int) -> None:
    fight = GAUGES
    found = report(fight, limits=Limits(states=states))
    assert found.stopped == "states"
    told = [finding for finding in found.findings if finding.name == "contention"]
    assert sorted(finding.span.line for finding in told if finding.span is not None) == [5, 6, 7, 9]
    assert len(found.findings) == len(told)
    assert all(finding.trace is not None or finding.notes == (
        "the word alone decides this, whatever the state and the inputs",) for finding in told)


# ---------------------------------------------------------------- the static pass


def test_the_static_pass_finds_what_is_wrong_whatever_the_state() -> None:
    fight = contents_of(*GAUGES)
    told = static_pass(fight)
    assert {finding.name for finding in told} == {"contention"} and len(told) == 4
    assert all(finding.trace is None for finding in told)
    # Control comes from reset to three of the words whatever happens; to the fourth leads a branch.
    assert [finding.severity for finding in told] == [Severity.ERROR] * 3 + [Severity.NOTE]
    assert static_pass(contents_of(*FIGHT)) == []  # the panel is on only in some states
    assert static_pass(contents_of(*WEIR)) == []


LOOSE = edited(GAUGES, ("unused  goto watch", "unused  source copy"),
               ("        point, source copy\n        point, memory <- copy, write\n        point, source copy\n", ""),
               ("        gauge <- copy\n", ""))
"""No word has `copy` as its source but the unused one."""


def test_unused_cells_that_fight_are_told_together() -> None:
    (finding,) = static_pass(contents_of(*LOOSE))
    assert finding.severity is Severity.WARNING and finding.message.endswith("; so do 6 more unused cells")
    assert "at 0x9, where nothing was placed" in finding.message


@pytest.mark.parametrize(("words", "more"), [
    (["to 1"] * 7, []), (["to 1"] * 6, ["; so do 1 more unused cells"]),
    (["to 5"] * 5, ["; so do 2 more unused cells"]), (["to 1"] * 8, None)])
def test_how_many_unused_cells_fight(words: list[str], more: list[str] | None) -> None:
    """Whether control comes to one of them or not: it is told of the cells, and once."""
    machine = WAYS.replace("    address now", "    address now\n    unused a, b, to 0").replace("LOOK", "to")
    found = static_pass(contents_of(machine, "routine main at 0\n" + "".join(f"        {word}\n" for word in words)))
    assert [finding.severity for finding in found] == ([] if more is None else [Severity.WARNING])
    for finding in found:
        assert finding.message == (f"two drivers share bus `rail` at 0x{len(words)}, where nothing was placed: `seen` "
                                   f"and `left`{''.join(more or [])}")


def test_a_word_that_would_fight_but_is_never_executed_is_a_note() -> None:
    idle = edited(WEIR, ("driven by gauge  when source is gauge", "driven by gauge  when source in (gauge, memory)"),
                  ("        point, gate <- memory\n        point, copy <- memory, swap\n", "        swap\n"),
                  ("        gauge <- copy\n",
                   "        gauge <- copy\n        goto watch\n        gate <- memory, point\n"))
    found = report(idle)
    note = next(finding for finding in found.findings if finding.name == "contention")
    assert note.severity is Severity.NOTE and note.notes == ("no sequence does",)
    assert note.message == ("the word at `watch+8` (0x8) would break `contention` of `data` in every state, if any "
                            "sequence executed it")
    assert [finding.severity for finding in static_pass(contents_of(*idle))] == [Severity.NOTE]


def test_the_static_pass_never_finds_what_the_search_does_not() -> None:
    """Over words that are executed, each certain fault is among the breaks of the exhaustive pass."""
    fight = GAUGES
    searched = {(finding.name, str(finding.span), finding.message) for finding in report(fight).findings}
    told = static_pass(contents_of(*fight))
    certain = {(finding.name, str(finding.span), finding.message) for finding in told
               if finding.severity is Severity.ERROR}
    assert certain and certain <= searched
    assert {str(finding.span) for finding in told} <= {span for _, span, _ in searched}


STEPS = ("""\
machine m
microprogram "m.micro"
store control 16 words of 4 bits
    address     {taken, ir, step}
    instruction ir
    step        step
field last 1 bit
field act  1 bit
spare 2 bits
state ir 1 bit, reset 0
    next (1 if taken else opcode) if step is 0 else ir
state step 2 bits, reset 0
    next 0 if last else step + 1
state taken 1 bit, reset 0
    next request if last else taken
input request 1 bit, opcode 1 bit
home step is 0
rule "taken leads to opcode 1" never taken and step is 1 and not in "ONE"
""", """\
prologue
        act
instruction 0 "ZERO"
        last
instruction 1 "ONE"
        act
        last
""")


def test_a_rule_that_holds_is_not_called_broken_before_the_search() -> None:
    """A word of `ZERO` stands at an address with `taken`, which no sequence presents."""
    (note,) = static_pass(contents_of(*STEPS))
    assert note.severity is Severity.NOTE and note.message == (
        'the word at `ZERO` (0x9) would break the rule "taken leads to opcode 1" in every state, if any sequence '
        "executed it")
    found = report(STEPS)
    assert all(row.outcome == "proved" for row in found.rows)
    assert [(finding.severity, finding.notes) for finding in found.findings] == [(Severity.NOTE, ("no sequence does",))]
    broken = report(edited(STEPS, ("next (1 if taken else opcode)", "next (0 if taken else opcode)")))
    assert [finding.severity for finding in broken.findings if finding.name == "never"] == [Severity.ERROR]


def test_what_the_first_word_breaks_is_an_error_of_the_build() -> None:
    (finding,) = static_pass(contents_of(*edited(STEPS, ("never taken and step is 1 and not in \"ONE\"",
                                                         "never in \"prologue\" and act and not taken and not ir"))))
    assert finding.severity is Severity.ERROR


# ---------------------------------------------------------------- assumptions


@pytest.mark.parametrize(("look", "severity"), [
    ("{0b0, 0b1, 0b1}", Severity.ERROR),
    ("{0b0, 0b1, lever}", Severity.NOTE),               # by an input
    ("{0b0, 0b1, seen}", Severity.NOTE),                # by what an input left behind
    ("{0b0, 0b1, seen or not seen}", Severity.ERROR),
    ("{0b0, 0b1, not (seen xor lever)}", Severity.NOTE),    # as the lever was, and as it is: not the same
])
def test_what_is_executed_for_certain(look: str, severity: Severity) -> None:
    """The first word goes to the second, that to word 3, in which two fight; or to word 2."""
    micro = "routine main at 0\n        to 1\n        look, to 0\n        to 0\n        a, b, to 0\n"
    fight = contents_of(WAYS.replace("LOOK", look), micro)
    assert [finding.severity for finding in static_pass(fight)] == [severity]


def test_what_is_executed_for_certain_by_bits_of_the_word_itself() -> None:
    """No field has a name in what the hardware reads: three bits of the word are where to go on."""
    machine = WAYS.replace("LOOK", "now").replace("else to", "else control[5:3]")
    fight = contents_of(machine, "routine main at 0\n        to 2\n        to 0\n        a, b, to 0\n")
    assert [finding.severity for finding in static_pass(fight)] == [Severity.ERROR]


@pytest.mark.parametrize(("address", "known"), [
    ("now", True), ("{now[2:1], now[0]}", True), ("{now[2], now[1:0]}", True), ("{now[2:1], seen}", False),
    ("{now[2:1], not seen}", False), ("{0b0, now[1:0]}", False), ("now + 1", False)])
def test_what_an_address_says_of_the_state_that_it_is_formed_from(address: str, known: bool) -> None:
    """In word 3 one driver is on by the word, and one by `now` being 3: so it is wherever the address is `now`."""
    machine = WAYS.replace("LOOK", "0b000").replace("address now", f"address {address}").replace(
        "when b", "when now is 3")
    fight = contents_of(machine, "routine main at 0\n" + "        to 1\n" * 3 + "        a, to 0\n")
    assert [finding.name for finding in static_pass(fight)] == (["contention"] if known else [])


@pytest.mark.parametrize(("when", "word", "told"), [
    ("control[0]", "a, b", True), ("control[0]", "a", False), ("control[1]", "a", True), ("not control[2]", "a", True),
    ("control[2]", "a", False), ("control[2:1] is 0b01", "a", True), ("control[2:1] is 0b11", "a", False)])
def test_bits_of_the_word_are_known_as_its_fields_are(when: str, word: str, told: bool) -> None:
    """`a` is bit 1 of the word, `b` bit 0, `look` bit 2."""
    machine = WAYS.replace("LOOK", "0b000").replace("when b", f"when {when}")
    fight = contents_of(machine, f"routine main at 0\n        {word}, to 0\n")
    assert [finding.name for finding in static_pass(fight)] == (["contention"] if told else [])


@pytest.mark.parametrize(("word", "pairs"), [
    ("a, b", [("a", "b")]), ("look, b", [("look", "b")]), ("look, a", [("look", "a")]), ("a", []),
    ("look, a, b", [("look", "a"), ("look", "b"), ("a", "b")])])
def test_of_exclusive_signals_each_two_that_act_together_are_told(word: str, pairs: list[tuple[str, str]]) -> None:
    machine = WAYS.replace("LOOK", "to").replace("bus rail", "exclusive look, a, b\nbus rail").replace(
        "when b", "when to is 7").replace("when a", "when to is 6")
    found = findings_named("conflicting-enables", report(Sound(machine, f"routine main at 0\n        {word}, to 0\n")))
    assert [(finding.message, finding.label) for finding in found] == [
        (f"exclusive signals are active together at `main` (0x0): `{one}` and `{other}`",
         f"`{one}` and `{other}` are both active in this cycle") for one, other in pairs]


@pytest.mark.parametrize(("steps", "most", "severity"), [
    (1, 64, Severity.ERROR), (3, 64, Severity.ERROR), (3, 4, Severity.ERROR), (3, 3, Severity.NOTE),
    (0, 1, Severity.ERROR)])
def test_as_many_words_as_are_followed(monkeypatch: pytest.MonkeyPatch, steps: int, most: int,
                                       severity: Severity) -> None:
    monkeypatch.setattr(static, "_MOST_STEPS", most)
    words = "".join(f"        to {number}\n" for number in range(1, steps + 1))
    fight = contents_of(WAYS.replace("LOOK", "0b000"), f"routine main at 0\n{words}        a, b, to 0\n")
    assert [finding.severity for finding in static_pass(fight)] == [severity]


@pytest.mark.parametrize(("look", "reset", "more", "severity"), [
    ("seen", "0", "", Severity.ERROR), ("seen", "1", "", Severity.ERROR), ("seen", "any", "", Severity.NOTE),
    ("0b0", "any", "", Severity.ERROR), ("seen", "0", "assume lever\n", Severity.NOTE)])
def test_where_reset_leaves_what_leads_to_a_word_open(look: str, reset: str, more: str, severity: Severity) -> None:
    """The second word is 2 or 3, by what was seen at reset: both fight. With something assumed there need not be any
    run."""
    micro = "routine main at 0\n        look, to 0\n        to 0\n        a, b, to 0\n        a, b, to 0\n"
    machine = WAYS.replace("LOOK", f"{{0b0, 0b1, {look}}}").replace("seen 1 bit, reset 0", f"seen 1 bit, reset {reset}")
    found = static_pass(contents_of(machine + more, micro))
    other = Severity.NOTE
    assert sorted(finding.severity.value for finding in found) == sorted((severity.value, other.value))


def test_cells_of_a_table_are_not_those_of_the_store_that_reads_it() -> None:
    """Word 5 goes where the table says, and row 5 of the table is empty. Which row is read then is up to the wind: that
    it may be this one is for the search to say."""
    kite = """\
machine kite
microprogram "m.micro"
store control 8 words of 4 bits
    address upc
field go 1 bit
field to 3 bits address, idle 0
store entry 8 words of 3 bits
    address wind
state upc 3 bits, reset 0
    next entry if go else to
input wind 3 bits
"""
    micro = "routine rise at 0\n        to 5\nroutine fall at 5\n        go\n" \
            "map entry\n        0, 1, 2, 3, 4, 6, 7: rise\n"
    assert static_pass(contents_of(kite, micro)) == []
    assert [finding.severity for finding in findings_named("nowhere", report(Sound(kite, micro)))] == [Severity.ERROR]


def test_with_assumptions_that_leave_nothing_only_that_is_told() -> None:
    dead = edited(ORGAN, ("assume not (blow and chest.leak)", "assume not (blow and chest.leak)\n"
                          "assume chest.leak or not blow"))
    found = report(dead)
    assert names(found) == ["over-assumed"]
    assert found.findings[0].places[0].label == "also assumed" and found.findings[0].trace is None
    assert found.findings[0].notes == ("already in the first cycle none does",)
    assert outcomes(found)["over-assumed assumptions"] == "broken"
    assert names(report(dead, Selection(frozenset({"contention"})))) == []


def test_with_assumptions_that_leave_nothing_later_on_it_is_told_where() -> None:
    chime = """\
machine chime
store control 4 words of 1 bit
    address upc
field strike 1 bit
state upc 2 bits, reset 0
    next upc + 1
input gust 1 bit
assume gust or upc is not 2
assume not (gust and upc is 2)
"""
    micro = "routine ring at 0\n        strike\n  still: strike 0\n        strike\n        strike\n"
    found = report(Sound(chime, micro))
    (finding,) = findings_named("over-assumed", found)
    assert finding.notes == ("shortest sequence to such a state: 2 cycles",
                             "the last cycle before it is at `ring.still` (0x1)")
    assert finding.span is not None and finding.span.text == "assume gust or upc is not 2"
    assert [place.span.text for place in finding.places] == ["assume not (gust and upc is 2)"]
    assert [row.span.text for row in found.rows if row.check == "over-assumed"] == ["assume gust or upc is not 2"]


# ---------------------------------------------------------------- what is not known


def test_nothing_is_said_of_allowances_while_something_is_undecided() -> None:
    """Of words that no sequence executes nothing is known when the search was stopped."""
    idle = edited(WEIR, ("home watch", "home watch\nallow unreachable \"kept for the winter\""))
    assert [applied.needed for applied in report(idle, limits=Limits(states=5)).allowances] == [None]
    assert [applied.needed for applied in report(idle).allowances] == [False]


@pytest.mark.parametrize(("judged", "probe", "expected"), [
    ("proved", "proved", False), ("proved", "broken", True), ("undecided", "proved", None),
    ("proved", "undecided", None), ("undecided", "broken", True)])
def test_whether_an_allowance_is_needed(judged: str, probe: str, expected: bool | None) -> None:
    asked = Property("contention", "line", "bad", Terms().const(0, 1))
    made = Plan(contention.CHECK, asked, asked, ((0, asked),), None)
    answers = [Verdict(asked, outcome, (), None, None, 0, 0) for outcome in (judged, probe)]  # type: ignore[arg-type]
    assert needed([(made, answers[0], (answers[1],), None)], 1) == [expected]


@pytest.mark.parametrize(("alone", "bare", "expected"), [
    (0, 2, True), (1, 2, True), (2, 2, False), (0, 0, False), (None, 2, None), (0, None, None)])
def test_whether_a_way_home_is_needed(alone: int | None, bare: int | None, expected: bool | None) -> None:
    """By how many states are lost with it alone, and with none; None: that was not reached."""
    asked = Property("stuck", "home", "always", Terms().const(0, 1))
    made = Plan(contention.CHECK, asked, asked, ((0, asked),), asked)
    verdicts = [Verdict(asked, "undecided" if lost is None else "broken" if lost else "proved",
                        (Break(None, 1, lost, None),) if lost else (), None, None, 0, 0) for lost in (alone, bare)]
    assert needed([(made, None, (verdicts[0],), verdicts[1])], 1) == [expected]


def test_a_fight_is_told_by_those_who_fight_even_where_it_was_not_narrowed() -> None:
    """Three drivers, of which the last two meet."""
    contents = contents_of(*FIGHT)
    question = next(one for one in contention.ask(contents) if one.subject == "data")
    (verdict,) = decide(build_system(contents), (question,)).verdicts
    assert contention.tell(contents, verdict, verdict.breaks[0]).message == (
        "two drivers share bus `data` at `lend.wait` (0xA): `memory` and `panel`")


def test_words_for_which_no_sequence_was_wanted_are_counted() -> None:
    for traces, note in ((0, "3 more microinstructions are broken in the same way"),
                         (1, "3 more microinstructions are broken in the same way"),
                         (3, "1 more microinstruction is broken in the same way"), (4, "")):
        told = findings_named("contention", report(GAUGES, limits=Limits(traces=traces)))
        notes = [[text for text in one.notes if " more " in text] for one in told]
        assert notes == [[note] * bool(note), *[[]] * (max(traces, 1) - 1)]


def test_words_of_which_the_place_in_the_text_is_not_known_are_told_one_by_one() -> None:
    """As those of a build that is read from its files."""
    contents = contents_of(*GAUGES)
    system, sites = build_system(contents), contents.sites["control"]
    read = contents._replace(sites={"control": {at: site._replace(word=-1) for at, site in sites.items()}})
    assert len(findings_named("contention", prove(read, lambda asked: decide(system, asked)))) == 4


def test_what_unused_cells_would_do_is_not_told_of_a_search_that_was_stopped() -> None:
    assert names(report(LOOSE, limits=Limits(states=1))) == []
    assert [finding.severity for finding in static_pass(contents_of(*LOOSE))] == [Severity.WARNING]


# ---------------------------------------------------------------- unused cells and copies


def test_what_an_unused_cell_would_break_besides_its_drivers_is_not_told() -> None:
    """A rule speaks of what is executed; only drivers may fight at power-up as well."""
    ruled = edited(WEIR, ("home watch", "home watch\nrule \"never both\" never write and grant"))
    assert static_pass(contents_of(*edited(ruled, ("unused  goto watch", "unused  write, grant")))) == []


def test_copies_of_a_word_that_would_break_a_rule_are_counted() -> None:
    """Another address line doubles the store: `ZERO` with `taken` stands twice there."""
    twice = edited(STEPS, ("store control 16 words", "store control 32 words"),
                   ("{taken, ir, step}", "{flag, taken, ir, step}"), ("opcode 1 bit", "opcode 1 bit, flag 1 bit"))
    (note,) = static_pass(contents_of(*twice))
    assert note.message == ('2 words, one of them at `ZERO` (0x09), would break the rule "taken leads to opcode 1" in '
                            "every state, if any sequence executed them")


def test_a_machine_without_a_microprogram_is_asked_the_same() -> None:
    """Its decoder is all the store that it has. Which of three drivers fight is found out there, too; no word is named,
    for there is none."""
    found = report(Sound("""\
machine lamp "a lamp on two switches"
store decoder 4 words of 4 bits
    address turn
    word    {turn is 3, turn is 2, turn is 1, turn is 0}
input key 1 bit
state turn 2 bits, reset 0
    next turn + 1
bus line 1 bit, floats
    driven by other when decoder.word[1]
    driven by left when decoder.word[2]
    driven by right when decoder.word[2] and key
""", ""))
    (fight,) = found.findings
    assert fight.message == "two drivers share bus `line`: `left` and `right`"
    assert fight.span is not None and fight.span.text.startswith("bus line")
    assert fight.trace is not None and [cycle.states["turn"] for cycle in fight.trace.cycles] == [0, 1, 2]
    assert outcomes(found) == {"contention line": "broken", "over-assumed assumptions": "proved"}


def test_of_two_allowances_of_one_check_each_is_for_its_own_part() -> None:
    """One excuses whatever fights with the memory, wherever; the other the bus where nothing fights."""
    found = report(edited(FIGHT, ("home watch", "home watch\nallow contention on memory \"weak outputs\"\n"
                                                "allow contention on data at watch \"never needed\"")))
    assert [finding.message for finding in findings_named("contention", found) if "`data`" in finding.message] == []
    assert outcomes(found)["contention data"] == "allowed"
    assert [one.needed for one in found.allowances] == [True, False]
