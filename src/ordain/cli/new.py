"""`ordain new NAME`: a small working machine to start from."""

import re
import shutil
from importlib import resources
from pathlib import Path

import click

from ordain.cli.manner import Manner, print_json, say, speaks
from ordain.cli.writing import write_file

KINDS = {"next-address": "", "step": "step", "slices": "slices"}
"""How the control store is addressed: where the files of that kind lie beside those of the first."""


@click.command("new")
@click.argument("name")
@click.option("--kind", type=click.Choice(list(KINDS)), default="next-address", show_default=True,
              help="What forms the store's address: a state, beside a panel on the bus; flags, opcode and step, with "
                   "decoders and a write in half a clock; a sequencer with a pipeline register and a stack.")
@click.option("--in", "directory", type=click.Path(path_type=Path), help="Where to write it; default: ./NAME.")
@speaks("text", "json", colour=False)
def command(name: str, kind: str, directory: Path | None, form: str, quiet: bool) -> int:
    """Write a small machine called NAME that builds and proves, with comments to change it by."""
    if not re.fullmatch(r"[a-z][a-z0-9_]*", name):
        raise click.UsageError(
            f"`{name}` is no name for a machine: use lower-case letters, digits and `_`, a letter first")
    target = directory or Path(name)
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise click.UsageError(f"`{target}` exists and is not an empty directory; nothing was written. "
                               "Choose another name, or say where with --in")
    was_there = target.exists()
    target.mkdir(parents=True, exist_ok=True)
    written = []
    starter = resources.files("ordain").joinpath("starter").joinpath(KINDS[kind])
    try:
        for part in sorted(starter.iterdir(), key=lambda part: part.name):
            if part.name.startswith("_") or not part.is_file():
                continue
            file = target / part.name.replace("starter", name)
            written.append(str(file))
            write_file(file, part.read_text(encoding="utf-8").replace("starter", name).encode())
    except OSError:
        for path in written:
            Path(path).unlink(missing_ok=True)
        if not was_there:
            shutil.rmtree(target, ignore_errors=True)
        raise
    manner = Manner(form, quiet, "never")
    if form == "json":
        print_json({"command": "new", "status": 0, "machine": name, "files": written})
        return 0
    for path in written:
        say(manner, f"wrote {path}")
    say(manner, f"next: cd {target} && ordain build && ordain prove")
    return 0
