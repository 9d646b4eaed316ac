"""The passes in their order: the only place where they meet.

Machine file -> machine -> microprogram -> placed words -> images -> contents (`build_model`). The files of a build are
made from there in `publishing`.
"""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NamedTuple

from ordain.language.machine_file import parse_machine, read_machine, shown_name
from ordain.language.micro_file import parse_microprogram, read_microprogram
from ordain.language.tree import MachineFile, MicroFile, SourceFile, Text
from ordain.machine.model import Machine
from ordain.machine.redrawn import redrawn
from ordain.machine.resolve import resolve
from ordain.microprogram.astray import astray
from ordain.microprogram.compile import compile_program
from ordain.microprogram.dispatching import dispatches
from ordain.microprogram.held import broken_transfers
from ordain.microprogram.model import Program
from ordain.microprogram.strays import strays
from ordain.placement.model import Placement, Recorded
from ordain.placement.place import place
from ordain.rom.assemble import make_contents, stored_words
from ordain.rom.contents import Contents, Stored
from ordain.rom.images import pack
from ordain.rom.recorded import read_recorded
from ordain.text.findings import Finding, has_errors


class Built(NamedTuple):
    """One build in memory. `stored`: what was compiled; `images`: what the chips hold of it; `contents`: what they give
    back, for the prover."""

    machine: Machine
    program: Program
    placement: Placement
    stored: dict[str, Stored]
    images: dict[str, bytes]
    contents: Contents
    sources: tuple[SourceFile, ...]


Arrange = Callable[[Machine, Program, Recorded | None], tuple[Placement | None, list[Finding]]]
"""Finds a place for every word."""


def build_model(path: Path, out: Path | None = None, arrange: Arrange = place) -> tuple[Built | None, list[Finding]]:
    """Everything from the machine file at `path` to the contents of its chips; None when a finding is an error.

    Words keep the addresses that they have in the build in directory `out`, where there is one.
    """
    file, findings = read_machine(path)
    return _build(file, findings, lambda files: read_microprogram(path.parent, files), out, arrange)


def build_texts(texts: Mapping[str, str], main: str, out: Path | None = None) -> tuple[Built | None, list[Finding]]:
    """The same from texts by file name, of which `main` is the machine file: an older revision."""
    file, findings = parse_machine(texts, main)
    return _build(file, findings, lambda files: parse_microprogram(texts, [shown_name(each)[0] for each in files]), out)


Reader = Callable[[tuple[Text, ...]], tuple[MicroFile | None, list[Finding]]]
"""Reads the files that a machine names as its microprogram."""


def _build(file: MachineFile | None, findings: list[Finding], read: Reader, out: Path | None,
           arrange: Arrange = place) -> tuple[Built | None, list[Finding]]:
    if file is None:
        return None, findings
    machine, more = resolve(file, findings)
    findings += more
    if machine is None:
        return None, findings
    texts, more = read(machine.microprogram)
    findings += more
    if texts is None:
        return None, findings
    drawn = redrawn(machine)
    program, more = compile_program(drawn, texts, findings)
    findings += more
    if program is None or has_errors(findings):
        return None, findings
    recorded, more = (None, []) if out is None else read_recorded(out / f"{machine.name}.json")
    findings += more
    placement, more = arrange(drawn, program, recorded)
    findings += more
    if placement is None or has_errors(findings):
        return None, findings
    finished = placement.addresses, placement.words, placement.unused
    findings += [*broken_transfers(machine, program, *finished), *astray(drawn, program, *finished)]
    if has_errors(findings):
        return None, findings
    stored = stored_words(machine, placement)
    images = pack(machine, stored)
    contents = make_contents(machine, program, placement, stored, images,
                             strays(drawn, program, placement.addresses, placement.words),
                             dispatches(drawn, program, placement.addresses, placement.words))
    return Built(machine, program, placement, stored, images, contents, (*file.sources, *texts.sources)), findings
