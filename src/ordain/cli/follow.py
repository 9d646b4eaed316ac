"""`ordain follow CAPTURE`: what an analyzer has seen, in the machine's own words, up to what no sequence explains."""

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ordain.cli.capturing import How, Job, bad_capture, captured, job_of, not_built
from ordain.cli.manner import (
    Manner,
    build_directory,
    find_machine,
    glyphs,
    page_of,
    print_json,
    say,
    show,
    speaks,
)
from ordain.cli.writing import write_file

if TYPE_CHECKING:
    from collections.abc import Callable

    from ordain.follow.model import ClockCycle, Followed, Why
    from ordain.follow.states import States
    from ordain.rom.contents import Contents
    from ordain.show.page import Page

LAST = 12
"""Clocks that are shown where nothing else is asked for."""


@click.command("follow")
@captured
@click.option("--from", "begins", type=click.Choice(["running", "reset"]), default="running", show_default=True,
              help="Whether it begins anywhere in a running machine, or with the first clock after reset.")
@click.option("--cycles", type=click.IntRange(1), default=None, metavar="N", help="Stop after N clocks.")
@click.option("--all", "everything", is_flag=True, help="A line for every clock.")
@click.option("--rules", is_flag=True, help="What the capture says of the rules and strobes: clocks from trigger to "
              "response, clocks for which a strobe was active.")
@click.option("--vcd", "dump", type=click.Path(path_type=Path), metavar="FILE",
              help="Write what was seen with addresses and labels as a dump (IEEE 1364).")
@click.option("--labels", type=click.Path(path_type=Path), metavar="FILE",
              help="Write `ADDRESS LABEL` in hexadecimal, a line a word, for a waveform viewer.")
@speaks("text", "json")
def command(how: How, begins: str, cycles: int | None, everything: bool, rules: bool, dump: Path | None,
            labels: Path | None, form: str, quiet: bool, colour: str) -> int:
    """Follow CAPTURE, a file of a logic analyzer (sigrok's .sr, VCD, CSV), or lamps as typed, on the machine.

    After every clock it is known exactly in which states the machine can be, given all that was seen so far: any lines
    may be captured, inputs that are not are free. At the first clock that no sequence of the machine can show, it says
    what was seen and what would have been possible. Exit status 0: all of it is explained. 1: not.
    """
    from oxidd.util import DDMemoryError

    from ordain.capture.model import BadCapture
    from ordain.follow.measuring import measured_of
    from ordain.pipeline import build_model

    manner = Manner(form, quiet, colour)
    path = find_machine(how.machine)
    try:
        read = how.read()
        built, findings = build_model(path, build_directory(path))
        if built is None:
            return not_built("follow", findings, manner, path)
        job = job_of(built.contents, read, how, begins, cycles, quiet or form == "json",
                     measured_of(built.machine) if rules else [])
        if labels is not None:
            write_file(labels, _labels(built.contents).encode())
        return _told(manner, job, everything, dump, rules)
    except DDMemoryError:
        raise click.UsageError("too many states are possible to tell them apart: capture more lines, the address above "
                               "all, or begin at reset with --from reset") from None
    except BadCapture as bad:
        return bad_capture("follow", how, bad, manner)


# ---------------------------------------------------------------- what is told


def _told(manner: Manner, job: Job, everything: bool, dump: Path | None, rules: bool) -> int:
    from ordain.follow.broken import why
    from ordain.follow.following import follow
    from ordain.follow.measuring import Meter
    from ordain.follow.telling import Teller
    from ordain.show.follow_dump import FollowDump

    rows, meter = _Rows(manner, job, everything), Meter(job.states, job.contents.machine) if rules else None
    written = FollowDump(job.contents, job.found.lines, job.capture.tick) if dump is not None else None
    teller = Teller(job.states)

    def each(clock: "ClockCycle") -> None:
        if meter is not None:
            meter.note(clock)
        if everything:
            rows.show(clock)
        if written is not None:
            written.note(clock, teller.told(clock).addresses)

    if everything and manner.format == "text":
        rows.head()
    followed = follow(job.states, job.clips, job.readings(), job.start, job.most,
                      each if everything or meter is not None or written is not None else None, _progress(job.quiet))
    if not followed.clocks and followed.broken is None:
        raise click.UsageError("no whole clock in the capture: name its clock with --clock, or say --clock none where "
                               "every sample is a clock")
    reasons = None if followed.broken is None else why(job.states, followed)
    if written is not None and dump is not None:
        if followed.broken is not None:
            written.note(followed.broken, {}, explained=False)
        write_file(dump, written.finished().encode())
    status = int(reasons is not None)
    if manner.format == "json":
        print_json({"command": "follow", "status": status, **_data(job, followed, reasons),
                    **({} if meter is None else {"measured": [one._asdict() for one in meter.measured()]})})
        return status
    page = page_of(manner)
    broken = None if followed.broken is None else \
        followed.broken._replace(number=followed.broken.number + job.skip)
    if reasons is not None and broken is not None:
        for line in ["", *_report(job, broken, reasons, page), ""]:
            print(line)
    if not everything:
        if followed.history:
            rows.head()
        for clock in followed.history[-LAST:]:
            rows.show(clock)
    say(manner, "")
    show(manner, _how(job, followed, page))
    if meter is not None:
        from ordain.show.follow import measured_lines

        show(manner, measured_lines(meter.measured(), job.skip, page))
    if reasons is not None and broken is not None:
        from ordain.show.follow_report import way_lines

        show(manner, way_lines(job.contents, broken, reasons, page, glyphs()))
    return status


def _report(job: Job, broken: "ClockCycle", reasons: "Why", page: "Page") -> list[str]:
    from ordain.capture.timing import seconds
    from ordain.machine.print import pins_of_bits
    from ordain.show.follow_report import report_lines

    pins = {store: pins_of_bits(job.contents.machine, store) for store in job.contents.machine.stores}
    when = "" if job.typed else seconds(job.capture, broken.time)
    return report_lines(job.contents, job.found.lines, broken, when, reasons, pins, page)


def _how(job: Job, followed: "Followed", page: "Page") -> list[str]:
    """How it was read, and what was left aside in reading."""
    from ordain.capture.timing import named, seconds
    from ordain.follow.fitting import COARSE, COARSER
    from ordain.show.follow import line_names
    from ordain.show.page import fold

    found, capture = job.found, job.capture
    count = followed.clocks
    lines = [f"{capture.name}: {count:,} clock{'s' if count != 1 else ''} explained"
             + (", the next one is not" if followed.broken is not None else
                f", all that there are; in the end {_states(job.states, followed.ending)}")]
    if job.where is not None and found.clock is not None:
        where = job.where
        edge = "either edge" if where.edges == "both" else f"the {where.edges} edge"
        unit = f"{where.setup // found.clock.grid} sample{'s' if where.setup // found.clock.grid != 1 else ''}" \
            if found.clock.grid > 1 or capture.grid else f"{where.setup} tick{'s' if where.setup != 1 else ''}"
        lines.append(f"read {unit} before {edge} of {named(capture.channels, where.channel)}, a clock of "
                     f"{seconds(capture, found.clock.period)}")
        samples = found.clock.least // found.clock.grid
        if samples < COARSE:
            lines.append(f"{samples} samples in some clocks: a disturbed sample may be taken for a level or an edge"
                         + (", and a line that is a sample late for another level" if samples < COARSER else "")
                         + "; where that may be, take eight a clock")
    elif not job.typed:
        lines.append("every sample is a clock")
    lines.append(f"seen: {', '.join(line_names(found.names()) if job.typed else found.names())}")
    if found.missing:
        lines.append(f"not in the capture: {', '.join(found.missing)}")
    if job.states.stopped and job.start == job.states.running():
        lines.append("the search for all that a running machine can come to was stopped after a minute, or 2 GB: any "
                     "state is taken for possible at the beginning")
    if job.told.glitches:
        lines.append(f"left out: {job.told.glitches:,} pulses of the clock that are too short")
    if job.told.moving:
        lines.append(f"moving when they were read, and taken as not known: {job.told.moving:,} levels")
    return [line for text in lines for line in fold(text, page)]


def _data(job: Job, followed: "Followed", reasons: "Why | None") -> dict[str, object]:
    from ordain.capture.timing import seconds
    from ordain.show.verdicts import trace_data

    names, broken = [line.name for line in job.found.lines], followed.broken
    data: dict[str, object] = {"clocks": followed.clocks, "lines": names, "missing": list(job.found.missing),
                               "glitches": job.told.glitches, "moving": job.told.moving, "broken": None}
    if broken is not None and reasons is not None:
        word = broken.seen.word
        data["broken"] = {
            "clock": broken.number + job.skip, "time": seconds(job.capture, broken.time),
            "seen": {name: word >> line & 1 for line, name in enumerate(names) if broken.seen.known >> line & 1},
            "never": [names[line] for line in reasons.never], "together": [names[line] for line in reasons.together],
            "possible": [{"addresses": one.addresses, "differs": [names[line] for line in one.differs],
                          **trace_data(job.contents, one.trace)} for one in reasons.possible],
            "others": reasons.others}
    return data


def _states(states: "States", ending: int) -> str:
    count = states.states(ending)
    return "in one state" if count == 1 else f"in one of {count:,} states"


def _progress(quiet: bool) -> "Callable[[int], None] | None":
    if quiet or not sys.stderr.isatty():
        return None
    started = shown = time.monotonic()

    def report(clocks: int) -> None:
        nonlocal shown
        now = time.monotonic()
        if now - shown > 0.2:
            shown = now
            sys.stderr.write(f"\r\x1b[K{clocks:,} clocks, {clocks / (now - started):,.0f} a second\r")
            sys.stderr.flush()
    return report


class _Rows:
    """A line a clock."""

    def __init__(self, manner: Manner, job: Job, everything: bool) -> None:
        from ordain.follow.telling import Teller
        from ordain.show.follow import widths_of

        self.manner, self.job, self.page = manner, job, page_of(manner)
        self.teller = Teller(job.states)
        self.widths = widths_of(job.contents, 99_999 if everything else 9_999, not job.typed)

    def head(self) -> None:
        from ordain.show.follow import heads, row_lines

        show(self.manner, (self.page.paint("faint", line) for line in row_lines([heads()], self.widths, self.page)))

    def show(self, clock: "ClockCycle") -> None:
        from ordain.capture.timing import seconds
        from ordain.show.follow import row_lines, row_of

        if self.manner.format == "text":
            row = row_of(self.job.contents, clock.number + self.job.skip, seconds(self.job.capture, clock.time),
                         self.teller.told(clock))
            show(self.manner, row_lines([row], self.widths, self.page))


def _labels(contents: "Contents") -> str:
    """`021 fetch+1`, a line for each placed word of the first microprogrammed store."""
    from ordain.rom.contents import word_name

    store = next(store for store in contents.machine.stores.values() if store.fill == "microprogram")
    digits = -(-store.address_width // 4)
    return "".join(f"{address:0{digits}X} {word_name(contents, store.name, address)}\n"
                   for address in sorted(contents.sites[store.name]))
