"""Faults beside the chips, each by hand on a ring of words that asks a switch: what explains what was seen, and what a
clock more leaves of it."""

from pathlib import Path

import pytest

from ordain.cli.main import run as command
from ordain.control.system import build_system
from ordain.follow.burning import burning_faults
from ordain.follow.wiring import clip_faults, driver_faults, wiring_faults
from ordain.logic.evaluate import evaluate
from tests.follow.test_command import MACHINE, MICRO
from tests.follow.test_diagnosis import PAIR, PAIR_MICRO
from tests.workshop import contents_of

SWITCH = MACHINE.replace("target if key else", "target if key_1 else") + """
state key_1 1 bit, reset 0
    next key
"""


@pytest.fixture(autouse=True)
def lathe(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "lathe.machine").write_text(SWITCH)
    (tmp_path / "lathe.micro").write_text(MICRO)
    monkeypatch.chdir(tmp_path)


def explaining(capsys: pytest.CaptureFixture[str], *seen: str) -> list[str]:
    """The faults that explain all."""
    command(["diagnose", *(part for text in seen for part in ("--seen", text))])
    out, err = capsys.readouterr()
    assert "own-fault" not in out + err
    if "a sound machine explains all" in out:
        return ["none"]
    lines = out.partition(" all of it:\n")[2].partition("\n\n")[0].splitlines()
    return [each for line in lines for each in line.split(". ", 1)[1].split(" or ")]


def rounds(*each: tuple[int, int, int]) -> list[str]:
    """The switch in the clock before it is asked, in the one in which it is, and where it goes then."""
    found = []
    for before, asked, to in each:
        found += ["0: key=0", f"1: key={before}", f"2: key={asked}", f"{to}: key=0"]
    return [*found, "0:"]


OWN = {"key comes inverted", "key stays at 1", "key stays at 0", "key_1 left out, key passes at once",
       "key_1 stays at 0", "key_1 stays at 1"}


@pytest.mark.parametrize(("seen", "left"), [
    (rounds((1, 1, 4), (0, 1, 3), (0, 0, 3), (1, 0, 4)), {"none"}),
    (rounds((1, 0, 3), (0, 0, 4)), {"key comes inverted"}),
    (rounds((0, 1, 4), (1, 0, 3)), {"key comes inverted", "key_1 left out, key passes at once"}),
    (rounds((0, 1, 4), (1, 0, 3), (1, 1, 4)), {"key_1 left out, key passes at once"}),
    (rounds((1, 1, 3), (0, 0, 3)), {"key stays at 0", "key_1 stays at 0"}),
    (rounds((1, 1, 4), (0, 0, 4)), {"key stays at 1", "key_1 stays at 1"}),
])
def test_a_switch_and_its_flip_flop(seen: list[str], left: set[str], capsys: pytest.CaptureFixture[str]) -> None:
    found = set(explaining(capsys, *seen))
    assert found & {*OWN, "none"} == left


def test_clips_that_are_off_or_exchanged(capsys: pytest.CaptureFixture[str]) -> None:
    """`cut` and `turn` are 1 1, 0 0, 0 1, 1 0 (long: 1 1) in words 0 to 4 as the lines stand; here each shows the
    other."""
    found = explaining(capsys, "0: cut=1 turn=1", "1: cut=0 turn=0", "2: cut=1 turn=0 key=0", "3: cut=1 turn=0", "0:")
    assert found == ["the clips at cut and turn are exchanged"]
    found = explaining(capsys, "0: cut=1 turn=1", "1: cut=1 turn=0", "2: cut=0 turn=1 key=0", "3: cut=0 turn=1", "0:")
    assert "the clip at cut sees something else" in found
    assert "the clip at turn sees something else" not in found
    assert "the clips at cut and turn are exchanged" not in found


def test_with_a_clip_elsewhere_the_machine_is_sound(capsys: pytest.CaptureFixture[str]) -> None:
    """It never comes to words 6 and 7, so that the lowest line may be anything explains nothing."""
    assert "the clip at upc[0] sees something else" not in explaining(capsys, "upc=7", "upc=0", "upc=1")
    assert "the clip at upc[0] sees something else" in explaining(capsys, "upc=5", "upc=0", "upc=0")


def test_a_state_to_which_nothing_leads(capsys: pytest.CaptureFixture[str]) -> None:
    """Control never comes to word 6; from there on it does what a sound machine does: the erased word goes to 0."""
    command(["diagnose", "--seen", "6:", "--seen", "0: cut=1", "--seen", "1: cut=0"])
    text = " ".join(capsys.readouterr().out.split())
    assert "never comes to from its reset, a sound machine explains all of it" in text
    command(["diagnose", "--seen", "0: cut=1", "--seen", "1: cut=1"])
    assert "never comes to" not in capsys.readouterr().out


def test_what_is_stuck_is_so_from_the_beginning_on(capsys: pytest.CaptureFixture[str]) -> None:
    """Word 3 with its second bit at 0 is word 1; but then control was not at word 2 before."""
    assert "upc[1] stays at 0" in explaining(capsys, "1:", "0:", "1:")
    assert "upc[1] stays at 0" not in explaining(capsys, "2: key=0", "1:")


def test_an_input_at_an_address_pin(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    (tmp_path / "lathe.machine").write_text("""\
machine gate
microprogram "gate.micro"
store control 8 words of 2 bits
    address {op, key, turn}
    instruction op
    step turn
field lamp 1 bit
field bell 1 bit
state op 1 bit, reset 0
    next op
state turn 1 bit, reset 0
    next not turn
input key 1 bit
home turn is 0
""")
    (tmp_path / "gate.micro").write_text("""\
instruction others "blink"
    when key
        lamp
    otherwise
        bell
    bell
""")
    sound = explaining(capsys, "turn=0 key=1 lamp=1 bell=0", "turn=1 key=0 bell=1", "turn=0 key=0 lamp=0 bell=1")
    assert sound == ["none"]
    found = explaining(capsys, "turn=0 key=1 lamp=0 bell=1", "turn=1 key=0 bell=1", "turn=0 key=0 lamp=1 bell=0")
    assert "key comes inverted" in found and "key stays at 0" not in found


def test_drivers_of_a_bus_that_is_pulled(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """The cutter drives in words 0 and 4, the turner in word 1, nobody in 2 and 3: there the line has to be high. A
    flip-flop behind it tells that nobody drives where none can be seen to let go."""
    (tmp_path / "lathe.machine").write_text(SWITCH.replace("bus feed 1 bit, floats", "bus feed 1 bit, pulled high"))
    drivers = {f"{who} {what} drives feed" for who in ("cutter", "turner") for what in ("always", "never")}
    assert explaining(capsys, "0: feed=0", "1: feed=1", "2: feed=1", "3: feed=1") == ["none"]
    found = set(explaining(capsys, "0: feed=0", "1: feed=0", "2: feed=0", "3: feed=1", "0:"))
    assert found & drivers == {"cutter always drives feed", "turner always drives feed"}
    assert "the clip at feed sees something else" in found
    (tmp_path / "lathe.machine").write_text(SWITCH)
    assert explaining(capsys, "0: feed=0", "1: feed=0", "2: feed=0", "3: feed=1", "0:") == ["none"]


def test_a_driver_of_which_a_state_keeps_the_level(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """The bus keeps its level, and a state takes it: after word 1, in which the turner drives, it stays. With a turner
    that never drives it is what the cutter had left in word 0."""
    (tmp_path / "lathe.machine").write_text(
        SWITCH.replace("bus feed 1 bit, floats", "bus feed 1 bit, kept") + "state was 1 bit, reset 0\n    next feed\n")
    kept = ["0: feed=0", "1: feed=1 was=0", "2: feed=1 was=1", "3: feed=1 was=1"]
    assert explaining(capsys, *kept) == ["none"]
    lost = ["0: feed=0", "1: feed=1 was=0", "2: feed=0 was=1", "3: feed=0 was=0", "0: feed=1", "1: feed=0"]
    found = explaining(capsys, *lost)
    assert "cutter always drives feed" in found and "turner always drives feed" in found
    assert "turner never drives feed" not in found and "cutter never drives feed" not in found


def test_which_there_are() -> None:
    system = build_system(contents_of(SWITCH, MICRO))
    assert {fault.text for fault in wiring_faults(system)} == OWN - {"key_1 stays at 0", "key_1 stays at 1"}
    twice = build_system(contents_of(SWITCH.replace("next key\n", "next not key\n"), MICRO))
    assert "synchroniser" not in {fault.kind for fault in wiring_faults(twice)}     # more than a delay
    wide = build_system(contents_of(SWITCH + """input pair 2 bits
state second 1 bit, reset 0
    next pair[1]
state both 2 bits, reset 0
    next pair
register held 1 bit, loads feed when cut
state follows 1 bit, reset 0
    next held
agent guest "somebody else"
    input want 1 bit
    state asks 1 bit, reset 0
        next want
""", MICRO))
    assert {fault.text for fault in wiring_faults(wide)} - OWN == {
        *(f"pair[{bit}] {what}" for bit in (0, 1) for what in ("stays at 0", "stays at 1", "comes inverted")),
        "second left out, pair[1] passes at once"}
    [(leaf, stuck)] = next(fault for fault in wiring_faults(wide) if fault.text == "pair[1] stays at 1").inside
    assert [evaluate(stuck, {leaf: value}) for value in range(4)] == [2, 3, 2, 3]
    assert [fault.text for fault in clip_faults(("a", "b"))] == [
        "the clip at a sees something else", "the clip at b sees something else",
        "the clips at a and b are exchanged"]


def test_what_was_burned_in_part_or_earlier() -> None:
    """A chip of two cells: each half is one word."""
    contents = contents_of(PAIR, PAIR_MICRO)
    now = {"U1": bytes([0b10, 0b01])}
    found = {fault.text: fault.words["control"] for fault in burning_faults(contents, now, {
        "U1": [("an old image", bytes([0b00, 0b01])), ("one of another size", b"\0"), ("the same", now["U1"])]})}
    assert found == {"the upper half of U1 not programmed": (0b10, 0b11), "the lower half of U1 not programmed": (3, 1),
                     "U1 holds an old image": (0b00, 0b01)}


def test_an_image_that_was_burned_earlier(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """The chip was recorded, then the text changed: the board still does what it did."""
    assert command(["build"]) == 0
    assert command(["burned", "U1"]) == 0
    (tmp_path / "lathe.micro").write_text(MICRO.replace("        turn\n", "        cut\n"))
    assert command(["build"]) == 0
    capsys.readouterr()
    found = explaining(capsys, "0: cut=1", "1: cut=0 turn=0", "2: cut=0 turn=1", "3:", "0:")
    assert any(text.startswith("U1 holds what was burned on ") for text in found)
    assert explaining(capsys, "0: cut=1", "1: cut=1 turn=1", "2: cut=0 turn=1", "3:", "0:") == ["none"]
    (tmp_path / "lathe.machine").write_text(SWITCH.replace("machine lathe", "machine mill"))
    found = explaining(capsys, "0: cut=1", "1: cut=0 turn=0", "2: cut=0 turn=1", "3:", "0:")
    assert not any("was burned on" in text for text in found)                       # of another machine


CALLS = SWITCH + """
input alarm 1 bit
bus call 1 bit, wired and
    driven by bell = 0 when alarm
state called 1 bit, reset 0
    next WHAT
"""


@pytest.mark.parametrize(("what", "tried"), [("not call", ["bell always drives call", "bell never drives call"]),
                                              ("not call and not alarm", [])])
def test_a_line_that_others_say_in_the_same_words_is_not_replaced(what: str, tried: list[str]) -> None:
    """`call` is `not alarm`, and nothing tells the line from the alarm itself where both are read."""
    system = build_system(contents_of(CALLS.replace("WHAT", what), MICRO))
    assert [fault.text for fault in driver_faults(system, ())] == tried
