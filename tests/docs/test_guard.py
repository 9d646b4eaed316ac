"""The hooks and commands of docs/guard.md, run as they are written there, in a repository."""

import os
import re
import shlex
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from ordain.cli.main import COMMANDS, ordain
from tests.cli.shell import COMMAND, change, environment, write_starter

TEXT = (Path(__file__).parent.parent.parent / "docs" / "guard.md").read_text()
HOOKS = {name: re.search(rf"`\.git/hooks/{name}`.*?```sh\n(.*?)```", TEXT, re.DOTALL) for name in
         ("pre-commit", "commit-msg")}


class Repository:
    def __init__(self, directory: Path, hooks: tuple[str, ...]) -> None:
        self.directory = directory
        self.microcode = directory / "microcode"
        self.microcode.mkdir()
        write_starter(self.microcode)
        self.git("init", "-q")
        for name in hooks:
            found = HOOKS[name]
            assert found is not None, name
            path = directory / ".git" / "hooks" / name
            path.write_text(found[1])
            path.chmod(0o755)

    def git(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        variables = environment(self.directory, PATH=f"{COMMAND.parent}:{os.environ['PATH']}",
                                HOME=str(self.directory), GIT_CONFIG_NOSYSTEM="1")
        who = ("-c", "user.name=A Tester", "-c", "user.email=tester@example.org")
        return subprocess.run(["git", *who, *arguments], cwd=self.directory, env=variables, text=True,
                              capture_output=True, check=False)

    def commit(self, *message: str) -> subprocess.CompletedProcess[str]:
        self.git("add", "microcode")
        return self.git("commit", "-q", *(part for line in message for part in ("-m", line)))

    def count(self) -> int:
        said = self.git("rev-list", "--count", "HEAD").stdout.strip()
        return int(said) if said else 0


def test_a_fight_is_not_committed(tmp_path: Path) -> None:
    repository = Repository(tmp_path, ("pre-commit",))
    assert repository.commit("begin").returncode == 0
    change(repository.microcode / "lamp.micro", "wait: grant, if", "wait: grant, point, if")
    refused = repository.commit("point while granted")
    assert refused.returncode != 0
    assert "error[contention]" in refused.stdout + refused.stderr
    assert repository.count() == 1
    change(repository.microcode / "lamp.micro", "wait: grant, point, if", "wait: grant, if")
    change(repository.microcode / "lamp.micro", "number 0x55", "number 0xAA")
    assert repository.commit("another pattern").returncode == 0
    assert repository.count() == 2


def test_what_does_not_compile_is_not_committed(tmp_path: Path) -> None:
    repository = Repository(tmp_path, ("pre-commit",))
    change(repository.microcode / "lamp.micro", "goto lend", "goto land")
    assert repository.commit("begin").returncode != 0
    assert repository.count() == 0


def test_what_is_checked_is_what_would_be_committed(tmp_path: Path) -> None:
    repository = Repository(tmp_path, ("pre-commit",))
    repository.commit("begin")
    source = repository.microcode / "lamp.micro"
    change(source, "number 0x55", "number 0xAA")
    repository.git("add", "microcode")
    change(source, "number 0xAA", "number 0x33")
    refused = repository.git("commit", "-q", "-m", "half staged")
    assert refused.returncode != 0 and "not staged" in refused.stderr
    assert repository.count() == 1


def test_only_what_the_message_names_may_behave_differently(tmp_path: Path) -> None:
    repository = Repository(tmp_path, ("pre-commit", "commit-msg"))
    source = repository.microcode / "lamp.micro"
    assert repository.commit("begin").returncode == 0
    change(source, "# One line is", "# a remark\n# One line is")
    assert repository.commit("a remark").returncode == 0
    change(source, "number 0x55", "number 0xAA")
    refused = repository.commit("another pattern")
    assert refused.returncode != 0
    assert repository.count() == 2
    accepted = repository.commit("another pattern", "Changes: reset")
    assert accepted.returncode == 0, accepted.stdout + accepted.stderr
    assert repository.count() == 3


# ---------------------------------------------------------------- every command line of the document


def command_lines() -> Iterator[list[str]]:
    for block in re.findall(r"```(?:sh|yaml)\n(.*?)```", TEXT, re.DOTALL):
        for line in block.splitlines():
            found = re.match(r"^(?:[ -]*run: )?\s*ordain (.*)$", line)
            if found:
                yield shlex.split(found[1].partition(" > ")[0].replace('"$@"', '--expect "load a, n"'))


def test_the_document_has_the_commands_that_it_is_about() -> None:
    assert {line[0] for line in command_lines()} == {"build", "prove", "compare"}


@pytest.mark.parametrize("line", list(command_lines()), ids=" ".join)
def test_every_command_and_option_exists(line: list[str]) -> None:
    import click

    assert line[0] in COMMANDS
    top = click.Context(ordain, **ordain.context_settings)
    command = ordain.get_command(top, line[0])
    assert command is not None
    command.make_context(line[0], line[1:], parent=top)
