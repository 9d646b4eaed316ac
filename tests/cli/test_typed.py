"""Lamps read by hand, clock by clock, in place of a capture: by hand, on the ring of `test_command`."""

import json
from pathlib import Path

import pytest

from ordain.cli.main import run as command
from ordain.follow.model import Apart, Looked
from ordain.show.diagnosis import diagnosis_data
from tests.follow.test_command import MACHINE, MICRO

PANEL = '''
lamps "upper row"
    shows upc, blank, cut
lamps "lower row", active low
    shows turn, key
state held (low, high), reset low
    next high if key else low
'''


@pytest.fixture(autouse=True)
def lathe(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "lathe.machine").write_text(MACHINE + PANEL)
    (tmp_path / "lathe.micro").write_text(MICRO)
    monkeypatch.chdir(tmp_path)


def told(capsys: pytest.CaptureFixture[str], name: str, *seen: str) -> tuple[int, str]:
    status = command([name, *(part for text in seen for part in ("--seen", text))])
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err and "own-fault" not in out + err
    return status, out + err


@pytest.mark.parametrize(("clocks", "explained"), [
    (["0: cut=1", "1: cut=0", "2:", "4:"], 4),
    (["0: cut=1", "1: cut=0", "2:", "5:"], 3),
    (["0: cut=1", "1: cut=1", "2:", "4:"], 1),
    (["0", "1"], -1),
    (["0: turn=1", "1: turn=0", "2: turn=1"], 3),                       # active low: the line is low
    (["0: turn=1", "1: turn=1", "2: turn=1"], 1),
    (["0: not turn=0", "1: not turn=1"], 2),
    (["0: branch=step", "1: branch=0", "2: branch=asked", "4: branch=jump"], 4),
    (["0: branch=step", "1: branch=0", "2: branch=0b1x", "4: branch=0b0x"], 4),
    (["0: branch=step", "1: branch=0", "2: branch=0b1x", "4: branch=0b1x"], 3),
    (["2: key=1", "4: held=high", "0:"], 3),
    (["2: key=1", "4: held=low", "0:"], 1),
    (["2: key=0", "4:"], 1),
    (["upc[0]=1", "upc[1]=1,upc[0]=0", "upc=3"], 3),
    (['"upper row"=0001', '"upper row"=0010', '"upper row"=01x0'], 3),
    (['"upper row"=0001', '"upper row"=..*.', '"upper row"=1000 key=1'], 2),
    (['"lower row"=0x', '"lower row"=10', '"lower row"=01'], 3),        # lit while the line is low
    (['"lower row"=0x', '"lower row"=10', '"lower row"=11'], 2),
    (["0:\n1:\n\n2: key=1\n4:"], 4),
])
def test_what_the_lamps_show(clocks: list[str], explained: int, capsys: pytest.CaptureFixture[str]) -> None:
    status, text = told(capsys, "follow", *clocks)
    if explained < 0:
        assert status == 2
        return
    count = sum(len([line for line in clock.splitlines() if line]) for clock in clocks)
    assert f"as typed: {explained} clock{'s' if explained != 1 else ''} explained" in text
    assert status == int(explained < count)
    assert "every sample" not in text and " time " not in text and ", at " not in text


def test_codes_of_a_field_that_is_active_low(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """`step` is 0 as it is meant, 3 as it stands on the lines."""
    (tmp_path / "lathe.machine").write_text(MACHINE.replace("field branch 2 bits", "field branch 2 bits, active low"))
    assert "2 clocks explained, all" in told(capsys, "follow", "0: branch=step", "1: branch=3")[1]
    assert "0 clocks explained" in told(capsys, "follow", "0: branch=0")[1]


@pytest.mark.parametrize(("text", "message"), [
    ("feet=1", "nothing of lathe is called `feet`. Did you mean `feed`?"),
    ("9: cut=1", "`control` has the addresses 0 to 7"),
    ("cut", "`cut` is not understood: write ADDRESS: NAME=VALUE"),
    ("cut=2", "`cut` has 1 bit, and 2 does not fit"),
    ("upc=8", "`upc` has 3 bits, and 8 does not fit"),
    ("branch=stop", "`stop` is no value of `branch`: write it in hexadecimal, or as 0b101x with an x for what was not "
                    "read, or one of step, jump, asked"),
    ("upc[3]=1", "`upc` has the bits 0 to 2"),
    ("0: upc=1, upc[0]=0", "`upc[0]` is 0 and 1 at once"),
    ('"middle row"=1', 'no lamps "middle row"; there are: "upper row", "lower row"'),
    ('"upper row"=1', 'the row "upper row" has 4 lamps, and `1` is not so many of 1, 0 and x'),
    ("", "no whole clock"),
])
def test_what_cannot_be_typed(text: str, message: str, capsys: pytest.CaptureFixture[str]) -> None:
    status, said = told(capsys, "follow", text)
    assert status == 2 and message in " ".join(said.split())


def test_it_is_a_file_or_typed(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert command(["follow"]) == 2
    assert command(["follow", "a.sr", "--seen", "0:"]) == 2
    assert command(["diagnose", "--seen", "0:", "--clip", "D0=cut"]) == 2
    said = capsys.readouterr().err
    assert "not both" in said and "--clip is about the file of an analyzer" in said


def test_a_fault_found_from_lamps(capsys: pytest.CaptureFixture[str]) -> None:
    """The second bit of the counter stays at 0: after word 1 comes word 0."""
    status, text = told(capsys, "diagnose", "0:", "1:", "0:", "1:", "0:")
    assert status == 1 and "upc[1] stays at 0" in text
    assert told(capsys, "diagnose", "0:", "1:", "2:")[0] == 0


def test_a_diagnosis_as_data(capsys: pytest.CaptureFixture[str]) -> None:
    seen = [part for text in ("0:", "1:", "0:", "1:", "0:") for part in ("--seen", text)]
    assert command(["diagnose", *seen, "--format", "json"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert (data["command"], data["clocks"], data["sound"], data["status"]) == ("diagnose", 5, 2, 1)
    whole = [one for one in data["suspects"] if one["clocks"] == 5]
    assert {"kind": "state", "text": "upc[1] stays at 0"} in [fault for one in whole for fault in one["faults"]]
    assert set(data["apart"]["ones"] + data["apart"]["zeros"]) <= set(range(len(whole)))
    assert command(["diagnose", "--seen", "4:", *seen, "--skip", "1", "--format", "json"]) == 1
    later = json.loads(capsys.readouterr().out)["apart"]
    first = data["apart"]
    assert first is not None and later == {**first, "clock": first["clock"] + 1, "then": [
        {**one, "clock": one["clock"] + 1} for one in first["then"]]}
    looked = Looked(Apart("cut", 3, None, (0,), (1,)), (), True, 2)
    assert diagnosis_data([], 5, 2, 9, looked, 1)["apart"] == {
        "line": "cut", "clock": 4, "address": None, "ones": (0,), "zeros": (1,), "given": {}, "after": False,
        "steps": 0, "values": [], "then": []}
    assert command(["diagnose", *seen[:4], "--format", "json"]) == 0
    assert json.loads(capsys.readouterr().out)["suspects"] == []
