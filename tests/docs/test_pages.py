"""The pages do what they say, and the tutorial arrives at the machine that `ordain new` writes."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from ordain.cli.new import command
from ordain.pipeline import build_model
from tests.docs.pages import PAGES, TUTORIAL, played, prepared


def test_every_command_of_the_tutorial_says_what_the_page_says_and_the_end_is_the_starter(tmp_path: Path) -> None:
    page, mine, starter = TUTORIAL.read_text(), tmp_path / "mine", tmp_path / "starter"
    mine.mkdir()
    again = played(page, mine)
    assert again.splitlines() == page.splitlines()
    done = CliRunner().invoke(command, ["lamps", "--in", str(starter)], standalone_mode=False,
                              help_option_names=["-h", "--help"])  # which a command keeps for whoever asks next
    assert done.return_value == 0
    built, other = build_model(mine / "lamps.machine")[0], build_model(starter / "lamps.machine")[0]
    assert built is not None and other is not None
    assert built.images == other.images
    assert [rule.source for rule in built.machine.rules] == [rule.source for rule in other.machine.rules]
    assert len(built.machine.rules) >= 4


@pytest.mark.parametrize("path", [path for path in PAGES if path != TUTORIAL], ids=lambda path: path.stem)
def test_every_command_of_a_page_says_what_the_page_says(path: Path, tmp_path: Path) -> None:
    page = path.read_text()
    assert played(page, prepared(tmp_path)).splitlines() == page.splitlines(), "python -m tests.docs.pages"


def test_the_page_shows_a_broken_and_a_proved_machine() -> None:
    page = TUTORIAL.read_text()
    assert "error[contention]" in page and "error[turnaround]" in page
    assert page.rindex("questions proved") > page.rindex("error[")
