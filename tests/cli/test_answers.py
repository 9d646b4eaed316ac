"""The answer of a proof is said again without building anything, and only while nothing has changed that it follows
from. That an answer was said again is seen by a mark that is put into what is kept."""

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import ordain.cli.answers
from ordain.cli.main import run
from ordain.text.entries import data_kept, keep_data
from tests.cli.shell import change, write_starter

Captured = pytest.CaptureFixture[str]
KEPT = " (kept from an earlier run; --no-cache proves anew)"
FIGHT = ("wait: grant, if", "wait: grant, point, if")
"""The pointer drives the address while the panel may have the buses."""


@pytest.fixture
def lamp(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A machine of which all is proved and nothing else told, a part of it in a file of its own; we are beside it."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    for name in ("NO_COLOR", "FORCE_COLOR", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    home = tmp_path / "lamp"
    home.mkdir()
    machine = write_starter(home)
    (home / "part.inc").write_text("\n")
    machine.write_text(machine.read_text() + 'include "part.inc"\n')
    monkeypatch.chdir(home)
    return home


def said(capsys: Captured, *arguments: str) -> str:
    status = run(["prove", *arguments])
    out = capsys.readouterr().out
    assert status in (0, 1, 2) and (status == 0) != ("error" in out or "warning" in out)
    return out


def entries(lamp: Path) -> list[tuple[str, dict[str, list[str]]]]:
    """The answers that are kept, with their keys."""
    directory = lamp.parent / "cache" / "ordain"
    found = [(path.stem, data_kept(directory, path.stem)) for path in directory.iterdir()]
    return [(key, data) for key, data in found if "lines" in data]


def mark(lamp: Path, text: str = "MARK") -> None:
    """Put a mark into every answer that is kept."""
    for key, data in entries(lamp):
        keep_data(lamp.parent / "cache" / "ordain", key, {**data, "lines": [text]})


def test_an_answer_is_kept_as_a_second_run_says_it(lamp: Path, capsys: Captured) -> None:
    first, second = said(capsys), said(capsys)
    assert second.replace(KEPT, "") == first != second
    [(_, data)] = entries(lamp)
    assert "\n".join(data["lines"]) + "\n" == second
    mark(lamp)
    assert said(capsys) == "MARK\n"
    assert run(["prove", "--quiet"]) == 0 and capsys.readouterr().out == ""


CHANGES: dict[str, Callable[[Path], object]] = {
    "a word": lambda lamp: change(lamp / "lamp.micro", *FIGHT),
    "a comment": lambda lamp: change(lamp / "lamp.machine", 'include "part.inc"', '# a part\ninclude "part.inc"'),
    "an included file": lambda lamp: (lamp / "part.inc").write_text("# nothing\n"),
    "an included file is gone": lambda lamp: (lamp / "part.inc").unlink(),
    "a record of a build": lambda lamp: ((lamp / "build").mkdir(), (lamp / "build/lamp.json").write_text("{}")),
}


@pytest.mark.parametrize("changed", CHANGES.values(), ids=CHANGES)
def test_what_it_follows_from_ends_it(changed: Callable[[Path], object], lamp: Path, capsys: Captured) -> None:
    said(capsys)
    mark(lamp)
    changed(lamp)
    assert said(capsys) != "MARK\n"


@pytest.mark.parametrize("more", [("--only", "contention"), ("--rule", "LAMPS"), ("--all",), ("--color", "always"),
                                  ("--no-cache",), ("--plain",), ("--limit-states", "100000000"),
                                  ("--format", "json"), ("--build", "other"), ("--keep", "file")])
def test_another_question_has_another_answer(more: tuple[str, ...], lamp: Path, capsys: Captured) -> None:
    said(capsys)
    mark(lamp)
    assert "MARK" not in said(capsys, *more)


def test_another_page_and_another_directory_have_another_answer(lamp: Path, capsys: Captured,
                                                                monkeypatch: pytest.MonkeyPatch) -> None:
    said(capsys)
    mark(lamp)
    monkeypatch.setenv("COLUMNS", "60")
    assert "MARK" not in said(capsys)
    monkeypatch.delenv("COLUMNS")
    monkeypatch.chdir(lamp.parent)
    assert "MARK" not in said(capsys, "lamp")
    monkeypatch.chdir(lamp)
    assert said(capsys) == "MARK\n"
    monkeypatch.setattr(ordain.cli.answers, "own_text", lambda: "another ordain")
    assert "MARK" not in said(capsys)


def test_nothing_is_kept_of_a_machine_of_which_more_is_to_be_told(lamp: Path, capsys: Captured) -> None:
    change(lamp / "lamp.micro", *FIGHT)
    assert "contention" in said(capsys)
    assert entries(lamp) == []
    change(lamp / "lamp.micro", FIGHT[1], FIGHT[0])
    (lamp / "build").mkdir()
    (lamp / "build/lamp.json").write_text("no record")
    assert run(["prove"]) == 1 and "damaged-record" in capsys.readouterr().out
    assert entries(lamp) == []


@pytest.mark.parametrize("changed", [CHANGES["a record of a build"], CHANGES["an included file"]])
def test_nothing_is_kept_of_what_changes_meanwhile(changed: Callable[[Path], object], lamp: Path, capsys: Captured,
                                                   monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever builds, or saves a file, while a proof runs: the answer is not about what stands there now."""
    keep = ordain.cli.answers.keep_answer

    def late(*given: Any) -> None:
        changed(lamp)
        keep(*given)

    monkeypatch.setattr(ordain.cli.answers, "keep_answer", late)
    said(capsys)
    assert entries(lamp) == []


def test_what_is_no_file_beside_the_records_is_one_more_of_them(lamp: Path, capsys: Captured) -> None:
    (lamp / "build/other.json").mkdir(parents=True)
    said(capsys)
    mark(lamp)
    assert said(capsys) == "MARK\n"
    (lamp / "build/other.json").rmdir()
    assert said(capsys) != "MARK\n"


DIGEST = hashlib.sha256(b"\n").hexdigest()
"""Of the included file."""


@pytest.mark.parametrize("wrong", [
    {"lines": []}, {"lines": ["MARK", 1]}, {"lines": "MARK"}, {"lines": ["MARK", "\x1b]0;title\x07"]},
    {"lines": ["MARK\nb"]}, {"lines": ["\x1b[31mMARK\x1b[0m"]}, {"lines": None},
    {"sources": []}, {"sources": [["part.inc", DIGEST], ["part.inc"]]}, {"sources": {"part.inc": DIGEST}},
    {"sources": [["part.inc", DIGEST, ""]]}, {"sources": [["part.inc", 1]]}, {"sources": [["part.inc", ""]]},
    {"sources": [["part.inc", DIGEST], ["no such file", ""]]}, {"sources": [["../x", ""]]}])
def test_what_is_no_answer_counts_as_none(wrong: dict[str, object], lamp: Path, capsys: Captured) -> None:
    said(capsys)
    directory = lamp.parent / "cache" / "ordain"
    [(key, data)] = entries(lamp)
    keep_data(directory, key, {**data, "lines": ["MARK"], "sources": [["part.inc", DIGEST]]})
    assert said(capsys) == "MARK\n"
    for other in ({**data, "lines": ["MARK"], **wrong}, ["MARK"]):
        keep_data(directory, key, other)
        out = said(capsys)
        assert "proved" in out and "MARK" not in out


def test_colour_is_kept(lamp: Path, capsys: Captured) -> None:
    said(capsys, "--color", "always")
    second = said(capsys, "--color", "always")
    [(_, data)] = entries(lamp)
    assert "\x1b[32m" in second and data["lines"][0] == second.splitlines()[0]
    assert data["sources"] == [[name, hashlib.sha256((lamp / name).read_bytes()).hexdigest()]
                               for name in ("lamp.machine", "part.inc", "lamp.micro")]
    assert json.loads(json.dumps(data)) == data
