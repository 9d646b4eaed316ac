"""Which words act: two stores whose lines are not known, an opcode behind a gate of which nothing is known, decoders
that are read on the way to a place."""

import pytest

from ordain.compare.behaviour import behaviour
from ordain.compare.joint import join
from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import Texts, after, between, compared, moved
from tests.compare.test_rare_sequencers import KELP, KELP_WORDS

# ---------------------------------------------------------------- lines of two stores

YOKE = """\
machine yoke
microprogram "m.micro"
store control 8 words of 6 bits
    address {upc, left}
field to   2 bits address
field row  2 bits
field ring 1 bit
spare 1 bit
store rows 8 words of 2 bits
    address {row, right}
field hum  1 bit
field hiss 1 bit
input left 1 bit, right 1 bit
state upc 2 bits, reset 0
    next to
bus rope 1 bit, pulled low
    driven by drum when hum
    driven by cask when hiss
    driven by bell when ring
home upc is 0
"""


def yoke(*told: int, spare: int = 0, ring: int = 0) -> Contents:
    """One place of control, at which two words of each store may act; `told`: rows of the second, in which the drum
    hums."""
    made = burned(resolved(YOKE), {at: Word("all", {"row": 1, "ring": ring if at == 1 else 0}) for at in (0, 1)})
    rows = [2 if at in told else 0 for at in range(8)]
    rows[7] = spare
    return made._replace(words={**made.words, "rows": tuple(rows)})


@pytest.mark.parametrize(("most", "known"), [(4096, True), (3, True), (2, False), (1, False)])
def test_lines_of_two_stores_are_looked_at_up_to_a_limit(most: int, known: bool,
                                                         monkeypatch: pytest.MonkeyPatch) -> None:
    """Two words of one store, and for each two rows of the other. Beyond the limit all is told but one build."""
    monkeypatch.setattr("ordain.compare.places.MOST_WORDS", most)
    assert moved(compared(yoke(2), yoke(2))) == {}
    assert (moved(compared(yoke(2), yoke(2, spare=1))) == {}) == known
    for other in (yoke(3), yoke(2, 3), yoke(), yoke(2, ring=1)):
        assert moved(compared(yoke(2), other)) != {}


# ---------------------------------------------------------------- an opcode behind a gate that nobody knows

OPEN: Texts = (KELP.replace("signal opcode = GATE", "input open 1 bit\nsignal opcode = ir if open else 0b0000"),
               KELP_WORDS)


def test_an_opcode_behind_a_gate_that_is_not_known() -> None:
    """Which word acts cannot be told, and so whatever instruction is another, the way from reset is told as one."""
    assert moved(between(OPEN, OPEN)) == {}
    for change in (("mark 2", "mark 7"), ("mark 5", "mark 7"), ("mark 6, last", "mark 7, last")):
        assert moved(after(OPEN, change)) != {}


# ---------------------------------------------------------------- decoders between the word and the next place

GEARS = """\
machine gears
microprogram "m.micro"
store control 16 words of 10 bits
    address upc
field way  2 bits
field to   4 bits address
field ring 1 bit
field hum  1 bit
spare 2 bits
store first 8 words of 3 bits
    address {way, wind}
field slow 1 bit
field late 2 bits, active low
store second 4 words of 1 bit
    address late
input wind 1 bit
state upc 4 bits, reset 0
    next to + 1 if second.word else to
bus rope 1 bit, pulled low
    driven by drum when hum
    driven by bell when ring
home upc is 0
"""


def gears(way: int, does: str = "ring", first: dict[int, int] | None = None, second: tuple[int, ...] = (0, 1, 1, 0),
          other: str = "hum") -> Contents:
    """`home` goes on to 8 or 9 by what two decoders say of its way and the wind."""
    words = {0: Word("home", {"way": way, "to": 8}), 8: Word("eight", {does: 1}), 9: Word("nine", {other: 1})}
    rows = {0: 3, 1: 3, 2: 2, 3: 3, 4: 1, 5: 2, 6: 0, 7: 0} if first is None else first     # late is what is not there
    return burned(resolved(GEARS), words, tables={"first": rows, "second": dict(enumerate(second))})


@pytest.mark.parametrize("way", range(4))
def test_decoders_that_are_read_one_by_the_other(way: int) -> None:
    """Ways 0 and 3 lead to 8 whatever the wind, 1 by the wind, 2 to 9: `late` is 0 0, 1 0, 2 1, 3 3. The words there
    have way 0. What the first decoder says is shown besides, wherever it leads."""
    old = gears(way)
    for change, ways in ((gears(way, "hum"), {0, 1, 3}), (gears(way, other="ring"), {1, 2}),
                         (gears(way, second=(1, 1, 1, 0)), {0, 1, 2, 3}), (gears(way, second=(0, 0, 1, 0)), {1, 2}),
                         (gears(way, second=(0, 1, 0, 0)), {2}), (gears(way, second=(0, 1, 1, 1)), {3}),
                         (gears(way, first={0: 3, 1: 3, 2: 3, 3: 2, 4: 1, 5: 2, 6: 0, 7: 0}), {1}),
                         (gears(way, first={0: 3, 1: 3, 2: 2, 3: 3, 4: 2, 5: 1, 6: 0, 7: 0}), {2})):
        assert (moved(compared(old, change)) != {}) == (way in ways)
        assert (moved(compared(change, old)) != {}) == (way in ways)
    assert {one.kind for one in behaviour(join(old, old)).units} == {"reset", "boundary"}

