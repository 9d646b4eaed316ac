"""Microprograms by chance, both as text and as what they mean: words in bodies, what each sets, where control goes on.

The meaning is not read from the text: the two are made side by side, from docs/language.md.
"""

from collections.abc import Mapping
from typing import Any, NamedTuple

from tests.images.chips import Chip, Choose, shuffled, statements, wired

Spot = tuple[str, int]
"""A body and which of its words, from 0."""

KINDS = ("counter", "counter", "near", "far", "far", "successor", "successor", "entry", "entry", "wired", "mapped",
         "block", "block")
OPCODES = 8
SRC = ("none", "a", "b", "mem")
DST = ("none", "a", "b")
TRANSFERS = tuple((src, dst) for src in SRC[1:] for dst in DST[1:])


class Field(NamedTuple):
    """`low`: its lowest bit in the stored word; `turned`: active low."""

    name: str
    width: int
    low: int
    turned: bool = False

    def read(self, word: int) -> int:
        ones = (1 << self.width) - 1
        return word >> self.low & ones ^ (ones if self.turned else 0)


class Word(NamedTuple):
    """`sets`: what its fields hold; of `loose` only where it is set. `flow`: what the text says of where control goes:
    a word and spots. `page`: whose page it sends to the page register."""

    sets: Mapping[str, int]
    flow: tuple[Any, ...]
    page: Spot | None = None


class Program(NamedTuple):
    """`bodies`: words by routine or instruction. `opcodes`, `table`: the body for each opcode, at a dispatch and at a
    row of the map. `codes`: of the field `branch`. `fixed`: addresses of first words that the text demands.
    `unused`: what stands in words that stay free, None where nothing is said."""

    machine: str
    micro: str
    kind: str
    lines: int
    page: int
    entry: str
    fields: Mapping[str, Field]
    spares: Mapping[int, int]
    codes: Mapping[int, str]
    bodies: Mapping[str, tuple[Word, ...]]
    opcodes: tuple[str, ...]
    table: tuple[str, ...]
    fixed: Mapping[str, int]
    unused: Mapping[str, int] | None
    parity: int
    chips: tuple[Chip, ...]


class Layout(NamedTuple):
    text: list[str]
    fields: dict[str, Field]
    spares: dict[int, int]
    width: int


def laid(choose: Choose, named: list[tuple[str, int, str, list[str], bool]]) -> Layout:
    """Fields in an order by chance, in statements, with where each comes to lie. `named`: name, width, what stands
    behind the width, lines below, active low."""
    order: list[Any] = shuffled(choose, [*named, *(None for _ in range(choose((0, 0, 1, 2))))])
    order = [one if one is not None else choose((1, 2)) for one in order]
    width = sum(one if isinstance(one, int) else one[1] for one in order)
    text: list[tuple[int, list[str]]] = []
    fields, spares, left = {}, {}, width
    for one in order:
        if isinstance(one, int):
            left -= one
            ones = choose(("", " ones"))
            text.append((left, [f"spare {one} bit{'s' if one > 1 else ''}{ones}"]))
            spares |= {bit: int(bool(ones)) for bit in range(left, left + one)}
            continue
        name, size, more, below, turned = one
        left -= size
        fields[name] = Field(name, size, left, turned)
        text.append((left, [f"field {name} {size} bit{'s' if size > 1 else ''}{more}"
                            f"{', active low' if turned else ''}AT", *(f"    {line}" for line in below)]))
    if not spares and choose((False, False, True)):  # each says where it lies, in any order
        text = shuffled(choose, text)
        sizes = {field.low: field.width for field in fields.values()}
        for low, lines in text:
            where = f"{low + sizes[low] - 1}:{low}" if sizes[low] > 1 else f"{low}"
            head, equal, rest = lines[0].partition(" = ")
            lines[0] = head.replace("AT", "") + f", at [{where}]" + equal + rest.replace("AT", "")
    return Layout([line.replace("AT", "") for _, lines in text for line in lines], fields, spares, width)


class Making:
    """What programs of every kind have in common: fields, clauses, marks by which words are told apart."""

    def __init__(self, choose: Choose) -> None:
        self.choose = choose
        self.mark = 0
        self.parity: int = choose((0, 1))
        self.orders: list[str] = ["order note <n> : mark <n>[9:3]", "order both <n> : dst <n>[1:0], src <n>[3:2]"]
        self.adders: set[str] = set()

    def some(self, chance: int) -> bool:
        return bool(self.choose([True] + [False] * (chance - 1)))

    def common(self) -> list[tuple[str, int, str, list[str], bool]]:
        choose = self.choose
        kind = "odd" if self.parity else "even"
        return [("mark", 7, ", idle 0", [], choose((False, False, True))),
                ("src", 2, "", ["none 0 idle", "a 1", "b 2", "mem 3"], False),
                ("dst", 2, "", ["none 0 idle", "a 1", "b 2"], False),
                ("pulse", 1, "", [], choose((False, True))), ("low", 1, "", [], choose((False, True))),
                ("loose", 1, ", idle any", [], False),
                ("check", 1, f" = {kind} parity of {{mark, src, pulse}}", [], False)]

    def data(self) -> list[str]:
        return ["input c0 1 bit, c1 1 bit, c2 1 bit", "register a 4 bits, loads data when dst is a",
                "register b 4 bits, loads data when dst is b", "bus data 4 bits, floats",
                "    driven by a when src is a", "    driven by b when src is b",
                "    driven by mem when " + self.choose(("src is mem", "src is mem and c0",
                                                         "src is mem or (low and c1)")),
                "    sampled by a when dst is a", "    sampled by b when dst is b"]

    def settings(self) -> tuple[dict[str, int], list[str]]:
        """What a word sets beside the flow, and the clauses that say so."""
        choose = self.choose
        self.mark += 1
        sets = {"mark": self.mark, "src": 0, "dst": 0, "pulse": 0, "low": 0}
        clauses = [choose((f"mark {self.mark}", f"mark {hex(self.mark)}", f"note {hex(self.mark << 3)}"))]
        match choose(("transfer", "src", "dst", "")):
            case "transfer":
                src, dst = choose(TRANSFERS)
                sets |= {"src": SRC.index(src), "dst": DST.index(dst)}
                clauses.append(choose((f"{dst} <- {src}", f"src {src}, dst {dst}",
                                       f"both {sets['src'] << 2 | sets['dst']}")))
            case "src":
                src = choose(SRC[1:])
                sets["src"] = SRC.index(src)
                clauses.append(f"src {src}")
            case "dst":
                dst = choose(DST[1:])
                sets["dst"] = DST.index(dst)
                clauses.append(f"dst {dst}")
        for flag in ("pulse", "low"):
            if self.some(3):
                sets[flag] = 1
                clauses.append(flag)
        if self.some(4):
            sets["loose"] = choose((0, 1))
            clauses.append(f"loose {sets['loose']}")
        return sets, shuffled(choose, clauses)


def program(choose: Choose) -> Program:
    return _Jumping(choose).made()


class _Jumping(Making):
    """Control that goes from address to address."""

    def made(self) -> Program:
        choose = self.choose
        self.kind: str = choose(KINDS)
        self.lines: int = choose((5, 5, 6))
        self.page: int = choose((2, 3, 3)) if self.kind in ("near", "far") else 0
        self.entry = ""
        self.shape()
        names = list(self.codes.values())
        bits = max(len(names) - 1, 1).bit_length() + choose((0, 0, 1))
        numbers = shuffled(choose, range(1 << bits))[:len(names)]
        idle = choose((True, True, False)) or self.kind == "successor"
        below = [f"{name} {number}{' idle' if idle and name == 'step' else ''}" for number, name in zip(numbers, names)]
        self.codes = dict(zip(numbers, names))
        following = "following" if self.kind == "successor" else choose(("0", "any"))
        cut = 2 if self.kind == "block" else 0  # a block of four words has one address less two lines
        held = f" address[{self.lines - 1}:2], idle 0" if cut else f" address, idle {following}"
        named = [("branch", bits, "", below, False),
                 ("target", self.lines - cut, held, [], choose((False, False, True)))]
        if self.kind == "near":
            named.append(("near", self.page, f" address[{self.page - 1}:0], idle 0", [], False))
        if self.kind == "far":
            named += [("near", self.page, f" address[{self.page - 1}:0], idle 0", [], choose((False, True))),
                      ("high", self.lines - self.page, f" address[{self.lines - 1}:{self.page}], idle 0", [], False),
                      ("turn", 1, "", [], False)]
        layout = laid(choose, [*named, *self.common()])
        self.idle = idle
        self.bodies_of()
        micro = self.micro()
        unused: dict[str, int] | None = None
        said = ""
        if self.some(3):
            unused = {"mark": 127, "src": 0, "dst": 0, "pulse": 1, "low": 0}
            clauses = ["mark 127", "pulse", *([] if idle else ["branch step"]),
                       *(["target r0"] if self.kind == "successor" else [])]
            said = "    unused " + ", ".join(clauses)
        stores = {"control": layout.width, **self.beside_widths}
        lines = {"control": self.lines, **dict.fromkeys(self.beside_widths, 3)}
        chips = wired(choose, stores, lines)
        ways = {name: self.next_of(name) for name in names}
        rest = [] if len(names) == 1 << bits else ["otherwise"]
        late = self.late(bits, ways, rest)
        presented, sequencer = "upc", self.parts(ways, rest)
        if late and choose((False, True)):
            presented, sequencer = "fetched", late
        text = ['machine made "by chance"', 'microprogram "m.micro"',
                f"store control {1 << self.lines} words of {layout.width} bits", f"    address {presented}",
                *([f"    starts at {self.entry}"] if self.kind == "wired" else []), *([said] if said else []),
                *layout.text, *self.beside_text(), *self.data(), "register ir 3 bits, loads data[2:0] when low",
                *sequencer,
                *(["state ret W bits, reset 0".replace("W", str(self.lines)),
                   "    next upc + 1 if branch is call else ret"] if "back" in names else []),
                *([f"state pages {self.lines - self.page} bits, reset 0", "    next high if turn else pages"]
                  if self.kind == "far" else []),
                "home r0", *self.orders, *statements(chips)]
        return Program("\n".join(text) + "\n", micro, self.kind, self.lines, self.page, self.entry, layout.fields,
                       layout.spares, self.codes, {name: tuple(words) for name, words in self.bodies.items()},
                       self.opcodes, self.table, self.fixed, unused, self.parity, tuple(chips))

    def shape(self) -> None:
        """Which ways on there are, and stores beside."""
        choose = self.choose
        if self.kind == "successor":
            names = ["step", "fork", "four", "wait"]
            names = names[:choose((2, 3, 4))]
        else:
            names = ["step", "jump", "test", "untest", "wait", "skip"][:choose((3, 4, 5, 6))]
            names += ["call", "back"] if self.some(2) else []
            names += ["near"] if self.kind == "near" else ["near", "far", "over"] if self.kind == "far" else []
            names += ["four"] if self.kind == "block" else []
        self.beside_widths: dict[str, int] = {}
        if self.kind in ("entry", "wired", "mapped"):
            names.append("go")
            high = self.lines - 4
            if self.kind == "wired":
                self.entry = f"{{0b1{'0' * (high - 1)}, ir, 0b0}}"
            else:
                self.entry = choose(("entry", "{0b1, entry}", "{entry, 0b0}"))
                self.beside_widths["entry"] = self.lines - (self.entry != "entry")
        if self.kind == "mapped":
            names.append("second")
            self.beside_widths["table"] = self.lines
        self.codes: dict[int, str] = dict(enumerate(names))

    def beside_text(self) -> list[str]:
        text = []
        if "entry" in self.beside_widths:
            text += [f"store entry 8 words of {self.beside_widths['entry']} bits", "    address ir",
                     "    word start of instruction"]
        if "table" in self.beside_widths:
            text += [f"store table 8 words of {self.lines} bits", "    address ir"]
        return text

    def next_of(self, name: str) -> str:
        high = self.lines - 1
        if self.kind == "successor":
            return {"step": "target", "fork": f"{{target[{high}:1], c0}}", "four": f"{{target[{high}:2], c1, c0}}",
                    "wait": "upc if c2 else target"}[name]
        there = "{target, 0b00}" if self.kind == "block" else "target"
        if name in ("skip", "wait") and self.kind != "successor" and self.some(2):
            self.adders.add(name)
            return self.counted(name)
        return {"step": "upc + 1", "jump": there, "test": f"{there} if c0 else upc + 1",
                "untest": f"upc + 1 if c1 else {there}", "wait": "upc if c2 else upc + 1", "four": "{target, c1, c0}",
                "skip": "upc + 2 if c0 else upc + 1", "call": there, "back": "ret",
                "near": f"{{upc[{high}:{self.page}], near}}", "far": "{high, near}", "over": "{pages, near}",
                "go": self.entry, "second": "table"}[name]

    def late(self, bits: int, ways: dict[str, str], rest: list[str]) -> list[str]:
        """The same sequencer with flip-flops between the word and the choice of the address, where that can be written
        simply: the counter is one ahead then, and `behind` has the address of the cycle before."""
        if self.kind == "successor" or {"back", "near"} & ways.keys():
            return []
        held = {name: way.replace("upc", "behind") if name in self.adders else
                way.replace("upc if c2", "behind if c2").replace("upc + 2", "(upc PLUS 1)")
                .replace("upc + 1", "upc").replace("PLUS", "+").replace("target", "held_target")
                for name, way in ways.items()}
        numbers = {name: number for number, name in self.codes.items()}
        width = self.lines - 2 * (self.kind == "block")
        return [f"state held {bits} bits, reset {numbers['step']}", "    next branch",
                f"state held_target {width} bits, reset 0", "    next target",
                f"state upc {self.lines} bits, reset 0", "    next fetched + 1",
                f"state behind {self.lines} bits, reset 0", "    next fetched",
                "signal fetched = choose held", *(f"    {numbers[name]}: {way}" for name, way in held.items()),
                *(f"    {name}: 0" for name in rest)]

    def parts(self, ways: dict[str, str], rest: list[str]) -> list[str]:
        """What the counter and the choice before it are built of: a PROM may add, and each line may be a flip-flop."""
        text = []
        if self.some(4):
            text = [f"store adder {1 << self.lines} words of {self.lines} bits", "    address upc", "    word upc + 1"]
            ways = {name: way.replace("upc + 1", "adder") for name, way in ways.items()}
        chosen = (["choose branch", *(f"        {name}: {way}" for name, way in ways.items()),
                   *(f"        {name}: 0" for name in rest)] if not self.some(4) else [self.gates(ways)])
        if not self.some(4):
            return [*text, f"state upc {self.lines} bits, reset 0", f"    next {chosen[0]}", *chosen[1:]]
        flops = [f"u{bit}" for bit in reversed(range(self.lines))]
        return [*text, f"signal becomes = {chosen[0]}", *chosen[1:], f"signal upc = {{{', '.join(flops)}}}",
                *(line for bit, flop in enumerate(reversed(flops)) for line in (
                    f"state {flop} 1 bit, reset 0", f"    next becomes[{bit}]"))]

    def gates(self, ways: dict[str, str]) -> str:
        """The same choice as a sum of products, NAND on NAND, or bit by bit; and counters as flip-flops, those above
        turned by those below."""
        lines = range(self.lines)
        toggles = ", ".join(f"upc[{bit}] xor ({' and '.join(['0b1', *(f'upc[{low}]' for low in range(bit))])})"
                            for bit in reversed(lines))
        if self.choose((False, True)):
            ways = {name: way.replace("upc + 1", f"{{{toggles}}}") for name, way in ways.items()}
        products = [(f"({way})", f"branch is {name}") for name, way in ways.items()]
        match self.choose(("products", "nand", "bits")):
            case "nand":
                return "not (" + " and ".join(
                    f"not ({way} and {{{', '.join([line] * self.lines)}}})" for way, line in products) + ")"
            case "bits":
                return "{" + ",\n         ".join(" or ".join(f"({way}[{bit}] and {line})" for way, line in products)
                                       for bit in reversed(lines)) + "}"
        return " or ".join(f"({way} and {{{', '.join([line] * self.lines)}}})" for way, line in products)

    def counted(self, name: str) -> str:
        """By how much a counter goes on, said by what is wired to its adder."""
        none, most = "0" * (self.lines - 2), (1 << self.lines) - 1
        return {
            "skip": self.choose((f"upc + {{0b{none}, c0, not c0}}", f"upc + {{0b{none}, c0 xor 0b0, 0b1 xor c0}}",
                                 "upc + (2 if c0 else 1)", f"upc + 1 + {{0b0{none}, c0}}",
                                 "(upc + 1 if c0 else upc) + 1", f"upc - ({most - 1} if c0 else {most})",
                                 f"({{0b0, upc}} + {{0b00{none}, c0}} + 1)[{self.lines - 1}:0]")),
            "wait": self.choose((f"upc + {{0b0{none}, not c2}}", f"upc + {{0b0{none}, c2 is 0}}",
                                 f"upc + 1 - {{0b0{none}, c2}}"))}[name]

    # ------------------------------------------------------------ bodies

    def bodies_of(self) -> None:
        choose = self.choose
        routines = [f"r{number}" for number in range(choose((2, 3, 4)))]
        self.lengths = {name: choose((1, 2, 3, 4)) for name in routines}
        self.heads: dict[str, str] = {}
        self.fixed: dict[str, int] = {}
        for number, name in enumerate(routines):
            more = choose(("", "", " align 4", " same page 8"))
            if number == 0:
                more, self.fixed[name] = " at 0", 0
            elif number == 1 and self.some(4) and self.kind != "wired":
                place = choose((8, 13, 16, 21))
                more, self.fixed[name] = f" at {place}", place
            self.heads[name] = f"routine {name}{more}"
        self.opcodes: tuple[str, ...] = ()
        self.table: tuple[str, ...] = ()
        if self.kind in ("entry", "wired", "mapped"):
            self.instructions()
        if self.kind == "mapped":
            names = [name for name in self.lengths if name.startswith("r")]
            rows = [choose(names), choose(names), choose(names)]
            self.rows = rows
            self.table = tuple(rows[0] if opcode == 2 else rows[1] if opcode in (4, 6) else rows[2]
                               for opcode in range(OPCODES))
        self.pairs = {name: choose(range(length - 2)) for name, length in self.lengths.items()
                      if length > 2 and self.kind != "wired" and not name.startswith("give") and self.some(3)}
        self.bodies: dict[str, list[Word]] = {}
        self.texts: dict[str, list[str]] = {}
        self.labels: dict[Spot, str] = {}
        for name in self.lengths:
            self.body(name)

    def instructions(self) -> None:
        """Opcodes with a bit of any value, a family, and the others."""
        choose = self.choose
        self.heads |= {"one": 'instruction 0b10x "one"', "two": 'instruction 3 "two"',
                       "rest": 'instruction others "rest"'}
        owners = {4: "one", 5: "one", 3: "two"}
        family = {"give a": 6, "give b": 7} if self.some(2) else {}
        if family:
            self.heads["give a"] = 'instruction 0b11d "give {d}" for d in (a, b)'
            owners |= {code: name for name, code in family.items()}
        for name in ("one", "two", "rest", *list(family)[:1]):
            self.lengths[name] = 1 if self.kind == "wired" and name == "one" else choose((1, 2))
        self.opcodes = tuple(owners.get(opcode, "rest") for opcode in range(OPCODES))

    def called(self, spot: Spot) -> str:
        body, index = spot
        if index == 0:
            return body if body.startswith("r") and body != "rest" else f'"{body}"'
        return self.labels.setdefault(spot, f"{self.choose(('w', 'x'))}{len(self.labels)}")

    def body(self, name: str) -> None:
        """Its words, and their lines without labels."""
        length = self.lengths[name]
        words, lines, index = [], list[str](), 0
        while index < length:
            rest = length - index
            if index == self.pairs.get(name):  # two words by a sequence
                one, two = self.mark + 1, self.mark + 2
                self.mark += 2
                plain = {"src": 0, "dst": 0, "low": 0}
                words += [Word({"mark": one, "pulse": 1, **plain}, ("on",)),
                          Word({"mark": two, "pulse": 0, **plain}, ("on",))]
                lines += [f"pass {one} {two}", ""]
                index += 2
                continue
            sets, clauses = self.settings()
            if name.startswith("give") and index == 0:
                self.mark += 1
                sets, clauses = {"mark": self.mark, "src": 1, "dst": 0, "pulse": 0, "low": 0}, \
                    [f"mark {self.mark}", "src {d}"]
            flow, said = self.flow(name, index, rest)
            clauses = [*said, *clauses] if self.some(2) else [*clauses, *said]
            words.append(Word(sets, flow))
            lines.append(", ".join(clauses))
            index += 1
            if self.kind == "far" and flow == ("over", *flow[1:]) and index > 1 and words[-2].flow[0] == "on" \
                    and lines[-2] and not lines[-2].startswith("pass"):
                there = flow[1]  # the word before sends the page
                words[-2] = words[-2]._replace(page=there)
                called = self.called(there)
                lines[-2] += self.choose((f", turn, high part({called})", f", page of {called}"))
        self.bodies[name], self.texts[name] = words, lines
        if name == "give a":
            self.bodies["give b"] = [Word({**words[0].sets, "src": 2}, words[0].flow), *words[1:]]

    def spot(self) -> Spot:
        """A word that can be called; of a family the first one of a member."""
        name = self.choose([*self.lengths, *(["give b"] if "give a" in self.lengths else [])])
        free = [index for index in range(self.lengths.get(name, 1)) if index - 1 != self.pairs.get(name)]
        return name, self.choose(free) if self.some(3) and not name.startswith("give") else 0

    def flow(self, name: str, index: int, rest: int) -> tuple[tuple[Any, ...], list[str]]:
        """Where control goes on, and the clauses that say so."""
        choose, names = self.choose, set(self.codes.values())
        one, two = self.spot(), self.spot()
        step = [] if self.idle and self.some(2) else ["branch step"]
        if self.kind == "successor":
            ways: list[tuple[tuple[Any, ...], list[str]]] = [(("jump", one), [*step, f"target {self.called(one)}"])]
            if rest > 1:
                ways += [(("on",), step)] * 3
                ways += [(("wait",), ["branch wait"])] if "wait" in names else []
            if "fork" in names:
                ways.append((("fork", one, two), [choose((
                    f"branch fork, target pair({self.called(one)}, {self.called(two)})",
                    f"fork {self.called(two)} {self.called(one)}"))]))
            if "four" in names and self.some(3):
                four = [one, two, self.spot(), one]
                ways.append((("four", *four), ["branch four, target table(" +
                                               ", ".join(self.called(each) for each in four) + ")"]))
            return choose(ways)
        ways = []
        if rest > 1:
            ways += [(("on",), step)] * 2
            ways.append((("test", one), [choose((f"branch test, target {self.called(one)}",
                                                 f"if c0 goto {self.called(one)}"))]))
            ways += [(("untest", one), [f"branch untest, target {self.called(one)}"])] if "untest" in names else []
            ways += [(("wait",), ["branch wait"])] if "wait" in names else []
            ways += [(("call", one), [f"branch call, target {self.called(one)}"])] if "call" in names else []
        if rest > 2:
            ways += [(("skip",), ["branch skip"])] * 2 if "skip" in names else []
        if rest == 1 or self.some(4):
            ways += [(("jump", one), [choose((f"branch jump, target {self.called(one)}", f"goto {self.called(one)}",
                                              f"leap {self.called(one)}"))])]
            ways += [(("near", one), [choose((f"branch near, near page({self.called(one)})",
                                              f"close {self.called(one)}"))])] * 2 if "near" in names else []
            four = [one, two, self.spot(), self.spot()]
            ways += [(("four", *four), ["branch four, target table(" + ", ".join(
                self.called(each) for each in four) + ")"])] * 2 if "four" in names else []
            if "far" in names:
                ways += [(("far", one), [choose((f"branch far, near {self.called(one)}, high {self.called(one)}",
                                                 f"far {self.called(one)}"))]),
                         (("over", one), [choose((f"branch over, near part({self.called(one)})",
                                                  f"over {self.called(one)}"))])] * 2
            ways += [(("back",), ["branch back"])] if "back" in names else []
            ways += [(("go",), ["branch go"])] * 2 if "go" in names else []
            ways += [(("second",), ["branch second"])] * 2 if "second" in names else []
        return choose(ways)

    # ------------------------------------------------------------ text

    def micro(self) -> str:
        if self.kind == "successor":
            self.orders += ["order fork <yes> <no> : branch fork, target pair(<no>, <yes>)"] \
                if "fork" in self.codes.values() else []
        else:
            self.orders += ["order goto <there> : branch jump, target <there>", "order leap <x> : goto <x>",
                            "order if c0 goto <there> : branch test, target <there>"]
            self.orders += ["order close <there> : branch near, near page(<there>)"] if self.page else []
            self.orders += ["order far <there> : branch far, high <there>, near <there>",
                            "order page of <there> : turn, high part(<there>)",
                            "order over <there> : branch over, near part(<there>)"] if self.kind == "far" else []
        step = "" if self.idle else ", branch step"
        lines = [f"sequence pass <m> <n>\n        mark <m>, pulse{step}\n        mark <n>{step}\n"]
        for name in shuffled(self.choose, self.heads):
            lines.append(self.heads[name])
            for index, line in enumerate(self.texts[name]):
                label = self.labels.get((name, index))
                if line:
                    lines.append(f"  {label}: {line}" if label else f"        {line}")
        if self.kind == "mapped":
            lines += ["map table", f"        2: {self.rows[0]}", f"        0b1x0: {self.rows[1]}",
                      f"        others: {self.rows[2]}"]
        return "\n".join(lines) + "\n"
