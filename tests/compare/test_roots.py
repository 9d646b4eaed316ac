"""Where control enters, and what has to be remembered on the way so that a return is followed: three return addresses
that are set apart, a word behind each of them, and what is done there."""

import pytest

from ordain.compare.behaviour import behaviour
from ordain.compare.joint import join
from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import after, between, compared, edited, moved, unit
from tests.compare.test_difference import DOWN, UP, ferry
from tests.compare.test_sequencers import LINKED, NIBBLE
from tests.compare.test_what_is_known import LOADED

YAWL = """\
machine yawl
microprogram "m.micro"
store control 32 words of 13 bits
    address upc
field flow 3 bits
    jump  0
    near  1
    far   2
    left  3
    right 4
    move  5
    other 6
field target 5 bits address
field kept 2 bits, idle 0
field keep 1 bit
field up   1 bit
field down 1 bit
state upc 5 bits, reset RESET
    next choose flow
        jump : target
        near : target
        far  : target
        move : target
        left : port
        right: star
        otherwise: WAY
state port 5 bits, reset any
    next choose flow
        near: upc + 1
        move: star
        otherwise: port
state star 5 bits, reset 2
    next upc + 1 if flow is far else star
state room 2 bits, reset 0
    next kept if keep else room
bus rope 5 bits, pulled low
    driven by drum when up
    driven by cask when down
home upc is 0
"""
Steps = dict[int, tuple[str, int]]
"""Address -> how it goes on, and where to."""
BOTH = {"reset": "changed", "home": "changed"}


def yawl(steps: Steps, does: dict[int, dict[str, int]], reset: int = 0, way: str = "0") -> Contents:
    text = YAWL.replace("RESET", str(reset)).replace("WAY", way)
    return burned(resolved(text), {
        at: Word("home" if at == 0 else f"w{at}", {"flow": flow, "target": to, **does.get(at, {})})
        for at, (flow, to) in steps.items()})


@pytest.mark.parametrize(("steps", "last"), [
    ({0: ("near", 8), 8: ("left", 0)}, 1),
    ({0: ("near", 8), 8: ("jump", 9), 9: ("jump", 10), 10: ("left", 0)}, 1),
    ({0: ("far", 8), 8: ("jump", 9), 9: ("right", 0)}, 1),
    ({0: ("near", 8), 8: ("far", 12), 12: ("right", 0), 9: ("left", 0)}, 1),    # one within the other
    ({0: ("far", 8), 8: ("near", 12), 12: ("left", 0), 9: ("right", 0)}, 1),
    ({0: ("far", 8), 8: ("move", 9), 9: ("left", 0)}, 1),                        # set in one, used in another
    ({0: ("far", 8), 8: ("move", 9), 9: ("far", 12), 12: ("left", 0), 1: ("right", 0)}, 10),
])
def test_a_return_is_followed_to_where_it_leads(steps: Steps, last: int) -> None:
    """Of the word to which control comes last, and of no other that nobody comes to."""
    steps = {**steps, last: ("jump", 0), 30: ("jump", 0)}
    before = yawl(steps, {})
    assert moved(compared(before, yawl(steps, {last: {"up": 1}}))) == BOTH
    assert moved(compared(before, yawl(steps, {30: {"up": 1}}))) == {}


@pytest.mark.parametrize(("steps", "link"), [
    ({0: ("near", 8), 8: ("left", 0)}, "near"), ({0: ("far", 8), 8: ("right", 0)}, "far"),
    ({0: ("near", 8), 8: ("far", 12), 12: ("right", 0), 9: ("left", 0)}, "near"),
    ({0: ("near", 8), 8: ("far", 12), 12: ("right", 0), 9: ("left", 0)}, "far"),
    ({0: ("far", 8), 8: ("near", 12), 12: ("left", 0), 9: ("right", 0)}, "near"),
    ({0: ("far", 8), 8: ("near", 12), 12: ("left", 0), 9: ("right", 0)}, "far"),
    ({0: ("far", 8), 8: ("move", 9), 9: ("left", 0)}, "far"),
    ({0: ("far", 8), 8: ("move", 9), 9: ("far", 12), 12: ("left", 0), 1: ("right", 0), 10: ("jump", 14)}, "far"),
    ({0: ("far", 8), 8: ("move", 9), 9: ("far", 12), 12: ("left", 0), 1: ("right", 0), 10: ("jump", 14)}, "near"),
])
def test_what_is_left_is_nothing_where_every_return_is_followed(steps: Steps, link: str) -> None:
    """Behind all that, a call that does not come back leaves one place, or another with another word: each return has
    had its own before, so that nobody asks."""
    steps = {1: ("jump", 14), **steps, 14: ("jump", 20), 20: (link, 0), 21: ("jump", 0), 24: (link, 0), 25: ("jump", 0)}
    does = {21: {"up": 1}, 25: {"down": 1}}
    assert moved(compared(yawl(steps, does), yawl({**steps, 14: ("jump", 24)}, does))) == {}


def test_nobody_returns_to_where_only_reset_does() -> None:
    """The first word returns by what stands in `port` at power-up, which is anything and is left by no word: what is
    put there later does not matter to it."""
    steps: Steps = {5: ("left", 0), 0: ("jump", 8), 8: ("near", 0), 12: ("near", 0)}
    old, new = yawl(steps, {}, 5), yawl({**steps, 0: ("jump", 12)}, {}, 5)
    assert moved(compared(old, new)) == {}
    assert moved(compared(old, yawl({**steps, 5: ("right", 0)}, {}, 5)))["reset"] == "changed"


@pytest.mark.parametrize("words", [1, 2, 3])
def test_a_few_bits_of_a_place_that_are_kept_for_later(words: int) -> None:
    """The room is not known at the boundary, from where control goes into it; `far` sets it, some words earlier."""
    way: Steps = {0: ("other", 0), 8: ("jump", 0), 16: ("jump", 24), 24: ("jump", 0)}
    way |= {24 + number: ("jump", 25 + number if number < words else 0) for number in range(words + 1)}

    def kept(room: int, later: int = 0) -> Contents:
        text = YAWL.replace("RESET", "0").replace("WAY", "{room, 0b000}")
        placed = {at: Word("home" if at == 0 else f"w{at}", {"flow": flow, "target": to})
                  for at, (flow, to) in way.items()}
        placed[24] = Word("w24", {"flow": "jump", "target": 25, "keep": 1, "kept": room})
        placed[30] = Word("w30", {"up": later})
        return burned(resolved(text), placed)

    assert moved(compared(kept(1), kept(1, 1))) == {}
    assert moved(compared(kept(1), kept(2)))["home"] == "changed"


def test_what_the_opcode_is_at_reset_is_not_said_of_the_way_from_reset() -> None:
    """The first word goes on by the opcode, which is 1 then: `lift`. It is told of that, and not of who leads there."""
    machine = LINKED[0].replace("register op 2 bits\n", "register op 2 bits, reset 1\n")
    texts = machine, LINKED[1]
    assert moved(after(texts, ("        up, branch back\n", "        up, down, branch back\n"))) == {"lift": "changed"}
    other = machine.replace("op 2 bits, reset 1", "op 2 bits, reset 0"), LINKED[1]
    found = between(texts, other)
    assert moved(found) == {} and found.machine == ("register `op` starts as 0, was 1",)


@pytest.mark.parametrize(("reset", "when"), [("any", ["level"]), ("0", [])])
def test_a_line_is_called_by_its_name_at_reset_too(reset: str, when: list[str]) -> None:
    asks = edited(LOADED, ("        dry, drown\n", ""), ("    reset 1\n", f"    reset {reset}\n"))
    word = "        shut\n" if reset == "any" else "        open\n"
    found = after(asks, (word, word.replace("\n", ", drown\n")))
    first = unit(found, "reset").difference
    assert first is not None and [str(one) for one in first.way[0].when] == when


def test_wired_starts_that_leave_out_a_line() -> None:
    """The lowest line of the opcode does not come to the address: so only even opcodes are told, each for two."""
    text = NIBBLE.replace("{0b1, ir[7:4], 0b00}", "{0b1, ir[7:5], 0b000}")
    assert text.count("ir[7:5]") == 2

    def nibble(mark: int) -> Contents:
        words = {0: Word("fetch", {"mark": 1}), 1: Word("fetch", {"go": "dispatch"})}
        return burned(resolved(text), words | {64 + 8 * number: Word(f"i{number}", {
            "go": "home", "mark": mark if number == 3 else 2}) for number in range(8)})

    found = behaviour(join(nibble(3), nibble(4)))
    assert moved(found) == {"i3": "changed"} and unit(found, "i3").opcodes == (6,)
    assert sorted(opcode for one in found.units for opcode in one.opcodes) == list(range(0, 16, 2))


def test_a_count_that_is_not_known_is_a_number_and_no_place() -> None:
    """Where the room is shown, nobody knows which it is; it is the same on both sides, as counts do not move."""
    shown = edited((YAWL, ""), ("bus rope", "bus cord 2 bits, floats\n    driven by room when up\nbus rope"))[0]

    def build(spare: int) -> Contents:
        return burned(resolved(shown.replace("RESET", "0").replace("WAY", "0")), {
            0: Word("home", {"flow": "jump", "target": 0, "up": 1}), 9: Word("spare", {"down": spare})})

    assert moved(compared(build(0), build(1))) == {}


@pytest.mark.parametrize("link", ["state port 5 bits, reset any\n    next choose flow\n        near: upc + 1\n"
                                  "        move: star\n        otherwise: port\n",
                                  "register port 5 bits\n    loads upc + 1 when flow is near\n"
                                  "    loads star when flow is move\n"])
def test_a_return_address_is_a_place_in_a_state_and_in_a_register(link: str) -> None:
    """The call stands somewhere else, and comes back to the word behind it."""
    before = YAWL[YAWL.index("state port"):YAWL.index("state star")]
    text = YAWL.replace(before, link).replace("RESET", "0").replace("WAY", "0")

    def calling(at: int, last: int = 0) -> Contents:
        return burned(resolved(text), {
            0: Word("home", {"flow": "jump", "target": at}), at: Word("calls", {"flow": "near", "target": 28}),
            at + 1: Word("back", {"flow": "jump", "target": 0, "up": last}), 28: Word("called", {"flow": "left"})})

    assert moved(compared(calling(4), calling(12))) == {}
    assert moved(compared(calling(4), calling(12, 1))) == BOTH


# ---------------------------------------------------------------- starts to which no word leads yet

QUIET = """machine tram
store control 16 words of 12 bits
    address upc
field branch 2 bits
    jump 0
    go   1
field target 4 bits address, idle 0
field up 1 bit
field pick 1 bit
spare 4 bits
store inner INNER
    address ADDRESS
field bell 1 bit
spare INNER_SPARE bits
store entry 4 words of 4 bits
    address op
    word start of instruction
state upc 4 bits, reset 0
    next choose branch
        jump: target
        go  : STARTS
        otherwise: 0
state seat 4 bits, reset 0
    next target if pick else seat
register op 2 bits, loads rope when upc is 0
bus rope 2 bits, pulled low
    driven by drum when up
home upc is 0
"""


def quiet(text: str, starts: int, up: int, there: int = 8) -> Contents:
    """Nothing goes on by the opcode; what stands at `there` may lift."""
    machine = resolved(text.replace("STARTS", "entry"))
    return burned(machine, {0: Word("wait", {"branch": "jump"}), there: Word("lift", {"branch": "jump", "up": up})},
                  tables={"entry": dict.fromkeys(range(4), starts)})


ALONE = QUIET.replace("store inner INNER\n    address ADDRESS\nfield bell 1 bit\nspare INNER_SPARE bits\n", "")


@pytest.mark.parametrize(("size", "address", "spare", "told"), [
    ("16 words of 4 bits", "upc", 3, {"lift": "changed"}),          # the control word stands in two stores
    ("2 words of 2 bits", "pick", 1, {"lift": "changed"}),          # one word calls another
    ("16 words of 4 bits", "seat", 3, {}),                          # which of the two counters starts is not known
])
def test_starts_to_which_no_word_leads_are_entered_beside_another_store(size: str, address: str, spare: int,
                                                                       told: dict[str, str]) -> None:
    text = QUIET.replace("INNER_SPARE", str(spare)).replace("INNER", size).replace("ADDRESS", address)
    assert moved(compared(quiet(text, 8, 0), quiet(text, 8, 0))) == {}
    assert moved(compared(quiet(text, 8, 0), quiet(text, 8, 1))) == told


def test_what_is_no_whole_start_is_not_entered() -> None:
    """A word is led to by all of the store, or by nothing: where a line is missing, it stands elsewhere."""
    assert moved(compared(quiet(ALONE, 8, 0), quiet(ALONE, 8, 1))) == {"lift": "changed"}
    narrow = edited((ALONE, ""), ("entry 4 words of 4 bits", "entry 4 words of 3 bits"), ("STARTS", "{entry, 0b0}"))[0]
    for there in (4, 8):
        assert moved(compared(quiet(narrow, 4, 0, there), quiet(narrow, 4, 1, there))) == {}
    table = edited((ALONE, ""), ("    word start of instruction\n", "    word {op, op}\n"))[0]
    assert moved(compared(quiet(table, 8, 0), quiet(table, 8, 1))) == {}


def test_a_place_is_called_by_what_was_placed_there() -> None:
    """Of two words side by side nothing was placed at one, whichever."""
    for empty in (0, 1):
        found = compared(*[ferry(UP, DOWN, {empty: None, 1 - empty: Word("quay", {"target": 1})})] * 2)
        assert [one.title for one in found.units] == ["reset", "quay"]
    found = compared(*[ferry(UP, DOWN, {0: None, 1: None})] * 2)
    assert found.units[1].title in ("control 0", "control 1")
