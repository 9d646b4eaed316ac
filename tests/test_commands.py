"""README's commands are the ones that CI runs."""

from pathlib import Path

ROOT = Path(__file__).parent.parent


def test_ci_runs_exactly_the_test_command_of_the_readme() -> None:
    command = next(line for line in (ROOT / "README.md").read_text().splitlines() if "pytest" in line)
    assert command in (ROOT / ".ci" / "run").read_text().splitlines()
