"""Every command on machines by chance: whatever a machine is, a command ends with an answer or a message, and soon.

The other judges call what the commands call; caches, certificates, formats and words come in here.
"""

import io
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from tempfile import TemporaryDirectory
from time import process_time

from ordain.cli.main import run
from tests.judge.tool import Text

MOST_SECONDS = 20.0
"""Of the processor, for one command on a machine of a few dozen words."""
OWN_FAULT = 70


def commands(old: str, new: str, into: Path, faults: bool) -> Iterator[list[str]]:
    """The second `prove` answers from what the first one has kept. `faults`: whether there is time for these."""
    yield from (["build", old], ["prove", old], ["prove", old], ["prove", "--diagram", "--all", old])
    yield from (["prove", "--format", form, old] for form in ("json", "sarif", "github"))
    yield ["prove", "--no-cache", "--keep", str(into / "proof"), old]
    if (into / "proof").exists():
        yield ["audit", str(into / "proof"), old]
    yield from (["compare", old, new], ["cycles", old], ["meaning", "--machine", old])
    yield from (["export", kind, old, "--out", str(into / kind)] for kind in ("aiger", "smt", "verilog", "wires"))
    yield from (["run", "--cycles", "40", old], ["run", "--cycles", "20", "--each", "cycle", old])
    if faults:
        yield ["faults", "--only", "pin,erased", old]


def failures(text: Text, changed: Text, faults: bool) -> list[str]:
    """The commands that end in a fault of the tool, or do not end. Both versions are written as their files."""
    wrong = []
    with TemporaryDirectory() as name:
        into = Path(name)
        for side, one in (("old", text), ("new", changed)):
            (into / side).mkdir()
            shown = "" if "\nvisible " in one.machine or "register a " not in one.machine else "visible a\n"
            (into / side / "m.machine").write_text(one.machine + shown)
            (into / side / "m.micro").write_text(one.micro)
        for command in commands(str(into / "old"), str(into / "new"), into, faults):
            out, errors, began = io.StringIO(), io.StringIO(), process_time()
            with redirect_stdout(out), redirect_stderr(errors):
                status = run(command)
            said = " ".join(command).replace(name, "")
            if status == OWN_FAULT:
                wrong.append(f"own fault: {said}: {' '.join(errors.getvalue().split())[-200:]}")
            elif process_time() - began > MOST_SECONDS:
                wrong.append(f"slow: {said}")
    return wrong
