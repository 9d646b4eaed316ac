"""The burn ledger: what it means, what becomes of it when a writer is killed, when two write, when it is damaged."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ordain.rom import ledger as module
from ordain.rom.ledger import Burn, Ledger, TornLedger, append, in_sockets, line_of, parse_ledger, read_ledger, repair

CHIPS = st.sampled_from(["U11", "U21", "U22"])
MACHINES = st.sampled_from(["weir", "mill"])
DATES = st.integers(0, 9).map(lambda day: f"2026-03-{day + 1:02}T08:00:00Z")


def burn(chip: str = "U21", sha256: str = "a" * 64, date: str = "2026-03-01T08:00:00Z", machine: str = "weir",
         note: str = "") -> Burn:
    return Burn(chip, sha256, 0xCAFE, 0x12, 256, date, "0" * 40, False, machine, note)


@st.composite
def burns(draw: st.DrawFn) -> Burn:
    return Burn(draw(CHIPS), draw(st.sampled_from("0123456789abcdef")) * 64, draw(st.integers(0, 2**32 - 1)),
                draw(st.integers(0, 2**16 - 1)), draw(st.integers(0, 1 << 20)), draw(DATES), draw(st.text()),
                draw(st.booleans()), draw(MACHINES), draw(st.text()))


def text_of(*entries: Burn) -> bytes:
    return "".join(map(line_of, entries)).encode()


@given(st.lists(burns()))
def test_what_was_written_is_read(entries: list[Burn]) -> None:
    ledger, findings = parse_ledger(text_of(*entries), "l")
    assert list(ledger.burns) == entries
    assert not findings and not ledger.torn


@given(st.lists(burns()), MACHINES)
def test_the_sockets_hold_what_a_plain_dict_says(entries: list[Burn], machine: str) -> None:
    """The dict plays the history in the order of its days; within a day in the order of the lines."""
    sockets: dict[str, Burn] = {}
    for entry in sorted(entries, key=lambda one: one.date):       # Python's sort keeps the order of equal days
        if entry.machine == machine:
            sockets[entry.chip] = entry
    assert in_sockets(entries, machine) == sockets


@given(st.lists(burns(), unique_by=lambda one: (one.chip, one.machine, one.date)), st.randoms())
def test_the_order_of_lines_means_nothing(entries: list[Burn], chance: "st.DrawFn") -> None:
    shuffled = list(entries)
    chance.shuffle(shuffled)    # type: ignore[attr-defined]
    assert in_sockets(shuffled, "weir") == in_sockets(entries, "weir")


@given(st.lists(burns(), min_size=1, max_size=4), st.data())
def test_cut_anywhere_every_whole_line_still_counts(entries: list[Burn], data: st.DataObject) -> None:
    """A writer that is killed leaves a beginning of what it meant to write; for each beginning the records before it
    stand, and nobody is told a record that was never written."""
    whole = text_of(*entries)
    cut = data.draw(st.integers(0, len(whole)))
    ledger, findings = parse_ledger(whole[:cut], "l")
    complete = whole[:cut].count(b"\n")
    ended = whole[:cut].endswith(b"\n") or cut == 0
    unended = not ended and whole[cut:cut + 1] == b"\n"           # only the line end is missing
    assert list(ledger.burns) == entries[:complete + unended]
    assert ledger.torn is not ended
    assert [found.name for found in findings] == ([] if ended else ["torn-ledger"])


def test_a_torn_line_is_told_with_its_place() -> None:
    _, findings = parse_ledger(text_of(burn()) + b'{"chip": "U2', "burned.jsonl")
    assert [(str(found.span), found.name) for found in findings] == [("burned.jsonl:2:10", "torn-ledger")]
    assert "--repair" in findings[0].help


@pytest.mark.parametrize(("line", "column", "why"), [
    (b"<<<<<<< HEAD", 1, "merge"), (b"=======", 1, "merge"), (b">>>>>>> other branch", 1, "merge"),
    (b"||||||| base", 1, "merge"), (b"[1]", 1, "not an object"), (b'{"chip": }', 10, "expecting value"),
    (b'{"chip": "\xff"}', 11, "UTF-8"), (b"{}", 1, "`date` is missing"),
    (b"[" * 100_000 + b"]" * 100_000, 1, "no JSON that anybody would write"),
    (line_of(burn()).replace('"U21"', '"../U21"').encode().rstrip(), 2, "name of a chip"),
    (line_of(burn()).replace('"U21"', "21").encode().rstrip(), 2, "`chip` is not a text"),
    (line_of(burn(sha256="b" * 63)).encode().rstrip(), 17, "64 hexadecimal digits"),
    (line_of(burn()).replace("256,", "true,").encode().rstrip(), 133, "`size` is not a whole number"),
    (line_of(burn(date="2026-02-30T00:00:00Z")).encode().rstrip(), 146, "no day of the calendar"),
])
def test_a_damaged_line_is_told_and_the_others_count(line: bytes, column: int, why: str) -> None:
    before, after = burn("U11"), burn("U22")
    ledger, findings = parse_ledger(text_of(before) + line + b"\n" + text_of(after), "l")
    assert ledger.burns == (before, after)
    assert [(found.name, found.span.line, found.span.column) for found in findings if found.span] == [
        ("damaged-ledger", 2, column)]
    assert [found.span.text for found in findings if found.span] == [line.decode("utf-8", "replace")[column - 1:]]
    assert why in findings[0].message


def test_a_whole_line_without_its_end_is_shown(tmp_path: Path) -> None:
    """And of a ledger that is not there nothing is said."""
    line = line_of(burn()).rstrip()
    _, (finding,) = parse_ledger((line_of(burn("U11")) + line).encode(), "l")
    assert finding.span is not None and finding.span.text == line
    assert read_ledger(tmp_path / "burned.jsonl", "l") == (Ledger((), False), [])


def test_lines_of_windows_and_empty_lines_are_no_damage() -> None:
    ledger, findings = parse_ledger(text_of(burn()).replace(b"\n", b"\r\n\r\n"), "l")
    assert ledger.burns == (burn(),) and not findings


def test_a_record_with_more_than_we_know_still_counts() -> None:
    data = {**json.loads(line_of(burn())), "programmer": "on the bench"}
    assert parse_ledger(json.dumps(data).encode() + b"\n", "l")[0].burns == (burn(),)


def test_no_ledger_is_an_empty_one(tmp_path: Path) -> None:
    assert read_ledger(tmp_path / "none", "none")[0].burns == ()


# ---------------------------------------------------------------- adding


def test_adding_only_adds(tmp_path: Path) -> None:
    path = tmp_path / "l"
    append(path, [burn("U11")], "l")
    before = path.read_bytes()
    append(path, [burn("U21"), burn("U22")], "l")
    assert path.read_bytes() == before + text_of(burn("U21"), burn("U22"))


@pytest.mark.parametrize("rest", [b'{"chip"', line_of(burn()).encode().rstrip()])
def test_nothing_is_added_to_a_torn_line(tmp_path: Path, rest: bytes) -> None:
    path = tmp_path / "l"
    path.write_bytes(text_of(burn()) + rest)
    with pytest.raises(TornLedger):
        append(path, [burn("U22")], "l")
    assert path.read_bytes() == text_of(burn()) + rest


def test_a_full_disk_leaves_the_ledger_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "l"
    append(path, [burn()], "l")
    real = os.write
    monkeypatch.setattr(os, "write", lambda file, data: real(file, data[:20]))
    with pytest.raises(OSError, match="No space"):
        append(path, [burn("U22")], "l")
    assert path.read_bytes() == text_of(burn())


WRITER = """
import os, sys
from pathlib import Path
from ordain.rom.ledger import Burn, append
real, most = os.write, int(sys.argv[2])
def killed(file, data):
    real(file, data[:most])
    os._exit(9)
if most >= 0:
    os.write = killed
for number in range(int(sys.argv[3])):
    burn = Burn(sys.argv[4], "a" * 64, 0, 0, number, "2026-03-01T08:00:00Z", "", False, "weir", "")
    append(Path(sys.argv[1]), [burn], "l")
"""


def writer(path: Path, most: int = -1, times: int = 1, chip: str = "U22") -> "subprocess.Popen[bytes]":
    return subprocess.Popen([sys.executable, "-c", WRITER, str(path), str(most), str(times), chip])


@pytest.mark.parametrize("most", [0, 1, 30, 10_000])
def test_a_writer_killed_in_the_middle_leaves_what_was_there(tmp_path: Path, most: int) -> None:
    path = tmp_path / "l"
    append(path, [burn("U21")], "l")
    assert writer(path, most).wait() == 9
    ledger, findings = read_ledger(path, "l")
    assert [one.chip for one in ledger.burns] == (["U21", "U22"] if most > 1000 else ["U21"])
    assert [found.name for found in findings] == (["torn-ledger"] if most in (1, 30) else [])
    repair(path, tmp_path / "torn")
    append(path, [burn("U11")], "l")
    ledger, findings = read_ledger(path, "l")
    assert ledger.burns[0] == burn("U21") and ledger.burns[-1] == burn("U11") and not findings


def test_two_processes_at_once_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "l"
    both = [writer(path, times=40, chip=chip) for chip in ("U11", "U22")]
    assert [one.wait() for one in both] == [0, 0]
    ledger, findings = read_ledger(path, "l")
    assert not findings
    for chip in ("U11", "U22"):
        assert [one.size for one in ledger.burns if one.chip == chip] == list(range(40))


def test_writing_while_another_repairs_loses_nothing(tmp_path: Path) -> None:
    """A repair puts a new file in the place of the old one; whoever waits for the old one must not write there."""
    path = tmp_path / "l"
    path.write_bytes(b"<<<<<<< mine\n")
    process = writer(path, times=60)
    while process.poll() is None:
        if path.read_bytes().endswith(b"\n"):
            with open(path, "ab", buffering=0) as file:
                file.write(b"=======\n")
        repair(path, tmp_path / "torn")
    repair(path, tmp_path / "torn")
    assert process.returncode == 0
    ledger, findings = read_ledger(path, "l")
    assert [one.size for one in ledger.burns] == list(range(60)) and not findings


# ---------------------------------------------------------------- mending


def test_repair_loses_nothing(tmp_path: Path) -> None:
    path, aside = tmp_path / "l", tmp_path / "torn"
    path.write_bytes(b"<<<<<<< a\n" + text_of(burn("U11")) + b"=======\n" + text_of(burn("U21")) + b">>>>>>> b\n"
                     + b'{"chip": "U2')
    mended = repair(path, aside)
    assert path.read_bytes() == text_of(burn("U11"), burn("U21"))
    assert mended.moved == ("<<<<<<< a", "=======", ">>>>>>> b", '{"chip": "U2') and not mended.ended
    assert aside.read_text().splitlines() == list(mended.moved)


def test_repair_ends_a_whole_last_line(tmp_path: Path) -> None:
    path = tmp_path / "l"
    path.write_bytes(text_of(burn()).rstrip())
    assert repair(path, tmp_path / "torn") == ((), True)
    assert path.read_bytes() == text_of(burn()) and read_ledger(path, "l")[1] == []


def test_repair_of_a_sound_ledger_touches_nothing(tmp_path: Path) -> None:
    path, aside = tmp_path / "l", tmp_path / "torn"
    append(path, [burn()], "l")
    before = os.stat(path)
    assert repair(path, aside) == ((), False)
    assert os.stat(path).st_mtime_ns == before.st_mtime_ns and not aside.exists()


@pytest.mark.parametrize("step", ["replace", "fsync"])
def test_a_repair_that_is_killed_can_be_done_again(tmp_path: Path, step: str, monkeypatch: pytest.MonkeyPatch) -> None:
    path, aside = tmp_path / "l", tmp_path / "torn"
    path.write_bytes(text_of(burn()) + b'{"chip": "U2')

    def die(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch, pytest.raises(KeyboardInterrupt):
        patch.setattr(os, step, die)
        repair(path, aside)
    assert path.read_bytes() == text_of(burn()) + b'{"chip": "U2'
    repair(path, aside)
    assert path.read_bytes() == text_of(burn())
    assert aside.read_text() == '{"chip": "U2\n'


def test_a_record_is_on_the_disk_when_it_is_said_to_be(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file and the name of it; and others may read it as far as they may read any new file."""
    flushed: list[int] = []
    monkeypatch.setattr(os, "fsync", lambda file: flushed.append(os.fstat(file).st_ino))
    path = tmp_path / "burned.jsonl"
    append(path, [burn()], "l")
    assert flushed == [path.stat().st_ino, tmp_path.stat().st_ino]
    (tmp_path / "other").touch()
    assert path.stat().st_mode == (tmp_path / "other").stat().st_mode


def test_what_was_put_in_its_place_while_a_writer_waited_gets_the_record(tmp_path: Path,
                                                                         monkeypatch: pytest.MonkeyPatch) -> None:
    path, fresh = tmp_path / "burned.jsonl", tmp_path / "fresh"
    path.write_bytes(text_of(burn("U11")))
    fresh.write_bytes(text_of(burn("U22")))
    monkeypatch.setattr(module.fcntl, "flock", lambda *_: os.replace(fresh, path) if fresh.exists() else None)
    append(path, [burn()], "l")
    assert path.read_bytes() == text_of(burn("U22"), burn())


def test_where_no_file_can_be_locked_records_are_added(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "fcntl", None)
    append(tmp_path / "burned.jsonl", [burn()], "l")
    assert (tmp_path / "burned.jsonl").read_bytes() == text_of(burn())
