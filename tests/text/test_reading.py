"""Files that can be read, and one finding for each reason why a file cannot."""

import hashlib
import os
from pathlib import Path

import pytest

from ordain.text.findings import Severity
from ordain.text.reading import LARGEST_FILE, LONGEST_LINE, UNREADABLE, accept, decode, read_beside, read_source
from ordain.text.source import Source, Span


def test_a_file_is_read_with_the_sum_of_its_bytes(tmp_path: Path) -> None:
    data = "machine m  # é\r\nnext\rlast\n".encode()
    (tmp_path / "a.machine").write_bytes(data)
    source, digest, findings = read_source(tmp_path / "a.machine", "a.machine")
    assert findings == [] and source is not None
    assert source.name == "a.machine" and source.text == "machine m  # é\nnext\nlast\n"
    assert digest == hashlib.sha256(data).hexdigest()


def test_a_byte_order_mark_is_no_text() -> None:
    source, findings = decode("a", b"\xef\xbb\xbfmachine m\n")
    assert source is not None and source.text == "machine m\n" and findings == []


def test_a_missing_file_offers_the_nearest_name_and_shows_who_asks(tmp_path: Path) -> None:
    (tmp_path / "hold.micro").write_text("x")
    asking = Span(Source("m", 'microprogram "hodl.micro"'), 13, 25)
    source, digest, [finding] = read_source(tmp_path / "hodl.micro", "hodl.micro", asking)
    assert source is None and digest == ""
    assert finding.name == "missing-file" and finding.severity is Severity.ERROR and finding.span is asking
    assert finding.help == "did you mean `hold.micro`?" and finding.message == "there is no file `hodl.micro`"


def test_a_path_through_a_file_is_a_missing_file(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("x")
    assert [finding.name for finding in read_source(tmp_path / "a" / "b", "a/b")[2]] == ["missing-file"]


def test_a_directory_and_a_pipe_are_no_files(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path, tmp_path / "pipe", Path("/dev/zero")):
        source, _, [finding] = read_source(path, "x")
        assert source is None and finding.name == "not-a-file", path


@pytest.mark.parametrize("shown", ["a\0b", "x" * 5000])
def test_a_name_that_no_file_can_have(tmp_path: Path, shown: str) -> None:
    source, _, [finding] = read_source(tmp_path / shown, "x")
    assert source is None and finding.name == "unreadable-file"


def test_a_file_whose_name_is_no_text(tmp_path: Path) -> None:
    """Bytes of a name that are no UTF-8 come as lone surrogates; the build could not write the name down."""
    (tmp_path / "a\udcff").write_text("x")
    source, _, [finding] = read_source(tmp_path / "a\udcff", "a\udcff")
    assert source is None and finding.name == "bad-file-name" and finding.help


def test_a_file_without_permission(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a").write_text("x")

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("builtins.open", refuse)
    source, _, [finding] = read_source(tmp_path / "a", "a")
    assert source is None and finding.name == "unreadable-file" and "permission denied" in finding.message


def test_a_huge_file_is_not_decoded(tmp_path: Path) -> None:
    with open(tmp_path / "a", "wb") as file:
        file.truncate(LARGEST_FILE + 1)
    assert [finding.name for finding in read_source(tmp_path / "a", "a")[2]] == ["file-too-large"]


def test_the_reasons_that_make_exit_status_2() -> None:
    assert {"missing-file", "file-elsewhere", "not-a-file", "unreadable-file", "file-too-large"} == UNREADABLE


@pytest.mark.parametrize(("data", "name", "says"), [
    (b"machine\0m", "binary-file", "offset 7"),
    ("machine m".encode("utf-16"), "binary-file", "zero byte"),
    (b"machine m\nsignal \xe9 = 1\n", "not-utf-8", "byte 0xE9 in line 2"),
    (b"\xef\xbb\xbf\n\xff", "not-utf-8", "byte 0xFF in line 2"),
])
def test_bytes_that_are_no_text(data: bytes, name: str, says: str) -> None:
    source, [finding] = decode("a", data)
    assert source is None and finding.name == name and says in finding.message and finding.help


def test_a_line_of_ten_megabytes_is_one_finding_at_its_place() -> None:
    source, [finding] = decode("a", b"machine m\n" + b"x" * 10_000_000 + b"\n")
    assert source is None and finding.name == "line-too-long" and finding.span is not None
    assert str(finding.span) == "a:2:1" and "10,000,000" in finding.message


def test_the_longest_line_is_still_read() -> None:
    assert decode("a", b"x" * LONGEST_LINE + b"\n")[0] is not None
    assert decode("a", b"x" * (LONGEST_LINE + 1))[0] is None


@pytest.mark.parametrize("unseen", ["\x00", "\x08", "\x0c", "\x1b", "\x7f", "\x85", "\x9b", "\u2028", "\u202e"])
def test_what_acts_on_a_terminal_or_an_editor_is_refused_where_it_stands(unseen: str) -> None:
    """Also in a comment: text that looks otherwise than it is read (Unicode Technical Report 36, from memory)."""
    source, [finding] = accept(Source("a.machine", f"machine m\n# a{unseen}b\tc\n"))
    assert source is None and finding.name == "control-character"
    assert finding.span is not None and (finding.span.line, finding.span.column) == (2, 4)
    assert f"U+{ord(unseen):04X}" in finding.message


def test_letters_marks_and_tabs_of_any_language_are_no_control_characters() -> None:
    text = "a\tb\n# Größe, 日本語, עברית, می\u200cخواهم, e\u0301, \u00a0\n"
    assert accept(Source("a", text))[0] is not None


@pytest.fixture
def strange_tree(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A machine's directory `m`, a secret beside it, a link to that."""
    monkeypatch.delenv("ORDAIN_READ_FROM")
    (tmp_path / "m").mkdir()
    (tmp_path / "m" / "own.micro").write_text("own")
    (tmp_path / "secret").write_text("secret")
    (tmp_path / "m" / "link").symlink_to(tmp_path / "secret")
    return tmp_path


@pytest.mark.parametrize("name", ["../secret", "link", "own/../../secret", "../m/../secret"])
def test_a_name_that_leads_out_of_the_directory_is_refused(name: str, strange_tree: Path) -> None:
    source, _, [finding] = read_beside(strange_tree / "m", name, None)
    assert source is None and finding.name == "file-elsewhere" and finding.name in UNREADABLE


def test_what_stands_in_the_directory_is_read_however_it_is_named(strange_tree: Path) -> None:
    assert read_beside(strange_tree / "m", "../m/own.micro", None)[2] == []


def test_a_work_tree_and_a_listed_directory_are_read_from(strange_tree: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ORDAIN_READ_FROM", os.pathsep.join(("", str(strange_tree / "nowhere"), str(strange_tree))))
    assert read_beside(strange_tree / "m", "../secret", None)[2] == []
    monkeypatch.delenv("ORDAIN_READ_FROM")
    monkeypatch.chdir(strange_tree)
    assert read_beside(strange_tree / "m", "../secret", None)[2] == []
    monkeypatch.setenv("HOME", str(strange_tree / "m"))
    assert read_beside(strange_tree / "m", "../secret", None)[2] != [], "the whole of the home directory is no place"
    (strange_tree / ".git").mkdir()
    assert read_beside(strange_tree / "m", "link", None)[2] == []
