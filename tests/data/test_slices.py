"""Programs on the microprogram of examples/slices, against the same in Python. The programs are ours; what an
instruction does is said here a second time, from the words that it is written in."""

from functools import cache
from math import gcd
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.data.datapath import Datapath
from ordain.data.model import Record
from ordain.data.partial import exactly
from ordain.data.record import recorded
from ordain.pipeline import build_model

ORRERY = Path(__file__).parents[2] / "examples" / "slices" / "orrery.machine"
FUNCTIONS = range(6)
LOAD, LOAD_FROM, STORE, GO, GO_IF_ZERO, GO_IF_NEGATIVE, TIMES, SINE, TURN, WAIT, TIME = range(8, 19)
TABLE = 0x4000
"""Where programs keep their data, eight words."""
SECONDS = 0x2A5F


def word(opcode: int, r: int = 0, s: int = 0) -> int:
    return opcode << 10 | r << 6 | s << 2


@cache
def orrery() -> Datapath:
    built, findings = build_model(ORRERY)
    assert built is not None, findings
    return Datapath(built.contents)


def ran(memory: dict[int, int], stands: int = 0) -> Record:
    """From address 0 on, until the program waits."""
    path = orrery()
    found = recorded(path, {"memory": {at: exactly(value, 16) for at, value in memory.items()}},
                     lambda cycle: {"seconds": SECONDS, "stands": stands}, path.terms.leaf("at", "wait", 1), 20_000,
                     None, set(), kept="nothing")
    assert found.ending == "until" and not found.findings, found.findings
    return found


def sine(angle: int) -> int:
    bent = (0x7FFF - angle) * angle % 65536
    return bent * bent % 65536


class Programmer:
    """What somebody has to know who writes programs for it, until they wait."""

    def __init__(self, memory: dict[int, int]) -> None:
        self.memory, self.r = dict(memory), [0] * 8
        self.place = self.zero = self.negative = self.carry = 0

    def next(self) -> int:
        self.place += 1
        return self.memory[self.place - 1]

    def flags(self, value: int, carry: int) -> int:
        self.zero, self.negative, self.carry = int(value == 0), value >> 15, carry
        return value

    def work(self, function: int, a: int, b: int) -> int:
        match function:
            case 0:
                return self.flags((a + b) % 65536, (a + b) // 65536)
            case 1:
                return self.flags((a - b) % 65536, int(a >= b))
            case 2:
                return self.flags(a & b, 0)
            case 3:
                return self.flags(a | b, 0)
            case 4:
                return self.flags(a ^ b, 0)
        return self.flags(a, 0)

    def go(self) -> None:
        while True:
            now = self.next()
            opcode, a, s = now >> 10, self.r[now >> 6 & 7], now >> 2 & 7
            if opcode in FUNCTIONS:
                self.r[s] = self.work(opcode, a, self.r[s])
            elif opcode == LOAD:
                self.r[s] = self.next()
            elif opcode == LOAD_FROM:
                self.r[s] = self.memory[self.next()]
            elif opcode == STORE:
                self.memory[self.next()] = self.r[s]
            elif opcode in (GO, GO_IF_ZERO, GO_IF_NEGATIVE):
                target = self.next()
                if opcode == GO or (self.zero if opcode == GO_IF_ZERO else self.negative):
                    self.place = target
            elif opcode == TIMES:
                self.r[s] = self.flags(a * self.next() % 65536, 0)
            elif opcode == SINE:
                self.r[s] = self.flags(sine(a), 0)
            elif opcode == TIME:
                self.r[s] = SECONDS
            else:
                assert opcode == WAIT
                return


def same(memory: dict[int, int], loaded: int = 8) -> Programmer:
    """Run both ways: registers, so many of which the program loads, flags and memory are the same."""
    expected = Programmer(memory)
    expected.go()
    found = ran(memory)
    held = {name: bits.value for name, (bits, width) in found.held.items() if bits.known == (1 << width) - 1}
    assert {name: value for name, value in held.items() if name != "motor"} == {
        **{f"r{number}": value for number, value in enumerate(expected.r[:loaded])}, "place": expected.place,
        "zero": expected.zero, "negative": expected.negative, "carry": expected.carry}
    assert {at: bits.value for at, bits in found.memories["memory"].items()} == expected.memory
    return expected


registers, words = st.integers(0, 7), st.integers(0, 0xFFFF)
interesting = st.one_of(words, st.sampled_from((0, 1, 0x7FFF, 0x8000, 0xFFFF)))
cells = st.integers(TABLE, TABLE + 7)
steps = st.one_of(
    st.tuples(st.builds(word, st.sampled_from(FUNCTIONS), registers, registers)),
    st.tuples(st.builds(word, st.just(LOAD), registers, registers), interesting),
    st.tuples(st.builds(word, st.sampled_from((LOAD_FROM, STORE)), registers, registers), cells),
    st.tuples(st.builds(word, st.sampled_from((GO, GO_IF_ZERO, GO_IF_NEGATIVE))), st.none()),
    st.tuples(st.builds(word, st.sampled_from((SINE, TIME)), registers, registers)),
    st.tuples(st.builds(word, st.just(TIMES), registers, registers), interesting))


@settings(deadline=None, max_examples=8)
@given(st.lists(interesting, min_size=8, max_size=8), st.lists(steps, min_size=1, max_size=12), st.data())
def test_any_row_of_instructions_does_what_its_words_say(first: list[int], rows: list[tuple[int | None, ...]],
                                                         data: st.DataObject) -> None:
    """Registers and flags are loaded, then anything, with ways forward over the rest."""
    program: list[int | None] = [part for s, value in enumerate(first) for part in (word(LOAD, s=s), value)]
    program.append(word(5))
    begins = []
    for row in rows:
        begins.append(len(program))
        program += row
    begins.append(len(program))
    memory = {at: value if value is not None else data.draw(st.sampled_from([to for to in begins if to > at]))
              for at, value in enumerate(program)}
    memory[len(program)] = word(WAIT)
    same({**memory, **{TABLE + at: value for at, value in enumerate(reversed(first))}})


@settings(deadline=None, max_examples=3)
@given(st.integers(1, 25), st.integers(1, 25))
def test_the_smaller_taken_from_the_greater_until_they_are_equal(one: int, other: int) -> None:
    """Euclid's algorithm; its oracle beside our reading of the words is Python's own."""
    found = same(dict(enumerate([
        word(LOAD, s=0), one, word(LOAD, s=1), other,
        word(5, 1, 2), word(1, 0, 2), word(GO_IF_ZERO), 18, word(GO_IF_NEGATIVE), 13,      # 4: r2 becomes r0 - r1
        word(5, 2, 0), word(GO), 4,                                                        # 10: r0 was the greater
        word(5, 0, 2), word(1, 1, 2), word(5, 2, 1), word(GO), 4,                          # 13: r1 was
        word(STORE, s=0), TABLE, word(WAIT)])), loaded=3)
    assert found.memory[TABLE] == gcd(one, other)


def test_a_motor_that_stands_right_is_not_moved() -> None:
    """And the one that is meant is known afterwards. Elsewhere the microprogram goes on until the encoder says so."""
    found = ran({0: word(LOAD, s=3), 1: 0x0123, 2: word(LOAD, s=4), 3: 6, 4: word(TURN, 3, 4), 5: word(WAIT)},
                sine(0x0123))
    assert (found.held["motor"][0].value, found.held["zero"][0].value) == (6, 1)
