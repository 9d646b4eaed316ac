"""A machine on a clock of two phases as people read it: a cycle in one line, its halves apart where they differ."""

from ordain.checks.run import questions
from ordain.control.model import Trace
from ordain.control.phases import Instant, instants, length, share
from ordain.control.play import Start, play
from ordain.control.system import build_system
from ordain.measure.cycles import cycles_of
from ordain.prover.decide import decide
from ordain.rom.contents import Contents
from ordain.show.diagram import ASCII, diagram_lines
from ordain.show.page import Page
from ordain.show.paint import Paint
from ordain.show.traces import cycle_lines, trace_lines
from ordain.show.vcd import vcd
from ordain.show.verdicts import trace_data
from tests.checks.test_phases import PROGRAMS
from tests.planted.winch import CLOCKED, PROGRAM
from tests.workshop import contents_of

WIDE = Page(Paint(False), 200, True)


def shown(program: str, subject: str) -> tuple[Contents, Trace]:
    """The trace of the question of that subject."""
    contents = contents_of(CLOCKED, PROGRAMS[program])
    (asked,) = [question for _, question in questions(contents) if question.subject == subject]
    (verdict,) = decide(build_system(contents), (asked,)).verdicts
    trace = verdict.breaks[0].trace if verdict.breaks else verdict.witness
    assert trace is not None
    return contents, trace


def test_the_halves_of_a_cycle_stand_apart_where_they_differ() -> None:
    """Seven steps are three cycles and the first half of a fourth. The second half of the first cycle is like its first
    half; in the second one the counter moves, in the third one the pulse begins."""
    assert "\n".join(trace_lines(*shown("written twice", "not twice"), WIDE)) == """\
how to get there: 4 cycles from reset:
  all along: not panel.press, panel.mode runs
  cycle         at  word     orders                from outside  states   who drives
      1         0   start    mar <- memory                                memory drives data; mar drives address
      2 first   1   start+1  acc <- memory, slow   ready                  memory drives data; mar drives address
      2 second  1   start+1  acc <- memory, slow   ready         ticks=1  memory drives data; mar drives address
      3 first   2   start+2  memory <- acc, write                ticks=2  mar drives address
      3 second  2   start+2  memory <- acc, write                ticks=0  acc drives data; mar drives address; \
write active
  >   4 first   3   start+3  memory <- acc, write                         mar drives address"""


def test_a_pulse_in_the_second_half_as_a_diagram() -> None:
    """The address stands a cycle before the pulse and until its end, the data as long as the pulse: the form of a write
    cycle in which the write line rises last (common practice, no source)."""
    assert "\n".join(diagram_lines(*shown("written twice", "not twice"), WIDE, ASCII)) == """\
no change: address mar, panel.mode runs, panel.press 0
     cycle  1        2                 3                 4
     clock  ^^^^_____^^^^^^^^^_________^^^^^^^^^_________^^^^^^^^^
     phase           first    second   first    second   first
control at  |0       |1                |2                |3
      word  |start   |start+1          |start+2          |start+3
      data  |memory                    |-       |acc     |-
     write  ____________________________________^^^^^^^^^_________
     ticks  |0                |1       |2       |0
     ready  .........^^^^^^^^^^^^^^^^^^...........................
. makes no difference"""


def test_a_stretched_cycle_is_one_cycle() -> None:
    contents, trace = shown("sound", "stretched")
    assert instants(contents.machine, trace) == [Instant(1, 0), Instant(1, 1), *[Instant(2, 0)] * 4]
    lines = trace_lines(contents, trace, WIDE)
    assert lines[0] == "how to get there: 2 cycles from reset:"
    assert [line.split("; ")[-1] for line in lines[4:]] == ["clk held for 1 phase"] * 3 + ["mar drives address"]


def test_a_loop_in_a_held_clock() -> None:
    contents, trace = shown("never", "home")
    assert trace.loop == 2
    assert "then again from cycle 2 first, for ever" in "\n".join(trace_lines(contents, trace, WIDE))


def test_a_sequence_without_a_cycle() -> None:
    """Nothing satisfies the assumptions from the start: there is nothing to draw, and that is said."""
    contents, trace = shown("never", "home")
    nothing = trace._replace(cycles=(), loop=None, dead_end=True)
    assert trace_lines(contents, nothing, WIDE) == [
        "how to get there: 0 cycles from reset:", "  cycle", "  then no input satisfies the assumptions"]
    assert trace_data(contents, nothing) == {"cycles": [], "loop": None, "dead_end": True}
    assert diagram_lines(contents, nothing, WIDE, ASCII) == []


def test_as_data() -> None:
    found = trace_data(*shown("written twice", "not twice"))["cycles"]
    assert [(one["cycle"], one.get("phase", "")) for one in found] == [
        (1, ""), (2, "first"), (2, "second"), (3, "first"), (3, "second"), (4, "first")]
    assert [one["strobes"] for one in found] == [[], [], [], [], ["write"], []]


def test_in_a_dump_the_clock_is_high_in_the_first_half() -> None:
    """Ten units a phase: seven phases, the clock turns at each; the pulse lasts from 50 to 60."""
    text = vcd(*shown("written twice", "not twice"))
    names = {line.split()[4]: line.split()[3] for line in text.splitlines() if line.startswith("$var wire 1 ")}
    edges: dict[str, list[tuple[int, str]]] = {"clock": [], "write": []}
    time = 0
    for line in text.splitlines():
        time = int(line[1:]) if line.startswith("#") else time
        for name, found in edges.items():
            if line[1:] == names[name] and line[0] in "01":
                found.append((time, line[0]))
    assert edges["clock"] == [(10 * phase, "10"[phase % 2]) for phase in range(7)]
    assert edges["write"] == [(0, "0"), (50, "1"), (60, "0")]
    assert text.endswith("#70\n")


def test_a_machine_is_stepped_by_cycles() -> None:
    """Four words, one a cycle; inputs of a cycle hold in both of its halves."""
    contents = contents_of(CLOCKED, PROGRAM)
    system = build_system(contents)
    played = play(system, Start({}), lambda cycle: {"ready": int(cycle == 2)}, 4, None)
    assert played.ending == "cycles" and instants(contents.machine, played.trace)[-1] == Instant(4, 1)
    assert [cycle.free["ready"] for cycle in played.trace.cycles] == [0, 0, 1, 1, 0, 0, 0, 0]
    held = play(system, Start({}), lambda cycle: {"ready": int(cycle == 3)}, 4, None)
    assert held.ending == "loop" and held.trace.loop is not None
    assert "clk held for 1 phase" in "\n".join(cycle_lines(contents, held.trace, WIDE))


def test_a_round_takes_cycles_of_the_clock_however_long_it_is_held() -> None:
    contents = contents_of(CLOCKED, PROGRAM)
    found = cycles_of(build_system(contents), [])
    assert found is not None and found.round is not None
    assert (found.round.least, found.round.most, found.round.rings) == (4, 4, ())


def test_lengths_in_words() -> None:
    machine = contents_of(CLOCKED, PROGRAM).machine
    assert [length(machine, steps) for steps in (0, 1, 2, 3, 4)] == [
        "0 cycles", "1 phase", "1 cycle", "3 phases", "2 cycles"]
    assert (share(machine, 4, 6), share(machine, 3, 6)) == ("2 of 3 cycles", "3 of 6 phases")
