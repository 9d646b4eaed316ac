"""The whole tree is typed and tidy: mypy --strict and ruff, as pyproject.toml sets them."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


@pytest.mark.parametrize("command", [["mypy"], ["ruff", "check", "src", "tests", "benchmarks"]], ids=["mypy", "ruff"])
def test_nothing_to_complain_about(command: list[str]) -> None:
    told = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert told.returncode == 0, told.stdout + told.stderr
