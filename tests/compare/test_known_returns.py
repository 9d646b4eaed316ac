"""What is known of an instruction while control is in a routine that it shares with others, and comes back to it: its
opcode, and what pointers hold, as long as somebody behind the return asks."""

import pytest

from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import compared, moved, unit

HAMPER = """\
machine hamper
microprogram "m.micro"
store control 32 words of 14 bits
    address upc
field flow 3 bits
    step 0 idle
    jump 1
    park 2
    pull 3
    back 4
    go   5
field target 5 bits address, idle 0
field load 1 bit
field ring 1 bit
field show 1 bit
spare 3 bits
store entry 4 words of 5 bits
    address op
    word start of instruction
register op 2 bits, loads wire when load
input lever 1 bit
state far 5 bits, reset any
    next target if flow is park else far
state near 5 bits, reset any
    next far if flow is pull else near
state upc 5 bits, reset 0
    next choose flow
        jump: target
        back: BACK
        go  : entry
        otherwise: upc + 1
bus wire 2 bits, pulled low
    driven by bell when ring and RINGS
bus dial 5 bits, pulled low
    driven by far when show
home upc is 0
"""
NAMES = ("none", "one", "two", "three")


def hamper(rings: str = "op is 3", back: str = "near", show: tuple[int, ...] = (), last: int = 1,
           ends: str = "back") -> Contents:
    """Each instruction parks the place of its own last words and goes to `sub`, which comes back to it. `show`: those
    that show what they have parked; `ends`: how `sub` ends."""
    words = {0: Word("fetch", {"load": 1}), 1: Word("on", {"flow": "go"}),
             4: Word("sub", {"flow": "pull"}), 5: Word("ends", {"flow": ends})}
    for op, name in enumerate(NAMES):
        words[8 + 4 * op] = Word(name, {"flow": "park", "target": 10 + 4 * op})
        words[9 + 4 * op] = Word(name, {"flow": "jump", "target": 4})
        words[10 + 4 * op] = Word(name, {"ring": 1, "show": int(op in show)})
        words[11 + 4 * op] = Word(name, {"flow": "jump", "ring": last if op == 2 else 1})
    return burned(resolved(HAMPER.replace("RINGS", rings).replace("BACK", back)), words,
                  tables={"entry": {op: 8 + 4 * op for op in range(4)}})


@pytest.mark.parametrize("back", ["near", "{near[4:1], near[0] or lever}"])
@pytest.mark.parametrize(("now", "told"), [
    ("op in (3, 3)", set()), ("op in (1, 3)", {"one"}), ("op in (0, 3)", {"none"}), ("op is 2", {"two", "three"})])
def test_the_opcode_is_known_behind_a_return(back: str, now: str, told: set[str]) -> None:
    """The bell rings in the last words, with one opcode; with another one it can ring only there."""
    for old, new in (("op is 3", now), (now, "op is 3")):
        assert moved(compared(hamper(old, back), hamper(new, back))) == dict.fromkeys(told, "changed")


def test_a_line_of_the_opcode_in_a_return_address() -> None:
    """With odd ones control comes to the second of the last two words."""
    back = "{near[4:1], op[0]}"
    assert moved(compared(hamper(back=back), hamper("op in (3, 3)", back))) == {}
    assert "two" in moved(compared(hamper(back=back), hamper("op is 3 or op is 2", back)))


def test_an_instruction_that_is_surely_loaded_is_a_part_of_what_loads_it() -> None:
    """The fetch loads 2, whatever is on the wire, and goes on at `two`."""
    old, new = (burned(resolved(HAMPER.replace("RINGS", "lever").replace("BACK", "near").replace(
        "loads wire", "loads 0b10")), {0: Word("fetch", {"load": 1}), 1: Word("on", {"flow": "go"}), **{
            8 + op: Word(name, {"flow": "jump", "ring": int(op in rung)}) for op, name in enumerate(NAMES)}},
        tables={"entry": {op: 8 + op for op in range(4)}}) for rung in ((), (1, 2)))
    assert moved(compared(old, new)) == dict.fromkeys(("reset", "fetch", "one", "two"), "changed")


def test_what_is_parked_is_known_behind_a_return() -> None:
    """It is on the bus there, a number that is the same in both machines, though these differ elsewhere."""
    shown = (0, 1, 3)
    assert moved(compared(hamper(show=shown), hamper(show=shown, last=0))) == {"two": "changed"}
    assert moved(compared(hamper(show=shown), hamper(show=(0, 1)))) == {"three": "changed"}


def test_nothing_is_left_to_a_return_that_knows_where_it_goes() -> None:
    """Where `sub` ends at the boundary it leaves what was parked, and nobody asks."""
    quiet = [hamper(ends="jump", last=last) for last in (0, 1)]
    assert moved(compared(*quiet)) == {}


def test_a_boundary_of_one_side_has_no_opcode() -> None:
    """`home` is at another place, to which no word of the other machine goes."""
    one = hamper()
    other = burned(resolved(HAMPER.replace("RINGS", "op is 3").replace("BACK", "near").replace(
        "home upc is 0", "home upc is 0 or upc is 30")), {
            0: Word("fetch", {"flow": "jump", "target": 30}), 30: Word("new", {"ring": 1, "flow": "jump"})},
        tables={"entry": dict.fromkeys(range(4), 30)})
    for pair, status in (((one, other), "new"), ((other, one), "gone")):
        found = [each for each in compared(*pair).units if each.kind == "boundary"]
        assert [(each.title, each.opcodes) for each in found if each.status == status] == [("new", ())]
    assert unit(compared(one, other), "reset").opcodes == ()
