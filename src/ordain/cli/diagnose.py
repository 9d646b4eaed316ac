"""`ordain diagnose CAPTURE`: which single fault of the board explains a capture that a sound machine does not."""

import sys
import time
from itertools import islice
from typing import TYPE_CHECKING

import click

from ordain.cli.capturing import How, bad_capture, captured, job_of, not_built
from ordain.cli.manner import (
    Manner,
    build_directory,
    find_machine,
    page_of,
    print_json,
    show,
    speaks,
)

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from ordain.capture.sampling import ClockedReading
    from ordain.cli.capturing import Job
    from ordain.cli.probing import Clipped
    from ordain.follow.cells import CellFault
    from ordain.follow.model import Hypothesis, Looked, Suspect
    from ordain.machine.expression import Node
    from ordain.pipeline import Built

MOST = 10_000
"""Clocks that are looked at."""


@click.command("diagnose")
@captured
@click.option("--cycles", type=click.IntRange(1, 1_000_000), default=MOST, show_default=True, metavar="N",
              help="Look at N clocks.")
@speaks("text", "json")
def command(how: How, cycles: int, form: str, quiet: bool, colour: str) -> int:
    """Say which single fault explains CAPTURE, where `ordain follow` has found a clock that cannot be.

    Tried are, of each chip of a store: a data or address pin that stays at a level, two neighbouring pins that touch, a
    missing, blank or half programmed chip, one with an image that was burned earlier, two of one size exchanged; each
    bit of each word, the other way round; a bit of a state or an input that stays at a level, an input that comes
    inverted, a synchroniser left out; a driver that always drives a bus, or never, where nobody drives it otherwise
    and the bus is pulled or keeps its level; and clips that are off or exchanged. Where several are left, it says what
    to look at next. Faults that make no difference to control are not told apart from a sound machine: what words,
    registers and memories bring to a bus, or stands on one that floats, is compared with nothing. Exit status 0:
    nothing to explain. 1: something is.
    """
    from ordain.capture.model import BadCapture
    from ordain.follow.apart import lines_of
    from ordain.follow.burning import burning_faults
    from ordain.follow.faults import faults
    from ordain.follow.following import follow
    from ordain.follow.wiring import clip_faults, driver_faults, wiring_faults
    from ordain.pipeline import build_model
    from ordain.show.diagnosis import diagnosis_data, diagnosis_lines, out_of_step, word_at

    manner = Manner(form, quiet, colour)
    path = find_machine(how.machine)
    lines: dict[str, Node] = {}
    try:
        read = how.read()
        built, findings = build_model(path, build_directory(path))
        if built is None:
            return not_built("diagnose", findings, manner, path)
        machine = built.machine

        def others(found: "Clipped") -> "list[Node]":
            lines.update(lines_of(machine))
            return list(lines.values())

        job = job_of(built.contents, read, how, "running", cycles, quiet, [], others)
        readings = list(islice(job.readings(), cycles))
    except BadCapture as bad:
        return bad_capture("diagnose", how, bad, manner)
    quiet = quiet or form == "json"
    sound = follow(job.states, job.clips, readings, job.start)
    if sound.broken is None and form == "json":
        print_json({"command": "diagnose", "status": 0,
                    **diagnosis_data([], sound.clocks, sound.clocks, 0, None, how.skip)})
        return 0
    if sound.broken is None:
        show(manner, [f"{job.capture.name}: a sound machine explains all of its {sound.clocks:,} clocks"])
        return 0
    levels = [line.level for line in job.found.lines]
    every = [*faults(built.contents, built.images),
             *burning_faults(built.contents, built.images, _burned_before(built, path)),
             *wiring_faults(job.states.system), *driver_faults(job.states.system, levels),
             *clip_faults([line.name for line in job.found.lines])]
    cells, bits = _cells(job, readings, quiet)
    tried = len(every) + bits
    some, looked = _found(job, readings, every, cells, lines, _store(built), quiet)
    if form == "json":
        print_json({"command": "diagnose", "status": 1,
                    **diagnosis_data(some, len(readings), sound.clocks, tried, looked, how.skip)})
        return 1
    apart = None if looked is None else looked.apart
    places = ["" if one.address is None else word_at(built.contents, _store(built), one.address)
              for one in ((apart, *apart.then) if apart is not None else ())]
    anywhere = follow(job.states, job.clips, readings, job.states.anywhere()).clocks
    show(manner, out_of_step(len(readings), sound.clocks, anywhere, page_of(manner)))
    show(manner, diagnosis_lines(some, len(readings), sound.clocks, tried, looked, places, how.skip, page_of(manner)))
    return 1


def _cells(job: "Job", readings: "list[ClockedReading]", quiet: bool) -> "tuple[list[CellFault], int]":
    """The bits of words that explain more than a sound machine does; and how many were tried."""
    from ordain.follow.cells import Cells, stores_with_cells

    found: list[CellFault] = []
    tried = 0
    for store in stores_with_cells(job.contents):
        count = len(job.contents.words[store]) * job.contents.machine.stores[store].bits
        tried += count
        title = f"{count:,} bits of {store}: clock"
        found += Cells(job.states.system, store, [line.level for line in job.found.lines], job.states.held is not None
                       ).found(job.clips, readings, _progress(quiet, len(readings), title))
    return found, tried


def _found(job: "Job", readings: "list[ClockedReading]", every: "list[Hypothesis]", cells: "list[CellFault]",
           lines: "dict[str, Node]",
           store: str, quiet: bool) -> "tuple[list[Suspect], Looked | None]":
    from ordain.follow.apart import look
    from ordain.follow.diagnosing import suspects

    some = suspects(job.states, job.clips, readings, every, cells, _progress(quiet, len(every), "faults:"))
    if sys.stderr.isatty() and not quiet:
        sys.stderr.write("\r\x1b[K")
    whole = [one for one in some if one.clocks == len(readings)]
    return some, look(job.states, job.clips, readings, whole, lines, store) if len(whole) > 1 else None


def _burned_before(built: "Built", machine: "Path") -> "dict[str, list[tuple[str, bytes]]]":
    """By chip the images that were recorded for it and kept, in the order in which they were first burned."""
    from ordain.cli.burned import LEDGER, STORE, machine_name
    from ordain.rom.image_store import kept_image
    from ordain.rom.ledger import read_ledger

    ledger, _ = read_ledger(machine.parent / LEDGER, LEDGER)
    found: dict[str, dict[str, tuple[str, bytes]]] = {}
    for burn in ledger.burns:
        if burn.machine == machine_name(machine) and burn.chip in built.images:
            image, _ = kept_image(machine.parent / STORE, burn.sha256, burn.chip)
            if image is not None:
                found.setdefault(burn.chip, {}).setdefault(burn.sha256, (f"what was burned on {burn.date[:10]}", image))
    return {chip: list(images.values()) for chip, images in found.items()}


def _store(built: "Built") -> str:
    """The first store that a microprogram fills: its address says where control is."""
    return next(store.name for store in built.machine.stores.values() if store.fill == "microprogram")


def _progress(quiet: bool, count: int, what: str) -> "Callable[[int], None] | None":
    if quiet or not sys.stderr.isatty():
        return None
    shown = time.monotonic()

    def report(number: int) -> None:
        nonlocal shown
        if time.monotonic() - shown > 0.2:
            shown = time.monotonic()
            sys.stderr.write(f"\r\x1b[K{what} {number:,} of {count:,}")
            sys.stderr.flush()
    return report
