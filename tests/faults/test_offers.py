"""A rule that is offered is written into the machine file as it is printed: it holds, and notices what is said."""

import json
import shutil
from pathlib import Path

import pytest

from ordain.cli.main import run
from ordain.faulting import Campaign
from ordain.faults.listing import bit_faults
from ordain.faults.offers import offers
from ordain.faults.summary import silent
from ordain.pipeline import build_model
from tests.faults.test_classes import campaign
from tests.faults.test_classes import fault as wrong

EXAMPLE = Path(__file__).parent.parent.parent / "examples" / "two-masters"


def test_rules_of_an_example_hold_and_notice_what_they_are_said_to(tmp_path: Path) -> None:
    place = shutil.copytree(EXAMPLE, tmp_path / "copy") / "signalbox.machine"
    built, _ = build_model(place)
    assert built is not None
    sound = Campaign(built.contents)
    groups = silent(list(sound.of(list(bit_faults(built.contents)))))
    offered = [(group, offer) for group in groups
               if (offer := sound.offered([one.fault for one in group.faults])) is not None]
    assert len(offered) >= 3
    text = place.read_text()
    for group, (rule, noticed) in offered:
        place.write_text(f'{text}\nrule "offered" {rule}\n')
        again, findings = build_model(place)
        assert again is not None and not findings
        richer = Campaign(again.contents)
        assert richer.sound.ranks["never", "offered"] == 0
        tried = list(richer.of([one.fault for one in group.faults]))
        broken = [number for number, one in enumerate(tried) if one.outcome.noticed is not None
                  and one.outcome.noticed.cycles is not None]
        assert broken == list(noticed)                  # others may make a part of it impossible: vacuous


def test_no_rule_is_offered_that_an_executed_word_breaks() -> None:
    """`ring` and `lamp` stand alone in words 0 and 1; the third word has `tone mid` and neither."""
    sound = campaign()
    found = offers(sound.contents, sound.executed, [wrong(2, "lamp")])
    assert [one.rule for one in found] == ["never lamp and tone is mid"]
    assert sound.offered([wrong(2, "lamp")]) == ("never lamp and tone is mid", (0,))
    assert offers(sound.contents, sound.executed, [wrong(2, "spare bit 0")]) == []


def test_the_command_prints_the_rule_and_the_map() -> None:
    assert run(["faults", str(EXAMPLE), "--only", "bit", "--map"]) == 1


def test_what_is_broken_anyhow_is_named_where_it_notices_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    """In one of two builds `console` and `memory` fight over `data` without any fault: what drives it too is silent."""
    flapboard = EXAMPLE.parent / "pause-fight"
    silent_in = {}
    for name in ("broken", "mended"):
        call = ["faults", str(flapboard / name), "--only", "driver", "--no-cache"]
        assert run(call) == 1
        text = capsys.readouterr().out
        assert ("broken without any fault, so they notice none" in text) == (name == "broken")
        assert run([*call, "--format", "json"]) == 1
        data = json.loads(capsys.readouterr().out)
        silent_in[name] = {one["text"] for one in data["faults"] if one["class"] == "silent"}
        fights = [one["subject"] for one in data["broken"] if one["check"] == "contention"]
        assert fights == (["data"] if name == "broken" else [])
    assert silent_in["broken"] - silent_in["mended"] == {
        f"{who} always drives data" for who in ("console", "letter", "memory")}
