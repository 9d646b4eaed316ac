"""A machine stepped by hand: cycles counted on paper from its text."""

from ordain.control.model import System
from ordain.control.play import Start, play
from ordain.control.system import build_system
from tests.workshop import contents_of

MACHINE = """\
machine bell "strikes twice for every press"
microprogram "bell.micro"
store control 8 words of 5 bits
    address upc
field branch 1 bit
    step 0 idle
    jump_if_pressed 1
field target 3 bits address, idle 0
field strike 1 bit
state upc 3 bits, reset 0
    next choose branch
        step            : upc + 1
        jump_if_pressed : target if press else 0
input press 1 bit
home wait
order if pressed goto <there> : branch jump_if_pressed, target <there>
order back : branch jump_if_pressed, target wait
"""
MICRO = """\
routine wait at 0
        if pressed goto ring
routine ring
        strike
        step_once
        strike, back
""".replace("        step_once\n", "        branch step\n")


def system() -> System:
    return build_system(contents_of(MACHINE, MICRO))


def addresses(pressed_in: set[int], most: int, until: bool) -> tuple[list[int], str, int | None]:
    machine = system()
    home = machine.contents.machine.home if until else None
    played = play(machine, Start({}), lambda cycle: {"press": int(cycle in pressed_in)}, most, home)
    return [cycle.addresses["control"] for cycle in played.trace.cycles], played.ending, played.trace.loop


def test_nobody_presses_and_the_loop_is_seen() -> None:
    assert addresses(set(), 50, until=False) == ([0], "loop", 0)


def test_a_press_leads_round_once_and_stops_before_the_instruction_boundary() -> None:
    assert addresses({1}, 50, until=True) == ([0, 1, 2, 3], "until", None)


def test_no_more_cycles_than_asked_for() -> None:
    assert addresses({1}, 3, until=True) == ([0, 1, 2], "cycles", None)


def test_inputs_that_break_an_assumption_end_it_and_are_said_to() -> None:
    assumed = MACHINE.replace("home wait", "assume not (press and upc is 2)\nhome wait")
    machine = build_system(contents_of(assumed, MICRO))
    played = play(machine, Start({}), lambda cycle: {"press": int(cycle in (1, 3))}, 50, None)
    assert ([cycle.addresses["control"] for cycle in played.trace.cycles], played.ending) == ([0, 1, 2], "assumption")
    played = play(machine, Start({}), lambda cycle: {"press": int(cycle in (1, 2))}, 50, None)
    assert played.ending == "loop"


def test_only_where_it_decides_does_an_input_matter() -> None:
    machine = system()
    played = play(machine, Start({}), lambda cycle: {}, 1, None)
    assert played.trace.cycles[0].matters == {"press"}
    played = play(machine, Start({"upc": 1}), lambda cycle: {}, 1, None)
    assert played.trace.cycles[0].matters == set()
