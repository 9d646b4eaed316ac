"""Small machines by chance with a path for data, their microprograms, and a few lines of Python that obey these words.

Nothing of the package has a part in it: what a word does is worked out from what was drawn, not from what was read.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from random import Random

HOME = ("fetch", 0)
CODES = ("none", "a", "b", "t", "pc", "ram", "alu", "lit", "both")
"""What can drive the bus; `both`: `a` and `b` at once, where the bus is wired."""
FUNCTIONS = ("add", "sub", "and", "xor", "inc", "pass", "adc", "less")
WAYS = ("next", "jump", "test", "untest", "odd", "dispatch", "wait", "key", "four")
TAKERS = ("a", "b", "t", "mar", "pc", "ram", "flags", "ir", "count")
"""What loads the bus, or does something of its own: `flags` load what the adder says, `count` counts `pc`."""
FLAGS = ("z", "c")

Spot = tuple[str, int]


@dataclass(frozen=True)
class Word:
    """`source`: of the bus; `loads`: what is loaded from it or set; `way`: how control goes on, `to`: where, in the
    same body or home. `gated`: loads of `a` only with the carry. `by_pc`: the memory is shown `pc`, else `mar`.
    `yields`: the bus to somebody else. `arm`: the word in its place where `z` is 1, with instruction and step."""

    source: str = "none"
    function: str = "add"
    loads: frozenset[str] = frozenset()
    literal: int = 0
    way: str = "next"
    to: Spot | None = None
    gated: bool = False
    by_pc: bool = False
    yields: bool = False
    arm: "Word | None" = None

    def text(self, number: int, successor: bool) -> str:
        said = [f"src {self.source}"] if self.source != "none" else []
        said += [f"op {self.function}"] if self.function != "add" else []
        said += sorted(f"put_{name}" for name in self.loads)
        said += [f"lit {self.literal}"] if self.literal else []
        said += ["gated"] if self.gated else []
        said += ["by_pc"] if self.by_pc else []
        said += ["yields"] if self.yields else []
        to = "" if self.to is None else "fetch" if self.to == HOME else f"l{self.to[1]}"
        match self.way:
            case "next" | "wait" | "home":
                said += [f"seq {self.way}"]
            case "dispatch":
                said += ["seq dispatch", *(["target fetch"] if successor else [])]
            case "four" if successor:
                said += [f"seq four, target table(l{number + 1}, {to}, {to}, l{number + 1})"]
            case "test" | "untest" | "odd" | "key" if successor:
                said += [f"seq {self.way}, target pair(l{number + 1}, {to})"]
            case _:
                said += [f"seq {self.way}, target {to}"]
        return ", ".join(said)


@dataclass(frozen=True)
class Board:
    """`width`: of registers, bus and memory. `bus`: what it is undriven. `latch`: `t` is transparent while it loads.
    `stored`: the flags are states and not registers. `successor`: a word names the next one. `visible`: what a
    programmer sees. `turned`: the memory's lines are turned. `clock`: "" for none, "phases" where all happens in the
    second half, "held" where somebody can stop it besides. `thief`: somebody else may write the memory in words that
    yield the bus. `early`: `t` is loaded from `b`, in the first half. `moving`: what that half
    is called in which all else happens. `loose`: `b` drives only with the carry. `words`: of the memory. `loops`: by
    instruction that goes round, as long as what, and the one that does once what a round does. `stepped`: addressed by
    `z`, opcode and step. `tables`: two PROMs add, and make the difference of bits, the lowest bit in one of them."""

    width: int
    bus: str
    latch: bool
    stored: bool
    successor: bool
    visible: tuple[str, ...]
    turned: bool
    clock: str
    thief: bool
    early: bool
    moving: str
    loose: bool
    words: int
    stepped: bool
    tables: bool = False
    loops: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    bodies: Mapping[str, tuple[Word, ...]] = field(default_factory=dict)
    opcodes: Mapping[int, str] = field(default_factory=dict)

    @property
    def ones(self) -> int:
        return (1 << self.width) - 1

    @property
    def other(self) -> str:
        return "first" if self.moving == "second" else "second"


def drawn(seed: int) -> Board:
    chance = Random(seed)
    width = chance.choice((3, 3, 4))
    bus = chance.choice(("floats", "floats", "pulled high", "pulled low", "wired and", "wired or", "kept"))
    seen = ["a", "b", "pc", "ram", *(name for name in ("z", "c") if chance.random() < 0.8)]
    board = Board(width, bus, chance.random() < 0.3, chance.random() < 0.5, chance.random() < 0.4, tuple(seen),
                  chance.random() < 0.3, chance.choice(("", "", "phases", "held")), chance.random() < 0.3, False,
                  chance.choice(("second", "second", "first")), chance.random() < 0.2,
                  (1 << width) - chance.choice((0, 0, 2)), False)
    if board.clock and not board.latch and chance.random() < 0.5:
        board = replace(board, early=True)
    if chance.random() < 0.3:
        board = replace(board, stepped=True, successor=False)
    board = replace(board, tables=Random(-seed - 1).random() < 0.3)
    titles = [f"i{number}" for number in range(chance.randint(2, 4))]
    opcodes = {opcode: chance.choice(titles) for opcode in range(1 << width)}
    for number, title in enumerate(titles):
        opcodes[number] = title
    first = Word("ram", loads=frozenset(("ir", "count")), by_pc=True)
    bodies = {"fetch": (replace(first, way="dispatch"),) if board.stepped else (first, Word(way="dispatch"))}
    for title in titles:
        bodies[title] = _steps(chance, board) if board.stepped else _body(chance, board, title)
    if not board.stepped and chance.random() < 0.4:
        bodies["loop"], condition = _round(chance, bodies["i0"])
        opcodes[board.ones] = "loop"
        board = replace(board, loops={"loop": (condition, "i0")}, visible=("a", "b", "t", "pc", "mar", "ram", *FLAGS))
    return replace(board, bodies=bodies, opcodes=opcodes)


def _round(chance: Random, words: Sequence[Word]) -> tuple[tuple[Word, ...], str]:
    """The same words again and again, and while what; asked is in a word that does nothing else."""
    way, condition = chance.choice((("test", "not z"), ("untest", "z"), ("odd", "not a[0]")))
    first = Word(source="a" if way == "odd" else "none", way=way, to=HOME)
    again = [word if word.to is None else replace(word, to=("loop", 0 if word.to == HOME else word.to[1] + 1))
             for word in words]
    return (first, *again), condition


def _body(chance: Random, board: Board, title: str) -> tuple[Word, ...]:
    length = chance.randint(1, 5)
    words = [_word(chance, board) for _ in range(length)]
    last = length - 1
    for number in range(length):
        if number == last:
            words[number] = _going(words[number], "jump", HOME)
        elif chance.random() < 0.4:
            way = chance.choice(("jump", "test", "untest", "odd", "key", "wait", "test", "four"))
            to = HOME if chance.random() < 0.4 else (title, chance.randint(number + 1, last))
            if way == "wait":
                words[number] = Word(way="wait", by_pc=chance.random() < 0.5)
            else:
                words[number] = _going(words[number], way, to)
    return tuple(words)


def _steps(chance: Random, board: Board) -> tuple[Word, ...]:
    """Word by word, some of them other ones where `z` is 1; the last one ends it."""
    words = [_word(chance, board) for _ in range(chance.randint(1, 5))]
    for number in range(len(words) - 1):
        words[number] = Word(way="wait") if chance.random() < 0.15 else words[number]
    words[-1] = _going(words[-1], "home", HOME)
    return tuple(replace(word, arm=_going(_word(chance, board), *chance.choice(((word.way, word.to), ("home", HOME)))))
                 if word.way != "wait" and chance.random() < 0.3 else word for word in words)


def _going(word: Word, way: str, to: Spot | None) -> Word:
    return replace(word, way=way, to=to)


def _word(chance: Random, board: Board) -> Word:
    sources = [code for code in CODES if code != "both" or board.bus.startswith("wired")]
    source = chance.choice(sources if chance.random() < 0.9 else ["none"])
    loads = set(chance.sample(TAKERS[:-2], chance.choice((0, 1, 1, 1, 2, 2, 3))))
    if chance.random() < 0.3 and "pc" not in loads:
        loads.add("count")
    if board.latch and source in ("alu", "t"):
        loads.discard("t")                      # it would feed itself
    if source == "none" and board.bus == "floats" and chance.random() < 0.7:
        loads.clear()
    if board.thief and chance.random() < 0.3:
        return Word(function=chance.choice(FUNCTIONS), loads=frozenset(loads - {"ram"}), by_pc=chance.random() < 0.4,
                    yields=True)
    return Word(source, chance.choice(FUNCTIONS), frozenset(loads),
                chance.randrange(board.ones + 1) if source == "lit" else 0,
                gated=chance.random() < 0.15, by_pc=chance.random() < 0.4)


# ---------------------------------------------------------------- as it is written


def machine_text(board: Board) -> str:
    w, on = board.width, f" and {board.moving}" if board.clock else ""
    wide, ways = f"{w} bits", _ways(board)
    drivers = {"a": "src in (a, both)", "b": f"src in (b, both){' and c' if board.loose else ''}", "t": "src is t",
               "pc": "src is pc", "ram": "src is ram", f"alu = result[{w - 1}:0]": "src is alu", "lit": "src is lit"}
    drivers |= {"thief = thief.brings": "thief.takes and yields"} if board.thief else {}
    flags = {"z": f"result[{w - 1}:0] is 0", "c": f"result[{w}]"}
    return "\n".join([
        'machine quern "a path for data by chance"', 'microprogram "quern.micro"',
        *(line.format(board.moving) for line in _CLOCKS[board.clock]),
        *([f"store control {1 << w + 4} words of {22 + w} bits", "    address {z, ir, step}", "    instruction ir",
           "    step step"] if board.stepped else [f"store control 64 words of {29 + w} bits", "    address upc"]),
        "field src 4 bits", *_codes(CODES), "field op 3 bits", *_codes(FUNCTIONS),
        *(f"field {name} 1 bit" for name in (*(f"put_{one}" for one in TAKERS), "gated", "by_pc", "yields")),
        f"field lit {wide}, idle 0",
        f"field seq {3 if board.stepped else 4} bits", *(f"    {code} {number}" for number, code in enumerate(ways)),
        *([] if board.stepped else [
            f"field target 6 bits address, idle {'following' if board.successor else '0'}",
            f"store entry {1 << w} words of 6 bits", "    address ir", "    word start of instruction"]),
        "input key 1 bit, ready 1 bit",
        f"state {'step 3' if board.stepped else 'upc 6'} bits, reset 0",
        "    next choose seq", *(f"        {way}: {there}" for way, there in ways.items()),
        "        otherwise: 0",
        f"register a {wide}, loads data when put_a and (c or not gated)", f"register b {wide}, loads data when put_b",
        f"{'latch' if board.latch else 'register'} t {wide}, loads "
        + (f"b when put_t, on {board.other}" if board.early else "data when put_t"),
        f"register mar {wide}, loads data when put_mar", f"register ir {wide}, loads data when put_ir",
        f"register pc {wide}", "    loads data when put_pc", "    loads pc + 1 when put_count",
        *(line for name in FLAGS for line in (
            (f"state {name} 1 bit, reset any", f"    next ({flags[name]}) if put_flags else {name}") if board.stored
            else (f"register {name} 1 bit, loads {flags[name]} when put_flags",))),
        *([line.format(top=w - 1, zeros="0" * (w - 1), words=1 << 2 * w, width=w) for line in _TABLES]
          if board.tables else []),
        "signal result = choose op", f"    add: {'tables' if board.tables else '{0b0, a} + {0b0, t}'}",
        "    sub: {0b0, a} - {0b0, t}", "    and: {0b0, a and t}",
        f"    xor: {'tables' if board.tables else '{0b0, a xor b}'}", "    inc: {0b0, b} + 1", "    pass: {0b0, t}",
        f"    adc: {{0b0, a}} + {{0b0, b}} + {{0b{0:0{w}b}, c}}", "    less: {0b1 if a < t else 0b0, b}",
        f"memory ram {board.words} words of {wide}", "    address where", f"    writes data when put_ram{on}",
        *([f"    writes thief.brings when thief.takes and yields{on}"] if board.thief else []),
        f"signal where = {'not ' if board.turned else ''}(pc if by_pc else mar)",
        f"bus data {wide}, {board.bus}", *(f"    driven by {name} when {when}{on}" for name, when in drivers.items()),
        f"visible {', '.join(board.visible)}", "home step is 0" if board.stepped else "home fetch",
        _THIEF.format(wide=wide) if board.thief else "",
    ]) + "\n"


_CLOCKS = {"": (), "phases": ("clock clk (first, second)", "    moves in {}"),
           "held": ("clock clk (first, second)", "    moves in {}", "    held while not running",
                    "input running 1 bit")}
_TABLES = (
    "signal operand = b if op is xor else t",
    "store low 8 words of 2 bits", "    address {{operand[0], not a[0], op is xor}}",
    "    word {{a[0] and operand[0] and op is not xor, a[0] xor operand[0]}}",
    "store high {words} words of {width} bits", "    address {{op is not xor, a[{top}:1], low[1], operand[{top}:1]}}",
    "    word {{0b0, a[{top}:1] xor operand[{top}:1]}} if op is xor else "
    "{{0b0, a[{top}:1]}} + {{0b0, operand[{top}:1]}} + {{0b{zeros}, low[1]}}",
    "signal tables = {{high, low[0]}}")
_THIEF = """\
agent thief "takes the bus where a word leaves it"
    input want 1 bit, brings {wide}
    state takes 1 bit, reset 0
        next want and not takes
"""


def _codes(names: Sequence[str]) -> list[str]:
    return [f"    {name} {number}{'' if number else ' idle'}" for number, name in enumerate(names)]


def _ways(board: Board) -> dict[str, str]:
    if board.stepped:
        return {"next": "step + 1", "dispatch": "step + 1", "home": "0", "wait": "step + 1 if ready else step"}
    on = {"test": "z", "untest": "not z", "odd": "data[0]", "key": "key"}
    if board.successor:
        return {"next": "target", "jump": "target", "wait": "target if ready else upc", "dispatch": "entry",
                **{way: f"{{target[5:1], target[0] or {bit}}}" for way, bit in on.items()},
                "four": "{target[5:2], b[1:0]}"}
    return {"next": "upc + 1", "jump": "target", "wait": "upc + 1 if ready else upc", "dispatch": "entry",
            **{way: f"target if {bit} else upc + 1" for way, bit in on.items()},
            "four": "target if b[1:0] in (1, 2) else upc + 1"}


def program_text(board: Board, meanings: Mapping[str, str]) -> str:
    """`meanings`: the line that says what an instruction does, for some of them."""
    lines = ["prologue" if board.stepped else "routine fetch at 0"]
    for title, words in board.bodies.items():
        if title != "fetch":
            numbers = [f"0x{opcode:X}" for opcode, one in board.opcodes.items() if one == title]
            lines.append(f'instruction {", ".join(numbers)} "{title}"')
            lines += [f"    means {meanings[title]}"] if title in meanings else []
        for number, word in enumerate(words):
            said = word.text(number, board.successor)
            if word.arm is not None:
                lines += ["        when z", f"            {word.arm.text(number, False)}", "        otherwise",
                          f"            {said}"]
            else:
                lines.append(f"        {said}" if title == "fetch" or board.stepped else f"  l{number}: {said}")
    return "\n".join(lines) + "\n"


# ---------------------------------------------------------------- obeyed word by word


@dataclass
class Seen:
    """One instruction as it went: what was held before, and after; `ram` by address."""

    title: str
    before: dict[str, int]
    ram_before: tuple[int, ...]
    after: dict[str, int]
    ram_after: tuple[int, ...]


def obeyed(board: Board, seed: int, cycles: int) -> Iterator[Seen]:
    """The instructions of a program by chance, from reset on."""
    chance = Random(seed)
    held = {name: chance.randrange(board.ones + 1) for name in ("a", "b", "t", "mar", "ir", "pc")}
    held |= {name: chance.randrange(2) for name in FLAGS}
    ram = [chance.randrange(board.ones + 1) for _ in range(board.words)]
    spot: Spot = HOME
    level, takes = chance.randrange(board.ones + 1), False
    begun: tuple[str, dict[str, int], tuple[int, ...]] | None = None
    for _ in range(cycles):
        if spot == HOME:
            if begun is not None:
                yield Seen(*begun, {**held, "thief.takes": int(takes)}, tuple(ram))
            begun = None
            if chance.random() < 0.3:           # somebody has been at the panel
                held[chance.choice(("a", "b", "t", "mar", "pc"))] = chance.randrange(board.ones + 1)
                ram[chance.randrange(board.words)] = chance.randrange(board.ones + 1)
        elif spot[1] == 0 and begun is None:
            begun = spot[0], {**held, "thief.takes": int(takes)}, tuple(ram)
        if board.clock == "held" and chance.random() < 0.2:
            continue
        spot, level = _cycle(board, chance, held, ram, spot, level, takes)
        takes = board.thief and not takes and chance.random() < 0.5


def once(board: Board, title: str, held: Mapping[str, int], ram: Mapping[int, int],
         chance: Random) -> Iterator[Seen]:
    """One instruction, with what is given and anything else; none where it comes to no end."""
    takes = bool(held.get("thief.takes", board.thief and chance.randrange(2)))
    now = {name: held.get(name, chance.randrange(2 if name in FLAGS else board.ones + 1))
           for name in ("a", "b", "t", "mar", "ir", "pc", *FLAGS)}
    words = [ram.get(at, chance.randrange(board.ones + 1)) for at in range(board.words)]
    before, ram_before = {**now, "thief.takes": int(takes)}, tuple(words)
    spot, level = (title, 0), held.get("level", chance.randrange(board.ones + 1))
    for _ in range(2000):
        spot, level = _cycle(board, chance, now, words, spot, level, takes)
        takes = board.thief and not takes and chance.random() < 0.5
        if spot == HOME:
            yield Seen(title, before, ram_before, {**now, "thief.takes": int(takes)}, tuple(words))
            break


def _cycle(board: Board, chance: Random, held: dict[str, int], ram: list[int], spot: Spot, level: int,
           takes: bool) -> tuple[Spot, int]:
    word, ones = board.bodies[spot[0]][spot[1]], board.ones
    word = word.arm if word.arm is not None and held["z"] else word
    where = held["pc"] if word.by_pc else held["mar"]
    where ^= ones if board.turned else 0
    opened = board.latch and "t" in word.loads
    if board.early and "t" in word.loads:
        held["t"] = held["b"]
    data = 0
    if not opened or word.source not in ("alu", "t"):
        read = ram[where] if where < board.words else chance.randrange(ones + 1)
        data = _data(board, chance, word, held, read, level, _result(word, held, held["t"], ones) & ones)
    t = data if opened else held["t"]
    result = _result(word, held, t, ones)
    if word.source == "alu":
        data = result & ones
    if word.yields and takes:
        data = chance.randrange(ones + 1)
        t = data if opened else t
        result = _result(word, held, t, ones)
        _write(ram, where, data)
    after = dict(held)
    for name in word.loads & ({"b", "mar", "ir", "pc"} if board.early else {"b", "t", "mar", "ir", "pc"}):
        after[name] = data
    if "a" in word.loads and (held["c"] or not word.gated):
        after["a"] = data
    if "count" in word.loads:
        after["pc"] = held["pc"] + 1 & ones
    if "flags" in word.loads:
        after["z"], after["c"] = int(result & ones == 0), result >> board.width & 1
    if "ram" in word.loads:
        _write(ram, where, data)
    key, ready = chance.randrange(2), chance.randrange(2)
    on = (spot[0], spot[1] + 1)
    there: Spot | None
    match word.way:
        case "jump" | "home":
            there = word.to
        case "test":
            there = word.to if held["z"] else on
        case "untest":
            there = on if held["z"] else word.to
        case "odd":
            there = word.to if data & 1 else on
        case "key":
            there = word.to if key else on
        case "four":
            there = word.to if held["b"] & 3 in (1, 2) else on
        case "wait":
            there = on if ready else spot
        case "dispatch":
            there = board.opcodes[after["ir"]], 0
        case _:
            there = on
    held.update(after)
    assert there is not None
    return there, data


def _data(board: Board, chance: Random, word: Word, held: Mapping[str, int], read: int, level: int,
          result: int) -> int:
    ones, source = board.ones, word.source
    if board.loose and not held["c"]:
        source = {"b": "none", "both": "a"}.get(source, source)
    match source:
        case "both":
            return held["a"] & held["b"] if board.bus == "wired and" else held["a"] | held["b"]
        case "ram":
            return read
        case "alu":
            return result
        case "lit":
            return word.literal
        case "none":
            return {"floats": chance.randrange(ones + 1), "pulled high": ones, "pulled low": 0, "wired and": ones,
                    "wired or": 0, "kept": level}[board.bus]
    return held[source]


def _write(ram: list[int], where: int, data: int) -> None:
    if where < len(ram):
        ram[where] = data


def _result(word: Word, held: Mapping[str, int], t: int, ones: int) -> int:
    a, b, c = held["a"], held["b"], held["c"]
    whole = ones << 1 | 1
    return {"add": a + t, "sub": a - t, "and": a & t, "xor": a ^ b, "inc": b + 1, "pass": t, "adc": a + b + c,
            "less": (int(a < t) * (ones + 1)) | b}[word.function] & whole
