"""Machines and programs put together by hand, as little of them as placement reads."""

from collections.abc import Sequence

from ordain.machine.expression import Node, Terms
from ordain.machine.model import Field, Machine, Store
from ordain.microprogram.model import Body, MapCell, Microinstruction, Program, Target
from ordain.text.source import Source, Span

SOURCE = Source("by_hand.micro", "".join(f"word {number}\n" for number in range(20_000)))
HERE = Span(SOURCE, 0, 4)


def field(name: str, high: int, low: int, address_bits: tuple[int, int] = (0, 0), *, store: str = "control",
          active_low: bool = False, derived: Node | None = None) -> Field:
    holds = "derived" if derived is not None else "address"
    return Field(name, store, high, low, holds, active_low, 0, (), address_bits, derived, HERE)


def store(name: str, words: int, bits: int, address_width: int, terms: Terms, fields: Sequence[str] = (), *,
          fill: str = "microprogram", starts_at: Node | None = None) -> Store:
    return Store(name, words, bits, terms.leaf("state", "upc", address_width), address_width, fill, None,
                 # type: ignore[arg-type]
                 None, None, 0, None, starts_at, None, tuple(fields), HERE)


def machine(stores: Sequence[Store], fields: Sequence[Field], terms: Terms) -> Machine:
    return Machine("small", "", (), {each.name: each for each in stores}, {each.name: each for each in fields},
                   {}, {}, {}, {}, {}, {}, {}, (), None, {}, (), (), (), {}, (), (), (), (), terms, HERE)


def one_store(words: int, width: int) -> Machine:
    """A store of 32-bit words with four address fields: whole addresses, short at the top, at the bottom, at both."""
    terms = Terms()
    parts = {"whole": (0, width - 1, 0), "short": (8, max(0, width - 2), 0),
             "even": (16, width - 1, min(1, width - 1)), "middle": (24, max(1, width - 2), min(1, width - 1))}
    fields = [field(name, at + high - low, at, (high, low)) for name, (at, high, low) in parts.items()]
    return machine([store("control", words, 32, width, terms, [each.name for each in fields])], fields, terms)


def word(number: int, *, succeeds: int = 0, fixed: Sequence[int] = (), targets: Sequence[tuple[str, Target]] = (),
         owner: str = "body", bits: int = 0, open: int = 0, store: str = "control") -> Microinstruction:
    """Word `number`, whose label is `w` and its number."""
    at = SOURCE.line_starts()[number]
    return Microinstruction(store, bits, open, tuple(targets), (f"w{number}",), owner, f"word {number}",
                            Span(SOURCE, at, at + 4), None, succeeds, tuple(fixed))


def label(number: int, *, page: bool = False) -> Target:
    return Target("label", (f"w{number}",), "page" if page else "zeros", HERE)


def block(*numbers: int) -> Target:
    return Target("pair" if len(numbers) == 2 else "table", tuple(f"w{number}" for number in numbers), "zeros", HERE)


FOLLOWING = Target("following", (), "zeros", HERE)


def program(words: Sequence[Microinstruction], bodies: Sequence[Body] = (), *, entries: Sequence[MapCell] = (),
            unused: Microinstruction | None = None, counting: int | None = None) -> Program:
    """One routine of all words where no bodies are given."""
    labels = {f"w{number}": number for number in range(len(words))}
    return Program(tuple(words), tuple(bodies) or (body(0, len(words)),), labels, tuple(entries), (),
                   {"control": unused}, {}, {} if counting is None else {"control": counting}, {})


def body(first: int, end: int, *, name: str = "body", align: int = 0, same_page: int = 0) -> Body:
    return Body(name, "routine", "control", first, end, align, same_page, HERE)
