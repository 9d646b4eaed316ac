"""Files of analyzers: what sigrok-cli wrote (tests/capture/sigrok), what pyvcd reads of them, what is no capture."""

import io
import zipfile
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from vcd.reader import TokenKind, tokenize

from ordain.capture.model import BadCapture, Capture
from ordain.capture.read import read_capture
from ordain.capture.timing import clock_at, clocks, seconds

FILES = Path(__file__).parent / "sigrok"
BITS = [line.partition(":")[2].replace(" ", "") for line in (FILES / "d.bits").read_text().splitlines()
        if line[:2] in ("0:", "1:", "2:", "3:", "4:")]
"""What sigrok-cli itself writes of the samples of each channel, as text."""


def levels(capture: Capture, name: str, every: float, count: int, first: float = 0.0) -> str:
    """The level of a channel in the middle of each sample."""
    events, bit = list(capture.events()), capture.channels[name]
    found = []
    for number in range(count):
        time = first + (number + 0.5) * every
        word = next(word for at, word, _ in reversed(events) if at <= time)
        found.append(str(word >> bit & 1))
    return "".join(found)


@pytest.mark.parametrize(("file", "prefix", "every", "first"), [
    ("d.sr", "", 1, 0), ("d.vcd", "libsigrok.", 10_000 / 12, 0), ("d-time.csv", "", 83, 83), ("d-dedup.csv", "", 83,
    83),
    ("d-names-trigger.csv", "", 83, 83)])
def test_one_capture_in_every_format(file: str, prefix: str, every: float, first: float) -> None:
    capture = read_capture(FILES / file)
    assert [levels(capture, f"{prefix}{channel}", every, 48, first) for channel in range(5)] == BITS
    assert list(capture.channels) == [f"{prefix}{channel}" for channel in range(5)]


def test_a_channel_that_was_switched_off_leaves_the_others_where_they_are() -> None:
    capture = read_capture(FILES / "part.sr")
    assert list(capture.channels) == ["0", "3"]
    assert [levels(capture, channel, 1, 48) for channel in ("0", "3")] == [BITS[0], BITS[3]]


def test_times_are_those_of_the_rate() -> None:
    """12 MHz: a sample takes 83.33 ns, the capture 4 us."""
    for file, end in (("d.sr", 48), ("d.vcd", 40_000)):
        capture = read_capture(FILES / file)
        assert max(time for time, _, _ in capture.events()) == end
        assert seconds(capture, end) == "4 us"


def test_the_odd_dump_is_read_as_another_reader_reads_it() -> None:
    """pyvcd (MIT), a reader of IEEE 1364 that shares no code with ours: the last value of each signal at each time."""
    expected: dict[int, dict[str, object]] = {}
    now, off, values, names = 0, False, dict[str, object](), dict[str, str]()
    for token in tokenize(io.BytesIO((FILES / "odd.vcd").read_bytes())):
        if token.kind is TokenKind.VAR and token.var.type_.name != "real":
            names[token.var.id_code] = token.var.reference
        elif token.kind is TokenKind.CHANGE_TIME:
            now = token.time_change
        elif token.kind is TokenKind.DUMPOFF:
            off = True
        elif token.kind is TokenKind.DUMPON:
            off = False
        elif token.kind is TokenKind.CHANGE_SCALAR:
            values[names[token.scalar_change.id_code]] = token.scalar_change.value
        elif token.kind is TokenKind.CHANGE_VECTOR:
            values[names[token.vector_change.id_code]] = token.vector_change.value
        if now:
            expected[now] = {} if off else dict(values)
    capture = read_capture(FILES / "odd.vcd")
    found = {time: (word, unknown) for time, word, unknown in capture.events()}
    assert set(found) == set(expected) == {5, 7, 9}
    assert found[7][1] == (1 << 9) - 1 and not expected[7]
    for time in (5, 9):
        word, unknown = found[time]
        clock = capture.channels["top.clk"]
        assert str(word >> clock & 1) == expected[time]["clk"]
        bus = "".join("?" if unknown >> capture.channels[f"top.bus[{bit}]"] & 1 else
                      str(word >> capture.channels[f"top.bus[{bit}]"] & 1) for bit in (2, 1, 0))
        assert bus == "01?" and expected[time]["bus"] in ("1z", "1Z")


@pytest.mark.parametrize(("text", "channels", "events"), [
    ("Time(s), a, b\n0,0,1\n0.000001,1,1\n0.0000025,0,0\n", ["a", "b"],
     [(0, 2, 0), (10, 3, 0), (25, 0, 0), (25, 0, 0)]),
    ("0;1;0\n1;0;1\n2;1;1\n3;1;1\n", ["0", "1"], [(0, 1, 0), (1, 2, 0), (2, 3, 0), (3, 3, 0), (3, 3, 0)]),
    ("Time [s];a;b\n0,000001;1;0\n0,000002;0;1\n0,000003;0;x\n", ["a", "b"],
     [(1, 1, 0), (2, 2, 0), (3, 0, 2), (3, 0, 2)]),
    ("a,b\n1,0\n1,0\n0,1\n", ["a", "b"], [(0, 1, 0), (1, 1, 0), (2, 2, 0), (3, 2, 0)]),
    ("1,0\n1,0\n0,1\n", ["0", "1"], [(0, 1, 0), (1, 1, 0), (2, 2, 0), (3, 2, 0)]),
    ("sample,data[7:4],wr\n0,F,1\n1,0x3,0\n5,ah,1\n", ["data[4]", "data[5]", "data[6]", "data[7]", "wr"],
     [(0, 0x1F, 0), (1, 3, 0), (5, 0x1A, 0), (5, 0x1A, 0)]),
    ("time,upc\n0,00\n10,1F\n", [f"upc[{bit}]" for bit in range(8)], [(0, 0, 0), (10, 0x1F, 0), (10, 0x1F, 0)]),
    ('"Time[s]","Channel 0"\n-0.5,0\n0.5,1\n', ["Channel 0"], [(-5, 0, 0), (5, 1, 0), (5, 1, 0)]),
    ("; Samplerate: 2 MHz\n; Channels (2/4): x, y\nlogic,logic\n1,0\n0,0\n", ["x", "y"],
     [(0, 1, 0), (1, 0, 0), (2, 0, 0)]),
    ("; Samplerate: 2 mhz\n; Channels (2/4): x, y\nlogic,logic\n1,0\n0,0\n", ["x", "y"],
     [(0, 1, 0), (1, 0, 0), (2, 0, 0)]),
    ('"TIME [\u00b5\u017f]","a"\n0,0\n5,1\n', ["a"], [(0, 0, 0), (5, 1, 0), (5, 1, 0)]),
    ("t\ta\n1.25e-06\t1\n2e-06\t0\n", ["a"], [(125, 1, 0), (200, 0, 0), (200, 0, 0)]),
    ("data[3:0]\n0101\n1111\n", [f"data[{bit}]" for bit in range(4)], [(0, 5, 0), (1, 15, 0), (2, 15, 0)])])
def test_rows(tmp_path: Path, text: str, channels: list[str], events: list[tuple[int, int, int]]) -> None:
    (tmp_path / "c.csv").write_text(text)
    capture = read_capture(tmp_path / "c.csv")
    assert list(capture.channels) == channels
    assert list(capture.events()) == events


def test_time_without_a_time_column_is_that_of_the_rate(tmp_path: Path) -> None:
    (tmp_path / "c.csv").write_text("; Samplerate: 2 MHz\na\n1\n0\n")
    assert seconds(read_capture(tmp_path / "c.csv"), 3) == "1.5 us"


def test_an_archive_out_of_which_a_part_is_cut_is_broken(tmp_path: Path) -> None:
    """What it holds then would stand before its beginning: the system calls that an invalid argument."""
    data = (Path(__file__).parent / "sigrok" / "d.sr").read_bytes()
    (tmp_path / "c.sr").write_bytes(data[:60] + data[120:])
    with pytest.raises(BadCapture, match="the archive is broken"):
        read_capture(tmp_path / "c.sr")


@pytest.mark.parametrize(("content", "says"), [
    (b"", "empty"), (b"\x00\x01\x02" * 100, "binary"), (b"PK\x03\x04 and rubbish", "the archive is broken"),
    (b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "binary"), (b"hello world\nthis is a letter\n", "neither a level"),
    (b"a,b\n", "no rows below"), (b";only\n;comments\n", "no rows"), (b"a,b\n1,0\n1\n", "1 columns where there are 2"),
    (b"time,a\n2,1\n1,0\n", "time goes back"), (b"time,a\n0,3.3\n1,0.1\n", "neither a level"),
    (b"a,a\n1,0\n", "two columns are called"), (b"$timescale 1 ns\n", "`$enddefinitions`"),
    (b"$timescale 3 ns $end $var wire 1 ! a $end $enddefinitions $end\n#0\n", "no timescale"),
    (b"$var wire 1 ! a $end $enddefinitions $end\n#5 1!\n#3 0!\n", "time goes back"),
    (b"$var wire 1 ! a $end $enddefinitions $end\n", "nothing was captured"),
    (b"$var wire x ! a $end $enddefinitions $end\n", "`$var`"),
    (b"$var wire 99999 ! a $end $enddefinitions $end\n#0\n", "more than"),
    (b"$var wire 1 ! a $end $enddefinitions $end\n#99999999999999999999999999999999999999\n", "is no time"),
    ("$var wire 1 ! a $end $enddefinitions $end\n#1\u00b2\n".encode("latin1"), "is no time"),
    (b"$var wire 1 ! a $end $enddefinitions $end\n#0 hello\n", "no change"),
    (b"$var wire 8 ! a $end $enddefinitions $end\n#0 b01", "without an identifier"),
    (b"$var wire 8 ! a $end $enddefinitions $end\n#0 b !\n", "without digits"),
    (b"time,a\n1e999999999,1\n2,0\n3,1\n", "no time"), (b"time,a\n" + b"9" * 400 + b",1\n2,0\n", "no time")])
def test_what_is_no_capture_says_so(tmp_path: Path, content: bytes, says: str) -> None:
    (tmp_path / "c").write_bytes(content)
    with pytest.raises(BadCapture) as bad:
        list(read_capture(tmp_path / "c").events())
    assert says in bad.value.message and bad.value.help


def session(**changed: str) -> bytes:
    said = {"capturefile": "logic-1", "total probes": "2", "samplerate": "1 MHz", "probe1": "a", "probe2": "b",
            "unitsize": "1", **changed}
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        archive.writestr("metadata", "[device 1]\n" + "".join(f"{key}={value}\n" for key,
            value in said.items() if value))
        for number in (1, 2, 10):
            archive.writestr(f"logic-1-{number}", bytes([number & 3] * 4))
    return data.getvalue()


def test_pieces_of_a_session_are_in_the_order_of_their_numbers(tmp_path: Path) -> None:
    (tmp_path / "c.sr").write_bytes(session())
    assert list(read_capture(tmp_path / "c.sr").events()) == [(0, 1, 0), (4, 2, 0), (12, 2, 0)]


@pytest.mark.parametrize(("changed", "says"), [
    ({"unitsize": "3"}, "within a sample"), ({"unitsize": "0"}, "samples of 0 bytes"), ({"unitsize": "99999"}, "bytes"),
    ({"probe1": "", "probe2": ""}, "no logic channel"), ({"capturefile": "other"}, "no samples")])
def test_a_session_that_is_wrong_says_so(tmp_path: Path, changed: dict[str, str], says: str) -> None:
    (tmp_path / "c.sr").write_bytes(session(**changed))
    with pytest.raises(BadCapture) as bad:
        list(read_capture(tmp_path / "c.sr").events())
    assert says in bad.value.message


@settings(max_examples=200)
@given(st.sampled_from(sorted(FILES.iterdir())), st.integers(0, 1 << 32), st.integers(0, 4000))
def test_a_broken_file_is_read_or_refused(tmp_path_factory: pytest.TempPathFactory, file: Path, seed: int,
                                          size: int) -> None:
    """Cut anywhere, with some bytes changed: a capture or a message, and nothing else."""
    random, data = Random(seed), bytearray(file.read_bytes()[:size])
    for _ in range(random.randrange(4)):
        if data:
            data[random.randrange(len(data))] = random.randrange(256)
    path = tmp_path_factory.mktemp("broken") / "c"
    path.write_bytes(data)
    try:
        capture = read_capture(path)
        list(capture.events())
        clocks(capture, ())
    except BadCapture as bad:
        assert bad.message and bad.help


def test_the_clock_is_the_fastest_regular_channel() -> None:
    capture = read_capture(FILES / "d.sr")
    found = clocks(capture, ())
    assert [(clock.channel, clock.period) for clock in found] == [(0, 6)]
    assert clocks(capture, (0,)) == []
    second = clock_at(capture, 1)
    assert second is not None and second.period == 12
    assert clock_at(capture, 4) is None
