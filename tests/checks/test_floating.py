"""Who takes a bus that has no level, and which buses have none: each way, and beside it one that is none.

That an input with nothing driving it has no defined level: common practice, no source."""

import pytest

from ordain.checks import floating
from ordain.control.system import build_system
from ordain.prover.decide import decide
from tests.checks.reports import findings_named, outcomes, report
from tests.planted.plant import Sound
from tests.workshop import contents_of

MACHINE = """\
machine ferry "a chain ferry with a bell"
microprogram "m.micro"
store control 4 words of 6 bits
    address upc
field go   1 bit
field pull 1 bit
field ring 1 bit
field look 1 bit
field call 1 bit
field last 1 bit
state upc 2 bits, reset 0
    next 0 if last else upc + 1
KIND
    driven by chain when pull
PARTS
"""
MICRO = """\
routine bank at 0
        FIRST
        SECOND
        last
"""


def ferry(parts: str, first: str, second: str = "go", kind: str = "floats") -> Sound:
    return Sound(MACHINE.replace("PARTS", parts).replace("KIND", f"bus rope 2 bits, {kind}"),
                 MICRO.replace("FIRST", first).replace("SECOND", second))


DRUM = "register drum 2 bits, loads rope when look"
TURN = "state turn 2 bits, reset 0\n    next "
SIDE = "bus shore 2 bits, pulled low\n    driven by "
BELL = "store bell 4 words of 2 bits\n    address rope\n    word rope + 1\nregister tone 2 bits, loads bell when ring"

TAKERS = [
    ("a load", DRUM, "look", "pull, look"),
    ("the condition of a load", "register drum 1 bit, loads 1 when rope is 1 and look", "look", "pull, look"),
    ("a state", TURN + "rope if look else turn", "look", "pull, look"),
    ("a state that is selected", TURN + "1 if rope is 1 and look else turn", "look", "pull, look"),
    ("an enable", SIDE + "lamp when rope[0] and look", "look", "go"),
    ("a strobe", "signal edge = rope[1] and look\nbus shore 1 bit, pulled low\n    driven by lamp when call\n"
     "strobe edge\n    shore steady 0 cycles before, 0 cycles after", "look", "pull, look"),
    ("the condition of a sampling", SIDE + "lamp when call\n    sampled by eye when rope[0] and look", "look", "go"),
    ("a bus that follows", SIDE + "gate when call, follows rope\n    sampled by eye when look", "look, call", "look"),
    ("a signal on another bus", "signal turned = {rope[0], rope[1]}\n" + SIDE
     + "turned when call\n    sampled by eye when look", "look, call", "look"),
    ("a store that it addresses", BELL, "ring", "pull, ring"),
    ("a latch", DRUM.replace("register", "latch"), "look", "pull, look"),
]


@pytest.mark.parametrize(("parts", "faulty", "sound"), [each[1:] for each in TAKERS],
                         ids=[each[0] for each in TAKERS])
def test_whoever_takes_it(parts: str, faulty: str, sound: str) -> None:
    found = report(ferry(parts, faulty))
    assert outcomes(found)["floating rope"] == "broken"
    [finding] = findings_named("floating", found)
    assert finding.span is not None and finding.span.text == faulty
    assert outcomes(report(ferry(parts, sound)))["floating rope"] == "proved"


@pytest.mark.parametrize("parts", [
    TURN + "(turn if rope is 1 else turn) if look else turn",
    TURN + "(3 if rope is 1 else turn) if look and turn is 3 else turn",    # both are 3
    "register drum 2 bits, loads 3 when rope is 1 and look and call",
    SIDE + "lamp when rope[0] and call",
])
def test_what_changes_nothing_takes_nothing(parts: str) -> None:
    found = outcomes(report(ferry(parts, "look")))
    assert found.get("floating rope", "proved") == "proved"


def test_what_the_cycle_before_has_left_is_settled() -> None:
    """What stood on the bus then is looked at, not what stands there now; and then nobody may have let it through."""
    parts = ("signal edge = rope[1] and call and prior(rope[0] and call)\n" + SIDE + "lamp when ring\nstrobe edge\n"
             "    shore steady 0 cycles before, 0 cycles after")
    assert outcomes(report(ferry(parts, "look", "go, call")))["floating rope"] == "proved"
    [finding] = findings_named("floating", report(ferry(parts, "call", "go, call")))
    assert finding.span is not None and finding.span.text == "go, call"


def test_what_an_enable_does_with_it_is_not_told_again() -> None:
    parts = SIDE + "lamp when rope[0] and look\n    sampled by eye when look"
    [finding] = findings_named("floating", report(ferry(parts, "look")))
    assert finding.message == "bus `rope` is sampled by the enable of `lamp` on `shore` while nobody drives it at " \
                              "`bank` (0x0)"


@pytest.mark.parametrize(("kind", "first", "second", "outcome"), [
    ("floats", "look", "pull", "broken"),
    ("floats", "pull, look", "look", "broken"),
    ("multiplexed", "look", "pull", "broken"),
    ("multiplexed", "pull, look", "go", "proved"),
    ("multiplexed", "go", "pull", "proved"),            # nobody is selected, and nobody looks
    ("kept", "look", "pull", "broken"),
    ("kept", "pull", "look", "proved"),
    ("kept", "pull, look", "look", "proved"),
    ("pulled high", "look", "pull", None),
    ("pulled low", "look", "pull", None),
    ("wired and", "look", "pull", None),
])
def test_which_buses_have_no_level(kind: str, first: str, second: str, outcome: str | None) -> None:
    found = report(ferry(DRUM, first, second, kind))
    assert outcomes(found).get("floating rope") in ((outcome,) if outcome else (None, "proved"))
    for finding in findings_named("floating", found):
        said = {"kept": "before anybody has driven it", "multiplexed": "while no source is selected",
                "floats": "while nobody drives it"}
        assert said[kind] in finding.message


def test_nothing_is_asked_of_a_bus_that_nobody_takes() -> None:
    """And with one driver there is nobody to fight with. Who takes it in every cycle is asked about."""
    asked = outcomes(report(ferry("", "go")))
    assert not [subject for subject in asked if subject in ("floating rope", "contention rope", "turnaround rope")]
    assert outcomes(report(ferry("    sampled by eye", "pull")))["floating rope"] == "broken"
    held = MACHINE.replace("when pull", "").replace("KIND", "bus rope 2 bits, floats").replace(
        "PARTS", "    sampled by eye")
    always = outcomes(report(Sound(held, MICRO.replace("FIRST", "go").replace("SECOND", "go"))))
    assert "floating rope" not in always


def test_where_it_was_not_asked_who_takes_it_nobody_is_named() -> None:
    contents = contents_of(*ferry(DRUM, "look"))
    question = next(one for one in floating.ask(contents) if one.subject == "rope")
    (verdict,) = decide(build_system(contents), (question,)).verdicts
    finding = floating.tell(contents, verdict, verdict.breaks[0])
    assert finding.message == "bus `rope` is sampled by a sampler while nobody drives it at `bank` (0x0)"
    assert finding.places == ()
    [narrowed] = findings_named("floating", report(ferry(DRUM, "look")))
    assert [place.span.text for place in narrowed.places] == ["register drum 2 bits, loads rope when look"]


BACK = "bus rope 2 bits, KIND\n    driven by gate when pull, follows shore\n    driven by lamp when call\n" \
    "bus shore 2 bits, OTHER\n    driven by WAY\nregister drum 2 bits, loads rope when look"
WAYS = {
    "two that follow": "winch when ring, follows rope",
    "a value": "winch = {rope[0], turn} when ring\nstate turn 1 bit, reset 0\n    next turn",
    "a signal": "winch when ring\nsignal winch = rope xor 0b01",
    "a third bus": "post when ring, follows mast\nbus mast 2 bits, floats\n    driven by boom when ring, follows rope",
    "a store": "bell when ring\nstore bell 4 words of 2 bits\n    address rope\n    word rope + 1",
    "a memory": "bell when ring\nmemory bell 4 words of 2 bits\n    address rope",
}


def leading_back(way: str, kind: str = "floats", other: str = "floats") -> str:
    """The parts of `ferry` in which `shore` leads back to `rope`."""
    return BACK.replace("WAY", WAYS[way]).replace("KIND", kind).replace("OTHER", other)


def ring(parts: str, *words: str) -> Sound:
    return Sound(MACHINE.replace("KIND\n    driven by chain when pull", parts).replace("PARTS", ""),
                 MICRO.replace("FIRST", words[0]).replace("SECOND", words[1]))


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("kind", ["floats", "multiplexed", "pulled high"])
def test_a_bus_has_no_level_whose_driver_has_it_from_there(way: str, kind: str) -> None:
    found = report(ring(leading_back(way, kind), "pull, look, ring", "go"))
    assert outcomes(found)["floating rope"] == "broken"
    told = [finding.message for finding in findings_named("floating", found)]
    assert any("while its driver has it from this bus" in message for message in told)
    for words in ("call, look, ring", "pull, ring", "pull, look"):
        sound = outcomes(report(ring(leading_back(way, kind, "pulled low"), words, "go")))
        assert sound["floating rope"] == "proved", words


def test_with_another_driver_it_is_a_fight_and_that_alone() -> None:
    found = report(ring(leading_back("two that follow"), "pull, call, look, ring", "go"))
    assert outcomes(found)["contention rope"] == "broken" and outcomes(found)["floating rope"] == "proved"


@pytest.mark.parametrize(("kind", "first", "outcome"), [
    ("kept", "call", "proved"), ("kept", "pull, ring", "broken"), ("wired and", "pull, ring", None)])
def test_a_keeper_holds_what_came_from_elsewhere(kind: str, first: str, outcome: str | None) -> None:
    """Who only passes on what stands there has not driven it. On a wired bus others may pull, and nothing is asked."""
    found = outcomes(report(ring(leading_back("two that follow", kind, "pulled low"), first, "pull, look, ring")))
    assert found.get("floating rope") == outcome


ENABLES = [
    ("its own level", "driven by lamp when rope[0] and call", "call", "look"),
    ("which of two", "driven by lamp when call and rope is 1\n    driven by post when call and not (rope is 1)",
     "call", "go"),
    ("another bus", "driven by lamp when call and shore[0]\nbus shore 2 bits, pulled low\n"
     "    driven by gate when pull, follows rope", "call, pull", "call, ring"),
    ("who drives another bus", "driven by lamp when call and shore[0]\nbus shore 2 bits, pulled low\n"
     "    driven by gate when pull and rope[1]", "call, pull", "call, ring"),
    ("the word of a store", "driven by lamp when call and bell[0]\n" + BELL.split("\nregister")[0], "call", "ring"),
]


@pytest.mark.parametrize(("line", "faulty", "sound"), [each[1:] for each in ENABLES], ids=[each[0] for each in ENABLES])
@pytest.mark.parametrize("kind", ["pulled high", "multiplexed"])
def test_a_bus_has_no_level_that_decides_who_drives_it(line: str, faulty: str, sound: str, kind: str) -> None:
    parts = f"bus rope 2 bits, {kind}\n    driven by chain when not call\n    {line}"
    found = report(ring(parts, faulty, "go"))
    assert outcomes(found)["floating rope"] == "broken"
    told = [finding.message for finding in findings_named("floating", found)]
    assert any("while it decides itself who drives it" in message for message in told)
    assert outcomes(report(ring(parts, sound, "go")))["floating rope"] == "proved"


def test_through_an_open_latch_it_is_the_latch_that_feeds_itself() -> None:
    parts = "bus rope 2 bits, pulled high\n    driven by drum when pull\n    driven by lamp when call and drum[0]\n" \
        "latch drum 2 bits, loads rope when look"
    for word in ("pull, look", "call, look"):
        found = outcomes(report(ring(parts, word, "go")))
        assert found["race drum"] == "broken" and found.get("floating rope", "proved") == "proved"


@pytest.mark.parametrize(("loaded", "outcome"), [("2", "proved"), ("1", "broken")])
def test_a_register_that_only_the_writes_of_a_memory_ask_is_followed(loaded: str, outcome: str) -> None:
    """The gauge comes up as 0, and holds what it once loads."""
    found = report(ferry(f"register gauge 2 bits, loads {loaded} when ring, reset 0\n"
                         "memory log 4 words of 2 bits\n    address 0b00\n    writes rope when gauge is 1\n",
                         "ring", "pull"))
    assert outcomes(found)["floating rope"] == outcome
