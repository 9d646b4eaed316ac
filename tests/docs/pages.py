"""Plays pages: writes the files that their blocks show, changes files, runs the commands, and puts what they say in the
place of what stands there. `python -m tests.docs.pages` does that to all pages that are played, after a change of what
the program says.

A block `title=FILE` begins a file, `append=FILE` goes on with it, `diff FILE` takes each line that begins with `-` away
and puts those with `+` in its place. Beside the files lie the project's `examples/` and `microcode/`.
"""

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).parent.parent.parent
TUTORIAL = ROOT / "docs" / "tutorial.md"
PAGES = (TUTORIAL, *(ROOT / "docs" / f"{name}.md" for name in ("compare", "cycles")),
         *sorted((ROOT / "docs" / "how").glob("*.md")))
COLUMNS = 100
"""The width of the terminal on the pages."""
FENCE = re.compile(r"^```(\S[^\n]*)\n(.*?)^```\n", re.MULTILINE | re.DOTALL)


def run(command: str, directory: Path) -> str:
    """What a command of the page says, to both its outputs. Besides `ordain` a page may copy files."""
    name, *arguments = shlex.split(command)
    if name == "cp":
        shutil.copyfile(directory / arguments[0], directory / arguments[1])
        return ""
    if name != "ordain":
        raise ValueError(f"the page may only run ordain and cp: {command}")
    own = {name: value for name, value in os.environ.items() if name not in ("NO_COLOR", "FORCE_COLOR")}
    return subprocess.run([sys.executable, "-c", "from ordain.cli.main import main; main()", *arguments], cwd=directory,
                          env={**own, "XDG_CACHE_HOME": str(directory / "cache"), "COLUMNS": str(COLUMNS)},
                          stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False).stdout


def played(text: str, directory: Path) -> str:
    """The text with every `console` block as it comes out now. Files lie in `directory`, where commands are run."""

    def play(found: re.Match[str]) -> str:
        kind, _, rest = found[1].partition(" ")
        if kind == "console":
            commands = [line[2:] for line in found[2].splitlines() if line.startswith("$ ")]
            said = "".join(f"$ {command}\n{run(command, directory)}" for command in commands)
            return f"```{found[1]}\n{said}```\n"
        if kind == "text":
            return found[0]
        if kind == "diff":
            _change(directory / rest, found[2])
            return found[0]
        how, _, name = rest.partition("=")
        if how not in ("title", "append"):
            raise ValueError(f"a block is none of console, diff, text, file: {found[1]}")
        file = directory / name
        file.write_text((file.read_text() if how == "append" else "") + found[2])
        return found[0]

    return FENCE.sub(play, text)


def _change(file: Path, lines: str) -> None:
    text = file.read_text()
    old = "".join(f"{line[1:]}\n" for line in lines.splitlines() if not line.startswith("+"))
    new = "".join(f"{line[1:]}\n" for line in lines.splitlines() if not line.startswith("-"))
    if text.count(old) != 1:
        raise ValueError(f"{file.name} has {text.count(old)} times:\n{old}")
    file.write_text(text.replace(old, new))


def prepared(directory: Path) -> Path:
    """The directory with the project's machines in it."""
    for name in ("examples", "microcode"):
        shutil.copytree(ROOT / name, directory / name, ignore=shutil.ignore_patterns("build"))
    return directory


if __name__ == "__main__":
    for page in PAGES:
        if page.stem in sys.argv[1:] or not sys.argv[1:]:
            with TemporaryDirectory() as place:
                here = Path(place) if page == TUTORIAL else prepared(Path(place))
                page.write_text(played(page.read_text(), here))
