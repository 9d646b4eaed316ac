"""Return addresses, against two machines that are run side by side: programs by chance that call, return and jump, with
one word changed, and with all words moved."""

from random import Random

import pytest

from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import compared, moved
from tests.compare.side_by_side import parting

COIL = """\
machine coil
microprogram "m.micro"
store control 32 words of 12 bits
    address upc
field flow 3 bits
    jump 0
    call 1
    back 2
    ask  3
    mark 4
field target 5 bits address
field up   1 bit
field down 1 bit
spare 2 bits
input lever 1 bit
state upc 5 bits, reset 0
    next choose flow
        jump: target
        call: target
        mark: upc + 1
        back: ret
        ask : target if lever else upc + 1
        otherwise: 0
state ret 5 bits, reset 0
    next choose flow
        call: upc + 1
        mark: target
        back: LEFT
        otherwise: ret
state under 5 bits, reset 0
    next UNDER
bus rope 1 bit, pulled low
    driven by drum when up
    driven by cask when down
HOME
"""
KINDS = {"two": ("under", "ret if flow is call else (0 if flow is back else under)"), "one": ("0", "under")}
"""So many return addresses, one upon the other: what a return leaves in the upper, and the next of the lower."""
HOMES = {"never home": "", "home": "home upc is 0\n"}
HIDDEN = frozenset(("upc", "ret", "under"))
Program = list[tuple[str, int, dict[str, int]]]
"""Per word: how it goes on, where to, and what it does."""


def program(rng: Random, count: int) -> Program:
    words: Program = []
    for number in range(count):
        flow = rng.choice(("jump", "call", "call", "back", "ask", "mark")) if number < count - 1 else "back"
        words.append((flow, rng.randrange(count), rng.choice(({}, {"up": 1}, {"down": 1}))))
    return words


def made(text: str, words: Program, shift: int = 0) -> Contents:
    """The first word stands at 0, the others, which may go on to the next, one behind the other."""
    def at(number: int) -> int:
        return number and number + shift

    return burned(resolved(text), {at(number): Word(f"w{number}", {"flow": flow, "target": at(target), **does})
                                   for number, (flow, target, does) in enumerate(words)})


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("home", HOMES)
@pytest.mark.parametrize("seed", range(3))
def test_what_runs_otherwise_is_told(kind: str, home: str, seed: int) -> None:
    """Whatever differs in some run has to be told; and a program that is the same at other places is the same."""
    rng = Random(f"coil {kind} {home} {seed}")
    text = COIL.replace("LEFT", KINDS[kind][0]).replace("UNDER", KINDS[kind][1]).replace("HOME\n", HOMES[home])
    words = program(rng, 8)
    old = made(text, words)
    if words[0][0] in ("jump", "back"):
        assert moved(compared(old, made(text, words, 9))) == {}
    for number in rng.sample(range(len(words)), 4):
        (flow, target, does), other = words[number], [*words]
        other[number] = (flow, target, {"up": 1, "down": 1} if rng.random() < 0.7 else does)
        if rng.random() < 0.4:
            other[number] = (flow, rng.randrange(len(words)), other[number][2])
        new = made(text, other)
        apart = any(parting(old, new, HIDDEN, run, 25) for run in range(3))
        told = moved(compared(old, new)) != {}
        assert told == apart, (words, number, other[number])


def test_a_return_address_on_a_bus_is_a_number() -> None:
    """Where `calls` stands is of no matter, as nobody returns, unless `show` puts on the bus what it has left: the
    place of the word behind it, or, in another machine with the same words, of the next."""
    hidden = COIL.replace("LEFT", "0").replace("UNDER", "under").replace("HOME\n", HOMES["home"])
    shown = hidden.replace("rope 1 bit, pulled low\n    driven by drum", "rope 5 bits, pulled low\n    driven by ret")

    def called(text: str, calls: int, out: int) -> Contents:
        return burned(resolved(text), {
            0: Word("home", {"flow": "ask", "target": 8}), 1: Word("show", {"flow": "jump", "target": 0, "up": 1}),
            8: Word("far", {"flow": "jump", "target": calls}), calls: Word("calls", {"flow": "call", "target": out}),
            out: Word("out", {"flow": "jump", "target": 0, "down": 1})})

    for text, told in ((hidden, {}), (shown, {"home": "changed"})):
        assert moved(compared(called(text, 20, 24), called(text, 20, 24))) == {}
        assert moved(compared(called(text, 20, 24), called(text, 21, 24))) == told
        further = text.replace("call: upc + 1\n        mark", "call: upc + 2\n        mark")
        assert further != text
        assert moved(compared(called(text, 20, 24), called(further, 20, 24))) == told
