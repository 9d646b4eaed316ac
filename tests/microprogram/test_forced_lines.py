"""A line that forces the lines of an address, as a trap does that pulls them up: where words stand, read from the
image, however the gates are written."""

import pytest

from ordain.pipeline import build_texts

MACHINE = """\
machine snare
microprogram "snare.micro"
store control 16 words of 8 bits
    address shown
field to 4 bits address, idle 0
field call 1 bit
field back 1 bit
field jump 1 bit
field again 1 bit
chip U1 16 x 8
    holds control
    address address
input fault 1 bit
state armed 1 bit, reset 0
    next not trapped
signal trapped = fault and armed
signal shown = SHOWN
state place 4 bits, reset 0
    next saved if again else kept if back else to if call or jump else shown + 1
register saved 4 bits, loads place when trapped
register kept 4 bits, loads shown + 1 when call
"""
MICRO = """\
routine main at 0
        call, to grind
        call, to grind
        jump, to main
routine grind at 5
        call, to lift
        back
routine lift
        back
routine trap at 0xF
        jump, to mend
routine mend
        again
"""
WAYS = {
    "whole": "place or {trapped, trapped, trapped, trapped}",
    "bit by bit": "{place[3] or trapped, trapped or place[2], place[1] or trapped, place[0] or trapped}",
    "turned": "not (not place and {not trapped, not trapped, not trapped, not trapped})",
    "choice": "0xF if trapped else place",
    "nothing forced": "place",
}


@pytest.mark.parametrize("shown", WAYS.values(), ids=WAYS)
def test_words_stand_where_control_comes_however_the_gates_are_written(shown: str) -> None:
    """By hand: main at 0, 1, 2, as a call comes back to the next address; grind at 5, 6; the others anywhere."""
    texts = {"snare.machine": MACHINE.replace("SHOWN", shown), "snare.micro": MICRO}
    built, findings = build_texts(texts, "snare.machine")
    assert built is not None, [finding.message for finding in findings]
    words = built.images["U1"]
    lift, mend = words[5] >> 4, words[0xF] >> 4
    assert words[:3] == bytes((0x58, 0x58, 0x02)) and words[5:7] == bytes((lift << 4 | 8, 0x04))
    assert (words[lift], words[mend], words[0xF] & 15) == (0x04, 0x01, 2)


def test_what_lies_in_the_way_is_told() -> None:
    """Two words of main in a row from 3 on, and something else at 4."""
    micro = MICRO.replace("routine main at 0", "routine first at 0\n        jump, to main\nroutine main at 4")
    for shown in WAYS.values():
        texts = {"snare.machine": MACHINE.replace("SHOWN", shown), "snare.micro": micro}
        built, findings = build_texts(texts, "snare.machine")
        assert built is None and any(finding.name == "over-full" for finding in findings)


@pytest.mark.parametrize("shown", [
    "place or {trapped, trapped, fault, 0b0}",              # two lines, not one
    "place or {0b000, not saved[0]}"])                      # no line, but what is held
def test_gates_of_more_than_one_line_are_as_they_were(shown: str) -> None:
    """Nothing is known of what is presented then: words that call, and after which the next one has to stand, are
    refused or stand in a row all the same."""
    texts = {"snare.machine": MACHINE.replace("SHOWN", shown), "snare.micro": MICRO}
    built, _ = build_texts(texts, "snare.machine")
    assert built is None or built.images["U1"][:2] == bytes((0x58, 0x58))
