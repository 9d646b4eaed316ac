"""The examples and the machine to start from: what is to be sound is, and what is broken on purpose is found by name.
What their pages invite the reader to try has the effect that the pages say."""

import shutil
from functools import cache
from pathlib import Path

import pytest

from ordain.checks.check import Report
from ordain.checks.run import Selection, prove
from ordain.cli.main import run
from ordain.control.system import build_system
from ordain.pipeline import Built, build_model
from ordain.prover.decide import decide
from ordain.prover.model import Limits
from ordain.text.findings import Severity

ROOT = Path(__file__).parent.parent.parent
SOUND = [
    "examples/stepper/carillon.machine",
    "examples/paired/tideclock.machine",
    "examples/slices/orrery.machine",
    "examples/refresh/starmap.machine",
    "examples/two-masters/signalbox.machine",
    "examples/pause-fight/mended/flapboard.machine",
    "examples/late-grant/mended/lantern.machine",
    "examples/half-clock/mended/barograph.machine",
]
BROKEN = {
    "examples/pause-fight/broken/flapboard.machine": {("contention", "pause.wait")},
    "examples/pause-fight/silenced/flapboard.machine": {("reach", ""), ("vacuous", "")},
    "examples/late-grant/broken/lantern.machine": {
        ("contention", "work"), ("lost-state", "work"), ("never", "work"), ("when-then", "pause.wait")},
    "examples/half-clock/broken/barograph.machine": {
        (name, place) for name in ("floating", "missing-hold", "never") for place in ("store [n]", "draw [n]")},
}


@cache
def built(path: Path) -> Built:
    """A build without findings worth mentioning."""
    made, findings = build_model(path)
    assert [found for found in findings if found.severity is not Severity.NOTE] == []
    assert made is not None
    return made


@cache
def report_on(path: Path, only: str = "") -> Report:
    """The whole proof, or that of one check."""
    contents = built(path).contents
    system = build_system(contents)
    return prove(contents, lambda asked: decide(system, asked, Limits(), None),
                 Selection(frozenset((only,) if only else ())))


def names(report: Report) -> set[str]:
    return {found.name for found in report.findings}


@pytest.mark.parametrize("name", [*SOUND, *BROKEN])
def test_it_compiles_clean(name: str) -> None:
    assert built(ROOT / name).images


@pytest.mark.parametrize("name", SOUND)
def test_a_sound_machine_is_proved(name: str) -> None:
    report = report_on(ROOT / name)
    assert [(found.name, found.message) for found in report.findings] == []
    assert {row.outcome for row in report.rows} == {"proved"}
    assert report.stopped == ""


@pytest.fixture(scope="module")
def starter(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The directory that `ordain new lamps` writes."""
    directory = tmp_path_factory.mktemp("new") / "lamps"
    assert run(["new", "lamps", "--quiet", "--in", str(directory)]) == 0
    return directory


def test_the_machine_to_start_from_is_proved(starter: Path) -> None:
    report = report_on(starter / "lamps.machine")
    assert report.findings == () and {row.outcome for row in report.rows} == {"proved"}
    assert len(built(starter / "lamps.machine").images) == 3


@pytest.mark.parametrize(("file", "old", "new", "expected"), [
    ("lamps.micro", "wait: grant, if", "wait: grant, point, if", "contention"),
    ("lamps.micro", "        point, copy_out  ", "        copy_out  ", "missing-hold"),
    ("lamps.machine", "signal pulse = write or panel.writes", "signal pulse = write", "reach"),
])
def test_what_its_page_invites_to_try_is_found(starter: Path, tmp_path: Path, file: str, old: str, new: str,
                                               expected: str) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(starter, copy)
    text = (copy / file).read_text()
    assert text.count(old) == 1
    (copy / file).write_text(text.replace(old, new))
    assert expected in names(report_on(copy / "lamps.machine"))


KINDS = {"step": 2, "slices": 6}
"""The other machines to start from, and how many chips they have."""


@pytest.mark.parametrize("kind", KINDS)
def test_the_other_machines_to_start_from_are_proved(kind: str, tmp_path: Path) -> None:
    assert run(["new", "mill", "--quiet", "--kind", kind, "--in", str(tmp_path / "m")]) == 0
    made = tmp_path / "m" / "mill.machine"
    report = report_on(made)
    assert report.findings == () and {row.outcome for row in report.rows} == {"proved"}
    assert len(built(made).images) == KINDS[kind]
    assert "What to change first" in made.read_text() and "starter" not in made.read_text()


@pytest.mark.parametrize(("kind", "file", "old", "new", "expected"), [
    ("step", "machine", "strobe write on late", "strobe write on early", "missing-hold"),
    ("step", "micro", "memory <- acc, last", "memory <- acc, load mar, last", "missing-hold"),
    ("step", "micro", "lamps <- acc, last", "lamps <- acc", "nowhere"),
    ("slices", "micro", "call next_byte                  # a routine may", "call operand  # a", "never"),
    ("slices", "micro", "        add 2 to 1\n        goto fetch\n", "        add 2 to 1\n        if zero goto fetch\n"
     "        goto fetch\n", "never"),
    ("slices", "micro", "        source slices, show 1           # the address stands before the pulse\n", "",
     "missing-hold"),
])
def test_what_their_pages_invite_to_try_is_found(kind: str, file: str, old: str, new: str, expected: str,
                                                 tmp_path: Path) -> None:
    assert run(["new", "mill", "--quiet", "--kind", kind, "--in", str(tmp_path / "m")]) == 0
    path = tmp_path / "m" / f"mill.{file}"
    assert path.read_text().count(old) == 1
    path.write_text(path.read_text().replace(old, new))
    assert expected in names(report_on(tmp_path / "m" / "mill.machine"))


@pytest.mark.parametrize("name", BROKEN)
def test_what_is_broken_on_purpose_is_found_by_name_and_place(name: str) -> None:
    made, report = built(ROOT / name), report_on(ROOT / name)
    found = set()
    for finding in report.findings:
        place = ""
        if finding.trace is not None:
            site = made.contents.sites["control"][finding.trace.cycles[-1].addresses["control"]]
            place = f"{site.owner}.{site.label}" if site.label not in ("", site.owner) else site.owner
        found.add((finding.name, place))
    assert found == BROKEN[name]


def test_every_directory_of_examples_is_looked_at_here() -> None:
    described = {path.parent for path in ROOT.glob("examples/**/*.machine")
                 if path.read_text().lstrip().startswith("machine ") or "\nmachine " in path.read_text()}
    assert described == {(ROOT / name).parent for name in [*SOUND, *BROKEN]}
    for directory in described:
        assert (directory / "README.md").exists() or (directory.parent / "README.md").exists()


# ---------------------------------------------------------------- sizes that the pages name


@pytest.mark.parametrize(("name", "bits", "chips"), [
    ("examples/stepper/carillon.machine", 24, 3),
    ("examples/paired/tideclock.machine", 40, 5),
    ("examples/slices/orrery.machine", 96, 12),
    ("examples/half-clock/mended/barograph.machine", 24, 3),
])
def test_the_control_word_is_as_wide_as_its_page_says(name: str, bits: int, chips: int) -> None:
    machine = built(ROOT / name).machine
    assert machine.stores["control"].bits == bits
    assert sum(any(bank.store == "control" for bank in chip.banks) for chip in machine.chips.values()) == chips


def test_pause_fight_is_one_machine_three_times_but_for_one_field() -> None:
    made = [built(ROOT / f"examples/pause-fight/{which}/flapboard.machine")
            for which in ("broken", "silenced", "mended")]
    assert made[0].machine.fields.keys() == made[1].machine.fields.keys() == made[2].machine.fields.keys()
    fields = made[0].machine.fields
    for other in made[1:]:
        differing = {address: made[0].contents.words["control"][address] ^ word
                     for address, word in enumerate(other.contents.words["control"])
                     if word != made[0].contents.words["control"][address]}
        assert set(differing) == set(made[0].contents.labels["wait"][1])
        (bits,) = differing.values()
        assert sum(bits >> field.low & (1 << field.width) - 1 != 0 for field in fields.values()) == 1
        assert {chip for chip, image in other.images.items() if image != made[0].images[chip]} == {"U2"}


# ---------------------------------------------------------------- what the pages invite to try


def changed(tmp_path: Path, name: str, file: str, old: str, new: str) -> Path:
    """A copy of the example's directory (and of what it shares with others) with one change; the machine file there."""
    machine = ROOT / name
    shared = machine.parent.parent if machine.parent.parent.parent.name == "examples" else machine.parent
    copy = tmp_path / "copy"
    shutil.copytree(shared, copy, ignore=shutil.ignore_patterns("build"))
    target = copy / machine.parent.relative_to(shared) / file
    text = target.read_text()
    assert text.count(old) == 1
    target.write_text(text.replace(old, new))
    return copy / machine.relative_to(shared)


@pytest.mark.parametrize(("name", "file", "old", "new", "expected"), [
    ("examples/refresh/starmap.machine", "starmap.micro", "        lend, if swept goto draw\n",
     "        if swept goto draw\n", "when-then"),
    ("examples/refresh/starmap.machine", "starmap.micro", "        next_star, if last goto sweep\n",
     "        next_star, lend, if last goto sweep\n", "lost-state"),
    ("examples/refresh/starmap.machine", "starmap.micro", "        star_out, x <- memory\n",
     "        star_out, x <- memory, lend\n", "contention"),
    ("examples/two-masters/signalbox.machine", "signalbox.machine", "grant and asked_1 and asked_2",
     "grant and asked_2", "contention"),
    ("examples/two-masters/signalbox.machine", "signalbox.machine",
     "chain and not recorder.asks and not recorder.owns", "chain and recorder.phase is not asking", "turnaround"),
    ("examples/half-clock/mended/barograph.machine", "barograph.machine",
     "data    steady 0 phases before", "data    steady 0 phases before, 1 phase after", "missing-hold"),
    ("examples/half-clock/mended/barograph.machine", "clock.machine",
     "signal stands = settle and panel.stops", "signal stands = panel.stops", "never"),
    ("examples/half-clock/mended/barograph.machine", "barograph.machine",
     "driven by acc    when source is acc and act", "driven by acc    when source is acc", "turnaround"),
    ("examples/half-clock/mended/barograph.machine", "clock.machine", "reset 0, on oscillator", "reset 0", "stuck"),
    ("examples/slices/orrery.machine", "arithmetic.micro", "        double angle, back\n",
     "        call deeper\n        back\nroutine deeper\n        double angle, back\n", "never"),
])
def test_what_a_page_invites_to_try_is_found(tmp_path: Path, name: str, file: str, old: str, new: str,
                                             expected: str) -> None:
    assert expected in names(report_on(changed(tmp_path, name, file, old, new)))
