"""A machine on a clock of two phases, and the same machine as people had to write it without one: a state `clk` that
turns in every step, and `and tick` behind everything that hangs on it. Both must give the same verdicts, sequences of
the same length and the same numbers of states, whatever is wrong with the two of them.
"""

import pytest

from ordain.checks.run import questions
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.rom.contents import Contents
from tests.agreement import disagreements
from tests.planted.winch import CLOCKED, PROGRAM, STORE
from tests.workshop import contents_of

WITHOUT = STORE + """\
state clk (first, second), reset first
    next clk if held else (first if clk is second else second)
signal held = (slow and not ready) or panel.stops
signal half = clk is second
signal tick = clk is second and not held
signal tock = clk is first and not held
agent panel "start and stop"
    input press 1 bit, waits 1 bit
    state mode (runs, stands), reset runs
        next choose mode
            runs  : stands if press and not waits else runs
            stands: runs if not press and not waits else stands
    signal stops = mode is stands
state upc 4 bits, reset 0
    next following if tick else upc
signal following = choose branch
    step     : upc + 1
    jump     : target
    back     : {0b00, tally}
    otherwise: upc
register acc 8 bits, loads data when load is acc and tick
register mar 8 bits, loads data when load is mar and tick
register tally 2 bits, loads data[1:0] when load is tally and tock, reset 0
state ticks 2 bits, reset 0
    next ticks + 1 if slow else 0
bus data 8 bits, floats, turnaround 1
    driven by acc when source is acc and half
    driven by memory when source is memory
    sampled by acc when load is acc and tick
    sampled by mar when load is mar and tick
    sampled by memory when write and half
bus address 8 bits, floats
    driven by mar
signal pulse = write and half
strobe pulse
    address steady 2 cycles before
    data steady 0 cycles before
rule "stretched" reach ticks is 3
rule "stopped" always reach panel.stops
rule "once a round" between at start and at start never write and not half after write and half
"""

UNCLOCKED = WITHOUT + """\
state due 1 bit, reset 0
    next pending
signal pending = (write or due) and upc is not 0 and not panel.stops
state waited 3 bits, reset 0
    next (waited if held or waited is 6 else waited + 1) if pending else 0
state before 2 bits, reset 0
    next before if held else {before[0], write}
rule "written in time" never pending and waited is 6 and not held
rule "not twice" never write and before[1]
"""

PROGRAMS = {
    "sound": PROGRAM,
    "written twice": PROGRAM.replace("write\n", "write\n    memory <- acc, write\n"),
    "the address moves right before the write": PROGRAM.replace(
        "    memory <- acc, write\n", "    mar <- memory\n    memory <- acc, write\n"),
    "what is written may change": PROGRAM.replace("memory <- acc", "memory <- memory"),
    "held while it is written": PROGRAM.replace("acc, write", "acc, write, slow"),
    "nobody drives while it is written": PROGRAM.replace("memory <- acc, write", "write"),
    "too late": PROGRAM.replace("goto start", "slow\n    slow\n    goto start"),
    "too late without being held": PROGRAM.replace("goto start", "source none\n    source none\n    goto start"),
    "never": PROGRAM.replace("goto start", "wait_here: goto wait_here"),
    "without a pause": PROGRAM.replace("write\n", "write\n    acc <- memory\n"),
    "back through a register that moves early": PROGRAM.replace("goto start", "load tally, source memory, branch back"),
}


LOOK_BACK = ("written in time", "not twice")
"""Rules that count phases: without a clock they need states of their own, which every search then has."""


def answers(contents: Contents) -> list[tuple[object, ...]]:
    """Of every question but those: what it is about, its verdict, the worst case, where it breaks and how early."""
    asked = [question for _, question in questions(contents) if question.subject not in LOOK_BACK]
    verdicts = decide(build_system(contents), tuple(asked)).verdicts
    return [(verdict.property.check, verdict.property.subject.replace("pulse", "write"), verdict.outcome, verdict.worst,
             sorted((each.address, each.cycles) for each in verdict.breaks),
             verdict.witness and len(verdict.witness.cycles), verdict.states, verdict.transitions)
            for verdict in verdicts]


def looking_back(contents: Contents) -> list[tuple[object, ...]]:
    """Of those rules: the verdict, and how early they break."""
    asked = [question for _, question in questions(contents) if question.subject in LOOK_BACK]
    verdicts = decide(build_system(contents), tuple(asked)).verdicts
    return sorted((verdict.property.subject, verdict.outcome, min((each.cycles for each in verdict.breaks), default=0))
                  for verdict in verdicts)


@pytest.mark.parametrize("program", PROGRAMS.values(), ids=PROGRAMS.keys())
def test_a_clock_is_what_people_had_to_write_without_it(program: str) -> None:
    clocked, unclocked = contents_of(CLOCKED, program), contents_of(UNCLOCKED, program)
    assert clocked.words == unclocked.words
    assert [answer[:6] for answer in answers(clocked)] == [answer[:6] for answer in answers(unclocked)]
    assert looking_back(clocked) == looking_back(unclocked)


def test_a_clock_costs_what_people_paid_without_it() -> None:
    """The numbers of states and transitions, without the states that those rules need."""
    clocked, unclocked = (contents_of(text, PROGRAM) for text in (CLOCKED, WITHOUT))
    assert answers(clocked) == answers(unclocked)


def test_the_programs_break_what_they_are_made_for() -> None:
    """What is broken, at which word and in which step: the words are executed one a cycle, a cycle has two steps."""
    found = {}
    for name, program in PROGRAMS.items():
        contents = contents_of(CLOCKED, program)
        found[name] = {**{str(subject): breaks for _, subject, outcome, _, breaks, *_ in answers(contents)
                          if outcome == "broken"},
                       **{str(subject): cycles for subject, outcome, cycles in looking_back(contents)
                          if outcome == "broken"}}
    assert found == {
        "sound": {},
        "written twice": {"not twice": 7, "once a round": [(3, 7)]},
        "the address moves right before the write": {"address before write": [(3, 8)]},
        "what is written may change": {"data during write": [(2, 7)]},
        "held while it is written": {},
        "nobody drives while it is written": {"data": [(2, 6)], "data during write": [(2, 6)]},
        "too late": {"written in time": 11},
        "too late without being held": {"written in time": 11},
        "never": {"home": [(None, 2)], "written in time": 11},
        "without a pause": {"data": [(3, 7)]},
        "back through a register that moves early": {"data": [(3, 7)], "once a round": [(2, 9)],
                                                     "written in time": 11},
    }


@pytest.mark.parametrize("program", [PROGRAMS["sound"], PROGRAMS["written twice"]], ids=["sound", "written twice"])
def test_the_plain_search_agrees(program: str) -> None:
    contents = contents_of(CLOCKED, program)
    assert disagreements(contents, [question for _, question in questions(contents)]) == []


@pytest.mark.parametrize(("held", "cycles", "outcome"), [
    ("act and read and not ready", 0, "proved"),       # the clock goes on with the answer
    ("act and read and not ready", 1, "proved"),
    ("act and read and not hurry", 0, "broken"),       # or without it
    ("settle and read and not ready", 0, "broken"),    # the phase before the reading one is stretched
])
def test_what_is_awaited_may_come_while_the_clock_is_held(held: str, cycles: int, outcome: str) -> None:
    contents = contents_of(f"""\
machine m "a slow memory holds the clock until it is ready"
microprogram "m.micro"
clock clk (settle, act)
    held while {held}
store control 2 words of 1 bit
    address at_word
field read 1 bit
state at_word 1 bit, reset 0
    next at_word + 1
input ready 1 bit, hurry 1 bit
rule "it is ready" when read and act then ready within {cycles} phases unless not read
""", "routine round at 0\n    read 0\n    read\n")
    asked = [question for _, question in questions(contents) if question.check == "when-then"]
    [found] = decide(build_system(contents), tuple(asked)).verdicts
    assert found.outcome == outcome
    assert disagreements(contents, asked) == []


SWITCH = """\
machine loom
microprogram "m.micro"
store control 4 words of 4 bits
    address upc
field target 2 bits address, idle following
field write 1 bit
spare 1 bit
{clock}
    held while not running
input up 1 bit, down 1 bit
assume not (up and down)
latch running 1 bit, reset 1{on}
    loads 1 when up
    loads 0 when down
state upc 2 bits, reset 0
    next target
state ticks 1 bit, reset 0, on oscillator
    next running
home first
rule "it stops" reach not running
rule "it goes on" always reach running
rule "it stops in the first half" reach not running and {half}
"""


@pytest.mark.parametrize(("clock", "on", "half", "outcomes"), [
    ("clock clk", "", "up is 0", "proved"),
    ("clock clk (lo, hi)", ", on oscillator", "lo", "proved"),
    ("clock clk (lo, hi)", ", on hi", "hi", "proved"),
    ("clock clk (lo, hi)", ", on hi", "lo and prior(running)", "broken"),
])
def test_a_latch_that_stops_the_clock_is_open_while_it_stands(clock: str, on: str, half: str, outcomes: str) -> None:
    """A set/reset latch behind a switch. By hand: with `held while not running`, in the phase in which the latch is
    open it goes to 0 and the clock stands until it is 1 again in the same phase; it never is 0 in another one."""
    contents = contents_of(SWITCH.format(clock=clock, on=on, half=half),
                           "routine first at 0\n    write\n    target first\n")
    asked = [question for _, question in questions(contents)]
    verdicts = decide(build_system(contents), tuple(asked)).verdicts
    found = {verdict.property.subject: verdict.outcome for verdict in verdicts}
    assert found["it stops in the first half"] == outcomes
    assert {outcome for name, outcome in found.items() if name != "it stops in the first half"} == {"proved"}


FOREIGN = """\
machine loom
microprogram "m.micro"
store control 2 words of 1 bit
    address 0b0
spare 1 bit
order nothing :
{clock}
agent reader "card reader", on own clock
    state holes 3 bits, reset 0
        next holes + 1
state seen 3 bits, reset 0
    next reader.holes
rule "as often" reach reader.holes - seen is {times}
"""


@pytest.mark.parametrize(("clock", "phases"), [
    ("", 1), ("clock clk", 1), ("clock clk (first, second)", 2), ("clock clk (one, two, three)", 3)])
def test_a_foreign_clock_moves_as_often_as_there_are_phases(clock: str, phases: int) -> None:
    """Also where nothing else asks for the phase. By hand: `seen` takes, at the end of a cycle, what `holes` shows in
    the last phase. `holes` may move at that same moment, and at the end of every phase of the next cycle but its last
    one: as often as a cycle has phases before `seen` moves again."""
    for times, outcome in ((phases, "proved"), (phases + 1, "broken")):
        contents = contents_of(FOREIGN.format(clock=clock, times=times), "routine logic at 0\n    nothing\n")
        asked = [question for _, question in questions(contents) if question.subject == "as often"]
        [found] = decide(build_system(contents), tuple(asked)).verdicts
        assert found.outcome == outcome
        assert disagreements(contents, asked) == []
