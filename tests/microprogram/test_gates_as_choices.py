"""The next address made of gates: a counter of flip-flops that those below turn, and gates that let one of two values
through. The image is that of the same machine said with `+ 1` and a choice, and nothing is found in it."""

from functools import reduce

import pytest

from ordain.pipeline import build_texts
from tests.checks.reports import names, report
from tests.planted.plant import Sound

MACHINE = """\
machine gantry "a lamp on a gantry"
microprogram "gantry.micro"
store control 16 words of 8 bits
    address q
field to 4 bits address, idle 0
field way 2 bits
    on   0 idle
    go   1
    if_c 2
field lamp 2 bits, idle 0
chip U1 16 x 8
    holds control
    address address
input c 1 bit
signal jump = way is go or (way is if_c and c)
signal more = q + 1
signal n = not g and not k
signal g = way is go
signal k = way is if_c and c
state q 4 bits, reset 0
    next NEXT
bus lamps 2 bits, floats
    driven by lamp when lamp is not 0
home first
order goto <x> : way go, to <x>
order if c <x> : way if_c, to <x>
"""
MICRO = """\
routine first at 0
        lamp 1
        if c other
        lamp 2
        if c third
        goto first
routine other at 8
        lamp 3, if c first
        goto third
routine third at 12
        lamp 2
        lamp 1, goto first
"""
COUNTED = "{q[3] xor (q[2] and q[1] and q[0]), q[2] xor (q[1] and q[0]), q[1] xor q[0], not q[0]}"
BIT_BY_BIT = "{" + ", ".join(f"(to[{bit}] and jump) or (not jump and more[{bit}])" for bit in (3, 2, 1, 0)) + "}"
WAYS = {
    "said plainly": "to if jump else q + 1",
    "flip-flops": f"to if jump else {COUNTED}",
    "flip-flops, each with its choice": "{to[3] if jump else q[3] xor (q[2] and q[1] and q[0]), "
                                        "to[2] if jump else q[2] xor (q[1] and q[0]), "
                                        "to[1] if jump else q[1] xor q[0], to[0] if jump else not q[0]}",
    "gates": "(to and {jump, jump, jump, jump}) or ((q + 1) and not {jump, jump, jump, jump})",
    "gates bit by bit": BIT_BY_BIT,
    "three ways": "(to and {g, g, g, g}) or (to and {k, k, k, k}) or (more and {n, n, n, n})",
    "flip-flops that are let count": "to if jump else {q[3] xor (n and q[2] and q[1] and q[0]), "
                                     "q[2] xor (n and q[1] and q[0]), q[1] xor (n and q[0]), q[0] xor n}",
    "NAND on NAND": "not (not (to and {jump, jump, jump, jump}) and not (more and {n, n, n, n}))",
    "NOR on NOR": "not not (not (not to or {n, n, n, n}) or not (not more or {jump, jump, jump, jump}))",
    "gates, flip-flops": f"(to and {{jump, jump, jump, jump}}) or ({COUNTED} and not {{jump, jump, jump, jump}})",
}
WRONG = {
    "a gate that is an or": COUNTED.replace("q[2] and q[1] and q[0]", "q[2] or q[1] or q[0]").join(
        ("to if jump else ", "")),
    "a bit that the line lets through the other way": BIT_BY_BIT.replace(
        "(to[1] and jump) or (not jump and more[1])", "(to[1] and not jump) or (jump and more[1])"),
    "two lines": "(to and {jump, jump, jump, jump}) or ((q + 1) and not {jump, jump, jump, c})",
}


def texts(next_: str) -> dict[str, str]:
    return {"gantry.machine": MACHINE.replace("NEXT", next_), "gantry.micro": MICRO}


@pytest.mark.parametrize("next_", WAYS.values(), ids=WAYS)
def test_the_image_is_that_of_the_sum_and_nothing_is_found(next_: str) -> None:
    """By hand, `to` above `way` above `lamp`: first at 0 to 4, other at 8, third at 12."""
    built, findings = build_texts(texts(next_), "gantry.machine")
    assert built is not None and findings == [], [finding.message for finding in findings]
    words = built.images["U1"]
    assert words[:5] == bytes((0x01, 0x88, 0x02, 0xC8, 0x04))
    assert words[8:10] == bytes((0x0B, 0xC4)) and words[12:14] == bytes((0x02, 0x05))
    assert names(report(Sound(MACHINE.replace("NEXT", next_), MICRO))) == []


@pytest.mark.parametrize("next_", WRONG.values(), ids=WRONG)
def test_gates_that_make_something_else_are_not_taken_for_it(next_: str) -> None:
    """One gate, or one line at one bit, away: words in a row would not be obeyed in a row."""
    built, findings = build_texts(texts(next_), "gantry.machine")
    assert built is None or names(report(Sound(MACHINE.replace("NEXT", next_), MICRO)))
    assert findings


CALLING = reduce(lambda text, edit: text.replace(*edit), [
    ("way is go or (way is if_c and c)", "way in (go, call) or (way is if_c and c)"),
    ("signal n = not g and not k", "signal n = not jump"), ("    if_c 2\n", "    if_c 2\n    call 3\n"),
    ("field lamp", "field back 1 bit\nfield lamp"), ("16 words of 8 bits", "16 words of 9 bits"), ("16 x 8", "16 x 9"),
    ("next NEXT", "next ret if back else NEXT"),
    ("home first", "home first\norder call <x> : way call, to <x>\nstate ret 4 bits, reset 0\n"
                   "    next KEPT if way is call else ret")], MACHINE)
CALLS = """\
routine first at 0
        lamp 1, call other
        lamp 2, goto first
routine other at 8
        lamp 3
        lamp 1, back
"""


@pytest.mark.parametrize("kept", ["q + 1", COUNTED])
@pytest.mark.parametrize("next_", ["to if jump else q + 1", WAYS["flip-flops"], WAYS["NAND on NAND"]])
def test_what_is_kept_to_come_back_to_is_one_further_and_no_more(next_: str, kept: str) -> None:
    """A call stands before the last word of its routine and comes back to that. With no word behind it, it is told."""
    texts_of = {"gantry.machine": CALLING.replace("NEXT", next_).replace("KEPT", kept), "gantry.micro": CALLS}
    built, findings = build_texts(texts_of, "gantry.machine")
    assert built is not None and findings == [], [finding.message for finding in findings]
    built, findings = build_texts({**texts_of, "gantry.micro": CALLS.replace("        lamp 2, goto first\n", "")},
                                  "gantry.machine")
    assert built is None and [finding.name for finding in findings] == ["runs-off"]
