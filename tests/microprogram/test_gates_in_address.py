"""A PROM whose address lines come from gates (the request lines of masters, an enable): its words, held against the
functions that were drawn, for everything that its lines can show."""

from collections.abc import Callable
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ordain.pipeline import build_texts

Gate = Callable[[int, int, int], bool]
GATES: dict[str, tuple[str, Gate]] = {
    "asks": ("m in (asking, owning)", lambda m, n, s: m in (1, 2)),
    "owns": ("m is owning", lambda m, n, s: m == 2),
    "full": ("n is 3", lambda m, n, s: n == 3),
    "odd": ("parity(n)", lambda m, n, s: n in (1, 2)),
    "either": ("n[0] or s", lambda m, n, s: bool(n & 1 or s)),
    "s": ("", lambda m, n, s: bool(s)),
}
FRAME = """\
machine arbiter
microprogram "arbiter.micro"
store control 2 words of 1 bit
    address 0b0
spare 1 bit
state m (idle, asking, owning), reset idle
    next idle
state n 2 bits, reset 0
    next 0
input s 1 bit{on}
store prom {words} words of 1 bit
    address {{{address}}}
    word {word}
chip U1 {words} x 1
    holds prom
    address {{{address}}}
order nothing :
"""
MICRO = "routine logic at 0\n        nothing\n"


def function(lines: list[str], column: int) -> str:
    """Any function of the lines, a sum of products of their names."""
    products = []
    for number, levels in enumerate(product((0, 1), repeat=len(lines))):
        if column >> number & 1:
            said = " and ".join(one if level else f"not {one}" for one, level in zip(lines, levels))
            products.append(f"({said})")
    return " or ".join(products) or "0b0"


@given(st.data())
def test_the_word_at_what_the_lines_show_is_what_the_expression_says(data: st.DataObject) -> None:
    lines = data.draw(st.lists(st.sampled_from(sorted(GATES)), min_size=1, max_size=4, unique=True))
    turned = data.draw(st.sets(st.sampled_from(lines)))
    column = data.draw(st.integers(0, (1 << (1 << len(lines))) - 1))
    clock = data.draw(st.booleans())
    address = ", ".join(f"not {one}" if one in turned else one for one in lines)
    signals = "".join(f"signal {name} = {text}\n" for name, (text, _) in GATES.items() if text)
    text = FRAME.format(on=" on clk" if clock else "", words=1 << len(lines), address=address,
                        word=function(lines, column))
    text += signals + ("clock clk (early, late)\nstate seen 1 bit, reset 0, on early\n    next s\n" if clock else "")
    built, findings = build_texts({"arbiter.machine": text, "arbiter.micro": MICRO}, "arbiter.machine")
    assert built is not None, [finding.message for finding in findings]
    for m, n, s in product(range(3), range(4), range(2)):
        levels = [GATES[one][1](m, n, s) for one in lines]
        shown = sum((levels[-1 - at] != (one in turned)) << at for at, one in enumerate(reversed(lines)))
        number = sum(level << at for at, level in enumerate(reversed(levels)))
        assert built.images["U1"][shown] & 1 == column >> number & 1, text


@pytest.mark.parametrize(("word", "carried"), [
    ("asks and full", True), ("not asks or full", True), ("m is owning", False), ("asks and n[0]", False),
    ("m in (asking, owning)", True), ("m is idle", False),
])
def test_what_the_gates_have_lost_the_chip_does_not_know(word: str, carried: bool) -> None:
    text = FRAME.format(on="", words=4, address="asks, full", word=word)
    text += "signal asks = m in (asking, owning)\nsignal full = n is 3\n"
    _, findings = build_texts({"arbiter.machine": text, "arbiter.micro": MICRO}, "arbiter.machine")
    assert [finding.name for finding in findings if finding.severity.value == "error"] == (
        [] if carried else ["not-in-address"])


@pytest.mark.parametrize(("word", "carried"), [
    ("sum[0] and sum[2]", True), ("not sum[0]", True), ("sum[1]", False), ("sum is 5", False), ("n[0]", False),
])
def test_some_lines_of_what_gates_make_are_lines_of_their_own(word: str, carried: bool) -> None:
    """`sum` goes from 0 to 5 and, of its three bits, the middle one does not reach the chip."""
    text = FRAME.format(on="", words=4, address="not sum[2], sum[0]", word=word)
    text += "signal sum = {0b0, n} + {0b0, m} if s else {0b0, n}\n"
    built, findings = build_texts({"arbiter.machine": text, "arbiter.micro": MICRO}, "arbiter.machine")
    assert [finding.name for finding in findings if finding.severity.value == "error"] == (
        [] if carried else ["not-in-address"])
    if built is not None:
        for high, low in product((0, 1), repeat=2):
            assert built.images["U1"][(not high) << 1 | low] & 1 == (not low if "not" in word else high and low)


ARMS = """\
machine loom
microprogram "loom.micro"
store control 64 words of 4 bits
    address {{{lines}, ir, step}}
    instruction ir
    step step
field out 2 bits, idle 0
field last 1 bit
field take 1 bit
chip U1 64 x 4
    holds control
    address {{{lines}, ir, step}}
register ir 2 bits, loads data when take
state step 2 bits, reset 0
    next 0 if last else step + 1
state m (idle, asking, owning), reset idle
    next idle
input read 1 bit, write 1 bit
signal asks = m in (asking, owning)
signal uses = read or write
bus data 2 bits, floats
    driven by rom when take
"""


@pytest.mark.parametrize(("lines", "condition", "holds"), [
    ("asks, uses", "asks or uses", lambda asks, uses: asks or uses),              # `uses` is no gate in this any more
    ("asks, uses", "asks and not uses", lambda asks, uses: asks and not uses),
    ("asks, not uses", "m is idle if uses else read", None),
    ("asks, not uses", "not uses", lambda asks, uses: not uses),
    ("asks, uses", "read", None),
    ("asks, uses", "asks or read", None),
    ("asks, not uses", "asks or read or write", lambda asks, uses: asks or uses),
])
def test_an_arm_asks_what_gates_make_of_the_lines(lines: str, condition: str,
                                                  holds: Callable[[int, int], int] | None) -> None:
    """Every cell of the instruction's first step, by hand: 1 where the arm is chosen, 2 where the other is."""
    micro = f"""\
prologue
        take
instruction 1 "one"
    when {condition}
        out 1, last
    otherwise
        out 2, last
instruction others "rest"
        last
"""
    built, findings = build_texts({"loom.machine": ARMS.format(lines=lines), "loom.micro": micro}, "loom.machine")
    if holds is None:
        assert [finding.name for finding in findings if finding.severity.value == "error"] == ["not-in-address"]
        return
    assert built is not None, [finding.message for finding in findings]
    for asks, uses in product((0, 1), repeat=2):
        address = asks << 5 | (uses ^ ("not" in lines)) << 4 | 1 << 2 | 1
        assert built.images["U1"][address] >> 2 & 3 == (1 if holds(asks, uses) else 2)
