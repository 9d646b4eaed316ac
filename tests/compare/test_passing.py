"""A next address that is made of lines which may be others in the next cycle: an input, a register that is loaded, an
opcode. What is asked about then is not what was asked about before."""

import pytest

from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import compared, moved, unit
from tests.compare.side_by_side import parting

SLOOP = """\
machine sloop
microprogram "m.micro"
store control 128 words of 16 bits
    address upcSTARTS
field go 3 bits
    home 0
    turn 1
    ask  2
    jump 3
    keep 4
    back 5
    put  6
field to   7 bits address
field load 1 bit
field up   1 bit
field down 1 bit
spare 3 bits
input dial 5 bits
register ir 8 bits, loads data when load
bus data 8 bits, floats
    driven by memory
state upc 7 bits, reset 0
    next choose go
        turn: NEXT
        ask : to if ASK else to + 1
        jump: to
        keep: to
        back: kept
        otherwise: 0
state kept 7 bits, reset any
    next KEPT if go is keep else to if go is put else kept
bus rope 1 bit, pulled low
    driven by drum when up
    driven by cask when down
home upc is 0
"""
STARTS = "\n    starts at {0b1, ir[7:4], 0b00}\n    instruction ir[7:4]"
HIDDEN = frozenset(("upc", "kept"))


def sloop(turn: str, ask: str, starts: str = "", load: int = 0, way: str = "turn", second: int = 0, kept: str = "to",
          **last: int) -> Contents:
    """`home` loads, `turns` goes where the lines say; where they say 3 or 5 the same is asked once more, and `last` is
    done where it is not so any longer."""
    text = SLOOP.replace("STARTS", starts).replace("NEXT", turn).replace("ASK", ask).replace("KEPT", kept)
    words = {at: Word(f"w{at}", {"go": "home"}) for at in range(64, 128)}
    words |= {0: Word("home", {"go": "jump", "to": 1, "load": 1}), 1: Word("turns", {"go": way, "to": 2, "load": load}),
              2: Word("second", {"go": "jump", "to": 3, "load": second}), 3: Word("third", {"go": "back"})}
    words |= {at: Word("asks", {"go": "ask", "to": 8}) for at in (64 + 5, 64 + 12)}
    words |= {8: Word("so", {"up": 1}), 9: Word("otherwise", last)}
    return burned(resolved(text), words)


DIAL, LINES = "{0b10, dial}", "{0b1, ir[7:4], 0b00}"


@pytest.mark.parametrize(("turn", "ask", "starts", "load", "told"), [
    (DIAL, "dial is 5", "", 0, True),               # the dial is turned in between
    ("{0b10, dial[4:2], 0b01}", "dial is 5", "", 0, True),
    (LINES, "ir[7:4] is 3", "", 0, False),          # the register stands still
    (LINES, "ir[7:4] is 3", "", 1, True),           # or is loaded as its lines are taken
    (LINES, "ir[7:4] is 3", STARTS, 0, False),      # and so it is where these lines are the opcode
    (LINES, "ir[7:4] is 3", STARTS, 1, True),
])
def test_what_is_asked_once_more_may_be_another(turn: str, ask: str, starts: str, load: int, told: bool) -> None:
    old = sloop(turn, ask, starts, load, up=1)
    for new in (sloop(turn, ask, starts, load, down=1), sloop(turn, ask, starts, load, up=1, down=1)):
        apart = any(parting(old, new, HIDDEN, run, 150) for run in range(2))
        assert (moved(compared(old, new)) != {}) == told == apart
    assert moved(compared(old, old)) == {}


@pytest.mark.parametrize(("kept", "load", "second", "told"), [
    (LINES, 0, 0, False), (LINES, 0, 1, True), (LINES, 1, 0, True), (DIAL, 0, 0, True)])
def test_a_return_address_that_is_made_of_such_lines(kept: str, load: int, second: int, told: bool) -> None:
    """It is kept for two cycles, and the register is loaded meanwhile or not."""
    ask = "dial is 5" if kept == DIAL else "ir[7:4] is 3"
    old, new = (sloop("0", ask, "", load, "keep", second, kept, **last) for last in ({"up": 1}, {"down": 1}))
    apart = any(parting(old, new, HIDDEN, run, 150) for run in range(4))
    assert (moved(compared(old, new)) != {}) == told == apart


def test_when_it_is_taken_counts() -> None:
    """The same words; in one machine the second takes what the first takes in the other, and the dial is turned in
    between. What it is made of counts, and not to which page it leads."""
    def taking(where: str, value: str = DIAL, more: int = 0) -> Contents:
        text = SLOOP.replace("STARTS", "").replace("NEXT", "0").replace("ASK", "dial[0]").replace(
            "next KEPT if go is keep", f"next {value} if {where}")
        words = {at: Word("far", {"up": at & 1}) for at in range(64, 128)}
        words |= {0: Word("home", {"go": "jump", "to": 1}), 1: Word("one", {"go": "jump", "to": 2}),
                  2: Word("two", {"go": "jump", "to": 3}), 3: Word("three", {"go": "back"}),
                  9: Word("spare", {"down": more})}
        return burned(resolved(text), words)

    first, second = taking("upc is 1"), taking("upc is 2")
    assert any(parting(first, second, HIDDEN, run) for run in range(4))
    assert moved(compared(first, second)) != {} != moved(compared(second, first))
    assert moved(compared(first, taking("upc is 1", more=1))) == {}
    assert moved(compared(first, taking("upc is 1", "{0b11, dial}", 1))) == {}
    assert moved(compared(first, taking("upc is 1", "{0b10, not dial}"))) != {}


def test_lines_of_several_cycles_are_unlike_those_of_another_build() -> None:
    """Each word moves what is kept up by some lines and takes others in below: of the dial of two cycles ago, and of
    the last, it is not told which is which. It is one and the same in one build."""
    text = SLOOP.replace("STARTS", "").replace("NEXT", "0").replace("ASK", "dial[0]").replace(
        "KEPT", "{0b1, kept[3:0], dial[1:0]}").replace("state kept 7 bits, reset any", "state kept 7 bits, reset 64")

    def shifting(times: int, spare: int = 0) -> Contents:
        words = {at: Word("far", {"up": at & 1}) for at in range(64, 128)}
        words |= {at: Word(f"w{at}", {"go": "keep" if 0 < at <= times else "jump", "to": at + 1}) for at in range(5)}
        return burned(resolved(text), words | {5: Word("last", {"go": "back"}), 9: Word("spare", {"down": spare})})

    for times in (1, 2):
        assert moved(compared(shifting(times), shifting(times))) == {}
        assert (moved(compared(shifting(times), shifting(times, 1))) == {}) == (times < 2)
        assert moved(compared(shifting(times), shifting(times + 1))) != {}


@pytest.mark.parametrize("starts", ["", STARTS])
@pytest.mark.parametrize(("kept", "at"), [(LINES, 76), (DIAL, 69), ("{0b1, ir[7:4], 0b00} if up else to", 76)])
def test_a_place_that_lines_say_is_followed_when_control_comes_back_to_it(kept: str, at: int, starts: str) -> None:
    """The first word keeps it, and comes to the boundary; there control goes to what was kept. In between the register
    is loaded, and where the lines have said 3 they need not say so any longer."""
    text = SLOOP.replace("STARTS", starts).replace("NEXT", "0").replace("ASK", "ir[7:4] is 3").replace(
        "KEPT", kept).replace("upc 7 bits, reset 0", "upc 7 bits, reset 1")

    def coming(*asks: int, **last: int) -> Contents:
        words = {place: Word("far", {"go": "home"}) for place in range(64, 128)}
        words |= {0: Word("home", {"go": "back", "load": 1}), 1: Word("first", {"go": "keep", "to": 0, "up": 1}),
                  at: Word("asks", {"go": "ask", "to": 8}), 8: Word("so", {"down": asks[0]}), 9: Word("else", last)}
        return burned(resolved(text), words)

    old = coming(0)
    assert any(parting(old, coming(0, up=1), HIDDEN, run, 6) for run in range(60))
    for new in (coming(1), coming(0, up=1)):
        assert moved(compared(old, new)) != {}
    assert moved(compared(old, coming(0))) == {}


@pytest.mark.parametrize(("edit", "load", "asking", "told"), [
    (("field load 1 bit", "field load 1 bit, active low"), 0, 0, False),
    (("field load 1 bit", "field load 1 bit, active low"), 1, 0, True),
    (("register ir", "latch ir"), 0, 1, True)])             # it shows what it is loaded with as it is asked
def test_whether_a_register_stands_still(edit: tuple[str, str], load: int, asking: int, told: bool) -> None:
    assert SLOOP.count(edit[0]) == 1
    text = SLOOP.replace(*edit).replace("STARTS", "").replace("NEXT", LINES).replace("ASK", "ir[7:4] is 3").replace(
        "KEPT", "to")

    def turning(**last: int) -> Contents:
        words = {at: Word("far", {"go": "home"}) for at in range(64, 128)}
        return burned(resolved(text), words | {
            0: Word("home", {"go": "jump", "to": 1, "load": 1}), 1: Word("turns", {"go": "turn", "load": load}),
            76: Word("asks", {"go": "ask", "to": 8, "load": asking}), 8: Word("so", {}), 9: Word("else", last)})

    old, new = turning(), turning(up=1)
    assert (moved(compared(old, new)) != {}) == told == any(parting(old, new, HIDDEN, run, 150) for run in range(2))


def test_what_is_held_is_told_where_it_is_asked() -> None:
    """One goes where the lines have said, the other does not: till then both have done the same."""
    def third(go: str) -> Contents:
        made = sloop("0", "dial[0]", "", 0, "keep", 0, DIAL)
        words = list(made.words["control"])
        words[3] = burned(made.machine, {3: Word("third", {"go": go})}).words["control"][3]
        return made._replace(words={**made.words, "control": tuple(words)})

    first = unit(compared(third("back"), third("jump")), "home").difference
    assert first is not None and (first.cycle, [str(change) for change in first.changes]) == (4, ["go: back -> jump"])
