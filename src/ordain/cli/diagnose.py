"""`ordain diagnose CAPTURE`: which single fault of the chips or of a state explains a capture that a sound machine
does not."""

import sys
import time
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ordain.cli.manner import (
    Manner,
    build_directory,
    build_option,
    exit_status,
    find_machine,
    machine_option,
    page_of,
    show,
    speaks,
    tell_findings,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from ordain.capture.sampling import Reading
    from ordain.cli.follow import Job
    from ordain.follow.model import Apart, Fault, Suspect
    from ordain.machine.expression import Node
    from ordain.pipeline import Built

MOST = 10_000
"""Clocks that are looked at."""


@click.command("diagnose")
@click.argument("capture", type=click.Path(path_type=Path))
@machine_option
@build_option
@click.option("--probes", default="", metavar="NAME", help="As for `ordain follow`; so are --clip, --clock, --edge, "
              "--setup, --oscillator and --skip.")
@click.option("--clip", "clips", multiple=True, metavar="CHANNEL=LINE", help="A channel at a line. May be repeated.")
@click.option("--clock", "clock", default="", metavar="CHANNEL", help="The channel of the clock, or `none`.")
@click.option("--edge", type=click.Choice(["rising", "falling", "both"]), default=None, help="The edge.")
@click.option("--setup", type=click.IntRange(1), default=None, metavar="TICKS", help="How far before the edge.")
@click.option("--oscillator", is_flag=True, help="The clock's channel is at what the phases are made from.")
@click.option("--skip", type=click.IntRange(0), default=0, metavar="N", help="Leave out the first N clocks.")
@click.option("--cycles", type=click.IntRange(1, 1_000_000), default=MOST, show_default=True, metavar="N",
              help="Look at N clocks.")
@speaks("text")
def command(capture: Path, machine: Path | None, probes: str, clips: tuple[str, ...], clock: str, edge: str | None,
            setup: int | None, oscillator: bool, skip: int, cycles: int, quiet: bool, colour: str) -> int:
    """Say which single fault explains CAPTURE, where `ordain follow` has found a clock that cannot be.

    Tried are, of each chip of a store: a data or address pin that stays at a level, two neighbouring pins that touch, a
    missing or blank chip, two chips of one size exchanged; and each bit of a state that stays at a level. Faults that
    make no difference to any word are not told apart from a sound machine, and those of wires, drivers and inputs are
    not tried. Exit status 0: nothing to explain. 1: something is.
    """
    from ordain.capture.model import BadCapture
    from ordain.capture.read import read_capture
    from ordain.cli.follow import bad_capture, job_of
    from ordain.cli.probing import clipped
    from ordain.follow.faults import faults
    from ordain.follow.following import follow
    from ordain.pipeline import build_model
    from ordain.rom.contents import word_name
    from ordain.show.diagnosis import diagnosis_lines

    manner = Manner("text", quiet, colour)
    path = find_machine(machine)
    try:
        read = read_capture(capture)
        built, findings = build_model(path, build_directory(path))
        if built is None:
            tell_findings(findings, manner, beside=path)
            return exit_status(findings)
        found = clipped(built.machine, read, probes, clips, clock)
        lines = _others(built, {line.name for line in found.lines})
        job = job_of(built.contents, read, found, edge, setup, "running", skip, cycles, quiet, oscillator,
                     list(lines.values()))
        readings = list(islice(job.readings(), cycles))
    except BadCapture as bad:
        return bad_capture(capture, bad, manner)
    sound = follow(job.states, job.clips, readings, job.start)
    if sound.broken is None:
        show(manner, [f"{capture.name}: a sound machine explains all of its {sound.clocks:,} clocks"])
        return 0
    every = list(faults(built.contents, built.images))
    some, apart = _found(job, readings, every, lines, _store(built), quiet)
    place = "" if apart is None or apart.address is None else \
        f", at {word_name(built.contents, _store(built), apart.address) or 'a word that was not placed'},"
    show(manner, diagnosis_lines(some, len(readings), sound.clocks, len(every), apart, place, skip, page_of(manner)))
    return 1


def _found(job: "Job", readings: "list[Reading]", every: "list[Fault]", lines: "dict[str, Node]",
           store: str, quiet: bool) -> "tuple[list[Suspect], Apart | None]":
    from ordain.follow.diagnosing import suspects, told_apart

    some = suspects(job.states, job.clips, readings, every, _progress(quiet, len(every)))
    if sys.stderr.isatty() and not quiet:
        sys.stderr.write("\r\x1b[K")
    whole = [one for one in some if one.clocks == len(readings)]
    return some, told_apart(job.states, job.clips, readings, whole, lines, store) if len(whole) > 1 else None


def _store(built: "Built") -> str:
    """The first store that a microprogram fills: its address says where control is."""
    return next(store.name for store in built.machine.stores.values() if store.fill == "microprogram")


def _others(built: "Built", seen: set[str]) -> "dict[str, Node]":
    """Lines at which a clip could be and is not: bits of fields and states."""
    machine, terms = built.machine, built.machine.terms
    found: dict[str, Node] = {}
    leaves = [(name, terms.leaf("field", name, field.width)) for name, field in machine.fields.items()
              if field.holds != "spare"]
    leaves += [(name, terms.leaf("state", name, state.width)) for name, state in machine.states.items()]
    for name, leaf in leaves:
        for bit in range(leaf.width):
            title = f"{name}[{bit}]" if leaf.width > 1 else name
            if title not in seen:
                level = terms.slice(leaf, bit, bit)
                low = name in machine.fields and machine.fields[name].active_low
                found[title] = terms.not_(level) if low else level
    return found


def _progress(quiet: bool, count: int) -> "Callable[[int], None] | None":
    if quiet or not sys.stderr.isatty():
        return None
    shown = time.monotonic()

    def report(number: int) -> None:
        nonlocal shown
        if time.monotonic() - shown > 0.2:
            shown = time.monotonic()
            sys.stderr.write(f"\r\x1b[K{number} of {count} faults")
            sys.stderr.flush()
    return report
