"""The pages that are made from the commands are current."""

import re
import shutil
import subprocess

import click
import pytest

from ordain.cli.main import COMMANDS
from tests.docs.commands import MANUAL, PAGE, commands, manual, page


def test_both_pages_are_what_the_commands_say_now() -> None:
    assert PAGE.read_text() == page(), "python -m tests.docs.commands"
    assert MANUAL.read_text() == manual(), "python -m tests.docs.commands"


def test_every_command_and_option_has_a_help() -> None:
    for name, command, context in commands():
        assert command.help, name
        for param in command.get_params(context):
            assert not isinstance(param, click.Option) or param.hidden or param.help, f"{name} {param.name}"
    assert {name.split()[1] for name, _, _ in commands()} == set(COMMANDS)


@pytest.mark.skipif(shutil.which("groff") is None, reason="needs groff")
def test_the_manual_page_is_read_without_a_complaint() -> None:
    told = subprocess.run(["groff", "-man", "-Tascii", "-ww", str(MANUAL)], capture_output=True, text=True, check=False)
    assert told.stderr == "" and "EXIT STATUS" in re.sub("\b.", "", told.stdout)
