"""Traces as tables and timing diagrams, in full."""

import re

import pytest

from ordain.rom.contents import word_name
from ordain.show.diagram import ASCII, UNICODE, diagram_lines
from ordain.show.folding import folded
from ordain.show.page import PLAIN, Page
from ordain.show.paint import Paint
from ordain.show.trace_table import trace_rows, value_words
from ordain.show.traces import cycle_lines, trace_lines
from tests.show.crane import crane, fight, long_way

CRANE = crane()
WIDE, NARROW = Page(Paint(False), 200, True), Page(Paint(False), 72, True)


def test_a_table_says_who_drives_what_changed_and_what_mattered() -> None:
    assert "\n".join(trace_lines(CRANE, fight(), WIDE)) == """\
how to get there: 3 cycles from reset:
  cycle  at  word              orders    from outside            states                         who drives
      1  0   start             lift                              deck.mode calm                 motor drives data; \
bell drives call
      2  1   start.hook        lend      deck.wave, gust strong  swung, deck.mode calm
  >   3  9   (nothing placed)  holds 84  not slack               not swung, deck.mode shouting  \
motor AND deck drive data; bell and horn drive call; pull active"""


def test_where_a_table_is_too_wide_a_block_a_cycle_says_only_what_is_new() -> None:
    assert "\n".join(trace_lines(CRANE, fight(), NARROW)) == """\
how to get there: 3 cycles from reset:
  cycle  at  word              orders; what changed
      1  0   start             lift
                               deck.mode calm; motor drives data; bell
                                 drives call
      2  1   start.hook        lend
                               in: deck.wave, gust strong
                               swung; nothing drives data, call
  >   3  9   (nothing placed)  holds 84
                               in: not slack
                               not swung, deck.mode shouting; motor AND
                                 deck drive data; bell and horn drive
                                 call; pull active"""


@pytest.mark.parametrize("width", [40, 60, 80, 120, 200])
def test_no_line_of_a_trace_is_wider_than_the_page(width: int) -> None:
    page = Page(Paint(False), width, True)
    for trace in (fight(), fight(1), long_way(40)):
        lines = [*trace_lines(CRANE, trace, page), *cycle_lines(CRANE, trace, page)]
        assert max(map(len, lines)) <= width


def test_what_stays_quiet_is_said_once_above() -> None:
    """`deck.wave` is 0 in both cycles in which it matters; `gust` matters once, and the deck hand stays calm."""
    first, second = long_way(2).cycles
    trace = long_way(2)._replace(dead_end=False, cycles=(
        first._replace(matters=frozenset(("deck.wave",))), second._replace(matters=frozenset(("deck.wave", "gust")))))
    assert trace_lines(CRANE, trace, WIDE) == [
        "how to get there: 2 cycles from reset:",
        "  all along: not deck.wave, deck.mode calm",
        "  cycle  at  word        orders  from outside",
        "      1  0   start       lift",
        "  >   2  1   start.hook  lend    gust none"]


def test_only_the_cycle_that_it_is_about_is_marked_and_coloured() -> None:
    coloured = Page(Paint(True), 200, True)
    lines = trace_lines(CRANE, fight(), coloured)
    assert [line for line in lines if "\x1b[31m" in line] == lines[-1:]
    assert not any("\x1b[31m" in line or ">" in line for line in cycle_lines(CRANE, fight(), coloured))


def test_the_word_that_the_unused_order_left_is_shown_as_it_stands() -> None:
    """`goto start`: branch 1, target 0, lift not active (stored as 1), the rest 0: 1000 0100."""
    assert CRANE.words["control"][9] == 0b1000_0100


def test_a_loop_and_a_dead_end_are_said() -> None:
    assert trace_lines(CRANE, fight(1), WIDE)[-1] == "  then again from cycle 2, for ever"
    assert trace_lines(CRANE, long_way(2), WIDE)[-1] == "  then no input satisfies the assumptions"
    assert trace_lines(CRANE, long_way(1), WIDE)[0] == "how to get there: 1 cycle from reset:"


def numbers(lines: list[str]) -> list[int]:
    """The cycles that have a line."""
    return [int(found[1]) for line in lines if (found := re.match(r"  [> ] +(\d+)  ", line))]


def test_a_long_trace_shows_its_beginning_and_end_and_says_how_much_is_left_out() -> None:
    lines = trace_lines(CRANE, long_way(20), WIDE)
    assert lines[0] == "how to get there: 20 cycles from reset; shown: cycles 1-2 and 17-20:"
    assert numbers(lines) == [1, 2, 17, 18, 19, 20]
    assert "     ... 14 cycles, in start" in lines


def test_a_long_trace_keeps_what_happens_in_between_and_where_the_wait_begins() -> None:
    """The wait that began in cycle 5 was answered in 6; the one that is too long begins in cycle 9. Somebody waves in
    cycle 12."""
    cycles = list(long_way(40).cycles)
    for number, events in ((5, {"trigger"}), (6, {"node"}), (9, {"trigger"}), (11, {"trigger"})):
        cycles[number - 1] = cycles[number - 1]._replace(events=frozenset(events))
    cycles[11] = cycles[11]._replace(free={**cycles[11].free, "deck.wave": 1}, matters=frozenset(("deck.wave",)))
    lines = trace_lines(CRANE, long_way(40)._replace(cycles=tuple(cycles)), WIDE)
    assert numbers(lines) == [1, 2, 9, 12, 37, 38, 39, 40]
    assert [line.split()[0] for line in lines if "the wait begins here" in line] == ["9"]


def test_everything_shows_every_cycle() -> None:
    lines = trace_lines(CRANE, long_way(40), WIDE, everything=True)
    assert lines[0] == "how to get there: 40 cycles from reset:"
    assert numbers(lines) == list(range(1, 41))


def test_sixteen_cycles_are_not_cut() -> None:
    assert numbers(trace_lines(CRANE, long_way(16), WIDE)) == list(range(1, 17))


def test_places_are_named_from_the_last_label_before_them() -> None:
    assert [word_name(CRANE, "control", address) for address in (0, 1, 2, 3)] == [
        "start", "start.hook", "start.hook+1", ""]


def test_values_are_said_by_name_where_they_have_one() -> None:
    machine = CRANE.machine
    assert [value_words(machine, name, value) for name, value in
            (("gust", 2), ("slack", 1), ("slack", 0), ("upc", 9), ("upc", 10), ("cell", 3))] == [
        "gust strong", "slack", "not slack", "upc=9", "upc=0xA", "cell=3"]


def test_rows_of_a_trace_without_cycles() -> None:
    assert trace_rows(CRANE, folded(CRANE.machine, fight()._replace(cycles=()))) == []


DIAGRAM = """\
     cycle  1           2           3
     clock  ▔▔▔▔▔▔▁▁▁▁▁▁▔▔▔▔▔▔▁▁▁▁▁▁▔▔▔▔▔▔▁▁▁▁▁▁
control at  |0          |1          |9
      word  |start      |start.hook |(nothing p…
      data  |motor      |-          |!! motor + deck !!
      call  |bell       |-          |bell + horn
      pull  ▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▔▔▔▔▔▔▔▔▔▔▔▔
 deck.mode  |calm                   |shouting
     swung  ▁▁▁▁▁▁▁▁▁▁▁▁▔▔▔▔▔▔▔▔▔▔▔▔▁▁▁▁▁▁▁▁▁▁▁▁
 deck.wave  ············▔▔▔▔▔▔▔▔▔▔▔▔············
      gust  ············|strong     ············
     slack  ························▁▁▁▁▁▁▁▁▁▁▁▁
· makes no difference
then again from cycle 1, for ever"""


def test_a_diagram_has_an_even_clock_and_marks_the_fight_and_not_the_shared_line() -> None:
    assert "\n".join(diagram_lines(CRANE, fight(0), PLAIN)) == DIAGRAM


def test_the_same_in_plain_characters() -> None:
    plain = DIAGRAM
    for drawn, instead in zip(UNICODE, ASCII, strict=True):
        plain = plain.replace(drawn, instead)
    assert "\n".join(diagram_lines(CRANE, fight(0), PLAIN, ASCII)) == plain


def test_a_fight_is_red_where_there_is_colour() -> None:
    [lane] = [line for line in diagram_lines(CRANE, fight(0), Page(Paint(True), 100, True)) if "\x1b" in line]
    assert "\x1b[31m|!! motor + deck !!\x1b[0m" in lane


def test_lanes_in_which_nothing_moves_are_named_and_not_drawn() -> None:
    lines = diagram_lines(CRANE, long_way(3), PLAIN)
    assert lines[0] == "no change: data undriven, call undriven, pull 0, deck.mode calm, swung 0"
    assert [line.split()[0] for line in lines[1:]] == ["cycle", "clock", "control", "word"]


@pytest.mark.parametrize("width", [34, 50, 80])
def test_a_narrow_diagram_is_stacked_and_no_strip_is_wider_than_the_page(width: int) -> None:
    for trace in (fight(), long_way(30)):
        lines = diagram_lines(CRANE, trace, Page(Paint(False), width, True))
        assert max(map(len, lines)) <= width
        shown = [int(number) for line in lines if "cycle " in line for number in line.split()[1:]]
        assert shown == list(range(1, len(trace.cycles) + 1))


def test_a_value_that_goes_on_is_said_again_at_the_beginning_of_a_strip() -> None:
    lines = diagram_lines(CRANE, fight(), Page(Paint(False), 34, True))
    assert [line for line in lines if "deck.mode" in line] == [
        " deck.mode  |calm", " deck.mode  |calm", " deck.mode  |shouting"]
