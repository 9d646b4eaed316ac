"""README shows what the program says."""

import os
import re
import subprocess
import sys
from pathlib import Path

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


def test_every_page_that_the_readme_names_exists() -> None:
    for target in re.findall(r"\]\(([^)]+)\)", (ROOT / "README.md").read_text()):
        assert (ROOT / target).exists(), target
