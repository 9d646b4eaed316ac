"""Traces as tables and timing diagrams, in full."""

from ordain.show.diagram import ASCII, diagram_lines
from ordain.show.trace_table import place_name, trace_lines, trace_rows, value_words
from tests.show.crane import crane, fight, long_way

CRANE = crane()


def test_a_table_says_who_drives_what_changed_and_what_mattered() -> None:
    assert "\n".join(trace_lines(CRANE, fight())) == """\
how to get there: 3 cycles from reset:
  cycle 1  0  start             lift                              deck calm                 motor drives data; \
bell drives call
  cycle 2  1  start.hook        lend      deck.wave, gust strong  swung, deck calm
  cycle 3  9  (nothing placed)  holds 84  not slack               not swung, deck shouting  motor AND deck drive data; \
bell and horn drive call; pull active"""


def test_the_word_that_the_unused_order_left_is_shown_as_it_stands() -> None:
    """`goto start`: branch 1, target 0, lift not active (stored as 1), the rest 0: 1000 0100."""
    assert CRANE.words["control"][9] == 0b1000_0100


def test_a_loop_and_a_dead_end_are_said() -> None:
    assert trace_lines(CRANE, fight(1))[-1] == "  then again from cycle 2, for ever"
    assert trace_lines(CRANE, long_way(2))[-1] == "  then no input satisfies the assumptions"
    assert trace_lines(CRANE, long_way(1))[0] == "how to get there: 1 cycle from reset:"


def test_a_long_trace_shows_its_beginning_and_end_and_says_how_much_is_left_out() -> None:
    lines = trace_lines(CRANE, long_way(20))
    assert lines[0] == "how to get there: 20 cycles from reset; the first three and the last 12:"
    assert lines[1:5] == [
        "  cycle 1   0  start         lift        deck calm",
        "  cycle 2   1  start.hook    lend        deck calm",
        "  cycle 3   2  start.hook+1  goto start  deck calm",
        "  ... 5 cycles ...",
    ]
    assert [line.split()[1] for line in lines[5:-1]] == [str(number) for number in range(9, 21)]


def test_everything_shows_every_cycle() -> None:
    lines = trace_lines(CRANE, long_way(40), True)
    assert lines[0] == "how to get there: 40 cycles from reset:"
    assert [line.split()[1] for line in lines[1:-1]] == [str(number) for number in range(1, 41)]


def test_sixteen_cycles_are_not_cut() -> None:
    assert len(trace_lines(CRANE, long_way(16))) == 1 + 16 + 1


def test_places_are_named_from_the_last_label_before_them() -> None:
    assert [place_name(CRANE, "control", address) for address in (0, 1, 2, 3)] == [
        "start", "start.hook", "start.hook+1", "(nothing placed)"]


def test_values_are_said_by_name_where_they_have_one() -> None:
    machine = CRANE.machine
    assert [value_words(machine, name, value) for name, value in
            (("gust", 2), ("slack", 1), ("slack", 0), ("upc", 9), ("upc", 10), ("cell", 3))] == [
        "gust strong", "slack", "not slack", "upc=9", "upc=0xa", "cell=3"]


def test_rows_of_a_trace_without_cycles() -> None:
    assert trace_rows(CRANE, fight()._replace(cycles=())) == []


DIAGRAM = """\
    cycle  1      2           3
    clock  ▔▔▔▁▁▁▁▔▔▔▔▔▔▁▁▁▁▁▁▔▔▔▔▔▔▔▔▔▔▁▁▁▁▁▁▁▁▁▁
  control  |0     |1          |9
    label  |start |start.hook |(nothing placed)
     data  |motor |-          |!! motor + deck !!
     call  |bell  |-          |bell + horn
     pull  ▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▔▔▔▔▔▔▔▔▔▔▔▔▔▔▔▔▔▔▔▔
deck.mode  |calm              |shouting
deck.wave  xxxxxxx▔▔▔▔▔▔▔▔▔▔▔▔xxxxxxxxxxxxxxxxxxxx
     gust  |x     |strong     |x
    slack  xxxxxxxxxxxxxxxxxxx▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁
then again from cycle 1, for ever"""


def test_a_diagram_marks_the_fight_and_not_the_shared_line() -> None:
    assert "\n".join(diagram_lines(CRANE, fight(0), 100)) == DIAGRAM


def test_the_same_in_plain_characters() -> None:
    plain = DIAGRAM.replace("▔", "^").replace("▁", "_")
    assert "\n".join(diagram_lines(CRANE, fight(0), 100, ASCII)) == plain


def test_a_narrow_diagram_is_stacked_and_no_strip_is_wider_than_asked() -> None:
    lines = diagram_lines(CRANE, fight(), 34)
    assert all(len(line) <= 34 for line in lines)
    assert [line for line in lines if "cycle" in line] == ["    cycle  1      2", "    cycle  3"]
    again = next(line for line in lines[lines.index(""):] if "deck.mode" in line)
    assert again == "deck.mode  |shouting"


def test_a_value_that_goes_on_is_said_again_at_the_beginning_of_a_strip() -> None:
    lines = diagram_lines(CRANE, long_way(6), 40)
    assert len([line for line in lines if line.startswith("deck.mode  |calm")]) == len(
        [line for line in lines if "clock" in line]) > 1
