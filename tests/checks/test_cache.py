"""Kept reports: found again by what they are about, and never in place of another."""

import hashlib
import json
import os
import subprocess
import sys
import time
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import ordain
from ordain.checks import cache as kept
from ordain.checks.cache import key_of, load, store
from ordain.checks.check import Report
from ordain.checks.kept import report_data, report_from, sources_of
from ordain.checks.run import EVERYTHING, Selection, prove
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.prover.model import Limits
from ordain.rom.contents import Contents
from ordain.text.entries import MOST_BYTES, is_there, own_text, prune
from tests.workshop import contents_of

STARTER = Path(ordain.__file__).parent / "starter"
MACHINE = (STARTER / "starter.machine").read_text()
MICRO = (STARTER / "starter.micro").read_text()
ALLOWED = MACHINE + 'allow turnaround on address "short lines"\nallow race "never happens here"\n'
FIGHTS = MICRO.replace("wait: grant, if", "wait: grant, point, if")
"""The pointer drives the address while the panel may have the buses."""
NO_LIMITS = Limits()


@cache
def proved(machine: str, micro: str, limits: Limits = NO_LIMITS) -> tuple[Contents, Report]:
    contents = contents_of(machine, micro)
    system = build_system(contents)
    return contents, prove(contents, lambda asked: decide(system, asked, limits))


def sources(machine: str, micro: str) -> list[tuple[str, str]]:
    return [(name, hashlib.sha256(text.encode()).hexdigest()) for name, text in
            (("m.machine", machine), ("m.micro", micro))]


def key(machine: str = MACHINE, micro: str = MICRO, selection: Selection = EVERYTHING) -> str:
    return key_of(proved(machine, micro)[0], sources(machine, micro), selection)


def the_entry(directory: Path) -> Path:
    [path] = directory.iterdir()
    return path


@pytest.mark.parametrize(("machine", "micro"), [(MACHINE, MICRO), (MACHINE, FIGHTS), (ALLOWED, FIGHTS)])
def test_a_report_comes_back_whole(machine: str, micro: str, tmp_path: Path) -> None:
    contents, report = proved(machine, micro)
    assert bool(report.findings) == (machine is ALLOWED or micro is FIGHTS)
    assert any(row.witness is not None for row in report.rows)
    store(tmp_path / "new", "k", contents, report)
    again = load(tmp_path / "new", "k", contents)
    assert again == report
    assert [list(row.witness.cycles[-1].states) for row in again.rows if row.witness] == [
        list(row.witness.cycles[-1].states) for row in report.rows if row.witness], "the order of what is shown, too"


def test_the_broken_machine_has_a_trace_in_its_report() -> None:
    assert any(finding.trace is not None for finding in proved(MACHINE, FIGHTS)[1].findings)


def test_every_place_of_a_report_is_in_a_source_that_is_known() -> None:
    contents, report = proved(MACHINE, FIGHTS)
    known = sources_of(contents)
    assert sorted(known) == ["m.machine", "m.micro"]
    assert all(known[row.span.source.name] is row.span.source for row in report.rows)


# ---------------------------------------------------------------- the key


def test_the_key_is_the_same_for_the_same_and_another_for_anything_else() -> None:
    contents, _ = proved(MACHINE, MICRO)
    listed = sources(MACHINE, MICRO)
    moved = contents._replace(sites={store: {address + 1: site for address, site in sites.items()}
                                     for store, sites in contents.sites.items()})
    burned = contents._replace(words={store: (words[0] ^ 1, *words[1:]) for store, words in contents.words.items()})
    relabelled, renumbered = (contents._replace(sites={
        store: {address: site._replace(**change) for address, site in sites.items()}
        for store, sites in contents.sites.items()})
        for change in ({"label": "elsewhere"}, {"word": 7}))
    keys = [
        key(),
        key(micro=FIGHTS),
        key(machine=ALLOWED),
        key(micro=MICRO + "# a remark\n"),
        key(selection=Selection(frozenset({"contention"}))),
        key(selection=Selection(frozenset({"contention", "race"}))),
        key(selection=Selection(rule="contention")),
        key_of(moved, listed, EVERYTHING),
        key_of(burned, listed, EVERYTHING),
        key_of(relabelled, listed, EVERYTHING),
        key_of(renumbered, listed, EVERYTHING),
        key_of(contents, listed[:1], EVERYTHING),
        key_of(contents, [*listed, ("constants.machine", "0" * 64)], EVERYTHING),
    ]
    assert len(set(keys)) == len(keys)
    assert key() == keys[0]
    assert key_of(contents_of(MACHINE, MICRO), listed, EVERYTHING) == keys[0]


def test_the_key_depends_on_this_program(monkeypatch: pytest.MonkeyPatch) -> None:
    before = key()
    monkeypatch.setattr(kept, "own_text", lambda: "another")
    assert key() != before


def test_own_text_covers_every_module(tmp_path: Path) -> None:
    """The same digest from the files of a copy, another one when a single byte of one module differs."""
    root = Path(ordain.__file__).parent
    digest = hashlib.sha256()
    for path in sorted(root.rglob("*.py")):
        digest.update(f"{path.relative_to(root).as_posix()} {path.stat().st_size}\n".encode() + path.read_bytes())
    assert own_text.__wrapped__() == digest.hexdigest()


def test_the_key_is_the_same_in_another_process() -> None:
    """Hash randomisation, in particular, must not reach it."""
    code = "from tests.checks.test_cache import key; print(key())"
    root = Path(__file__).parent.parent.parent
    for seed in ("1", "2"):
        said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=root,
                              env={**os.environ, "PYTHONHASHSEED": seed}).stdout
        assert said.strip() == key()


# ---------------------------------------------------------------- never another's


def test_nothing_kept_is_nothing_found(tmp_path: Path) -> None:
    assert load(tmp_path, "k", proved(MACHINE, MICRO)[0]) is None
    assert load(tmp_path / "nowhere", "k", proved(MACHINE, MICRO)[0]) is None


def test_an_entry_under_another_name_is_not_used(tmp_path: Path) -> None:
    sound, report = proved(MACHINE, MICRO)
    store(tmp_path, key(), sound, report)
    broken = key(micro=FIGHTS)
    os.rename(the_entry(tmp_path), tmp_path / f"{broken}.verdicts")
    assert load(tmp_path, broken, proved(MACHINE, FIGHTS)[0]) is None


def test_every_damaged_entry_counts_as_absent_and_is_written_anew(tmp_path: Path) -> None:
    contents, report = proved(MACHINE, MICRO)
    store(tmp_path, "k", contents, report)
    entry = the_entry(tmp_path)
    whole = entry.read_bytes()
    for place in [*range(0, len(whole), 97), len(whole) - 1]:
        for damaged in (whole[:place], whole[:place] + bytes((whole[place] ^ 0x20,)) + whole[place + 1:],
                        whole[:place] + b"x" + whole[place:]):
            entry.write_bytes(damaged)
            assert load(tmp_path, "k", contents) is None
    store(tmp_path, "k", contents, report)
    assert entry.read_bytes() == whole
    assert load(tmp_path, "k", contents) == report


@pytest.mark.parametrize("body", [b"", b"[]", b"{}", b'{"findings": 3}', b"\xff", b"null"])
def test_an_entry_that_is_whole_and_makes_no_sense_counts_as_absent(body: bytes, tmp_path: Path) -> None:
    head = f"ordain verdicts k {hashlib.sha256(body).hexdigest()}\n".encode()
    (tmp_path / "k.verdicts").write_bytes(head + body)
    assert load(tmp_path, "k", proved(MACHINE, MICRO)[0]) is None


@pytest.mark.parametrize(("where", "value"), [
    (("states",), "0"), (("rows", 0, 0, 3), "5"), (("rows", 0, 2), 1.5), (("rows", 0, 0, 6), None),
    (("rows", 0, 3, 1), -1), (("rows", 0, 3, 2), 10 ** 9), (("rows", 0, 3, 1), True), (("findings", 0, 2), ["a"]),
    (("findings", 0, 8, 0, 0, 4, "control"), None), (("findings", 0, 8, 0, 0, 0), {"state": "0"}), (("depth",), None),
    (("executed", "control"), ["0"]), (("rows", 0, 0, 2), "sure"),
    (("findings", 0, 8, 0, 1, 0), {}), (("findings", 0, 8, 0, 1, 2), {}), (("findings", 0, 8, 0, 0, 4, "control"), 1),
    (("findings", 0, 8, 0, 0, 3), ["nothing"]), (("findings", 0, 8, 1), 99), (("findings", 0, 5), [[None, "a"]])])
def test_an_entry_with_a_value_of_another_kind_counts_as_absent(where: tuple[Any, ...], value: Any,
                                                               tmp_path: Path) -> None:
    """Also where its sum is right: somebody, or another program, has changed it."""
    contents, report = proved(MACHINE, FIGHTS)
    store(tmp_path, "k", contents, report)
    body = json.loads((tmp_path / "k.verdicts").read_bytes().partition(b"\n")[2])
    inner = body
    for key_of_part in where[:-1]:
        inner = inner[key_of_part]
    assert inner[where[-1]] != value
    inner[where[-1]] = value
    changed = json.dumps(body).encode()
    head = f"ordain verdicts k {hashlib.sha256(changed).hexdigest()}\n".encode()
    (tmp_path / "k.verdicts").write_bytes(head + changed)
    assert load(tmp_path, "k", contents) is None and is_there(tmp_path, "k")


CRANE = ("""\
machine crane "a crane with a hook and a brake"
microprogram "m.micro"
store control 4 words of 2 bits
    address step
field haul 1 bit
field next 1 bit
state step 2 bits, reset 0
    next step + 1 if next else step
state hook (up, down, loose), reset up
    next loose if haul else hook
input brake (off, on, worn), load 2 bits
bus rope 2 bits, pulled low, turnaround 1
    driven by hook = load when haul and brake is on
    driven by wind when next and not haul, steady while haul
    sampled by drum when haul
store side 2 words of 1 bit
    address haul
    word haul
rule "it hauls"     reach haul and brake is worn
rule "hauled again" when haul then next within 1 cycle
home next
""", "routine work at 0\n        next\n        haul, next\n        next\n        haul\n")
CYCLE = {"states": 0, "monitors": 1, "free": 2, "matters": 3, "addresses": 4, "words": 5, "drivers": 6, "samplers": 7,
         "strobes": 8, "events": 9}


def with_cycle(trace: list[Any], number: int, edits: dict[str, Any]) -> None:
    """One cycle of a trace as data with other values: "part" or "part name" -> value; ... takes the name out."""
    for where, value in edits.items():
        part, _, name = where.partition(" ")
        if not name:
            trace[0][number][CYCLE[part]] = value
        elif value is ...:
            del trace[0][number][CYCLE[part]][name]
        else:
            trace[0][number][CYCLE[part]][name] = value


@pytest.mark.parametrize(("number", "edits", "loop", "whole"), [
    (1, {}, None, True),
    (1, {"states hook": 2}, None, True), (1, {"states hook": 3}, None, False), (1, {"states hook": -1}, None, False),
    (1, {"states step": 77}, None, True), (1, {"states step": -1}, None, False),
    (1, {"free brake": 2}, None, True), (1, {"free brake": 3}, None, False), (1, {"free load": -1}, None, False),
    (1, {"states hook": ...}, None, False), (1, {"states other": 0}, None, False),
    (1, {"monitors other": 0}, None, False),
    (1, {"states hook": ...}, 1, True), (0, {"states hook": ...}, None, False),
    (1, {"free load": ...}, None, False), (1, {"free other": 1}, None, False),
    (1, {"matters": ["brake"]}, None, True), (1, {"matters": ["other"]}, None, False),
    (1, {"words": {}, "addresses": {}}, None, False), (1, {"words control": 1}, None, False),
    (1, {"addresses control": 0, "words control": "first"}, None, True), (1, {"addresses control": 0}, None, False),
    (1, {"addresses control": -1, "words control": "last"}, None, False), (1, {"addresses control": 4}, None, False),
    (1, {"drivers": {}}, None, False), (1, {"samplers": {}}, None, False),
    (1, {"drivers rope": ["wind"]}, None, True), (1, {"drivers other": []}, None, False),
    (1, {"samplers other": []}, None, False), (1, {"strobes": [1]}, None, False), (1, {"events": [1]}, None, False),
    (1, {}, 0, True), (1, {}, 1, True), (1, {}, 2, False), (1, {}, -1, False),
])
def test_a_trace_of_another_machine_counts_as_absent(number: int, edits: dict[str, Any], loop: int | None,
                                                     whole: bool) -> None:
    """Every part of a cycle has the names of the machine, and values that can be shown: a number may be any. Where a
    loop is entered, states may be left out."""
    contents, report = proved(*CRANE)
    data = json.loads(json.dumps(report_data(contents, report)))
    row = next(row for row in data["rows"] if row[0][1] == "it hauls")
    trace = row[1]
    assert len(trace[0]) == 2 and trace[1] is None
    held = contents.words["control"]
    with_cycle(trace, number, {where: {"first": held[0], "last": held[-1]}.get(value, value) if isinstance(value, str)
                               else value for where, value in edits.items()})
    trace[1] = loop
    if whole:
        again = report_from(contents, data)
        assert again.rows[data["rows"].index(row)].witness is not None
    else:
        with pytest.raises((KeyError, IndexError, TypeError, AttributeError, ValueError)):
            report_from(contents, data)


@pytest.mark.parametrize(("span", "whole"), [
    (["m.machine", 0, 5], True), (["m.machine", 5, 5], True), (["m.machine", 6, 5], False),
    (["m.machine", -1, 5], False), (["m.machine", 0, len(CRANE[0])], True),
    (["m.machine", 0, len(CRANE[0]) + 1], False),
    (["m.machine", 0.0, 5], False), (["m.machine", 0, True], False), (["other", 0, 5], False),
    (["m.micro", 0, 5], True),
    (None, False)])
def test_a_place_outside_of_its_source_counts_as_absent(span: Any, whole: bool) -> None:
    contents, report = proved(*CRANE)
    data = json.loads(json.dumps(report_data(contents, report)))
    data["rows"][0][3] = span
    if whole:
        found = report_from(contents, data).rows[0].span
        assert [found.source.name, found.start, found.end] == span
    else:
        with pytest.raises((KeyError, IndexError, TypeError, AttributeError, ValueError)):
            report_from(contents, data)


def test_what_stands_nowhere_comes_back_as_that() -> None:
    """Words of a build that was read from its files have no places in the text."""
    contents, report = proved(MACHINE, FIGHTS)
    nowhere = report._replace(findings=tuple(finding._replace(span=None) for finding in report.findings))
    assert report_from(contents, json.loads(json.dumps(report_data(contents, nowhere)))) == nowhere
    bare = contents._replace(sites={store: {at: site._replace(span=None) for at, site in sites.items()}
                                    for store, sites in contents.sites.items()})
    assert sorted(sources_of(bare)) == ["m.machine"]


def test_what_was_not_decided_is_not_kept(tmp_path: Path) -> None:
    contents, report = proved(MACHINE, MICRO, Limits(states=5))
    assert report.stopped == "states"
    store(tmp_path, "k", contents, report)
    part = proved(MACHINE, MICRO)[1]
    store(tmp_path, "k", contents, part._replace(rows=(*part.rows[1:], part.rows[0]._replace(outcome="undecided"))))
    assert list(tmp_path.iterdir()) == []


def test_a_report_that_would_come_back_otherwise_is_not_kept(tmp_path: Path) -> None:
    contents, report = proved(MACHINE, MICRO)
    odd: Any = {**report.executed, 7: frozenset({1})}
    store(tmp_path, "k", contents, report._replace(executed=odd))
    assert list(tmp_path.iterdir()) == []


# ---------------------------------------------------------------- files


def test_a_directory_that_cannot_be_used_fails_nothing(tmp_path: Path) -> None:
    contents, report = proved(MACHINE, MICRO)
    (tmp_path / "file").write_text("")
    store(tmp_path / "file", "k", contents, report)
    store(tmp_path / "file" / "below", "k", contents, report)
    assert load(tmp_path / "file", "k", contents) is None
    assert (tmp_path / "file").read_text() == ""


def test_two_at_once_leave_one_whole_entry(tmp_path: Path) -> None:
    code = ("import sys; from pathlib import Path; from tests.checks.test_cache import MACHINE, MICRO, proved, store\n"
            "contents, report = proved(MACHINE, MICRO)\n"
            "for _ in range(50): store(Path(sys.argv[1]), 'k', contents, report)")
    root = Path(__file__).parent.parent.parent
    running = [subprocess.Popen([sys.executable, "-c", code, str(tmp_path)], cwd=root) for _ in range(3)]
    contents, report = proved(MACHINE, MICRO)
    while any(process.poll() is None for process in running):
        assert load(tmp_path, "k", contents) in (None, report)
    assert [process.wait() for process in running] == [0, 0, 0]
    assert the_entry(tmp_path).name == "k.verdicts"
    assert load(tmp_path, "k", contents) == report


def entry(directory: Path, name: str, size: int, used: int) -> None:
    (directory / f"{name}.verdicts").write_bytes(b"x" * size)
    os.utime(directory / f"{name}.verdicts", (used, used))


def names(directory: Path) -> list[str]:
    return sorted(path.name for path in directory.iterdir())


def test_what_was_used_longest_ago_goes_first(tmp_path: Path) -> None:
    for number in range(5):
        entry(tmp_path, str(number), 10, 1000 + number)
    prune(tmp_path, 3, MOST_BYTES)
    assert names(tmp_path) == ["2.verdicts", "3.verdicts", "4.verdicts"]
    prune(tmp_path, 3, 20)
    assert names(tmp_path) == ["3.verdicts", "4.verdicts"]
    prune(tmp_path, 0, 0)
    assert names(tmp_path) == []


def test_finding_a_report_counts_as_using_it(tmp_path: Path) -> None:
    contents, report = proved(MACHINE, MICRO)
    store(tmp_path, "k", contents, report)
    os.utime(the_entry(tmp_path), (1000, 1000))
    entry(tmp_path, "newer", 10, 2000)
    assert load(tmp_path, "k", contents) == report
    prune(tmp_path, 1, MOST_BYTES)
    assert names(tmp_path) == ["k.verdicts"]


def test_what_cannot_be_kept_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    contents, report = proved(MACHINE, MICRO)
    monkeypatch.setattr(os, "replace", refuse)
    store(tmp_path, "k", contents, report)
    assert names(tmp_path) == []


def test_pruning_touches_only_what_is_ours_and_what_is_abandoned(tmp_path: Path) -> None:
    others = ["notes.txt", ".hidden", "verdicts", f".{'0' * 64}.x", f".{'3' * 63}.7", f"a.{'3' * 64}.7", ".notes.7"]
    for name in others:
        (tmp_path / name).write_text("mine")
        os.utime(tmp_path / name, (1000, 1000))
    (tmp_path / f".{'0' * 64}.123").write_text("another run is at it")
    (tmp_path / f".{'1' * 64}.124").write_text("killed long ago")
    long_ago = time.time() - 7200
    os.utime(tmp_path / f".{'1' * 64}.124", (long_ago, long_ago))
    prune(tmp_path, 0, 0)
    assert names(tmp_path) == sorted([*others, f".{'0' * 64}.123"])


@pytest.mark.parametrize(("stopped", "undecided", "is_kept"), [
    ("", (), True), ("states", (), False), ("", (0,), False), ("", (-1,), False), ("seconds", (0, 1), False)])
def test_only_of_a_search_that_came_to_its_end_a_report_is_kept(stopped: str, undecided: tuple[int, ...], is_kept: bool,
                                                                tmp_path: Path) -> None:
    contents, report = proved(MACHINE, MICRO)
    rows = list(report.rows)
    for at in undecided:
        rows[at] = rows[at]._replace(outcome="undecided")
    store(tmp_path / "new", "k", contents, report._replace(stopped=stopped, rows=tuple(rows)))
    assert (load(tmp_path / "new", "k", contents) is not None) == is_kept
