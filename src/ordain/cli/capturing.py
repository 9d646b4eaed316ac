"""What `ordain follow` and `ordain diagnose` read: a file of an analyzer, or what was read off lamps and typed."""

from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import click

from ordain.cli.manner import Manner, build_option, exit_status, machine_option, print_json, tell_findings
from ordain.text.findings import Finding, error

if TYPE_CHECKING:
    from collections.abc import Iterator

    from ordain.capture.model import BadCapture, Capture
    from ordain.capture.sampling import ClockedReading, SamplingFaults, Where
    from ordain.cli.probing import Clipped
    from ordain.follow.following import Clips
    from ordain.follow.states import States
    from ordain.machine.expression import Node
    from ordain.rom.contents import Contents

class How(NamedTuple):
    """The options. `capture` None: what is `seen`."""

    capture: Path | None
    machine: Path | None
    probes: str
    clips: tuple[str, ...]
    clock: str
    edge: str | None
    setup: int | None
    oscillator: bool
    skip: int
    seen: tuple[str, ...]

    @property
    def title(self) -> str:
        return self.capture.name if self.capture is not None else "as typed"

    def read(self) -> "Capture | None":
        """None: it was typed. Raises BadCapture, click.UsageError."""
        from ordain.capture.read import read_capture

        if (self.capture is None) == (not self.seen):
            raise click.UsageError("say what was seen: a file CAPTURE, or a --seen for every clock"
                                   + (", not both" if self.seen else ""))
        if self.capture is not None:
            return read_capture(self.capture)
        for given, option in ((self.probes, "--probes"), (self.clips, "--clip"), (self.clock, "--clock"),
                              (self.edge, "--edge"), (self.setup, "--setup"), (self.oscillator, "--oscillator")):
            if given:
                raise click.UsageError(f"{option} is about the file of an analyzer, and --seen names the lines itself")
        return None


_OPTIONS = (
    click.argument("capture", type=click.Path(path_type=Path), required=False),
    machine_option,
    build_option,
    click.option("--seen", multiple=True, metavar="TEXT",
                 help="In place of CAPTURE, what lamps show in a clock: `033: data=0F, read=1`. Once for each clock, "
                      "in their order; or one TEXT of many lines."),
    click.option("--probes", default="", metavar="NAME",
                 help="The set of probes of the machine file; default: the one whose channels the capture has."),
    click.option("--clip", "clips", multiple=True, metavar="CHANNEL=LINE",
                 help="A channel at a line, such as `D3=upc[0]` or `7=not read`. May be repeated."),
    click.option("--clock", "clock", default="", metavar="CHANNEL",
                 help="The channel of the clock, `none` where every sample is a clock; default: what the probes say, "
                      "else the fastest regular one."),
    click.option("--edge", type=click.Choice(["rising", "falling", "both"]), default=None,
                 help="At which edge states change; default: what the probes say, else the one that fits."),
    click.option("--setup", type=click.IntRange(1), default=None, metavar="TICKS",
                 help="Read the lines so many samples, or ticks of the file, before the edge; default: what fits."),
    click.option("--oscillator", is_flag=True,
                 help="The clock's channel is at what the phases are made from: it goes on while the clock is held."),
    click.option("--skip", type=click.IntRange(0), default=0, metavar="N", help="Leave out the first N clocks."),
)


def captured(command: Callable[..., int]) -> Callable[..., int]:
    """The argument and the options; the command gets them as `how`."""

    @wraps(command)
    def gathered(capture: Path | None, machine: Path | None, probes: str, clips: tuple[str, ...], clock: str,
                 edge: str | None, setup: int | None, oscillator: bool, skip: int, seen: tuple[str, ...],
                 **others: object) -> int:
        return command(How(capture, machine, probes, clips, clock, edge, setup, oscillator, skip, seen), **others)

    found: Callable[..., int] = gathered
    for option in reversed(_OPTIONS):
        found = option(found)
    return found


def bad_capture(command: str, how: How, bad: "BadCapture", manner: Manner) -> int:
    """Say that a file is no capture, or a broken one; the exit status."""
    place = f"{how.title}:{bad.line}: " if bad.line else f"{how.title}: "
    finding = error("bad-capture", place + bad.message, None, help=bad.help)
    if manner.format == "json":
        return json_findings(command, [finding], 2)
    tell_findings([finding], manner)
    return 2


def not_built(command: str, findings: list[Finding], manner: Manner, machine: Path) -> int:
    """Say why there is no machine to follow anything on; the exit status."""
    if manner.format == "json":
        return json_findings(command, findings, exit_status(findings))
    tell_findings(findings, manner, beside=machine)
    return exit_status(findings)


def json_findings(command: str, findings: list[Finding], status: int) -> int:
    from ordain.show.findings_json import finding_data

    print_json({"command": command, "status": status, "findings": [finding_data(one) for one in findings]})
    return status


class Job(NamedTuple):
    """What a capture is followed with. `where` None: every sample is a clock. `readings`: from the first clock on
    that is not skipped. `told`: what was met in reading."""

    contents: "Contents"
    capture: "Capture"
    found: "Clipped"
    states: "States"
    clips: "Clips"
    start: int
    where: "Where | None"
    skip: int
    most: int | None
    told: "SamplingFaults"
    quiet: bool
    typed: bool

    def readings(self) -> "Iterator[ClockedReading]":
        from itertools import islice

        from ordain.capture.sampling import readings, states

        capture = self.capture
        every = states(capture.events(), capture.grid, capture.rows) if self.where is None else \
            readings(capture.events(), self.where, self.told)
        return islice(every, self.skip, None)


def job_of(contents: "Contents", read: "Capture | None", how: How, begins: str, most: int | None, quiet: bool,
           more: "list[Node]", others: "Callable[[Clipped], list[Node]] | None" = None) -> Job:
    """`more`, `others`: what else will be asked of cycles; the latter, once it is known which lines were captured."""
    from ordain.capture.sampling import SamplingFaults
    from ordain.cli.probing import clipped
    from ordain.cli.typed import typed
    from ordain.control.system import build_system
    from ordain.follow.fitting import fitted
    from ordain.follow.following import Clips
    from ordain.follow.states import States
    from ordain.follow.telling import asked_of

    machine = contents.machine
    capture, found = typed(machine, how.seen) if read is None else \
        (read, clipped(machine, read, how.probes, how.clips, how.clock))
    if machine.steps > 2 and found.clock is not None and not how.oscillator:
        raise click.UsageError(f"the clock of {machine.name} has {machine.steps} phases, and a captured one two edges: "
                               "capture what makes the phases and say --oscillator, or a sample a phase")
    asked = [*asked_of(machine), *more, *(others(found) if others is not None else ())]
    held = machine.clock is not None and machine.clock.held is not None
    gated = found.clock is not None and not how.oscillator and held
    levels = [line.level for line in found.lines]
    states = States(build_system(contents, levels), levels, asked, gated)
    clips = Clips(found.places)
    start = states.at_reset() if begins == "reset" else states.running()
    where = None
    if found.clock is not None:
        one = how.edge or found.edge
        edges = ("both",) if machine.steps == 2 and not how.oscillator else (one,) if one else ("rising", "falling")
        where = fitted(states, clips, capture, found.clock, edges, how.setup, start, how.skip)
    return Job(contents, capture, found, states, clips, start, where, how.skip, most, SamplingFaults(), quiet,
               read is None)
