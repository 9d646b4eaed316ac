"""What every command writes as JSON fits docs/output.schema.json (JSON Schema 2020-12, read by jsonschema)."""

import json
import subprocess
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from ordain.cli.main import COMMANDS, run
from tests.cli.shell import change, write_starter

SCHEMA = json.loads((Path(__file__).parents[2] / "docs" / "output.schema.json").read_text())
CALLS = {
    "new": ("new", "mill"), "build": ("build",), "prove": ("prove",), "compare": ("compare", "HEAD"),
    "burned": ("burned", "U1"), "cycles": ("cycles",), "step": ("step", "show"), "run": ("run",),
    "meaning": ("meaning",),
    "follow": ("follow", "seen.csv"), "diagnose": ("diagnose", "seen.csv"),
    "faults": ("faults", "--only", "U1"),
    "decode": ("decode", "build/U1.bin"), "explain": ("explain", "contention"),
}


def complaints(data: Any) -> list[str]:
    return [error.message for error in jsonschema.Draft202012Validator(SCHEMA).iter_errors(data)]


@pytest.fixture
def lamp(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A machine under version control that is built, with a fight that was saved after that."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    write_starter(tmp_path)
    for command in (["init", "-q"], ["add", "."], ["-c", "user.name=a", "-c", "user.email=a@b", "commit", "-qm", "x"]):
        subprocess.run(["git", *command], check=True)
    run(["build", "--quiet"])
    change(tmp_path / "lamp.micro", "wait: grant, if", "wait: grant, point, if")
    (tmp_path / "seen.csv").write_text("upc[0],upc[1]\n0,0\n1,0\n0,0\n1,0\n")
    return tmp_path


def test_every_command_that_writes_json_is_called_here() -> None:
    silent = {"watch", "export", "card", "audit"}
    assert set(CALLS) == set(COMMANDS) - silent == set(SCHEMA["properties"]["command"]["enum"])


@pytest.mark.parametrize("command", CALLS)
def test_it_fits_the_schema(command: str, lamp: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status = run([*CALLS[command], "--format", "json"])
    data = json.loads(capsys.readouterr().out)
    assert (data["schema"], data["command"], data["status"]) == (1, command, status)
    assert complaints(data) == []


@pytest.mark.parametrize("command", ["build", "prove", "compare", "cycles", "step", "run", "meaning", "follow",
                                     "diagnose", "faults", "decode"])
def test_a_machine_that_does_not_compile_fits_it_too(command: str, lamp: Path,
                                                     capsys: pytest.CaptureFixture[str]) -> None:
    change(lamp / "lamp.micro", "goto lend", "goto land")
    assert run([*CALLS[command], "--format", "json"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert complaints(data) == [] and data["findings"]


def test_the_schema_is_a_schema_and_lets_nothing_else_pass(lamp: Path, capsys: pytest.CaptureFixture[str]) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    run(["prove", "--format", "json"])
    data = json.loads(capsys.readouterr().out)
    for key in ("schema", "command", "status", "findings"):
        assert complaints({name: value for name, value in data.items() if name != key})
    data["verdicts"][0]["outcome"] = "fine"
    assert complaints(data)
