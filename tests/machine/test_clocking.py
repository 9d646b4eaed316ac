"""What is read of a clock: its phases by name and as its value, with two of them (one bit) and with three."""

import pytest

from ordain.machine.model import Machine
from tests.machine.described import FRAME, shown, sound, understood


def clocked(lines: str) -> Machine:
    return sound(FRAME + lines + "\n")


@pytest.mark.parametrize("phases", [("low", "high"), ("low", "mid", "high")])
def test_the_value_of_a_clock_is_one_of_its_phases(phases: tuple[str, ...]) -> None:
    machine = clocked(f"clock clk ({', '.join(phases)})\n" + "\n".join(
        f"signal by_name_{phase} = {phase}\nsignal by_value_{phase} = clk is {phase}\n"
        f"signal not_{phase} = clk is not {phase}\nsignal in_{phase} = clk in ({phase})" for phase in phases))
    terms, found = machine.terms, {name: signal.value for name, signal in machine.signals.items()}
    leaf = terms.leaf("state", "clk", machine.states["clk"].width)
    for number, phase in enumerate(phases):
        assert found[f"by_name_{phase}"] is terms.among(leaf, frozenset((number,)))
        assert found[f"by_value_{phase}"] is found[f"in_{phase}"] is found[f"by_name_{phase}"]
        assert found[f"not_{phase}"] is terms.not_(found[f"by_name_{phase}"])
    assert machine.states["clk"].codes == phases and machine.steps == len(phases)


def test_what_a_clock_has_no_phase_of_is_unknown() -> None:
    _, findings = understood(FRAME + "clock clk (low, high)\nsignal s = clk is hihg\n")
    assert [finding.name for finding in findings] == ["unknown-code"], shown(findings)


@pytest.mark.parametrize(("lines", "steps"), [
    ("clock clk (low, high)\nregister a 4 bits, loads target when go, on clk", 1),
    ("clock clk (low, high)\nregister a 4 bits, loads target when go, on high", 1),
    ("clock clk (low, high)\n    moves in low\nregister a 4 bits, loads target when go, on high", 2),
    ("clock clk (low, high)\nregister a 4 bits, loads target when go, on low", 2),
    ("clock clk (low, high)\nregister a 4 bits, loads target when go and high", 2),
    ("clock clk (low, high)\nbus b 4 bits, floats, turnaround 1 phase", 2),
    ("clock clk (low, high)\nrule \"r\" reach clk is high", 2),
    ("clock clk (low, high)\n    held while go and stop\ninput stop 1 bit", 1),
])
def test_phases_are_told_apart_only_where_something_depends_on_them(lines: str, steps: int) -> None:
    machine = clocked(lines)
    assert machine.steps == steps and ("clk" in machine.states) == (steps > 1)


def test_a_field_of_a_store_that_is_said_twice_may_hold_the_clock() -> None:
    """The second store has its fields; nobody knows of which of the two they are, and only that is said."""
    lines = "clock clk (low, high)\n    held while slow and late\nstate late 1 bit, reset 0\n    next not late\n"
    twice = "store control 16 words of 1 bit\n    address upc\nfield slow 1 bit\n"
    _, findings = understood(FRAME + twice + lines)
    assert {finding.name for finding in findings} == {"defined-twice"}, shown(findings)


TWO, THREE = "clock clk (low, high)\n", "clock clk (low, mid, high)\n    moves in low\n"


@pytest.mark.parametrize(("clock", "never", "sound_twin", "says"), [
    (TWO, "latch a 4 bits, loads target when go and low",
     "latch a 4 bits, loads target when go and low, on low", "open in `high`"),
    (TWO, "register a 4 bits, loads target when go and low",
     "register a 4 bits, loads target when go and high", "asks for `low`"),
    (TWO, "register a 4 bits, changes when go and low, on high",
     "register a 4 bits, changes when go or low, on high", "never loads"),
    (TWO, "register a 4 bits, loads 1 when go, loads target when halt and low",
     "register a 4 bits, loads 1 when go, loads target when halt and low, on oscillator", "asks for `low`"),
    (TWO, "signal ale = go and low\nlatch a 4 bits, loads target when ale",
     "signal ale = go and low\nlatch a 4 bits, loads target when not ale, on high", "open in `high`"),
    (THREE, "register a 4 bits, loads target when go and (mid or high)",
     "register a 4 bits, loads target when go and (mid or low)", "asks for `mid` or `high`"),
    (TWO, "state a 1 bit, reset 0\n    next not a if low else a",
     "state a 1 bit, reset 0, on low\n    next not a if low else a", "never changes"),
    (TWO, "agent b, on low\n    state a 1 bit, reset 0\n        next go if high else a",
     "agent b, on low\n    state a 1 bit, reset 0\n        next go if low else a", "`b.a` never changes"),
    (TWO + "    held while stop\ninput stop 1 bit\n", "register a 4 bits, loads target when stop, on low",
     "register a 4 bits, loads target when stop, on oscillator", "asks for a clock that is held"),
])
def test_what_asks_for_another_phase_than_its_own_never_moves(clock: str, never: str, sound_twin: str,
                                                                 says: str) -> None:
    """A latch that never opens would be proved never to race; a proof would be about nothing."""
    _, findings = understood(FRAME + clock + never + "\n")
    assert [finding.name for finding in findings] == ["out-of-phase"], shown(findings)
    assert says in findings[0].message
    clocked(clock + sound_twin)


@pytest.mark.parametrize("lines", [
    "state a 4 bits, reset any\n    next a",                                          # a switch that nobody moves
    "register a 4 bits, loads target when go and (low and high)",                      # never, whatever the phase
    "register a 4 bits",
    "latch a 4 bits, loads target when go and low, on own clock",
])
def test_what_never_moves_for_another_reason_is_not_told_so(lines: str) -> None:
    clocked(TWO + 'rule "r" reach clk is high\n' + lines)


def test_a_phase_that_is_none_is_told_once() -> None:
    """It is asked for once for each bus and each load."""
    lines = ("latch a 4 bits, loads b when go, on hihg\nbus b 4 bits, multiplexed\n    driven by target\n"
             "bus c 4 bits, multiplexed\n    driven by a\n")
    _, findings = understood(FRAME + TWO + lines)
    assert [(finding.name, finding.help) for finding in findings] == [("unknown-name", "did you mean `high`?")]
    _, findings = understood(FRAME + TWO + lines.replace("hihg", "oscilator"))
    assert [(finding.name, finding.help) for finding in findings] == [("unknown-name", "did you mean `oscillator`?")]
