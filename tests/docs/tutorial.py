"""Plays a page: writes the files that its blocks show, runs its commands, and puts what they say in the place of what
stands there. `python -m tests.docs.tutorial` does that to docs/tutorial.md, after a change of what the program says."""

import os
import re
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

PAGE = Path(__file__).parent.parent.parent / "docs" / "tutorial.md"
COLUMNS = 100
"""The width of the terminal on the page."""
FENCE = re.compile(r"^```(\S[^\n]*)\n(.*?)^```\n", re.MULTILINE | re.DOTALL)


def run(command: str, directory: Path) -> str:
    """What a command of the page says, to both its outputs."""
    name, *arguments = command.split()
    if name != "ordain":
        raise ValueError(f"the page may only run ordain: {command}")
    own = {name: value for name, value in os.environ.items() if name not in ("NO_COLOR", "FORCE_COLOR")}
    return subprocess.run([sys.executable, "-c", "from ordain.cli.main import main; main()", *arguments], cwd=directory,
                          env={**own, "XDG_CACHE_HOME": str(directory / "cache"), "COLUMNS": str(COLUMNS)},
                          stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False).stdout


def played(text: str, directory: Path) -> str:
    """The text with every `console` block as it comes out now. Blocks `title=FILE` begin a file, `append=FILE` go on
    with it, both in `directory`, where commands are run, too."""

    def play(found: re.Match[str]) -> str:
        kind, _, rest = found[1].partition(" ")
        if kind == "console":
            commands = [line[2:] for line in found[2].splitlines() if line.startswith("$ ")]
            said = "".join(f"$ {command}\n{run(command, directory)}" for command in commands)
            return f"```{found[1]}\n{said}```\n"
        how, _, name = rest.partition("=")
        if how not in ("title", "append"):
            raise ValueError(f"a block is neither console nor a file: {found[1]}")
        file = directory / name
        file.write_text((file.read_text() if how == "append" else "") + found[2])
        return found[0]

    return FENCE.sub(play, text)


if __name__ == "__main__":
    with TemporaryDirectory() as place:
        PAGE.write_text(played(PAGE.read_text(), Path(place)))
