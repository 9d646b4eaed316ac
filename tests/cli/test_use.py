"""Every command as it is used: what it says, to whom, and with which exit status."""

import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from ordain.checks.catalogue import names
from ordain.cli.main import run
from tests.cli.shell import COMMAND, STARTER, call, change, environment, write_starter

FIGHT = ("wait: grant, if", "wait: grant, point, if")
"""The pointer drives the address while the panel may have the buses."""


@pytest.fixture
def lamp(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A directory with a small machine, where we are."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    for name in ("NO_COLOR", "FORCE_COLOR", "SOURCE_DATE_EPOCH"):
        monkeypatch.delenv(name, raising=False)
    return write_starter(tmp_path).parent


@pytest.fixture
def fight(lamp: Path) -> Path:
    change(lamp / "lamp.micro", *FIGHT)
    return lamp


Captured = pytest.CaptureFixture[str]


def ended(capsys: Captured, *arguments: str) -> tuple[int, str, str]:
    """Status, standard output, standard error of a run in this process."""
    status = run(list(arguments))
    said = capsys.readouterr()
    return status, said.out, said.err


# ---------------------------------------------------------------- new


def test_what_new_writes_builds_and_proves_as_it_says(tmp_path: Path) -> None:
    made = call(tmp_path, "new", "mill")
    assert (made.returncode, made.stderr) == (0, "")
    *wrote, following = made.stdout.splitlines()
    assert wrote == [f"wrote mill/{name}" for name in ("README.md", "mill.machine", "mill.micro")]
    assert following == "next: cd mill && ordain build && ordain prove"
    commands = following.removeprefix("next: ")
    result = subprocess.run(["bash", "-c", commands], cwd=tmp_path, text=True, capture_output=True, check=False,
                            env=environment(tmp_path, PATH=f"{COMMAND.parent}:{os.environ['PATH']}"))
    assert (result.returncode, result.stderr) == (0, "")
    assert not any("starter" in (tmp_path / "mill" / name).read_text() for name in ("mill.machine", "mill.micro"))


@pytest.mark.parametrize("name", ["Mill", "1mill", "my mill", "a/b", "", "-x"])
def test_new_refuses_what_cannot_be_a_name(name: str, lamp: Path, capsys: Captured) -> None:
    status, out, err = ended(capsys, "new", "--", name)
    assert (status, out) == (2, "")
    assert "is no name for a machine" in err
    assert not (lamp / name).exists() or not name


def test_new_writes_over_nothing(lamp: Path, capsys: Captured) -> None:
    before = (lamp / "lamp.machine").read_bytes()
    status, _, err = ended(capsys, "new", "lamp", "--in", ".")
    assert status == 2
    assert "is not an empty directory; nothing was written" in err
    assert (lamp / "lamp.machine").read_bytes() == before
    assert ended(capsys, "new", "lamp", "--in", "lamp.machine")[0] == 2


@pytest.mark.parametrize("name", ["machine", "store", "routine", "at", "when", "rule", "step", "never"])
def test_a_word_of_the_language_may_be_the_name(name: str, lamp: Path, capsys: Captured) -> None:
    assert ended(capsys, "new", name, "--format", "json")[0] == 0
    assert ended(capsys, "build", name)[0] == 0


# ---------------------------------------------------------------- build


def test_build_says_what_it_wrote(lamp: Path, capsys: Captured) -> None:
    status, out, err = ended(capsys, "build")
    assert (status, err) == (0, "")
    words = len(re.findall(r"^        \w|^  \w+:", (lamp / "lamp.micro").read_text(), re.MULTILINE))
    assert out.splitlines() == [f"lamp: {words} words of control; 3 images read back and compared",
                                "wrote 6 files to build/"]
    assert sorted(path.name for path in (lamp / "build").iterdir()) == [
        "U1.bin", "U2.bin", "U3.bin", "labels.svg", "lamp.json", "lamp.lst"]


def test_build_as_json_lists_the_files(lamp: Path, capsys: Captured) -> None:
    status, out, _ = ended(capsys, "build", "--format", "json", "--also", "hex", "--out", "there")
    data = json.loads(out)
    assert (status, data["status"], data["findings"], data["out"]) == (0, 0, [], "there")
    assert data["files"] == sorted(path.name for path in (lamp / "there").iterdir())
    assert "U1.hex" in data["files"]


def test_a_mistake_in_the_text_is_status_1_and_nothing_is_written(lamp: Path, capsys: Captured) -> None:
    change(lamp / "lamp.micro", "goto lend", "goto land")
    status, out, err = ended(capsys, "build")
    assert (status, err) == (1, "")
    assert re.search(r"^error\[[a-z-]+\]: .*`land`", out, re.MULTILINE)
    assert re.search(r"^ *--> lamp\.micro:\d+:\d+$", out, re.MULTILINE)
    assert out.splitlines()[-2:] == ["1 error", "nothing was written"]
    assert not (lamp / "build").exists()


def test_an_earlier_build_stays_when_there_is_an_error(lamp: Path, capsys: Captured) -> None:
    run(["build"])
    before = {path.name: path.read_bytes() for path in (lamp / "build").iterdir()}
    change(lamp / "lamp.micro", "goto lend", "goto land")
    capsys.readouterr()
    assert ended(capsys, "build")[1].splitlines()[-1] == "nothing was written; the earlier build is as it was"
    assert {path.name: path.read_bytes() for path in (lamp / "build").iterdir()} == before


def test_places_are_named_from_where_we_are(lamp: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured) -> None:
    change(lamp / "lamp.micro", "goto lend", "goto land")
    (lamp / "here").mkdir()
    os.rename(lamp / "lamp.machine", lamp / "here" / "lamp.machine")
    os.rename(lamp / "lamp.micro", lamp / "here" / "lamp.micro")
    assert " --> here/lamp.micro:" in ended(capsys, "build", "here/lamp.machine")[1]
    assert " --> here/lamp.micro:" in ended(capsys, "build", str(lamp / "here"))[1]
    log = json.loads(ended(capsys, "build", "here", "--format", "sarif")[1])
    [result] = log["runs"][0]["results"]
    assert result["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] == "here/lamp.micro"
    assert ",line=" in ended(capsys, "build", "here", "--format", "github")[1].partition("file=here/lamp.micro")[2]
    (lamp / "elsewhere").mkdir()
    monkeypatch.chdir(lamp / "elsewhere")
    assert " --> lamp.micro:" in ended(capsys, "build", "../here")[1], "no path that leads up or is absolute"


def test_out_that_cannot_be_written_is_status_2(lamp: Path, capsys: Captured) -> None:
    (lamp / "file").write_text("mine")
    (lamp / "full").mkdir()
    (lamp / "full" / "notes.txt").write_text("mine")
    for place, said in (("file", "is a file, not a directory"), ("full", "holds files and no earlier build"),
                        ("file/below", "File exists"), ("/proc/nowhere", "")):
        status, out, err = ended(capsys, "build", "--out", place)
        assert (status, out) == (2, "")
        assert err.startswith("error: ") and said in err
    assert (lamp / "file").read_text() == (lamp / "full" / "notes.txt").read_text() == "mine"


# ---------------------------------------------------------------- which machine


def test_no_machine_here(tmp_path: Path) -> None:
    result = call(tmp_path, "prove")
    assert (result.returncode, result.stdout) == (2, "")
    assert "no *.machine file in this directory; name one, or start with `ordain new NAME`" in result.stderr


def test_two_machines_here(lamp: Path, capsys: Captured) -> None:
    write_starter(lamp, "mill")
    status, _, err = ended(capsys, "build")
    assert status == 2
    assert "more than one machine in this directory (lamp.machine, mill.machine); name the one that is meant" in err
    assert ended(capsys, "build", "mill.machine")[0] == 0


def test_an_included_part_is_no_second_machine(lamp: Path, capsys: Captured) -> None:
    (lamp / "part.machine").write_text("constant top = 15\n")
    with (lamp / "lamp.machine").open("a") as file:
        file.write('include "part.machine"\n')
    assert ended(capsys, "build")[0] == 0


@pytest.mark.parametrize(("made", "status", "name"), [
    (None, 2, "missing-file"), (b"\x7fELF\0\0", 1, "binary-file"), (b"machine \xff\n", 1, "not-utf-8"),
    (b"", 1, "no-machine"), (b"x" * 20_000, 1, "line-too-long"),
])
@pytest.mark.parametrize("command", ["build", "prove"])
def test_files_that_are_no_machine(command: str, made: bytes | None, status: int, name: str, lamp: Path,
                                   capsys: Captured) -> None:
    if made is not None:
        (lamp / "odd.machine").write_bytes(made)
    got, out, _ = ended(capsys, command, "odd.machine")
    assert got == status
    assert f"error[{name}]" in out
    data = json.loads(ended(capsys, command, "odd.machine", "--format", "json")[1])
    assert (data["status"], [finding["name"] for finding in data["findings"]]) == (status, [name])


def test_a_directory_without_a_machine_and_a_pipe(lamp: Path, capsys: Captured) -> None:
    (lamp / "empty").mkdir()
    status, _, err = ended(capsys, "build", "empty")
    assert status == 2 and "no *.machine file in `empty`" in err
    os.mkfifo(lamp / "pipe.machine")
    status, out, _ = ended(capsys, "build", "pipe.machine")
    assert status == 2 and "error[not-a-file]" in out


def test_a_file_that_may_not_be_read(lamp: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch) -> None:
    """Refused by the system call itself: root, as which some test runs go, may read everything."""
    import builtins

    opened = builtins.open

    def refuse(file: Any, *more: Any, **options: Any) -> Any:
        if str(file).endswith("lamp.micro"):
            raise PermissionError(13, "Permission denied", str(file))
        return opened(file, *more, **options)

    monkeypatch.setattr(builtins, "open", refuse)
    status, out, _ = ended(capsys, "build")
    assert status == 2 and "error[unreadable-file]: `lamp.micro` cannot be read: permission denied" in out


# ---------------------------------------------------------------- prove


def test_a_sound_machine_is_proved(lamp: Path, capsys: Captured) -> None:
    status, out, err = ended(capsys, "prove")
    assert (status, err) == (0, "")
    lines = out.splitlines()
    assert re.fullmatch(r"lamp: all \d+ questions proved \(\d+ checks, \d+ rules\) over .* cycles deep", lines[0])
    assert lines[1].startswith("longest wait: ") and len(lines) == 2
    assert ended(capsys, "prove")[1].splitlines()[0] == f"{lines[0]} (kept from an earlier run; --no-cache proves anew)"
    assert ended(capsys, "prove", "--quiet")[:2] == (0, "")


def test_with_all_every_verdict_is_said_in_words_that_say_what_is_meant(lamp: Path, capsys: Captured) -> None:
    """A check is proved when its fault never happens; a rule is proved when it holds."""
    lines = ended(capsys, "prove", "--all")[1].splitlines()
    assert any(re.match(r"never happens +contention +address$", line) for line in lines)
    assert any(re.match(r"proved +when-then +the lamps go on +worst case", line) for line in lines)
    assert not any(re.match(r"proved +contention", line) for line in lines)


def test_a_fight_is_found_with_its_sequence(fight: Path, capsys: Captured) -> None:
    status, out, _ = ended(capsys, "prove")
    assert status == 1
    assert "error[contention]: two drivers share bus `address` at `lend.wait` (0x" in out
    assert "pointer AND panel drive address" in out
    quiet = ended(capsys, "prove", "--quiet")
    assert quiet[0] == 1 and quiet[1].startswith("error[contention]") and "questions" not in quiet[1]


def test_the_answer_stands_first_and_last_and_one_cause_is_one_finding(fight: Path, capsys: Captured) -> None:
    lines = ended(capsys, "prove")[1].splitlines()
    assert re.match(r"lamp: 1 fault; 4 of \d+ questions broken over ", lines[0])
    assert lines[-1] == lines[0]
    assert [line for line in lines if line.startswith("error[")] == [
        "error[contention]: two drivers share bus `address` at `lend.wait` (0x0A): `pointer` and `panel`"]
    [at] = [index for index, line in enumerate(lines) if "the same sequence also breaks" in line]
    assert "never: the rule" in lines[at + 1]
    every = ended(capsys, "prove", "--all")[1]
    assert re.findall(r"^error\[([a-z-]+)\]", every, re.MULTILINE)[0] == "contention"
    assert every.count("how to get there") > 1


def test_the_trace_is_drawn_when_asked(fight: Path, capsys: Captured) -> None:
    out = ended(capsys, "prove", "--only", "contention", "--diagram")[1]
    assert "!! pointer + panel !!" in out
    assert "!!" not in ended(capsys, "prove", "--only", "contention")[1]


def test_json_agrees_with_the_text(fight: Path, capsys: Captured) -> None:
    data = json.loads(ended(capsys, "prove", "--format", "json")[1])
    assert (data["command"], data["status"], data["machine"], data["stopped"]) == ("prove", 1, "lamp", None)
    out = ended(capsys, "prove", "--all")[1]
    assert [finding["name"] for finding in data["findings"]] == re.findall(r"^error\[([a-z-]+)\]", out, re.MULTILINE)
    last = data["findings"][0]["trace"]["cycles"][-1]
    assert last["drivers"]["address"] == ["pointer", "panel"]
    broken = {row["check"] for row in data["verdicts"] if row["outcome"] == "broken"}
    assert {"contention", "never"} <= broken


def test_sarif_of_a_real_proof_is_valid_and_has_the_sequence(fight: Path, capsys: Captured) -> None:
    schema = json.loads((Path(__file__).parent.parent / "reference" / "sarif-2.1.0.schema.json").read_text())
    status, out, _ = ended(capsys, "prove", "--format", "sarif")
    log = json.loads(out)
    jsonschema.Draft4Validator(schema).validate(log)
    assert status == 1
    result = next(one for one in log["runs"][0]["results"] if one["ruleId"] == "contention")
    steps = result["codeFlows"][0]["threadFlows"][0]["locations"]
    place = result["locations"][0]["physicalLocation"]
    assert steps[-1]["location"]["physicalLocation"] == place
    assert "pointer AND panel drive address" in steps[-1]["location"]["message"]["text"]


def test_annotations_of_a_real_proof(fight: Path, capsys: Captured) -> None:
    lines = ended(capsys, "prove", "--format", "github")[1].splitlines()
    line = (fight / "lamp.micro").read_text()[:(fight / "lamp.micro").read_text().index("wait: grant")].count("\n") + 1
    assert any(text.startswith(f"::error file=lamp.micro,line={line},") and "[contention]" in text for text in lines)


def test_a_limit_gives_status_3_in_every_format_unless_something_was_found(lamp: Path, capsys: Captured) -> None:
    few = ("--limit-states", "5")
    status, out, _ = ended(capsys, "prove", *few)
    assert status == 3 and "undecided, stopped at the limit of states" in out
    assert json.loads(ended(capsys, "prove", *few, "--format", "json")[1])["stopped"] == "states"
    status, out, _ = ended(capsys, "prove", *few, "--format", "sarif")
    assert status == 3
    assert {one["kind"] for one in json.loads(out)["runs"][0]["results"]} == {"open"}
    status, out, _ = ended(capsys, "prove", *few, "--format", "github")
    assert status == 3 and "::warning" in out and "undecided: " in out
    change(lamp / "lamp.micro", *FIGHT)
    assert ended(capsys, "prove", *few)[0] in (1, 3)


def test_a_kept_verdict_is_said_as_a_new_one_and_never_used_for_another_machine(lamp: Path, capsys: Captured) -> None:
    first = ended(capsys, "prove", "--all")
    assert len(list((lamp / "cache" / "ordain").iterdir())) == 2, "the verdicts, and what is said of them"
    again = ended(capsys, "prove", "--all")
    assert again[1].replace(" (kept from an earlier run; --no-cache proves anew)", "") == first[1] != again[1]
    assert ended(capsys, "prove", "--all", "--no-cache") == first
    change(lamp / "lamp.micro", *FIGHT)
    assert ended(capsys, "prove")[0] == 1
    change(lamp / "lamp.micro", FIGHT[1], FIGHT[0])
    assert ended(capsys, "prove", "--all") == again
    assert ended(capsys, "prove", "--limit-states", "5")[0] == 3, "limits count, whatever is kept"


def test_what_is_kept_can_be_forgotten_and_need_not_be_kept(lamp: Path, capsys: Captured) -> None:
    run(["prove", "--no-cache"])
    assert not (lamp / "cache").exists()
    run(["prove"])
    entries = list((lamp / "cache" / "ordain").iterdir())
    for entry in entries:
        entry.write_bytes(b"damaged")
    capsys.readouterr()
    assert ended(capsys, "prove")[0] == 0
    assert len(entries) == 2 and all(entry.stat().st_size > 100 for entry in entries), "written anew"
    run(["prove", "--prune-cache", "--no-cache"])
    assert list((lamp / "cache" / "ordain").iterdir()) == []


def test_only_and_rule_take_part_of_the_questions(lamp: Path, capsys: Captured) -> None:
    data = json.loads(ended(capsys, "prove", "--only", "contention", "--format", "json")[1])
    assert {row["check"] for row in data["verdicts"]} == {"contention"}
    data = json.loads(ended(capsys, "prove", "--rule", "LAMPS go", "--format", "json")[1])
    assert [row["subject"] for row in data["verdicts"]] == ["the lamps go on"]
    for wrong in (("--only", "contentoin"), ("--rule", "no such")):
        status, out, err = ended(capsys, "prove", *wrong)
        assert (status, out) == (2, "") and wrong[1] in err


# ---------------------------------------------------------------- decode, explain, export


def test_decode_says_what_is_as_built_and_what_is_not(lamp: Path, capsys: Captured) -> None:
    run(["build"])
    capsys.readouterr()
    status, out, _ = ended(capsys, "decode", "build/U1.bin", "build/U2.bin", "build/U3.bin")
    assert status == 0
    assert out == "3 chips read: every word as built\n"
    listed = ended(capsys, "decode", "--all", "build/U1.bin", "build/U2.bin", "build/U3.bin")[1].splitlines()
    assert listed[:2] == ["3 chips read: every word as built", "control:"] and len(listed) > 4
    assert ended(capsys, "decode", "build/U1.bin", "--quiet")[:2] == (0, "")
    image = bytearray((lamp / "build" / "U2.bin").read_bytes())
    image[1] ^= 0x10
    (lamp / "dump.bin").write_bytes(image)
    status, out, _ = ended(capsys, "decode", "--differing", "U2=dump.bin")
    assert status == 1
    assert re.search(r"differs on +U2 D4 at 1 reads", out)
    assert out.splitlines()[0] == "1 chip read: 1 word not as built; taken as built: U1, U3"
    first, head, line = ended(capsys, "decode", "U2=dump.bin")[1].splitlines()
    assert first == out.splitlines()[0] and head.split() == ["at", "word", "differs", "on", "built"]
    assert re.fullmatch(rf"  01  start.fill  U2 D4 at 1 reads {image[1] >> 4 & 1}  point.*", line)
    data = json.loads(ended(capsys, "decode", "U2=dump.bin", "--format", "json")[1])
    [differs] = [word["differs"] for word in data["words"] if word["differs"]]
    assert differs == [{"chip": "U2", "cell": 1, "pin": 4, "read": image[1] >> 4 & 1}]


@pytest.mark.parametrize(("given", "name"), [("U9=lamp.micro", "unknown-chip"), ("U1=none.bin", "missing-file"),
                                             ("U1=.", "not-a-file"), ("U1=short.bin", "")])
def test_images_that_cannot_be_used_are_status_2(given: str, name: str, lamp: Path, capsys: Captured) -> None:
    (lamp / "short.bin").write_bytes(b"\0" * 7)
    status, out, _ = ended(capsys, "decode", given)
    assert status == 2
    assert f"error[{name}" in out


def test_the_wire_list_is_written_as_csv_and_stands_in_the_listing(lamp: Path, capsys: Captured) -> None:
    text = (lamp / "lamp.machine").read_text()
    (lamp / "lamp.machine").write_text(text + "wire number_out at U7.OE\npart U7\n    OE 1\n")
    assert ended(capsys, "export", "wires")[0] == 0
    rows = (lamp / "lamp.csv").read_text().splitlines()
    assert rows[0] == "chip,pin,number,net,what" and "U3,D7,,number[7],bit 7 of control" in rows
    assert rows[-1] == 'U7,OE,1,number_out,"field, active low"'
    assert run(["build"]) == 0
    assert "  U7.OE  1       number_out" in (lamp / "build" / "lamp.lst").read_text()


@pytest.mark.parametrize("name", names())
def test_every_name_is_explained(name: str, capsys: Captured) -> None:
    status, out, _ = ended(capsys, "explain", name)
    assert status == 0
    assert out.startswith(f"{name}: ") and "\nUsual repair: " in out
    assert json.loads(ended(capsys, "explain", name, "--format", "json")[1])["name"] == name


def test_explain_lists_everything_and_guesses(capsys: Captured) -> None:
    lines = ended(capsys, "explain")[1].splitlines()
    assert [line.split()[0] for line in lines if line.startswith("  ")] == list(names())
    assert [line for line in lines if line and line[0] != " "][:3] == ["checks", "rules", "reading"]
    status, out, err = ended(capsys, "explain", "contentoin")
    assert (status, out) == (2, "") and "Did you mean `contention`?" in err


def test_export_writes_files_and_streams(fight: Path, capsys: Captured) -> None:
    status, out, _ = ended(capsys, "export", "vcd", "--of", "contention")
    assert status == 0 and out.startswith("wrote lamp.vcd: ")
    text = (fight / "lamp.vcd").read_text()
    assert ended(capsys, "export", "vcd", "--of", "contention", "--out", "-")[1] == text
    status, _, err = ended(capsys, "export", "vcd", "--of", "no such trace")
    assert status == 2 and "contention: two drivers share bus" in err
    written = call(fight, "export", "aiger")
    assert written.returncode == 0
    streamed = subprocess.run([COMMAND, "export", "aiger", "--out", "-"], cwd=fight, capture_output=True, check=True,
                              env=environment(fight))
    assert streamed.stdout == (fight / "lamp.aig").read_bytes()
    assert streamed.stdout.startswith(b"aig ") and streamed.stderr == b""
    for kind in ("vcd", "aiger"):
        status, _, err = ended(capsys, "export", kind, "--out", "none/x")
        assert status == 2 and "none/x" in err


def test_a_warning_never_gets_into_what_is_exported(lamp: Path, capsys: Captured) -> None:
    change(lamp / "lamp.micro", "goto lend", "goto land")
    status, out, err = ended(capsys, "export", "aiger", "--out", "-")
    assert (status, out) == (1, "") and "`land`" in err


# ---------------------------------------------------------------- step


def test_step_shows_cycles_in_the_words_of_the_source(lamp: Path, capsys: Captured) -> None:
    status, out, err = ended(capsys, "step", "show")
    lines = out.splitlines()
    assert (status, err) == (0, "")
    assert lines[0] == "show: 4 cycles, then the next instruction begins"
    assert lines[1] == "  all along: not panel.key, panel.mode idle"
    assert re.findall(r"^ {4,}(\d+)  ", out, re.MULTILINE) == ["1", "2", "3", "4"]
    assert "2  07  show+1  point, lamps <- memory" in lines[5] and lines[6].strip() == "memory drives data"
    assert ended(capsys, "step", "show", "--quiet")[:2] == (0, "")


def test_step_takes_inputs_and_says_what_it_shows_as_json(lamp: Path, capsys: Captured) -> None:
    data = json.loads(ended(capsys, "step", "start", "--with", "panel.key=1@2-3", "--cycles", "4", "--format",
                            "json")[1])
    assert [cycle["inputs"]["panel.key"] for cycle in data["cycles"]] == [0, 1, 1, 0]
    assert [cycle["label"] for cycle in data["cycles"]][:2] == ["start", "start.fill"]


def test_step_draws_with_the_characters_that_there_are(lamp: Path) -> None:
    assert "▔" in call(lamp, "step", "show", "--diagram", PYTHONIOENCODING="utf-8").stdout
    plain = call(lamp, "step", "show", "--diagram", PYTHONIOENCODING="ascii").stdout
    assert plain.isascii() and "^^^" in plain and "\\u" not in plain


@pytest.mark.parametrize(("arguments", "said"), [
    (("nope",), "no instruction, routine or label is called `nope`"),
    (("show", "--with", "panel.kye=1"), "Did you mean `panel.key`?"),
    (("show", "--with", "panel.key=7"), "goes from 0 to 1"), (("show", "--with", "panel.key=x"), "is no value of"),
    (("show", "--with", "panel.key=1@x"), "names no cycles"), (("show", "--from", "panel.mode=away"), "it is one of"),
    (("show", "--cycles", "0"), "--cycles"),
])
def test_step_refuses_what_it_does_not_know(arguments: tuple[str, ...], said: str, lamp: Path,
                                            capsys: Captured) -> None:
    status, out, err = ended(capsys, "step", *arguments)
    assert (status, out) == (2, "") and said in err


@pytest.mark.parametrize("command", [("step", "show"), ("decode", "U1=lamp.micro"), ("prove",), ("build",)])
def test_json_stays_json_when_the_machine_does_not_compile(command: tuple[str, ...], lamp: Path,
                                                           capsys: Captured) -> None:
    change(lamp / "lamp.micro", "goto lend", "goto land")
    status, out, err = ended(capsys, *command, "--format", "json")
    data = json.loads(out)
    assert (status, data["status"], data["command"], err) == (1, 1, command[0], "")
    assert data["findings"][0]["place"]["file"] == "lamp.micro"


# ---------------------------------------------------------------- interrupted


def test_ctrl_c_is_status_130_also_when_something_was_found(lamp: Path, capsys: Captured,
                                                            monkeypatch: pytest.MonkeyPatch) -> None:
    import ordain.checks.run

    prove = ordain.checks.run.prove
    with monkeypatch.context() as stopped:
        stopped.setattr(ordain.checks.run, "prove", lambda *given: prove(*given)._replace(
            stopped="interrupted", ended="interrupted"))
        assert ended(capsys, "prove")[0] == 130
        change(lamp / "lamp.micro", *FIGHT)
        status, out, _ = ended(capsys, "prove")
        assert status == 130 and "error[contention]" in out and "undecided, interrupted after" in out

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(ordain.checks.run, "prove", interrupt)
    assert ended(capsys, "prove") == (130, "", "\ninterrupted\n"), "on a line of its own, below the ^C"
    assert not list((lamp / "cache").rglob("*.verdicts"))


# ---------------------------------------------------------------- colour, terminals, pipes


ESCAPE = "\x1b["


@pytest.mark.parametrize(("options", "variables", "coloured"), [
    ((), {}, False), ((), {"FORCE_COLOR": "1"}, True), ((), {"FORCE_COLOR": "1", "NO_COLOR": "1"}, False),
    (("--color", "always"), {"NO_COLOR": "1"}, True), (("--color", "never"), {"FORCE_COLOR": "1"}, False),
])
def test_colour_through_a_pipe(options: tuple[str, ...], variables: dict[str, str], coloured: bool, lamp: Path,
                               monkeypatch: pytest.MonkeyPatch, capsys: Captured) -> None:
    change(lamp / "lamp.micro", "goto lend", "goto land")
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    assert (ESCAPE in ended(capsys, "build", *options)[1]) == coloured


@pytest.mark.parametrize("command", [("--help",), ("explain",), ("prove", "--all"), ("prove", "--format", "json")])
def test_a_reader_that_leaves_ends_it_quietly_and_never_with_0(command: tuple[str, ...], lamp: Path) -> None:
    process = subprocess.Popen([COMMAND, *command], cwd=lamp, env=environment(lamp), stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE)
    assert process.stdout is not None and process.stderr is not None
    process.stdout.close()
    said = process.stderr.read()
    process.stderr.close()
    assert (process.wait(), said) == (141, b"")


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs /dev/full (Linux)")
@pytest.mark.parametrize("command", [("--help",), ("explain", "contention"), ("build",)])
def test_a_full_disk_behind_the_output_is_status_2(command: tuple[str, ...], lamp: Path) -> None:
    with open("/dev/full", "w") as full:
        result = subprocess.run([COMMAND, *command], cwd=lamp, env=environment(lamp), stdout=full, text=True,
                                stderr=subprocess.PIPE, check=False)
    assert result.returncode == 2
    assert result.stderr.startswith("error: ") and "No space left" in result.stderr
    assert "Traceback" not in result.stderr


def test_a_terminal_that_knows_few_characters(lamp: Path) -> None:
    (lamp / "lamp.micro").write_text((lamp / "lamp.micro").read_text().replace("goto lend", "goto länd"))
    result = call(lamp, "build", PYTHONIOENCODING="ascii")
    assert result.returncode == 1
    assert "l\\xe4nd" in result.stdout and "own-fault" not in result.stderr


def test_our_own_fault_is_status_70(lamp: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch) -> None:
    import ordain.pipeline

    def fail(*_: object) -> None:
        raise ZeroDivisionError("planted")

    monkeypatch.setattr(ordain.pipeline, "build_model", fail)
    status, out, err = ended(capsys, "build")
    assert (status, out) == (70, "")
    assert "error[own-fault]" in err and "ZeroDivisionError: planted" in err and "Traceback" not in err


@pytest.mark.parametrize("command", [
    ("build", "--format", "json"), ("prove", "--all"), ("prove", "--format", "json"), ("prove", "--format", "sarif"),
    ("decode", "--differing", "U1=lamp.bin"), ("export", "vcd", "--out", "-"),
])
def test_two_runs_say_the_same(command: tuple[str, ...], fight: Path) -> None:
    (fight / "lamp.bin").write_bytes(bytes(range(32)))
    one = call(fight, *command, PYTHONHASHSEED="1")
    two = call(fight, *command, PYTHONHASHSEED="2", XDG_CACHE_HOME=str(fight / "other"))
    assert one.stdout and (one.returncode, one.stdout, one.stderr) == (two.returncode, two.stdout, two.stderr)
    assert str(fight) not in one.stdout


def on_terminal(directory: Path, *arguments: str, columns: int = 100, **more: str) -> tuple[int, str]:
    """Status and everything that appears on a terminal of that width."""
    import fcntl
    import pty
    import struct
    import termios

    main, other = pty.openpty()
    fcntl.ioctl(other, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
    process = subprocess.Popen([COMMAND, *arguments], cwd=directory, env=environment(directory, **more), stdin=other,
                               stdout=other, stderr=other)
    os.close(other)
    shown = b""
    while True:
        try:
            part = os.read(main, 65536)
        except OSError:         # Linux: the other side is closed
            break
        if not part:
            break
        shown += part
    os.close(main)
    return process.wait(), shown.decode().replace("\r\n", "\n")


def test_on_a_terminal_there_is_colour_unless_it_is_not_wanted(fight: Path) -> None:
    status, shown = on_terminal(fight, "prove", "--only", "contention")
    assert status == 1
    assert "\x1b[1;31merror[contention]\x1b[0m" in shown
    for variables in ({"NO_COLOR": "1"}, {"TERM": "dumb"}):
        assert ESCAPE not in on_terminal(fight, "prove", "--only", "contention", **variables)[1]


def test_on_a_wide_terminal_the_trace_is_drawn_too(fight: Path) -> None:
    assert "!! pointer + panel !!" in on_terminal(fight, "prove", "--only", "contention", columns=160)[1]
    assert "!!" not in on_terminal(fight, "prove", "--only", "contention", columns=120)[1]


def test_a_place_is_never_broken_over_lines(fight: Path) -> None:
    shown = on_terminal(fight, "prove", "--only", "contention", columns=20, NO_COLOR="1")[1]
    assert re.search(r"^ *--> lamp\.micro:\d+:\d+$", shown, re.MULTILINE)


def test_the_progress_line_appears_after_a_while_on_a_terminal_only(capfd: Captured,
                                                                    monkeypatch: pytest.MonkeyPatch) -> None:
    from ordain.cli.progress import ProgressLine
    from ordain.prover.model import Progress

    progress: Any = Progress(12345, 7, 0, 9)
    for terminal, quiet, waited, shown in ((True, False, 1.0, True), (False, False, 1.0, False),
                                           (True, True, 1.0, False), (True, False, 0.1, False)):
        monkeypatch.setattr(sys.stderr, "isatty", lambda terminal=terminal: terminal)
        line = ProgressLine(quiet)
        line.start -= waited
        line(progress)
        line.clear()
        said = capfd.readouterr().err
        assert said == ("\r\x1b[Kproof: 12,345 states, cycle 7\r\x1b[K" if shown else "")


def test_what_is_being_done_is_told_while_it_lasts(capfd: Captured, monkeypatch: pytest.MonkeyPatch) -> None:
    from ordain.cli import progress

    for terminal, quiet, patience, shown in ((True, False, 0.0, True), (True, False, 60.0, False),
                                             (False, False, 0.0, False), (True, True, 0.0, False)):
        monkeypatch.setattr(sys.stderr, "isatty", lambda terminal=terminal: terminal)
        monkeypatch.setattr(progress, "PATIENCE", patience)
        said, waited = "", time.monotonic()
        with pytest.raises(KeyboardInterrupt), progress.waiting(quiet, "words are placed"):
            while shown and not said and time.monotonic() - waited < 60:
                said = capfd.readouterr().err
            raise KeyboardInterrupt
        assert said + capfd.readouterr().err == ("\r\x1b[Kwords are placed\r\x1b[K" if shown else "")


def test_the_starter_is_what_new_writes() -> None:
    assert sorted(path.name for path in STARTER.iterdir() if path.is_file()) == [
        "README.md", "starter.machine", "starter.micro"]
