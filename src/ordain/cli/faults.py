"""`ordain faults`: every single fault of the stores, and who notices it."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ordain.cli import completing
from ordain.cli.manner import (
    Manner,
    build_directory,
    build_option,
    exit_status,
    find_machine,
    machine_argument,
    names_of,
    page_of,
    print_json,
    show,
    speaks,
    tell_beside,
    tell_findings,
)
from ordain.text.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Callable

    from ordain.faulting import Campaign
    from ordain.faults.classes import Key
    from ordain.faults.model import Fault, FaultOutcome, Tried
    from ordain.faults.summary import Offered
    from ordain.pipeline import Built


@click.command("faults")
@machine_argument
@build_option
@click.option("--only", multiple=True, metavar="NAME,...", shell_complete=completing.faulty,
              help="Only faults of these kinds (bit, erased, pin, bridge, chip, exchange, driver, synchroniser), or "
              "in these chips, stores, fields, routines, instructions, buses; may be repeated: then both have to fit.")
@click.option("--plain", is_flag=True, help="A whole proof and a whole comparison for each fault: slow, without any "
              "shortcut.")
@click.option("--limit-seconds", type=click.FloatRange(0, min_open=True), metavar="S",
              help="Leave a search after S seconds: undecided, status 3.")
@click.option("--no-cache", is_flag=True, help="Neither use nor keep what came of faults in earlier runs.")
@click.option("--map", "store_map", is_flag=True, help="A map of each store: a sign for each bit of each word.")
@click.option("--all", "everything", is_flag=True, help="Every silent fault, every row of every list.")
@speaks("text", "json")
def command(machine: Path | None, only: tuple[str, ...], plain: bool, limit_seconds: float | None, no_cache: bool,
            store_map: bool, everything: bool, form: str, quiet: bool, colour: str) -> int:
    """Try every single fault of the stores and their chips, of drivers and synchronisers, and say who would notice
    it: a check or rule, and in which cycle; an instruction that behaves differently; or nobody.

    A fault is harmless where that is proved, and silent where something behaves differently and nothing speaks of it.
    Rules that are offered were tried: they are proved of the sound machine and broken by these faults.

    What came of faults is kept as the tool goes on, and found again while sources and chips are the same byte for byte:
    a run that was ended early goes on where it was.

    Exit status 0: nothing is silent. 1: something is. 3: nothing that was decided is silent, and something is
    undecided.
    """
    from ordain.cli.progress import BUILDING, waiting
    from ordain.faults.summary import status as status_of
    from ordain.pipeline import build_model
    from ordain.show.fault_map import map_lines
    from ordain.show.fault_report import report_data, report_lines

    manner = Manner(form, quiet, colour)
    path = find_machine(machine)
    with waiting(quiet, BUILDING):
        built, findings = build_model(path, build_directory(path))
    if built is None:
        return _not_built(manner, path, findings)
    with waiting(quiet, "the faults are worked out"):
        faults, passed_over = _chosen(built, only)
    tried, offered, broken = _tried(built, faults, plain, limit_seconds, quiet, not no_cache)
    status = status_of(tried)
    if form == "json":
        print_json({"command": "faults", "status": status,
                    **report_data(built.machine.name, tried, offered, passed_over, broken),
                    "findings": _data(findings)})
        return status
    page = page_of(manner)
    show(manner, report_lines(built.machine.name, tried, offered, passed_over, broken, everything, page))
    if store_map:
        show(manner, map_lines(built.machine, tried))
    tell_beside(findings, manner, beside=path)
    return status


def _not_built(manner: Manner, path: Path, findings: list[Finding]) -> int:
    status = exit_status(findings)
    if manner.format == "json":
        print_json({"command": "faults", "status": status, "findings": _data(findings)})
    else:
        tell_findings(findings, manner, beside=path)
    return status


def _data(findings: list[Finding]) -> list[dict[str, Any]]:
    from ordain.show.findings_json import finding_data

    return [finding_data(finding) for finding in findings]


def _chosen(built: "Built", only: tuple[str, ...]) -> "tuple[list[Fault], list[str]]":
    """The faults to be tried, and the chips whose pins are passed over because they are too large. Raises
    click.BadParameter."""
    from ordain.faults.model import KINDS
    from ordain.text.spelling import nearest

    choices = [names_of((given,)) for given in only]

    def perhaps(kind: str, text: str, stores: frozenset[str]) -> bool:
        """Whether a fault of chips may be among those that are chosen: large stores take long to work one out."""
        named = {kind, *text.replace(".", " ").split(), *stores}
        return all(not named.isdisjoint(names) for names in choices)

    every, passed_over = every_fault(built, perhaps)
    known = {*KINDS, *built.machine.chips, *built.machine.stores, *(name for fault in every for name in fault.names)}
    for names in choices:
        for name in names:
            if name not in known:
                near = nearest(name, sorted(known))
                raise click.BadParameter(f"nothing that can have a fault is called `{name}`."
                                         + (f" Did you mean `{near}`?" if near else ""), param_hint="--only")
        every = [fault for fault in every if fault.kind in names or not {*fault.names}.isdisjoint(names)]
    return every, passed_over


def every_fault(built: "Built", wanted: "Callable[[str, str, frozenset[str]], bool]" = lambda kind, text, stores: True
                ) -> "tuple[list[Fault], list[str]]":
    """All faults of a build, and the chips whose pins are passed over. `wanted`: as in `follow.faults`."""
    from ordain.control.system import build_system
    from ordain.faults.listing import bit_faults, chip_faults, driver_faults, erased_faults, synchroniser_faults
    from ordain.follow.faults import faults as of_chips
    from ordain.follow.faults import too_large
    from ordain.follow.wiring import wiring_faults
    from ordain.rom.formats import device_of
    from ordain.rom.readback import unpack

    contents, machine = built.contents, built.machine
    blank = unpack(machine, {name: device_of(chip).blank for name, chip in machine.chips.items()})
    erased = {store: words[0] for store, words in blank.words.items()}
    found = ((fault.kind, fault.text, fault.words) for fault in of_chips(contents, built.images, wanted))
    return ([*bit_faults(contents), *erased_faults(contents, erased),
             *chip_faults(contents, (one for one in found if one[0] != "state")), *driver_faults(machine),
             *synchroniser_faults((one.text, one.inside) for one in wiring_faults(build_system(contents))
                                  if one.kind == "synchroniser")],
            [chip.name for chip in machine.chips.values() if too_large(machine, chip)])


def _tried(built: "Built", faults: "list[Fault]", plain: bool, seconds: float | None,
           quiet: bool, keep: bool) -> "tuple[list[Tried], list[Offered], list[Key]]":
    """What came of the faults, the rules that would notice silent ones, and the questions that cannot notice any."""
    from ordain.cli.progress import ProgressLine, time_left
    from ordain.faulting import TOGETHER, Campaign
    from ordain.faults.classes import RANKS
    from ordain.prover.model import Limits
    from ordain.show.paint import printable

    line = ProgressLine(quiet)
    tried: list[Tried] = []
    begun: list[Campaign] = []
    found_again = 0

    def told(what: str) -> None:
        done = len(tried) + sum(campaign.looked_at for campaign in begun)
        left = time_left(line.start, done - found_again, len(faults) - done)
        line.begin(f"{done:,} of {len(faults):,} faults{left}; {printable(what)}")

    try:
        if not faults:
            return [], [], []
        kept = Kept(built) if keep and not plain and seconds is None else None
        known = {} if kept is None else {**kept.outcomes}
        begun.append(Campaign(built.contents, Limits(seconds=seconds), told))
        for number in range(0, len(faults), TOGETHER):
            some = faults[number:number + TOGETHER]
            found_again += sum(fault.text in known for fault in some)
            tried += _some(begun[0], some, plain, kept)
            begun[0].looked_at = 0
        broken = [key for key, rank in begun[0].sound.ranks.items() if rank == RANKS["broken"]]
        return tried, _offered(begun[0], tried, told), broken
    finally:
        line.clear()


class Kept:
    """What came of the faults of a build in earlier runs, and in this one."""

    def __init__(self, built: "Built") -> None:
        from hashlib import sha256

        from ordain.checks.cache import key_of
        from ordain.checks.run import EVERYTHING
        from ordain.cli.proving import cache_directory
        from ordain.faults.kept import outcomes_from
        from ordain.text.entries import data_kept

        self._directory = cache_directory()
        self._key = sha256(f"faults {key_of(built.contents, built.sources, EVERYTHING)}".encode()).hexdigest()
        self.outcomes: dict[str, FaultOutcome] = {}
        if self._directory is not None:
            self.outcomes = outcomes_from(data_kept(self._directory, self._key))

    def keep(self, tried: "list[Tried]") -> None:
        from ordain.faults.kept import outcomes_data
        from ordain.text.entries import keep_data

        fresh = {one.fault.text: one.outcome for one in tried if one.outcome.kind != "undecided"}
        if self._directory is not None and not fresh.keys() <= self.outcomes.keys():
            self.outcomes.update(fresh)
            keep_data(self._directory, self._key, outcomes_data(self.outcomes))


def _some(campaign: "Campaign", faults: "list[Fault]", plain: bool, kept: Kept | None) -> "list[Tried]":
    """What comes of some faults, in their order."""
    from ordain.faults.model import Tried

    if plain:
        return [Tried(fault, outcome) for fault, outcome in zip(faults, campaign.each(faults))]
    known = {} if kept is None else kept.outcomes
    found = {one.fault.text: one.outcome for one in campaign.of([fault for fault in faults if fault.text not in known])}
    tried = [Tried(fault, known.get(fault.text) or found[fault.text]) for fault in faults]
    if kept is not None:
        kept.keep(tried)
    return tried


def _offered(campaign: "Campaign", tried: "list[Tried]", told: "Callable[[str], None]") -> "list[Offered]":
    """For the largest silent groups of one field a rule each, where one was found that holds and notices some."""
    from ordain.faults.summary import OFFERED, Offered, silent

    found = []
    for group in [group for group in silent(tried) if group.faults[0].fault.kind == "bit"][:OFFERED]:
        told(f"a rule that would notice faults of {group.line}")
        offer = campaign.offered([one.fault for one in group.faults])
        if offer is not None:
            found.append(Offered(group.line, group.titles, offer[0], len(offer[1]), len(group.faults)))
    return found
