"""`ordain new NAME`: a small working machine to start from."""

import re
from importlib import resources
from pathlib import Path

import click

from ordain.cli.manner import Manner, print_json, say, speaks


@click.command("new")
@click.argument("name")
@click.option("--in", "directory", type=click.Path(path_type=Path), help="Where to write it; default: ./NAME.")
@speaks("text", "json", colour=False)
def command(name: str, directory: Path | None, form: str, quiet: bool) -> int:
    """Write a small three-chip machine called NAME that builds and proves, with comments to change it by."""
    if not re.fullmatch(r"[a-z][a-z0-9_]*", name):
        raise click.UsageError(
            f"`{name}` is no name for a machine: use lower-case letters, digits and `_`, a letter first")
    target = directory or Path(name)
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise click.UsageError(f"`{target}` exists and is not an empty directory; nothing was written. "
                               "Choose another name, or say where with --in")
    target.mkdir(parents=True, exist_ok=True)
    written = []
    starter = resources.files("ordain").joinpath("starter")
    for part in sorted(starter.iterdir(), key=lambda part: part.name):
        if part.name.startswith("_"):
            continue
        file = target / part.name.replace("starter", name)
        file.write_text(part.read_text(encoding="utf-8").replace("starter", name), encoding="utf-8")
        written.append(str(file))
    manner = Manner(form, quiet, "never")
    if form == "json":
        print_json({"command": "new", "status": 0, "machine": name, "files": written})
        return 0
    for path in written:
        say(manner, f"wrote {path}")
    say(manner, f"next: cd {target} && ordain build && ordain prove")
    return 0
