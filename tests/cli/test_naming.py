"""One way to name the machine and its build, on every command; several names at once; what the shell completes."""

import os
import subprocess
import sys
from pathlib import Path

import click
import pytest

from ordain import __version__
from ordain.cli.main import COMMANDS, ordain, run
from tests.cli.shell import COMMAND, environment, write_starter

WITH_MACHINE = {"build": (), "prove": (), "compare": ("there",), "burned": (), "cycles": (), "step": ("show",),
                "decode": ("there/U1.bin",), "watch": ("--rounds", "1")}


@pytest.fixture
def outside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Beside a directory `lamp` with a machine, whose build is `there`."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    (tmp_path / "lamp").mkdir()
    write_starter(tmp_path / "lamp")
    assert run(["build", "-q", "-m", "lamp", "--build", "there"]) == 0
    return tmp_path


@pytest.mark.parametrize("command", WITH_MACHINE)
@pytest.mark.parametrize("named", ["lamp", "lamp/lamp.machine"])
def test_every_command_takes_the_machine_in_the_same_way(command: str, named: str, outside: Path) -> None:
    for option in ("-m", "--machine"):
        assert run([command, *WITH_MACHINE[command], option, named]) == 0
    assert not (outside / "lamp" / "build").exists() or command == "build"


def test_two_machines_are_one_too_many(outside: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["prove", "lamp", "-m", "lamp"]) == 2
    assert "the machine is named twice" in capsys.readouterr().err


def test_the_build_directory_is_named_in_one_way() -> None:
    for name in set(WITH_MACHINE) - {"watch"}:
        command = ordain.get_command(click.Context(ordain), name)
        assert command is not None
        assert any("--build" in param.opts for param in command.params), name


def test_only_takes_several_names(outside: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["prove", "lamp", "--only", "contention,race", "--only", "floating", "--all"]) == 0
    said = capsys.readouterr().out
    assert {line.split("  ")[1].strip() for line in said.splitlines() if line.startswith("never happens")} == {
        "contention", "floating"}
    assert run(["prove", "lamp", "--only", "contention,rase"]) == 2


def completed(directory: Path, words: str) -> list[str]:
    told = subprocess.run([COMMAND], cwd=directory, text=True, capture_output=True, check=False, env=environment(
        directory, _ORDAIN_COMPLETE="bash_complete", COMP_WORDS=words, COMP_CWORD=str(len(words.split()))))
    return [line.partition(",")[2] for line in told.stdout.splitlines() if line]


@pytest.mark.parametrize(("words", "expected"), [
    ("ordain prove --only ", {"contention", "race", "when-then"}), ("ordain explain ", {"contention", "opcode-clash"}),
    ("ordain burned ", {"U1", "U2", "U3"}), ("ordain step ", {"show", "lend", "start"}), ("ordain ", set(COMMANDS)),
])
def test_the_shell_completes_names(words: str, expected: set[str], outside: Path) -> None:
    assert expected <= set(completed(outside / "lamp", words))
    assert completed(outside, "ordain step ") == [], "no machine, nothing to offer, no complaint"


def test_the_other_ways_in(tmp_path: Path) -> None:
    def said(*arguments: str) -> str:
        return subprocess.run([sys.executable, "-m", "ordain", *arguments], cwd=tmp_path, text=True, check=True,
                              capture_output=True, env=dict(os.environ)).stdout

    assert said("-V") == said("--version")
    assert said("-V").startswith(f"ordain {__version__} (Python {sys.version_info[0]}.{sys.version_info[1]}.")
    assert said("help", "prove") == said("prove", "--help")
    assert said("help") == said("--help") and "Exit status: " in said("help")
