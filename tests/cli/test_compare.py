"""What a change touched, asked for as a user asks: over git revisions, builds and the sockets of a small machine."""

import json
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest

from tests.cli.shell import call, change, write_starter

DRIVES = ("wait: grant, if", "wait: grant, point, if")
"""The lamp's pointer drives the address bus in the word that lends the buses: one bit of one word, in chip U1."""

COUNTS = ("wait: grant, if", "wait: grant, advance, if")
"""The pointer counts there; that is a bit of chip U2 that has to become erased again."""


def git(directory: Path, *arguments: str) -> str:
    told = subprocess.run(["git", "-c", "user.name=A", "-c", "user.email=a@example.org", *arguments], cwd=directory,
                          check=True, capture_output=True, text=True)
    return told.stdout


@pytest.fixture
def lamp(tmp_path: Path) -> Path:
    """A repository with the starter machine, built once, as people have it."""
    write_starter(tmp_path)
    (tmp_path / ".gitignore").write_text("build/\ncache/\n")
    git(tmp_path, "init", "--quiet")
    git(tmp_path, "add", "--all")
    git(tmp_path, "commit", "--quiet", "--message", "as it was")
    assert call(tmp_path, "build").returncode == 0
    return tmp_path


def data_of(directory: Path, *arguments: str) -> tuple[int, dict[str, Any]]:
    ended = call(directory, "compare", *arguments, "--format", "json")
    data = json.loads(ended.stdout)
    assert data["status"] == ended.returncode and ended.stderr == ""
    return ended.returncode, data


def statuses(data: dict[str, Any]) -> dict[str, str]:
    return {unit["title"]: unit["status"] for unit in data["behaviour"]["units"]}


def actions(data: dict[str, Any]) -> dict[str, str]:
    return {chip["chip"]: chip["action"] for chip in data["chips"]}


@pytest.mark.parametrize("old", ["HEAD", "build", "build/lamp.json", "lamp.machine", "."])
def test_a_machine_does_what_it_does(lamp: Path, old: str) -> None:
    status, data = data_of(lamp, old)
    assert status == 0
    assert statuses(data) == {"reset": "same", "show": "same"}
    assert actions(data) == {"U1": "nothing", "U2": "nothing", "U3": "nothing"}
    assert data["verdicts"]["moved"] == [] and data["cycles"] == [] and data["findings"] == []


@pytest.mark.parametrize("old", ["HEAD", "build"])
def test_one_bit_of_one_word(lamp: Path, old: str) -> None:
    """Shown where it first differs, in the words of both sides; the bit is in one chip."""
    change(lamp / "lamp.micro", *DRIVES)
    status, data = data_of(lamp, old)
    assert status == 1
    assert statuses(data) == {"reset": "same", "show": "changed"}
    unit = next(unit for unit in data["behaviour"]["units"] if unit["title"] == "show")
    first = unit["first_difference"]
    assert first["cycle"] == 4 and [len(passage["new"]) for passage in first["way"]] == [1, 1, 1]
    assert first["old"][0]["orders"] == ["grant", "if asked goto wait"]
    assert first["new"][0]["orders"] == ["grant", "point", "if asked goto wait"]
    assert first["changes"] == [{"what": "point", "old": "0", "new": "1"}]
    assert [via["title"] for word in data["reach"]["words"] for via in word["executed_by"]] == ["show"]
    broken = {move["check"] for move in data["verdicts"]["moved"]}
    assert broken == {"contention", "missing-hold", "never"}
    assert actions(data) == {"U1": "program-over", "U2": "nothing", "U3": "nothing"}


def test_what_has_to_become_erased_again(lamp: Path) -> None:
    change(lamp / "lamp.micro", *COUNTS)
    _, data = data_of(lamp, "HEAD")
    assert actions(data) == {"U1": "nothing", "U2": "erase", "U3": "nothing"}
    (chip,) = [chip for chip in data["chips"] if chip["chip"] == "U2"]
    assert (chip["words"], chip["turned_back"], len(chip["ranges"])) == (1, 1, 1)


def test_names_and_places_are_no_behaviour(lamp: Path) -> None:
    """A label with another name, and two routines in the other order: all does the same, other chips or not."""
    change(lamp / "lamp.micro", "  wait: grant, if asked goto wait", "  held: grant, if asked goto held")
    text = (lamp / "lamp.micro").read_text()
    start, show = text.index("routine show"), text.index("routine lend")
    (lamp / "lamp.micro").write_text(text[:start] + text[show:].rstrip() + "\n\n" + text[start:show])
    status, data = data_of(lamp, "HEAD")
    assert status == 0 and set(statuses(data).values()) == {"same"} and data["verdicts"]["moved"] == []


def test_a_recoded_field_is_no_behaviour_and_another_chip(lamp: Path) -> None:
    change(lamp / "lamp.machine", "field read       1 bit, active low", "field read       1 bit")
    status, data = data_of(lamp, "HEAD")
    assert status == 0 and set(statuses(data).values()) == {"same"}
    assert actions(data) == {"U1": "nothing", "U2": "erase", "U3": "nothing"}


def test_what_was_meant_to_change(lamp: Path) -> None:
    """The copy is loaded as well; nothing breaks by it, so naming it is enough."""
    change(lamp / "lamp.micro", "point, lamps <- memory", "point, lamps <- memory, load_copy")
    assert data_of(lamp, "HEAD")[0] == 1
    status, data = data_of(lamp, "HEAD", "--expect", "show")
    assert status == 0 and statuses(data)["show"] == "changed"
    status, data = data_of(lamp, "HEAD", "--expect", "reset")
    assert status == 1 and any("reset" in remark for remark in data["remarks"])


def test_a_verdict_that_breaks_counts_even_where_the_change_was_meant(lamp: Path) -> None:
    change(lamp / "lamp.micro", *DRIVES)
    status, data = data_of(lamp, "HEAD", "--expect", "show")
    assert status == 1 and {finding["name"] for finding in data["findings"]} == {"verdict-worse"}
    git(lamp, "commit", "--quiet", "--all", "--message", "broken")
    change(lamp / "lamp.micro", *reversed(DRIVES))
    status, data = data_of(lamp, "HEAD", "--expect", "show")
    assert status == 0 and {(move["old"], move["new"]) for move in data["verdicts"]["moved"]} == {("broken", "proved")}


def test_two_revisions_and_an_untouched_work_tree(lamp: Path) -> None:
    change(lamp / "lamp.micro", *DRIVES)
    git(lamp, "commit", "--quiet", "--all", "--message", "changed")
    change(lamp / "lamp.micro", "lamps <- memory", "lamps <- memory, load_copy")
    before = {path: path.read_bytes() for path in lamp.iterdir() if path.is_file()}
    index = (lamp / ".git" / "index").read_bytes()
    forth = data_of(lamp, "HEAD~1", "--to", "HEAD")[1]
    back = data_of(lamp, "HEAD", "--to", "HEAD~1")[1]
    assert statuses(forth)["show"] == statuses(back)["show"] == "changed"
    changes = [next(unit["first_difference"]["changes"][0] for unit in data["behaviour"]["units"]
                    if unit["title"] == "show") for data in (forth, back)]
    assert changes == [{"what": "point", "old": "0", "new": "1"}, {"what": "point", "old": "1", "new": "0"}]
    assert before == {path: path.read_bytes() for path in lamp.iterdir() if path.is_file()}
    assert (lamp / ".git" / "index").read_bytes() == index


def test_the_sockets(lamp: Path) -> None:
    """Nothing is recorded at first; then the chips of the build, and the sources go on."""
    assert call(lamp, "compare", "burned").returncode == 2
    assert call(lamp, "burned", "U1", "U2", "U3").returncode == 0
    assert data_of(lamp, "burned")[0] == 0
    change(lamp / "lamp.micro", *DRIVES)
    status, data = data_of(lamp, "burned")
    assert status == 1 and statuses(data)["show"] == "changed"
    assert actions(data) == {"U1": "program-over", "U2": "nothing", "U3": "nothing"}


@pytest.mark.parametrize("arguments, said", [
    (("HEAD~7",), "HEAD~7"), (("--format",), "--format"), (("nowhere/lamp.json",), "nowhere/lamp.json")])
def test_what_is_not_there(lamp: Path, arguments: tuple[str, ...], said: str) -> None:
    ended = call(lamp, "compare", *arguments)
    assert ended.returncode == 2 and said in ended.stderr and ended.stdout == ""


def test_one_screen_and_everything(lamp: Path) -> None:
    change(lamp / "lamp.micro", *DRIVES)
    short, long = call(lamp, "compare", "HEAD"), call(lamp, "compare", "HEAD", "--all")
    assert short.returncode == long.returncode == 1
    assert len(short.stdout.splitlines()) <= 24
    for text in ("behaviour: 1 changed, 1 same", "newly broken: contention: address", "U1  program over it"):
        assert text in short.stdout and text in long.stdout
    assert "was 0A lend.wait: grant, if asked goto wait" in short.stdout
    assert "show > lend" in long.stdout and "show > lend" not in short.stdout


def test_annotations_and_sarif_name_the_changed_line(lamp: Path) -> None:
    change(lamp / "lamp.micro", *DRIVES)
    line = next(number for number, text in enumerate((lamp / "lamp.micro").read_text().splitlines(), 1)
                if "wait: grant" in text)
    annotations = call(lamp, "compare", "HEAD", "--format", "github").stdout.splitlines()
    assert annotations and any(f"file=lamp.micro,line={line}," in text for text in annotations)
    log = json.loads(call(lamp, "compare", "HEAD", "--format", "sarif").stdout)
    changed = [result for result in log["runs"][0]["results"] if result["ruleId"] == "behaviour-changed"]
    assert [result["locations"][0]["physicalLocation"]["region"]["startLine"] for result in changed] == [line]


def test_what_cannot_be_told_is_not_taken_for_the_same(lamp: Path) -> None:
    """An image is lost: the machine may do anything then. Who only asks about chips has the answer."""
    change(lamp / "lamp.micro", *DRIVES)
    (lamp / "build" / "U1.bin").unlink()
    status, data = data_of(lamp, "build")
    assert status == 3 and data["behaviour"] is None and actions(data)["U1"] == "find-out"
    assert data_of(lamp, "build", "--only", "chips")[0] == 0


def test_images_whose_sources_are_lost(lamp: Path) -> None:
    """Built from texts that were never committed and are changed since: that is said. With them in place it is not."""
    change(lamp / "lamp.micro", "number 0x55", "number 0x66")
    assert call(lamp, "build").returncode == 0
    assert data_of(lamp, "build")[1]["remarks"] == []
    change(lamp / "lamp.micro", "number 0x66", "number 0x77")
    status, data = data_of(lamp, "build")
    assert status == 1 and any("neither here nor in the history" in remark for remark in data["remarks"])
    assert statuses(data) == {"reset": "changed", "show": "same"}


@pytest.mark.parametrize(("line", "kind"), [("", "dropped"), ("    means pc <- memory[pc] + 1\n", "changed"),
                                            ("    means let n = memory[pc], pc <- n\n", "")])
def test_what_is_said_no_more_has_to_be_named(tmp_path: Path, line: str, kind: str) -> None:
    """A meaning that is taken out proves nothing any more; one that is put in other words proves the same."""
    example = Path(__file__).parents[2] / "examples" / "stepper"
    for name in ("carillon.machine", "carillon.micro"):
        for version in ("old", "new"):
            (tmp_path / version).mkdir(exist_ok=True)
            (tmp_path / version / name).write_text((example / name).read_text())
    change(tmp_path / "new" / "carillon.micro", "    means pc <- memory[pc]\n", line)
    asked = ("../old/carillon.machine", "--only", "verdicts")
    status, data = data_of(tmp_path / "new", *asked)
    assert status == bool(kind) and ({"dropped", "changed"} & {one["kind"] for one in data["verdicts"]["moved"]}
                                     == ({kind} if kind else set()))
    title = next((one["subject"] for one in data["verdicts"]["moved"]), "none")
    assert len(data["findings"]) == {"dropped": 1, "changed": 2, "": 0}[kind]      # the words do not what is said now
    assert len(data_of(tmp_path / "new", *asked, "--expect", title)[1]["findings"]) == (kind == "changed")


def test_what_is_asked_no_more_has_to_be_named(lamp: Path) -> None:
    """A rule that is taken out proves nothing any more: no guard lets that pass by itself."""
    text = (lamp / "lamp.machine").read_text()
    line = next(line for line in text.splitlines() if line.startswith("rule "))
    title = line.split('"')[1]
    change(lamp / "lamp.machine", line + "\n", "")
    status, data = data_of(lamp, "HEAD")
    assert status == 1 and [finding["name"] for finding in data["findings"]] == ["verdict-worse"]
    assert [(one["kind"], one["subject"]) for one in data["verdicts"]["moved"]] == [("dropped", title)]
    assert title in data["findings"][0]["message"] and f'--expect "{title}"' in data["findings"][0]["help"]
    status, data = data_of(lamp, "HEAD", "--expect", title)
    assert status == 0 and not any("expected" in remark for remark in data["remarks"])


def test_what_is_taken_for_granted(lamp: Path) -> None:
    change(lamp / "lamp.machine", "home ", "assume not panel.asks\nhome ")
    status, data = data_of(lamp, "HEAD")
    assert status == 1 and {one["kind"] for one in data["verdicts"]["moved"]} >= {"promised"}


def test_a_comparison_of_the_working_files_with_themselves_says_so(lamp: Path) -> None:
    """Where the machine is named first by habit, "the same" is no answer to what was meant."""
    for named in (".", "lamp.machine"):
        assert call(lamp, "compare", named).stdout.startswith(f"{named} (the working files themselves) -> ")
    assert "themselves" not in call(lamp, "compare", "HEAD").stdout


def test_colour_says_what_was_and_what_got_worse_and_nothing_alone(lamp: Path) -> None:
    """In the repaired direction the same lines are green; without colour the words are the same. SGR codes of
    ISO/IEC 6429: 31 red, 32 green, 33 yellow."""
    change(lamp / "lamp.micro", *DRIVES)
    plain = call(lamp, "compare", "HEAD", "--color", "never").stdout
    told = call(lamp, "compare", "HEAD", "--color", "always").stdout
    assert re.sub(r"\x1b\[[0-9;]*m", "", told) == plain and "\x1b" not in plain
    assert "\x1b[31m      was 0A lend.wait: grant, if asked goto wait\x1b[0m" in told
    assert "\x1b[32m      now 0A lend.wait: grant, point, if asked goto wait\x1b[0m" in told
    assert "\x1b[31m  newly broken: contention: address (was proved)\x1b[0m" in told
    git(lamp, "commit", "--quiet", "--all", "--message", "with the fault")
    back = call(lamp, "compare", "HEAD", "--to", "HEAD~1", "--color", "always").stdout
    assert "\x1b[32m  repaired: contention: address (was broken)\x1b[0m" in back
