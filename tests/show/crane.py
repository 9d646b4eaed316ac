"""A small machine and traces of it made by hand, for tests of what people are shown."""

from collections.abc import Sequence

from ordain.control.model import Cycle, Trace
from ordain.rom.contents import Contents
from ordain.text.source import Source, Span
from tests.workshop import contents_of

MACHINE = """\
machine crane "hoist with a deck hand"
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
    unused  goto start
field branch 1 bit
    step 0 idle
    jump 1
field target 4 bits address, idle 0
field lift 1 bit, active low
field lend 1 bit
spare 1 bit
state upc 4 bits, reset 0
    next choose branch
        step : upc + 1
        jump : target
state swung 1 bit, reset 0
    next lift
register cell 4 bits
    loads data when lend
condition slack 1 bit
input gust (none, light, strong)
bus data 4 bits, floats
    driven by motor when lift
    driven by deck when deck.shouts
    sampled by cell when lend
bus call 1 bit, wired or
    driven by bell when lift
    driven by horn when deck.shouts
signal pull = lift and deck.shouts
strobe pull
    data steady 1 cycle after
agent deck "the deck hand"
    input wave 1 bit
    state mode (calm, shouting), reset calm
        next shouting if wave else calm
    signal shouts = mode is shouting
rule "the deck hand is heard" reach deck.shouts
rule "no pull in the wind" when lift then lend within 3 cycles
order goto <there> : branch jump, target <there>
"""

MICRO = """\
routine start at 0
        lift
  hook: lend
        goto start
"""


def crane() -> Contents:
    return contents_of(MACHINE, MICRO)


def cycle(address: int, mode: int, *, swung: int = 0, drivers: Sequence[str] = (), strobes: tuple[str, ...] = (),
          bells: tuple[str, ...] = (), wave: int = 0, gust: int = 0, matters: Sequence[str] = (),
          events: Sequence[str] = ()) -> Cycle:
    return Cycle({"upc": address, "swung": swung, "deck.mode": mode}, {}, {"deck.wave": wave, "gust": gust, "slack": 0},
                 frozenset(matters), {"control": address}, {"control": 0}, {"data": tuple(drivers), "call": bells},
                 {"data": ()}, strobes, frozenset(events))


def fight(loop: int | None = None) -> Trace:
    """Three cycles to a fight: somebody waves, and the motor comes on again while the deck hand shouts. The deck hand
    shouts once more where nothing was placed."""
    return Trace((
        cycle(0, 0, drivers=("motor",), bells=("bell",)),
        cycle(1, 0, swung=1, wave=1, gust=2, matters=("deck.wave", "gust")),
        cycle(9, 1, drivers=("motor", "deck"), bells=("bell", "horn"), strobes=("pull",), matters=("slack",),
              events=("node",)),
    ), loop, False, {"upc": 0, "swung": 0, "deck.mode": 0})


def long_way(count: int) -> Trace:
    """Round and round."""
    return Trace(tuple(cycle(index % 3, 0) for index in range(count)), None, True, {})


def span(text: str, marked: str, name: str = "m.micro") -> Span:
    """The first `marked` in a text."""
    at = text.index(marked)
    return Span(Source(name, text), at, at + len(marked))
