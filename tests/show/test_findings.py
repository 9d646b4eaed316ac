"""Findings as people read them, whole."""

import pytest

from ordain.show.findings import finding_text, summary_line
from ordain.show.findings_json import finding_data
from ordain.show.page import PLAIN, Page, columns
from ordain.show.paint import Paint, printable, wants_colour
from ordain.text.findings import Place, error, note, warning
from ordain.text.source import Source, Span
from tests.show.crane import crane, fight, span


def test_a_finding_with_everything_that_it_can_have() -> None:
    text = "routine start at 0\n        lift, lend\n        rest\n"
    found = error("too-heavy", "the load is too heavy", span(text, "lend"), "not while lifting",
                  places=(Place(span(text, "lift"), "lifted here"),), notes=("2 more are like this",),
                  help="rest between them")
    assert finding_text(found, PLAIN, ["how to get there:", "  cycle 1  0  start"]) == """\
error[too-heavy]: the load is too heavy
 --> m.micro:2:15
  |
2 |         lift, lend
  |               ^^^^ not while lifting
  lifted here: m.micro:2:9, `lift`
  how to get there:
    cycle 1  0  start
  note: 2 more are like this
  help: rest between them"""


def test_places_are_named_from_where_the_reader_stands() -> None:
    found = warning("w", "x", span("one", "one"), places=(Place(span("one", "one"), "again"),))
    lines = finding_text(found, PLAIN, (), "boards/crane").splitlines()
    assert lines[1] == " --> boards/crane/m.micro:1:1"
    assert lines[-1] == "  again: boards/crane/m.micro:1:1, `one`"


def test_without_a_place_the_label_stands_alone() -> None:
    assert finding_text(note("w", "there is no file", None, "looked for here"), PLAIN) == \
        "note[w]: there is no file\n  looked for here"


def excerpt(text: str, marked: str, label: str = "here") -> list[str]:
    return finding_text(warning("w", "x", span(text, marked), label), PLAIN).splitlines()[2:]


def test_a_long_line_is_cut_around_the_marked_place() -> None:
    source, carets = excerpt("x" * 200 + "MARK" + "y" * 300, "MARK")[1:]
    assert source == "1 | ..." + "x" * 36 + "MARK" + "y" * 70 + "..."
    assert carets == "  |    " + " " * 36 + "^^^^ here"


def test_a_mark_longer_than_the_excerpt_ends_with_it() -> None:
    source, carets = excerpt("x" * 20 + "M" * 300, "M" * 300)[1:]
    assert source == "1 | " + "x" * 20 + "M" * 90 + "..."
    assert carets == "  | " + " " * 20 + "^" * 90 + " here"


def test_near_the_end_of_a_long_line_the_end_is_shown() -> None:
    source, carets = excerpt("x" * 300 + "END", "END")[1:]
    assert source == "1 | ..." + "x" * 107 + "END"
    assert carets == "  |    " + " " * 107 + "^^^ here"


def test_wide_characters_take_two_columns_and_combining_ones_none() -> None:
    """Widths: Unicode Standard Annex 11, as Python's `unicodedata` has them: 日本語 six columns, é of two parts one."""
    assert excerpt("日本語 e\u0301 機械", "機械")[1:] == ["1 | 日本語 e\u0301 機械", "  |          ^^^^ here"]


def test_control_characters_of_a_source_never_reach_the_terminal() -> None:
    text = "lift \x1b[31m\u202eload\tnow"
    found = error("w", "bell \x07", span(text, "load"), "\x1b]0;title", help="\x9b2J", notes=("\r",),
                  places=(Place(span(text, text), "\x08"),))
    shown = finding_text(found, PLAIN)
    assert all(char.isprintable() or char == "\n" for char in shown)
    assert "1 | lift \\x1b[31m\\u202eload now" in shown


@pytest.mark.parametrize(("text", "start", "end", "expected"), [
    ("", 0, 0, ["  |", "1 |", "  | ^ here"]),
    ("ab\n", 3, 3, ["  |", "2 |", "  | ^ here"]),
    ("ab\ncd ef\ng", 1, 8, ["  |", "1 | ab", "  |  ^ here"]),
    ("ab", 2, 2, ["  |", "1 | ab", "  |   ^ here"]),
])
def test_places_of_no_width_past_the_end_and_over_several_lines(text: str, start: int, end: int,
                                                                expected: list[str]) -> None:
    found = warning("w", "x", Span(Source("e.micro", text), start, end), "here")
    assert finding_text(found, PLAIN).splitlines()[2:] == expected


@pytest.mark.parametrize("width", [40, 60, 80])
def test_on_a_terminal_no_line_is_wider_than_it_and_no_word_is_broken(width: int) -> None:
    text = "x" * 40 + " lift, lend and lift again and a good deal more that makes a line long " + "y" * 40
    found = error("too-heavy", "the load is too heavy for the rope that is on the drum of this crane",
                  span(text, "lend"), "not while lifting, and that for a reason which takes some words",
                  places=(Place(span(text, text), "what was lifted before that"),),
                  notes=("2 more are like this one, which stand elsewhere",), help="rest between them for a while")
    shown = finding_text(found, Page(Paint(False), width, True))
    assert max(columns(line) for line in shown.splitlines()) <= width
    for words in (found.message, found.label, found.notes[0], found.help):
        assert words in " ".join(shown.replace("|", " ").split())


def test_the_summary_counts_by_severity() -> None:
    one, two = error("a", "", None), warning("b", "", None)
    assert summary_line([]) == ""
    assert summary_line([two, one, one, note("c", "", None)]) == "2 errors, 1 warning, 1 note"


def test_colour_adds_nothing_but_colour() -> None:
    found = error("w", "x", span("ab", "b"), "here", help="do")
    coloured = finding_text(found, Page(Paint(True)))
    assert coloured.startswith("\x1b[1;31merror[w]\x1b[0m: ")
    plain = coloured
    for code in ("1;31", "1", "32", "0"):
        plain = plain.replace(f"\x1b[{code}m", "")
    assert plain == finding_text(found, PLAIN)


class _Screen:
    def __init__(self, terminal: bool) -> None:
        self.terminal = terminal

    def isatty(self) -> bool:
        return self.terminal


@pytest.mark.parametrize(("choice", "environment", "terminal", "expected"), [
    ("auto", {}, True, True), ("auto", {}, False, False),
    ("auto", {"NO_COLOR": "1"}, True, False), ("auto", {"NO_COLOR": ""}, True, True),
    ("auto", {"FORCE_COLOR": "1"}, False, True), ("auto", {"FORCE_COLOR": "1", "NO_COLOR": "1"}, True, False),
    ("auto", {"TERM": "dumb"}, True, False), ("always", {"NO_COLOR": "1"}, False, True),
    ("never", {"FORCE_COLOR": "1"}, True, False),
])
def test_who_decides_about_colour(choice: str, environment: dict[str, str], terminal: bool, expected: bool,
                                  monkeypatch: pytest.MonkeyPatch) -> None:
    """NO_COLOR counts when it is not empty (no-color.org, from memory)."""
    for name in ("NO_COLOR", "FORCE_COLOR", "TERM"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    assert wants_colour(choice, _Screen(terminal)) is expected  # type: ignore[arg-type]


def test_printable_leaves_ordinary_text_alone() -> None:
    assert printable("hold.wait, é 日本 →") == "hold.wait, é 日本 →"


def test_a_finding_as_data() -> None:
    text = "routine start at 0\n        lift\n"
    found = error("too-heavy", "m", span(text, "lift"), "l", places=(Place(span(text, "start"), "p"),), notes=("n",),
                  help="h")._replace(trace=fight())
    data = finding_data(found, crane())
    trace = data.pop("trace")
    assert data == {
        "name": "too-heavy", "severity": "error", "message": "m", "label": "l", "notes": ["n"], "help": "h",
        "place": {"file": "m.micro", "line": 2, "column": 9, "end_line": 2, "end_column": 13},
        "places": [{"label": "p", "file": "m.micro", "line": 1, "column": 9, "end_line": 1, "end_column": 14}],
    }
    assert [cycle["label"] for cycle in trace["cycles"]] == ["start", "start.hook", "(nothing placed)"]
    assert (trace["loop"], trace["dead_end"]) == (None, False)
    assert trace["cycles"][2]["drivers"] == {"data": ["motor", "deck"], "call": ["bell", "horn"]}
