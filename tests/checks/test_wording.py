"""What findings say: who, what it does there, and what stands beside it; of a question as a whole and of its parts."""

from types import ModuleType

import pytest

from ordain.checks import conflicting_enables, contention, double_load, floating, lost_state, race
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.prover.model import Limits
from ordain.show.verdicts import report_lines
from ordain.text.findings import Finding
from tests.checks.reports import findings_named, outcomes, report
from tests.planted.plant import Sound
from tests.workshop import contents_of

MACHINE = """\
machine crane "a crane over a yard"
microprogram "m.micro"
store control 4 words of 8 bits
    address step
field haul 1 bit
field lift 1 bit
field drop 1 bit
field take 1 bit
field hook 1 bit
field turn 1 bit
field move 1 bit
field last 1 bit
state step 2 bits, reset 0
    next 0 if last else step + 1
state arm 2 bits, reset 0
    next arm + 1 if turn else arm
register load 2 bits
    loads rope when take
    loads load + 1 when move
latch grip 2 bits, loads rope when hook
bus rope 2 bits, KIND
    driven by load when haul
    driven by arm when lift
    driven by grip when drop
exclusive haul, turn, move
keep arm, load, grip while haul
"""


def crane(*words: str, kind: str = "floats") -> Sound:
    return Sound(MACHINE.replace("KIND", kind), "routine main at 0\n" + "".join(
        f"        {word}\n" for word in (*words, "last")))


def told(name: str, sound: Sound) -> list[Finding]:
    return findings_named(name, report(sound))


@pytest.mark.parametrize(("kind", "doing"), [
    ("floats", "drive"), ("multiplexed", "are selected for"), ("kept", "drive"), ("pulled low", "drive")])
def test_who_fights(kind: str, doing: str) -> None:
    [finding] = told("contention", crane("lift, drop", kind=kind))
    assert finding.message == "two drivers share bus `rope` at `main` (0x0): `arm` and `grip`"
    assert finding.label == f"`arm` and `grip` both {doing} `rope` in this cycle"
    assert [place.label for place in finding.places] == ["`arm` drives `rope`", "`grip` drives `rope`"]
    assert finding.help.startswith("take `arm` or `grip` off the bus here")


@pytest.mark.parametrize(("kind", "arm", "load", "instead"), [
    ("pulled high", " = 0b00", " = 0b00", "wired and"), ("pulled low", " = 0b11", " = 0b11", "wired or"),
    ("pulled high", " = 0b00", " = 0b01", ""), ("pulled low", " = 0b00", " = 0b00", ""),
    ("floats", " = 0b00", " = 0b00", ""),
    ("pulled high", " = 0b00", "", ""),
])
def test_outputs_that_only_pull_may_be_open_ones(kind: str, arm: str, load: str, instead: str) -> None:
    """What a resistor holds and several outputs pull away is wired, where these can do no more."""
    machine, micro = crane("haul, lift", kind=kind)
    for name, part in (("load", f"hauler{load}"), ("arm", f"lifter{arm}")):
        machine = machine.replace(f"driven by {name}", f"driven by {part}")
    [finding] = told("contention", Sound(machine, micro))
    assert finding.help is not None and finding.help.startswith("if these are open outputs") == bool(instead)
    assert (f"say `{instead}` in place of `{kind}`" in finding.help) == bool(instead)
    if instead:
        assert told("contention", Sound(machine.replace(kind, instead), micro)) == []



@pytest.mark.parametrize(("kind", "when", "why"), [
    ("floats", "while nobody drives it", "no driver is enabled"),
    ("multiplexed", "while no source is selected", "no source is selected"),
    ("kept", "before anybody has driven it", "nobody has driven it since reset")])
def test_who_takes_what_has_no_level(kind: str, when: str, why: str) -> None:
    found = told("floating", crane("take, hook", kind=kind))
    assert [finding.message for finding in found] == [
        f"bus `rope` is sampled by `{who}` {when} at `main` (0x0)" for who in ("load", "grip")]
    assert found[0].label == f"`load` takes `rope` in this cycle, and {why}"
    assert [place.label for place in found[0].places] == ["`load` takes what stands on `rope`"]
    assert not told("floating", crane("lift, take, hook", kind=kind))


@pytest.mark.parametrize(("kind", "once"), [("kept", True), ("floats", False)])
def test_a_bus_that_is_kept_has_a_level_once_it_was_driven(kind: str, once: bool) -> None:
    assert bool(told("floating", crane("lift", "lift 0", "take", kind=kind))) == (not once)


@pytest.mark.parametrize(("word", "name", "doing", "declared"), [
    ("haul, turn", "arm", "changes", "state arm"), ("haul, take", "load", "loads", "register load"),
    ("haul, hook", "grip", "is open", "latch grip")])
def test_what_was_to_be_kept(word: str, name: str, doing: str, declared: str) -> None:
    [finding] = told("lost-state", crane(word))
    assert finding.message == f"`{name}` is to be kept while haul, but {doing} at `main` (0x0)"
    assert finding.label == f"`{name}` {doing} in this cycle"
    assert [place.label for place in finding.places] == ["kept here", f"`{name}` is declared"]
    assert finding.places[1].span.text.startswith(declared)
    assert not told("lost-state", crane(word.replace("haul, ", "lift, ")))


@pytest.mark.parametrize(("check", "words", "message", "label"), [
    (contention, "lift, drop", "two drivers share bus `rope` at `main` (0x0): `arm` and `grip`",
     "`arm` and `grip` both drive `rope` in this cycle"),
    (floating, "take", "bus `rope` is sampled by a sampler while nobody drives it at `main` (0x0)",
     "a sampler takes `rope` in this cycle, and no driver is enabled"),
    (lost_state, "haul, turn", "`arm, load, grip` is to be kept while haul, but changes at `main` (0x0)",
     "`arm, load, grip` changes in this cycle"),
    (conflicting_enables, "turn, move",
     "exclusive signals are active together at `main` (0x0): `haul`, `turn` and `move`",
     "more than one of `haul`, `turn` and `move` is active in this cycle"),
    (double_load, "haul, take, move", "`load` is loaded twice at `main` (0x0): with `rope` and with `load + 1`",
     "`load` is to take two values in this cycle"),
    (race, "drop, hook", "latch `grip` is open and feeds itself at `main` (0x0)",
     "`grip` comes round to its own input or enable in this cycle"),
])
def test_a_question_as_a_whole(check: ModuleType, words: str, message: str, label: str) -> None:
    """Before it is asked more finely: nobody is named who may not be concerned."""
    contents = contents_of(*crane(words))
    asked = tuple(check.ask(contents))
    for limits, where in ((Limits(), True), (Limits(traces=0), False)):
        [verdict] = [one for one in decide(build_system(contents), asked, limits).verdicts if one.outcome == "broken"]
        finding = check.tell(contents, verdict, verdict.breaks[0])
        if check is contention and not where:
            message = message.replace("`arm` and `grip`", "`load` and `arm`")      # the first two
        assert finding.message == message
        assert where == (finding.trace is not None)
        if where:
            assert finding.label == label
            assert finding.notes == ()
        else:
            assert finding.notes == ("shortest sequence from reset: 1 cycle",)
    nowhere = check.tell(contents, verdict, None)
    assert nowhere.message == message.replace(" at `main` (0x0)", "") and nowhere.span != finding.span


@pytest.mark.parametrize("fill", ["    address arm\n    word arm + 1\n", "    address arm\n"])
def test_words_are_told_apart_in_the_store_of_the_microprogram(fill: str) -> None:
    """Whatever other store the machine file has before it."""
    sound = crane("lift, turn", "lift, drop, turn", "haul, drop")
    table = "" if "word" in fill else "map scale\n        others: main\n"
    before = f"store scale 4 words of 2 bits\n{fill}store control"
    found = told("contention", Sound(sound.machine.replace("store control", before), sound.micro + table))
    assert [finding.message.split(" at ")[1] for finding in found] == [
        "`main+2` (0x2): `load` and `grip`", "`main+1` (0x1): `arm` and `grip`"]


LAMP = """\
machine lamp "a lamp on two switches"
store decoder 4 words of 4 bits
    address turn
    word    {turn is 3, turn is 2, turn is 1, turn is 0}
input key 1 bit
state turn 2 bits, reset 0
    next turn + 1
"""


def test_without_a_word_it_is_told_at_the_declaration_and_not_beside_it_again() -> None:
    [finding] = told("lost-state", Sound(LAMP + "keep turn while key\n", ""))
    assert finding.message == "`turn` is to be kept while key, but changes"
    assert finding.span is not None and finding.span.text == "keep turn while key"
    assert [place.span.text for place in finding.places] == ["state turn 2 bits, reset 0"]
    [finding] = told("never", Sound(LAMP + 'rule "it" never key and turn is 2\n', ""))
    assert finding.span is not None and finding.span.text.startswith("rule") and finding.places == ()
    assert finding.message == 'the rule "it" is broken'


CLOCKED = """\
machine hoist "waits in either half of its cycle"
microprogram "m.micro"
clock turn (first, second)
    held while wait
store control 2 words of 1 bit
    address upc
field go 1 bit
state upc 1 bit, reset 0
    next upc + 1
state waited 2 bits, reset 0, on oscillator
    next waited + 1 if wait else waited
input wait 1 bit, gust 1 bit
assume gust or waited is not 3
assume not gust or waited is not 3
"""


def test_a_cycle_that_is_stretched_is_one() -> None:
    """The clock is held for three phases of the first cycle."""
    [finding] = told("over-assumed", Sound(CLOCKED, "routine main at 0\n        go\n        go\n"))
    assert finding.trace is not None and len(finding.trace.cycles) == 3
    assert finding.notes[0] == "shortest sequence to such a state: 1 cycle"


@pytest.mark.parametrize(("kind", "asked"), [
    ("floats", True), ("kept", True), ("pulled high", True), ("multiplexed", True), ("wired and", False),
    ("wired or", False)])
def test_drivers_of_a_wired_bus_do_not_fight(kind: str, asked: bool) -> None:
    found = report(crane("lift, drop", kind=kind))
    assert ("contention rope" in outcomes(found)) == bool(findings_named("contention", found)) == asked


@pytest.mark.parametrize(("words", "said"), [
    ("take, move", "with `rope` and with `load + 1`"), ("take, turn", "with `rope` and with `arm`"),
    ("move, turn", "with `load + 1` and with `arm`")])
def test_which_two_loads_meet(words: str, said: str) -> None:
    sound = crane(f"lift, {words}")
    three = sound.machine.replace("load + 1 when move\n", "load + 1 when move\n    loads arm when turn\n")
    [finding] = told("double-load", sound._replace(machine=three))
    assert finding.message == f"`load` is loaded twice at `main` (0x0): {said}"


# ---------------------------------------------------------------- sums that are not followed

COUNTED = Sound("""\
machine pump "its counter goes on by two; the lowest line of the address picks one of two chips"
microprogram "m.micro"
store control 4 words of 3 bits
    address step
field count 1 bit
field take 1 bit
field read 1 bit
state step 2 bits, reset 0
    next step + 1
register pc 9 bits, reset 0
    loads pc + 2 when count
register mar 9 bits, reset 0
    loads pc when take
rule "odd"  reach mar[0] and read
rule "even" never mar[0] and read
""", """\
routine go at 0
        count
        take
        read
        read, count
""")


def test_a_value_that_only_a_sum_which_is_not_followed_can_have_is_told_as_such() -> None:
    """A counter of nine bits is data: two more than 0 may be 1. `odd` was said to be reached, and no more. One of eight
    is followed, and nothing is left open."""
    found = report(COUNTED)
    assert (outcomes(found)["reach odd"], outcomes(found)["never even"]) == ("proved", "broken")
    (even,) = findings_named("never", found)[:1]
    assert even.notes[-1] == "a sum that `pc` loads is not followed: whether it comes to the value that is shown, a " \
        "proof does not know"
    lines = report_lines(contents_of(*COUNTED), found, False)
    assert "odd: reached in 3 cycles if `pc` can come to the value that is shown" in lines

    exact = Sound(COUNTED.machine.replace("9 bits", "8 bits"), COUNTED.micro)
    found = report(exact)
    assert (outcomes(found)["reach odd"], outcomes(found)["never even"]) == ("broken", "vacuous")
    other = Sound(exact.machine.replace("pc + 2", "pc + 1"), exact.micro)
    assert "come to the value" not in str(report_lines(contents_of(*other), report(other), False))
    assert "not followed" not in str(findings_named("never", report(other))[0].notes)
