"""What is seen in a clock of a capture, and what is told of it, as data."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal, NamedTuple, TypeAlias

from ordain.control.model import Trace
from ordain.machine.expression import Node, Terms

FaultKind: TypeAlias = Literal["chip", "pin", "bridge", "exchange", "burning", "cell", "state", "input", "synchroniser",
                               "driver", "clip"]


class Seen(NamedTuple):
    """What stands on the lines in a cycle: `word` has the level of line N in bit N, `known` a 1 where it was seen."""

    word: int
    known: int


class ClockCycle(NamedTuple):
    """One cycle: its number from 1, the time of the edge that ends it, the set of states in which it begins."""

    number: int
    time: int
    states: int
    seen: Seen


class Followed(NamedTuple):
    """`clocks`: how many were explained. `broken`: the one that no sequence explains, the set being what was possible;
    None: none. `history`: the last ones before it. `ending`: the set after the last one."""

    clocks: int
    broken: ClockCycle | None
    history: tuple[ClockCycle, ...]
    ending: int


class Possible(NamedTuple):
    """What could have been instead. `differs`: the lines that would then not be as they were seen; none where only some
    of them together cannot. `trace`: last clocks, as they may have been,
    with this one as it should have been. `inputs`: what has to come from outside in the clock before for it, as far as
    that matters: name and value."""

    addresses: dict[str, int]
    differs: tuple[int, ...]
    trace: Trace
    inputs: tuple[tuple[str, int], ...]


class Why(NamedTuple):
    """`never`: the lines that cannot be as seen whatever the others are. `together`: as few lines as possible that
    cannot be so at once. `others`: how many more addresses would have been possible than those in `possible`."""

    never: tuple[int, ...]
    together: tuple[int, ...]
    possible: tuple[Possible, ...]
    others: int


class ToldClock(NamedTuple):
    """`addresses`: of each microprogrammed store those that are possible. `drivers`: for each bus who may drive it, and
    whether that is sure; `quiet`: the buses that nobody drives for sure."""

    addresses: dict[str, tuple[int, ...]]
    drivers: dict[str, tuple[tuple[str, bool], ...]]
    quiet: frozenset[str]


class Measured(NamedTuple):
    """What a capture says of a rule or a strobe. `kind`: "never", "reach": in how many clocks it held, `first` being
    the first of them; "takes": from trigger to response in `least` to `most` clocks, of `allowed`, `first` being one
    that was late; "lasts": a strobe. `times`: how often; `unsure`: how often nothing sure can be said."""

    kind: str
    text: str
    times: int
    unsure: int
    least: int | None
    most: int | None
    allowed: int | None
    first: int | None


class Hypothesis(NamedTuple):
    """A single fault of the board. `words`: of the stores that read otherwise with it. `state`, `bit`, `level`: a
    bit of a state that stays at a level; `state` "" where it is not that. `inside`: leaves, or what is formed of them,
    for which the machine gets something else. `clips`: (line, line at which its clip really is, None: at none); then
    the machine is sound."""

    kind: FaultKind
    text: str
    words: Mapping[str, tuple[int, ...]] = MappingProxyType({})
    state: str = ""
    bit: int = 0
    level: int = 0
    inside: tuple[tuple[Node, Node], ...] = ()
    clips: tuple[tuple[int, int | None], ...] = ()


class Suspect(NamedTuple):
    """Faults that are one and the same to the machine, and how many clocks of the capture they explain."""

    faults: tuple[Hypothesis, ...]
    clocks: int


class Apart(NamedTuple):
    """What tells suspects apart: a line at which a clip would see 1 with some of them and 0 with others, by their
    numbers. `clock`: of the capture; 0: in no clock of it, but whenever the word at `address` is presented. `address`:
    of the microprogram's store in that clock, with the first of them for which it is known. `given`: the levels that
    states and inputs have to have then, for it to be so; `after`: it is seen in the clock after that one; `steps`:
    clocks from reset to there, at least. `values`: where it is not one line but all of several, what they are as a
    number, and with whom; then `ones` and `zeros` are empty. `then`: where the same line is looked at again, in other
    clocks or words."""

    line: str
    clock: int
    address: int | None
    ones: tuple[int, ...]
    zeros: tuple[int, ...]
    given: tuple[tuple[str, int], ...] = ()
    after: bool = False
    steps: int = 0
    values: tuple[tuple[int, tuple[int, ...]], ...] = ()
    then: tuple["Apart", ...] = ()

    def left(self, among: int) -> int:
        """How many of so many suspects may be left after it, at most: those that it tells nothing of always are."""
        return _left(frozenset(range(among)), (self, *self.then))

    def outcomes(self) -> list[tuple[int, tuple[int, ...]]]:
        """What may be seen at the first look, and with whom."""
        return list(self.values) or [(1, self.ones), (0, self.zeros)]


def _left(some: frozenset[int], looks: tuple[Apart, ...]) -> int:
    """The most that agree with something that may be seen in all the looks."""
    if not looks:
        return len(some)
    outcomes = [some.intersection(numbers) for _, numbers in looks[0].outcomes()]
    unsure = some.difference(*outcomes)
    return max(_left(one | unsure, looks[1:]) for one in {*outcomes} | {unsure})


class Looked(NamedTuple):
    """`apart`: the next measurement; None where there is none. Then `alike` are the suspects by their numbers, those of
    each group the same to every line, and `known` whether all that they can come to was looked at. `among`: how many
    suspects were."""

    apart: Apart | None
    alike: tuple[tuple[int, ...], ...]
    known: bool
    among: int


def with_bit(terms: Terms, node: Node, bit: int, level: Node) -> Node:
    """The same with another level on one bit."""
    return terms.join([level if at == bit else terms.slice(node, at, at) for at in reversed(range(node.width))])
