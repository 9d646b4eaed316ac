"""Words that nobody placed, in a second store that goes its own way: nothing else asks where it is."""

import pytest

from ordain.checks import nowhere
from ordain.checks.check import Known
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.prover.model import Limits
from tests.checks.reports import findings_named, report
from tests.planted.plant import Sound
from tests.workshop import contents_of

TURRET = """\
machine turret "a turret that turns beside its control"
microprogram "m.micro"
store control 2 words of 2 bits
    address now
field pulse 1 bit
spare 1 bit
store beside 8 words of 2 bits
    address {turn, PULSE}
field shine 1 bit
spare 1 bit
state now 1 bit, reset 0
    next not now
state turn 2 bits, reset 0
    next turn + 1 if turn is not LAST else turn
input key 1 bit
order rest :
"""
MICRO = """\
routine first in control at 0
        WORD
        WORD
routine lights in beside at 0
        shine
"""


@pytest.mark.parametrize(("pulse", "word", "last", "cycles"), [
    # `beside` holds 4 words, at 0 to 3: turn 0 and 1
    ("pulse", "rest", 1, {}),
    ("pulse", "rest", 3, {4: 3, 6: 4}),                      # in cycle 2, and in cycle 3
    ("pulse", "pulse", 3, {5: 3, 7: 4}),
    ("key", "pulse", 3, {4: 3, 5: 3, 6: 4, 7: 4}),              # a line from outside: both
    ("now", "pulse", 3, {4: 3, 7: 4, 6: 5}),                    # and it stays at 3: then both
])
def test_every_address_is_told_with_its_shortest_way(pulse: str, word: str, last: int, cycles: dict[int, int]) -> None:
    micro = MICRO.replace("WORD", word) + "        shine\n" * 3
    contents = contents_of(TURRET.replace("PULSE", pulse).replace("LAST", str(last)), micro)
    question = next(one for one in nowhere.ask(contents) if one.subject == "beside")
    (verdict,) = decide(build_system(contents), (question,)).verdicts
    assert verdict.outcome == ("broken" if cycles else "proved")
    assert {found.address: found.cycles for found in verdict.breaks} == cycles
    for found in verdict.breaks:
        assert found.trace is not None and found.trace.cycles[-1].addresses["beside"] == found.address


KITE = """\
machine kite
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
field go 1 bit
field target 4 bits address, idle 0
spare 3 bits
store entry 4 words of 4 bits
    address wind
state upc 4 bits, reset 2
    next target if go else entry
input wind 2 bits
chip U1 16 x 8
    holds control
    address upc
chip U3 4 x 4
    holds entry
    address wind
"""


RISE = "routine rise in control at 2\n        go 0\nmap entry\n        0, 1, 2, 3: rise\n"


def test_an_empty_row_of_a_table_is_told_as_that_and_not_where_it_leads() -> None:
    """Row 3 is empty: erased, it leads to 15, where nothing stands. A word that leads to 9 itself is told as well."""
    micro = "routine rise in control at 2\n        go 0\nmap entry\n        0, 1, 2: rise\n"
    [finding] = findings_named("nowhere", report(Sound(KITE, micro)))
    assert finding.message.startswith("cell 0x3 of mapping store `entry` is used at `rise`")
    lost = "routine lost in control at 4\n        go, target 9\nmap"
    astray = micro.replace("map", lost).replace("0, 1, 2: rise", "0, 1: rise\n        2: lost")
    told = [one.message.split(",")[0] for one in findings_named("nowhere", report(Sound(KITE, astray)))]
    assert told == ["control arrives at 0x9 from `lost` (0x4)",
                    "cell 0x3 of mapping store `entry` is used at `rise` (0x2)"]


@pytest.mark.parametrize(("at", "by", "used"), [
    ("", "rise", ""), (" at fall", "fall", "rise"), (" at rise", "rise", "fall")])
def test_where_an_empty_row_is_allowed_it_is_told_where_that_leads(at: str, by: str, used: str) -> None:
    """Row 3 leads to 15, from either word; where it is not allowed, the row is told."""
    micro = "routine rise in control at 2\n        go 0\nroutine fall in control at 4\n        go 0\n" \
            "map entry\n        0, 1: rise\n        2: fall\n"
    allowed = KITE + f'allow nowhere on entry{at} "erased rows lead to the halt lamp"\n'
    found = [one.message.split(" (")[0] for one in findings_named("nowhere", report(Sound(allowed, micro)))]
    assert found == [f"control arrives at 0xF from `{by}`",
                     *([f"cell 0x3 of mapping store `entry` is used at `{used}`"] if used else [])]


def test_without_a_sequence_only_the_address_of_the_store_itself_is_known() -> None:
    """Words are told apart by the address in the control store, which is no cell of the table."""
    micro = "routine rise in control at 2\n        go 0\nmap entry\n        0, 1, 2: rise\n"
    [finding] = findings_named("nowhere", report(Sound(KITE, micro), limits=Limits(traces=0)))
    assert finding.message.startswith("a cell of mapping store `entry` is used")
    micro = "routine rise in control at 2\n        go, target 9\nmap entry\n        0, 1, 2, 3: rise\n"
    [finding] = findings_named("nowhere", report(Sound(KITE, micro), limits=Limits(traces=0)))
    assert finding.message.startswith("control arrives at 0x9")


LOOM = """\
machine loom "two stores that are worked by turns"
microprogram "m.micro"
store warp 8 words of 4 bits
    address step
field to   3 bits address
field pull 1 bit
store weft 8 words of 2 bits
    address {row, row, row}
field back 1 bit
spare 1 bit
state step 3 bits, reset 0
    next to
state row 1 bit, reset 0
    next row or PULL
"""


@pytest.mark.parametrize(("pull", "weft"), [
    ("pull", []),                           # in cycle 3, by what an erased cell holds: the doing of the warp
    ("pull and step[2]", []),
    ("step[0]", ["from `wefts` (0x0)"]),    # in cycle 2, with the warp itself
    ("0b0", [])])
def test_what_follows_in_another_store_is_the_doing_of_the_first(pull: str, weft: list[str]) -> None:
    """The warp goes from its second word to 5, where nothing stands."""
    micro = "routine warps in warp at 0\n        to 1\n        to 5\nroutine wefts in weft at 0\n        back\n"
    found = findings_named("nowhere", report(Sound(LOOM.replace("PULL", pull), micro)))
    told = [one.message.split(",")[0].removeprefix("control arrives at ") for one in found]
    assert told == ["0x5 from `warps+1` (0x1)", *(f"0x7 {where}" for where in weft)]


def test_where_nothing_was_before() -> None:
    """Control begins where nothing stands."""
    [finding] = findings_named("nowhere", report(Sound(KITE.replace("reset 2", "reset 7"), RISE)))
    assert finding.message == "control arrives at 0x7, and nothing was placed there"
    assert finding.label == "control arrives there" and finding.notes == ("the cell holds 0xFF",)
    lost = RISE.replace("go 0", "go, target 9")
    [finding] = findings_named("nowhere", report(Sound(KITE, lost)))
    assert finding.label == "from here control goes on to 0x9"


def test_which_stores_are_asked_about_and_by_whose_address() -> None:
    """A store that is computed has a word everywhere; a table in which nothing was placed is no table yet."""
    side = "store side 2 words of 1 bit\n    address wind[0]\n    word not wind[0]\nstate upc"
    allowed = KITE.replace("state upc", side) + 'allow nowhere on entry "never"\n'
    contents = contents_of(allowed, RISE)
    control, entry = nowhere.ask(contents)
    assert [(asked.subject, asked.per_word) for asked in (control, entry)] == [("control", "control"),
                                                                               ("entry", "control")]
    bare = contents._replace(sites={"control": {}, "entry": {}, "side": {}})
    assert [asked.subject for asked in nowhere.ask(bare)] == ["control"]
    known = Known(frozenset((("nowhere", "control"), ("nowhere", "entry"))), {})
    assert nowhere.narrow(contents, entry, known) == () and len(nowhere.narrow(contents, control, known)) == 1


SENT = """\
machine relay "where control goes is sent from elsewhere"
microprogram "m.micro"
store control 8 words of 4 bits
    address ADDRESS
field jump 1 bit
field target 3 bits address, idle 0
input dial 3 bits
bus line 3 bits, floats
    driven by sender = target when jump
memory heap 4 words of 3 bits
    address upc[1:0]
state upc 3 bits, reset 0
    next NEXT
order goto <there>: jump, target <there>
"""


@pytest.mark.parametrize(("address", "becomes", "told"), [
    ("upc", "line if jump else upc + 1", "what stands on `line` is data"),
    ("upc", "heap if jump else upc + 1", "what stands in `heap` is data"),
    ("upc", "dial if jump else upc + 1", "`dial` may be anything"),
    ("dial if jump_held else upc", "0 if jump else upc + 1", "`dial` may be anything"),
    ("upc", "(5 if dial is 3 else 0) if jump else upc + 1", "end the sequence with a jump")])
def test_where_the_address_is_data_that_is_said(address: str, becomes: str, told: str) -> None:
    held = "state jump_held 1 bit, reset 0\n    next jump\n" if "held" in address else ""
    machine = SENT.replace("ADDRESS", address).replace("NEXT", becomes) + held
    [finding, *_] = findings_named("nowhere", report(Sound(machine, "routine start at 0\n    goto start\n")))
    assert finding.help.startswith(told)
