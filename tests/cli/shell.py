"""The installed command, called as a user calls it."""

import os
import subprocess
import sys
from pathlib import Path

import ordain

COMMAND = Path(sys.executable).parent / "ordain"
STARTER = Path(ordain.__file__).parent / "starter"


def environment(directory: Path, **more: str) -> dict[str, str]:
    """The user's own, but for what decides about colour, and with nothing kept from earlier runs."""
    own = {name: value for name, value in os.environ.items()
           if name not in ("NO_COLOR", "FORCE_COLOR", "SOURCE_DATE_EPOCH", "COLUMNS", "ORDAIN_TRACEBACK")}
    return {**own, "XDG_CACHE_HOME": str(directory / "cache"), "TERM": "xterm", **more}


def call(directory: Path, *arguments: str, **more: str) -> subprocess.CompletedProcess[str]:
    """Run `ordain ARGUMENTS` in a directory. `more`: variables of the environment."""
    return subprocess.run([COMMAND, *arguments], cwd=directory, env=environment(directory, **more), text=True,
                          capture_output=True, check=False, encoding="utf-8")


def write_starter(directory: Path, name: str = "lamp") -> Path:
    """The machine that `ordain new` writes; its machine file."""
    for ending in ("machine", "micro"):
        text = (STARTER / f"starter.{ending}").read_text().replace("starter", name)
        (directory / f"{name}.{ending}").write_text(text)
    return directory / f"{name}.machine"


def change(path: Path, old: str, new: str) -> None:
    """One place of a file that must be there."""
    text = path.read_text()
    assert text.count(old) == 1, (path.name, old, text.count(old))
    path.write_text(text.replace(old, new))
