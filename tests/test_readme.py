"""README shows what the program says."""

import os
import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.docs.picture import PICTURE, drawn, said

ROOT = Path(__file__).parent.parent


def test_the_picture_is_what_the_command_draws() -> None:
    readme = (ROOT / "README.md").read_text()
    picture = re.search(r"```text\n(.*?)```", readme, re.S)
    first = re.search(r"^\$ cd .* && ordain prove\n(.*?)```", readme, re.M | re.S)
    assert picture is not None
    assert first is not None
    shown = subprocess.run(
        [sys.executable, "-c", "from ordain.cli.main import main; main()", "prove", "--diagram", "--no-cache"],
        cwd=ROOT / "examples" / "pause-fight" / "broken", capture_output=True, text=True, check=False,
        env={**os.environ, "COLUMNS": "100", "PYTHONIOENCODING": "utf-8"}).stdout
    drawn = "\n".join(line.strip() for line in shown.splitlines())
    assert drawn.startswith(first[1].rstrip())
    assert "\n".join(line.strip() for line in picture[1].splitlines()) in drawn


@pytest.mark.parametrize("page", [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md")),
                                  *sorted((ROOT / "examples").rglob("*.md"))], ids=lambda page: page.stem)
def test_what_a_page_names_exists(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text()):
        assert "://" in target or (page.parent / target).exists(), target


def test_the_picture_of_the_terminal_is_current() -> None:
    assert PICTURE.read_text(encoding="utf-8") == drawn(said()), "python -m tests.docs.picture"
    assert len(list(ElementTree.parse(PICTURE).iter())) > 50


def test_the_size_of_heron_is_what_the_program_says() -> None:
    readme = (ROOT / "README.md").read_text()
    told = subprocess.run([sys.executable, "-m", "ordain", "prove", "--no-cache"], cwd=ROOT / "microcode",
                          capture_output=True, text=True, check=True, env={**os.environ, "COLUMNS": "300"}).stdout
    counted = r"proved \((\d+) checks, (\d+) rules(?:, \d+ meanings)?\) over ([\d,]+) states, ([\d,]+) transitions"
    found = re.search(counted, told)
    assert found is not None, told
    checks, rules, states, transitions = found.groups()
    assert f"{rules} rules and {checks} built-in checks" in readme
    assert f"{states} states and {transitions} transitions" in readme


def test_the_map_names_every_page() -> None:
    named = set(re.findall(r"\]\(([^)#]+)\)", (ROOT / "docs" / "README.md").read_text()))
    assert {str(path.relative_to(ROOT / "docs")) for path in (ROOT / "docs").rglob("*.md")} - {"README.md"} <= named
