"""Workflow commands.

Escaping: "Workflow commands for GitHub Actions" and `command.ts` of GitHub's own toolkit, both from memory; the reader
below undoes it as the runner does.
"""

import re

from ordain.show.github import annotation_lines
from ordain.text.findings import Place, error, note, warning
from ordain.text.source import Source, Span
from tests.show.crane import MICRO, fight, span


def read(line: str) -> tuple[str, dict[str, str], str]:
    """Command, properties and message of a workflow command."""
    match = re.fullmatch(r"::([a-z]+) ([^:]*)::(.*)", line)
    assert match, line
    properties = {}
    for part in match[2].split(","):
        key, _, value = part.partition("=")
        properties[key] = value.replace("%3A", ":").replace("%2C", ",").replace("%0A", "\n").replace("%25", "%")
    return match[1], properties, match[3].replace("%0D", "\r").replace("%0A", "\n").replace("%25", "%")


def test_an_annotation_with_everything() -> None:
    found = error("contention", "two drivers: 50% more", span(MICRO, "lend"), "both drive it",
                  places=(Place(span(MICRO, "start"), "starts here"),), notes=("1 more",), help="gate it")
    [line] = annotation_lines([found._replace(trace=fight())], "boards/crane")
    assert line == ("::error file=boards/crane/m.micro,line=3,endLine=3,col=9,endColumn=12,title=error[contention]::"
                    "two drivers: 50%25 more%0Aboth drive it%0Astarts here: boards/crane/m.micro:1%0A"
                    "`ordain prove` shows how to get there%0A1 more%0Ahelp: gate it")


def test_levels() -> None:
    place = span(MICRO, "lift")
    lines = annotation_lines([error("a", "m", place), warning("b", "m", place), note("c", "m", place)])
    assert [read(line)[0] for line in lines] == ["error", "warning", "notice"]


def test_without_a_place_there_is_no_file() -> None:
    assert annotation_lines([error("missing-file", "there is no file `x`", None)]) == [
        "::error title=error[missing-file]::there is no file `x`"]


def test_nothing_in_a_name_or_message_ends_the_command() -> None:
    name, message = "a,b:c%d\n.micro", "one\r\n::error::\x1b[31mtwo\u202e, 100%0A"
    text = "lift"
    [line] = annotation_lines([error("x", message, Span(Source(name, text), 0, 4))])
    assert "\n" not in line and "\r" not in line
    _, properties, said = read(line)
    assert properties["file"] == name
    assert said == message.replace("\r", "\\r").replace("\x1b", "\\x1b").replace("\u202e", "\\u202e")


def test_over_several_lines_there_are_no_columns() -> None:
    """Columns are for annotations within one line (REST reference of check runs, from memory)."""
    [line] = annotation_lines([error("x", "m", Span(Source("a", "one\ntwo\n"), 1, 6))])
    assert read(line)[1] == {"file": "a", "line": "1", "endLine": "2", "title": "error[x]"}


def test_a_place_of_no_width_has_a_column() -> None:
    [line] = annotation_lines([error("x", "m", Span(Source("a", "one"), 3, 3))])
    assert read(line)[1] == {"file": "a", "line": "1", "endLine": "1", "col": "4", "endColumn": "4",
                             "title": "error[x]"}
