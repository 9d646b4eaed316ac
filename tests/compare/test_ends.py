"""Places that did the same until one of them ends in another way: each kind of end beside each other one. No code says
so, because the codes of both machines cannot be compared."""

from itertools import permutations

import pytest

from tests.compare.judged import Texts, between, edited

CABIN: Texts = ("""machine cabin "four levers, of which the number is a part of the address"
microprogram "m.micro"
store control 32 words of 12 bits
    address upc
field branch 3 bits
    step  0 idle
    jump  1
    serve 2
    back  3
    over  4
    row   5
    late  6
    any   7
field target 5 bits address, idle 0
field ring 1 bit
field lift 1 bit
spare 2 bits
store table 2 words of 5 bits
    address tone
store second 2 words of 5 bits
    address tone
register tone 1 bit, loads wire when ring
bus wire 1 bit, pulled low
    driven by bell when lift
input lever 2 bits, pulled 1 bit, wheel 5 bits
state upc 5 bits, reset 0
    next choose branch
        step     : upc + 1
        jump     : target
        serve    : {0b1, lever, 0b00} if pulled else upc
        back     : ret
        over     : alt
        row      : table.word
        late     : second.word
        any      : wheel
state ret 5 bits, reset any
    next upc + 1 if branch is serve else ret
state alt 5 bits, reset any
    next target if branch is serve else alt
home idle
""", """\
routine idle at 0
        branch serve, target spot
        branch jump, target idle
routine spot at 8
        ring, branch jump, target idle
""" + "".join(f"routine lever_{number} at {16 + 4 * number}\n        lift, branch back\n" for number in range(4)) + """\
map table
        0: idle
        1: spot
map second
        0: spot
        1: idle
""")
OTHER_CODES = (("    step  0 idle\n", "    on    7 idle\n"), ("    any   7\n", "    any   0\n"),
               ("step     : upc", "on       : upc"))
ENDS = ("jump, target idle", "jump, target spot", "back", "over", "row", "late", "any")


def cabin(first: str, others: str, codes: bool = False) -> Texts:
    machine, micro = CABIN
    micro = micro.replace("branch back", f"branch {others}").replace(f"16\n        lift, branch {others}",
                                                                    f"16\n        lift, branch {first}")
    return edited((machine, micro), *OTHER_CODES) if codes else (machine, micro)


@pytest.mark.parametrize(("was", "now"), [
    (was, now) for was, now in permutations(ENDS, 2) if was != "any"])
def test_of_places_that_did_the_same_one_ends_otherwise(was: str, now: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ordain.compare.places.MOST_WORDS", 4)
    found = between(cabin(was, was), cabin(now, was, True))
    assert {one.title: one.status for one in found.units if one.kind != "row" and one.status != "same"} == {
        "lever_0": "changed"}
