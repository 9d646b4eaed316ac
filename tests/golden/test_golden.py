"""The commands say what they said when somebody last read it. After a change that is meant: `python -m tests.golden`.
"""

from pathlib import Path

import pytest

from tests.golden.pictures import PAGES, SUBJECTS, WIDTHS, Subject, page, path_of


@pytest.mark.parametrize("subject", SUBJECTS, ids=lambda subject: subject.name)
@pytest.mark.parametrize("width", WIDTHS)
def test_the_commands_say_what_is_kept(subject: Subject, width: int) -> None:
    kept = path_of(subject, width).read_text(encoding="utf-8")
    assert page(subject, width).splitlines() == kept.splitlines(), "read the difference: python -m tests.golden"


def test_nothing_else_is_kept() -> None:
    assert {path.name for path in PAGES.iterdir()} == {
        path_of(subject, width).name for subject in SUBJECTS for width in WIDTHS}


@pytest.mark.parametrize("path", sorted(PAGES.iterdir()), ids=lambda path: path.name)
def test_no_line_is_wider_than_the_terminal(path: Path) -> None:
    width = int(path.name.split(".")[-2])
    commands = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("$ ordain ")]
    assert [line for line in commands if len(line) > width] == []
