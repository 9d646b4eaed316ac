"""Machines made of data: registers, latches, buses of every kind, memories, and expressions with every operator.

The microprogram is a ring of words whose fields are numbers by chance; what they mean, the machine says."""

from collections.abc import Callable, Sequence
from typing import Any

Choose = Callable[[Sequence[Any]], Any]
UNDRIVEN = ("floats", "pulled high", "pulled low", "kept", "wired and", "wired or", "multiplexed")
FIELDS = (1, 1, 1, 2, 3, 5)


def machine(choose: Choose) -> tuple[str, str]:
    """The machine file and the microprogram."""
    return _Making(choose).texts()


class _Making:
    """`names`: what an expression may read, with widths."""

    def __init__(self, choose: Choose) -> None:
        self.choose = choose
        self.names: dict[str, int] = {}
        self.lines: list[str] = []
        self.kinds = choose((UNDRIVEN, UNDRIVEN[1:4]))          # half of the machines have a level everywhere

    def texts(self) -> tuple[str, str]:
        choose = self.choose
        words = choose((4, 8, 16))
        clocked = choose((False, False, True))
        self.lines = ["machine m", f"store control {words} words of {sum(FIELDS)} bits", "    address at_word"]
        for number, width in enumerate(FIELDS):
            self.lines.append(f"field f{number} {width} bits, idle 0" if width > 1 else
                              f"field f{number} 1 bit{choose(('', ', active low'))}")
            self.names[f"f{number}"] = width
        if clocked:
            self.lines += ["clock clk (one, two)", *choose(((), ("    moves in one",)))]
        bits = words.bit_length() - 1
        self.lines += [f"state at_word {bits} bits, reset 0", "    next at_word + 1"]
        self.inputs()
        held = [(f"r{number}", choose((1, 2, 4, 7, 8, 16, 20))) for number in range(choose((3, 4, 5)))]
        buses = [(f"b{number}", choose((1, 4, 8, 12))) for number in range(choose((1, 2, 3)))]
        self.names.update(held)
        if choose((True, False)):
            self.names["ram"] = choose((1, 4, 8))
        first = dict(self.names)
        for name, width in buses:
            self.bus(name, width)
            self.names[name] = width
        self.held(held, clocked)
        self.signals()
        if "ram" in first:
            self.memory(first["ram"])
        self.lines.append('allow contention "made by chance"')
        body = [f"    {', '.join(self.word())}" for _ in range(words)]
        return "\n".join(self.lines) + "\n", "\n".join(["routine main at 0", *body]) + "\n"

    def inputs(self) -> None:
        for name, width in (("i0", 1), ("i1", self.choose((3, 8)))):
            self.lines.append(f"input {name} {width} bit{'s' if width > 1 else ''}")
            self.names[name] = width
        self.lines.append("condition q 2 bits")
        self.names["q"] = 2

    def word(self) -> list[str]:
        return [f"f{number} {self.choose(range(1 << width))}" for number, width in enumerate(FIELDS)]

    def held(self, held: Sequence[tuple[str, int]], clocked: bool) -> None:
        choose = self.choose
        readable, own = dict(self.names), dict(held)
        for name, width in held:
            kind = choose(("register", "register", "register", "state", "latch"))
            on = choose(("", ", on one", ", on two", ", on oscillator")) if clocked else ""
            self.names = {one: wide for one, wide in readable.items()
                          if kind != "latch" or not (one in own or one[0] == "b" or one == "ram")}     # no open ring
            head = f"{kind} {name} {width} bit{'s' if width > 1 else ''}"
            if kind == "state":
                self.lines += [f"{head}, reset {choose(('any', choose(range(1 << width))))}{on}",
                               f"    next {self.expression(width, 3)}"]
                continue
            self.lines.append(f"{head}{choose(('', f', reset {choose(range(1 << width))}'))}{on}")
            self.lines += [f"    loads {self.expression(width, 3)} when {self.expression(1, 2)}"
                           for _ in range(choose((1, 1, 2)))]
        self.names = readable

    def bus(self, name: str, width: int) -> None:
        choose = self.choose
        kind = choose(self.kinds)
        self.lines.append(f"bus {name} {width} bit{'s' if width > 1 else ''}, {kind}")
        for number in range(choose((1, 2, 3))):
            when = choose((f"f0 and f3 is {number}", f"f3 is {number}", f"f4 is {number}", self.expression(1, 1)))
            self.lines.append(f"    driven by d{number} = {self.expression(width, 3)} when {when}")

    def memory(self, width: int) -> None:
        choose = self.choose
        words = choose((4, 13, 16, 300))
        bits = (words - 1).bit_length()
        names, self.names = self.names, {name: wide for name, wide in self.names.items()
                                         if name[0] in "rfi" and name != "ram"}
        self.lines += [f"memory ram {words} words of {width} bit{'s' if width > 1 else ''}",
                       f"    address {self.expression(bits, 1)}"]
        self.names = names
        self.lines += [f"    writes {self.expression(width, 2)} when {self.expression(1, 1)}"
                       for _ in range(choose((0, 1, 1, 2)))]

    def signals(self) -> None:
        for number in range(3):
            self.lines.append(f"signal s{number} = {self.expression(self.choose((1, 5, 9)), 3)}")

    # ------------------------------------------------------------ expressions

    def expression(self, width: int, depth: int) -> str:
        choose = self.choose
        if depth == 0 or choose((True, False, False, False)):
            return self.leaf(width)
        part = lambda wide=width: self.expression(wide, depth - 1)      # noqa: E731  # a name for what is said often
        kinds = ["and", "or", "xor", "+", "-", "not", "if", "join"]
        kind = choose(kinds + (["compare", "in", "parity"] if width == 1 else []))
        other = choose((1, 3, 4, 8))
        match kind:
            case "not":
                return f"(not {part()})"
            case "if":
                return f"({part()} if {part(1)} else {part()})"
            case "join" if width > 1:
                high = choose(range(1, width))
                return f"{{{part(high)}, {part(width - high)}}}"
            case "compare":
                return f"({part(other)} {choose(('is', 'is not', '<', '<=', '>', '>='))} {part(other)})"
            case "in":
                return f"({part(other)} in ({choose(range(1 << other))}, {choose(range(1 << other))}))"
            case "parity":
                return f"parity({part(other)})"
            case "join":
                return self.leaf(width)
        return f"({part()} {kind} {part()})"

    def leaf(self, width: int) -> str:
        """A name of that width, a part of a wider one, a number."""
        wider = [name for name, wide in self.names.items() if wide >= width]
        if not wider or self.choose((True, False, False, False, False)):
            return f"0b{self.choose(range(1 << width)):0{width}b}"
        name = self.choose(wider)
        low = self.choose(range(self.names[name] - width + 1))
        return name if self.names[name] == width else f"{name}[{low + width - 1}:{low}]"
