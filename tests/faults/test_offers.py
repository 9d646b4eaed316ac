"""A rule that is offered is written into the machine file as it is printed: it holds, and notices what is said."""

import shutil
from pathlib import Path

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
