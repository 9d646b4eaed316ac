"""Small machines made by chance, as the text of a machine file and of a microprogram, with all that docs/language.md
knows. Whether anything is wrong with one is up to chance; that it can be built is likely.

`choose` takes a sequence and gives one of its members.
"""

from collections.abc import Callable, Sequence
from typing import Any

from tests.judge.conditions import Value, Vocabulary
from tests.judge.tool import Text

Choose = Callable[[Sequence[Any]], Any]

SEQUENCERS = ("counter", "successor", "dispatch", "wired", "mapped", "steps", "steps", "steps", "delayed")
UNDRIVEN = ("floats", "floats", "pulled high", "pulled low", "kept", "wired and", "wired or", "multiplexed")
FIELDS = {
    "counter": ["step 0 idle", "jump 1", "test 2", "wait 3", "skip 4", "call 5", "back 6"],
    "delayed": ["step 0 idle", "jump 1", "test 2", "wait 3"],
    "successor": ["step 0 idle", "fork 1", "test 2", "wait 3", "four 4"],
    "dispatch": ["step 0 idle", "jump 1", "test 2", "go 3"],
    "wired": ["step 0 idle", "jump 1", "test 2", "go 3"],
    "mapped": ["step 0 idle", "jump 1", "test 2", "go 3", "second 4"],
    "steps": ["step 0 idle", "end 1", "stay 2"],
}
NEXT = {
    "step": "upc + 1", "jump": "target", "test": "target if tested else upc + 1", "wait": "upc if tested else upc + 1",
    "skip": "upc + 2 if tested else upc + 1", "call": "target", "back": "ret", "go": "entry", "second": "table.word",
}
ALLOWED = ("contention", "floating", "turnaround", "missing-hold", "lost-state", "double-load", "conflicting-enables",
           "race", "nowhere", "stuck", "torn", "unreachable", "undefined-code", "vacuous")


def machine(choose: Choose) -> Text:
    return _Made(choose).text()


class _Made:
    def __init__(self, choose: Choose) -> None:
        self.choose = choose
        self.kind: str = choose(SEQUENCERS)
        self.agents: list[str] = ["guest", "other"][:choose((0, 0, 0, 1, 1, 2))]
        self.width: int = choose((1, 1, 2))
        self.words = Vocabulary(choose)
        self.blocks: list[list[str]] = []
        self.labels = ["first", "second", "third"]
        self.lines: list[str] = []  # what stands in an address beside instruction and step

    def some(self, chance: int) -> bool:
        """True once in so many times."""
        return bool(self.choose([True] + [False] * (chance - 1)))

    def text(self) -> Text:
        self.inputs()
        self.agents_of()
        self.stores()
        self.states()
        self.registers()
        self.memory()
        self.signals()
        self.buses()
        self.demands()
        micro = self.micro()
        blocks = self.blocks[:]
        head = ['machine made "by chance"', 'microprogram "m.micro"']
        return Text("\n".join([*head, *(line for block in blocks for line in block)]) + "\n", micro)

    def add(self, *lines: str) -> None:
        self.blocks.append(list(lines))

    # ------------------------------------------------------------ what comes from outside

    def inputs(self) -> None:
        self.dial = False
        self.add("input key 1 bit")
        self.words.bit("key")
        if self.some(6):
            self.dial = True
            self.add("input dial (off, slow, fast)")
            self.words.value(Value("dial", 2, ("off", "slow", "fast")))
        if self.some(3):
            self.add(f"condition zero 1 bit{self.choose(('', ' = key'))}")
            self.words.bit("zero")
        self.full: bool = self.choose((True, True, False))
        self.words.field("source", 2, ("none", "one", "two", *(("value",) if self.full else ())))
        self.words.field("load", 2, ("none", "a", "b", "ir"))
        for flag in ("pulse", "grant", "low"):
            self.words.bit(flag)

    def agents_of(self) -> None:
        for name in self.agents:
            self.add(*self.agent(name))
            for signal in ("asks", "owns", "want"):
                self.words.bit(f"{name}.{signal}")
            self.words.value(Value(f"{name}.mode", 2, ("idle", "asks_in", "has")))

    def agent(self, name: str) -> list[str]:
        choose = self.choose
        grant = "grant" if name == "guest" else choose(("low", "grant and not guest.owns"))
        modes = choose((("idle", "asks_in", "has"), ("idle", "asks_in", "has", "leaves")))
        last = modes[-1] if len(modes) == 4 else "idle"
        gets = choose(("has if G else asks_in", "has if G else idle", "has"))
        goes = choose(("has if want else L", "L", "L if not G else has"))
        lines = [f"agent {name} \"made by chance\"", "    input want 1 bit",
                 f"    state mode ({', '.join(modes)}), reset {choose(('idle', 'idle', 'any'))}",
                 "        next choose mode", "            idle   : asks_in if want else idle",
                 f"            asks_in: {gets.replace('G', grant)}",
                 f"            has    : {goes.replace('G', grant).replace('L', last)}"]
        if len(modes) == 4:
            lines += [f"            leaves : {choose(('idle', 'idle if want else leaves'))}"]
        lines += ["    signal asks = mode is asks_in",
                  f"    signal owns = mode {choose(('is has', 'in (has, asks_in)'))}"]
        if self.some(6):
            lines.append(f"    assume {choose(('not (want and mode is has)', 'want or mode is not asks_in'))}")
        return lines

    # ------------------------------------------------------------ control

    def stores(self) -> None:
        choose = self.choose
        codes = FIELDS[self.kind]
        if self.kind in ("counter", "successor", "steps"):
            codes = codes[:choose((*range(3, len(codes) + 1), len(codes)))]
        self.codes = [code.split()[0] for code in codes]
        width = 3 if len(codes) > 4 else 2
        self.words.field("branch", width, tuple(self.codes))
        fields = [f"field branch {width} bits", *(f"    {code}" for code in codes)]
        bits = width
        if self.kind != "steps":
            idle = "following" if self.kind == "successor" else choose(("0", "0", "any"))
            fields.append(f"field target 3 bits address, idle {idle}")
            bits += 3
        fields += ["field source 2 bits", "    none 0 idle", "    one 1", "    two 2",
                   *(["    value 3"] if self.full else []), "field load 2 bits", "    none 0 idle",
                   "    a 1", "    b 2", "    ir 3", f"field pulse 1 bit{choose(('', ', active low'))}",
                   "field grant 1 bit", f"field low 1 bit{choose(('', ', active low'))}"]
        bits += 7
        self.hints = self.kind == "steps" and self.some(3)
        if self.hints:
            fields.append("field hint 1 bit, idle any")
            bits += 1
        if self.some(4):
            fields.append(f"field check 1 bit = {choose(('odd', 'even'))} parity of {{source, load, pulse}}")
            bits += 1
        spare = choose((0, 1, 3))
        if spare:
            fields.append(f"spare {spare} bit{'s' if spare > 1 else ''}{choose(('', ' ones'))}")
            bits += spare
        size, address, roles = self.addressed()
        unused = choose(([], ["    unused source one"], ["    unused branch step, pulse"]))
        if unused and self.kind == "successor":
            unused = [f"{unused[0]}, target first"]
        self.control_bits = bits
        self.add(f"store control {size} words of {bits} bits", f"    address {address}", *roles, *unused, *fields)
        self.beside()
        if self.some(5):
            self.chips(size, bits)

    def addressed(self) -> tuple[int, str, list[str]]:
        if self.kind == "steps":
            lines = ["key", "flag", "a[0]", *(["dial", "dial"] if self.dial else []),
                     *(["zero"] if "zero" in self.words.bits else []),
                     *(f"{agent}.want" for agent in self.agents), *(f"{agent}.asks" for agent in self.agents)]
            self.lines = []
            for _ in range(self.choose((0, 1, 1, 2, 2))):
                line = self.choose(lines)
                self.lines += [line] if line not in self.lines else []
            parts = [*self.lines, "ir", "step"]
            if self.some(3):
                parts = [parts[-1], *parts[:-1]]
            size = 16 << len(self.lines) + ("dial" in self.lines)
            self.ring = self.some(4)
            return size, f"{{{', '.join(parts)}}}", ["    instruction ir", "    step step" + (
                " in (0b00, 0b01, 0b11, 0b10)" if self.ring else "")]
        address = {"delayed": "active"}.get(self.kind, "upc")
        return 8, address, ["    starts at {ir, 0b0}"] if self.kind == "wired" else []

    def beside(self) -> None:
        """Stores beside the control store."""
        choose = self.choose
        if self.kind in ("dispatch", "mapped"):
            self.add("store entry 4 words of 3 bits", "    address ir", "    word start of instruction")
        if self.kind == "mapped":
            self.add("store table 4 words of 3 bits", f"    address {choose(('ir', '{ir[0], ir[1]}', '{key, ir[0]}'))}")
        if self.some(3):
            inside = choose(("{source, pulse}", "{load, key}", "{a[0], source}"))
            one, two = inside[1:-1].split(", ")
            wide = one if one in ("source", "load") else two
            word = choose((f"{{{wide} is 1, not ({wide} is 2), parity({wide})}}",
                           f"{{{wide} in (1, 3), {one if wide is two else two}, {wide}[0]}}"))
            self.add("store drivers 8 words of 3 bits", f"    address {inside}", f"    word {word}")
            for bit in range(3):
                self.words.bit(f"drivers[{bit}]")
            self.words.value(Value("drivers", 3))
        if self.some(6):
            self.add("store nano 4 words of 3 bits", f"    address {choose(('spot', '{spot[0], pulse}'))}",
                     *choose(([], ["    unused work"])),
                     "field work 1 bit", "field kind 2 bits", "    quiet 0 idle", "    loud 1", "    odd 2")
            self.add("state spot 2 bits, reset 0", f"    next {choose(('spot + 1', 'spot + 1 if low else spot'))}")
            self.words.bit("work")
            self.words.field("kind", 2, ("quiet", "loud", "odd"))
            self.nano = True
        else:
            self.nano = False

    def chips(self, size: int, bits: int) -> None:
        erased = self.choose(("ones", "zeros"))
        size = max(size, 2)
        self.add(f"chip U1 {size} x {bits}", f"    holds control[{bits - 1}:0]", "    address {address}",
                 f"    erased {erased}")

    def states(self) -> None:
        choose = self.choose
        self.add(f"signal tested = {self.words.hardware(1)}")
        if self.kind == "steps":
            stay = "step" if "stay" in self.codes else ""
            more = "{step[0], not step[1]}" if self.ring else "step + 1"
            lines = ["        end : 0", *([f"        stay: step if tested else {more}"] if stay else []),
                     f"        otherwise: {more}"]
            self.add("state step 2 bits, reset 0", "    next choose branch", *lines)
        else:
            lines = []
            for code in self.codes:
                value = NEXT.get(code, "")
                if self.kind == "successor":
                    value = {"step": "target", "fork": "{target[2:1], tested}", "test": "target if tested else upc",
                             "wait": "upc if tested else target", "four": "{target[2], key, tested}"}[code]
                if code == "go" and self.kind == "wired":
                    value = "{ir, 0b0}"
                lines.append(f"        {code}: {value}")
            if len(lines) < 1 << (3 if len(self.codes) > 4 else 2) and self.some(2):
                lines.append(f"        otherwise: {choose(('0', 'upc', 'upc + 1'))}")
            self.add(f"state upc 3 bits, reset {choose(('0', '0', '0', 'any'))}", "    next choose branch", *lines)
            if "back" in self.codes:
                if self.some(2):
                    self.add("state ret 3 bits, reset 0", "    next upc + 1 if branch is call else ret")
                else:       # a stack of two
                    self.add("state ret 3 bits, reset 0",
                             "    next upc + 1 if branch is call else below if branch is back else ret",
                             "state below 3 bits, reset 0", "    next ret if branch is call else below")
        if self.kind == "delayed":
            self.add("state active 3 bits, reset 0", "    next upc")
        flag = choose(("key", "flag xor low", "data[0] if low else flag", "flag or grant", "data[0]",
                       self.words.hardware(1)))
        self.add(f"state flag 1 bit, reset {choose(('0', '1', 'any'))}", f"    next {flag}")
        self.words.bit("flag")
        if self.some(3):
            self.add("state phase (early, late, over), reset early", "    next choose phase",
                     f"        early: {choose(('late', 'late if pulse else early'))}",
                     f"        late: {choose(('over', 'over if key else late'))}",
                     f"        over: {choose(('early', 'early if grant else over'))}")
            self.words.value(Value("phase", 2, ("early", "late", "over")))

    # ------------------------------------------------------------ data

    def registers(self) -> None:
        choose, wide = self.choose, self.width
        kept = "register" if self.kind == "steps" else choose(("register", "register", "register", "latch"))
        source = "data" if wide == 2 else "{data, 0b0}"
        self.registers_ = ["ir", "a", "b"]
        self.add(f"{kept} ir 2 bits, loads {choose((source, source, 'late' if wide == 2 else '{late, 0b1}'))} "
                 f"when load is ir{self.reset(2)}")
        holder = "register" if "a[0]" in self.lines else choose(("register", "register", "latch"))
        more = []
        if self.some(3):
            more.append(f"    loads {choose(('b', 'result', self.number(wide)))} when {self.words.hardware(1)}")
        if self.some(4):
            more.append(f"    changes when {choose(('low', 'grant and pulse'))}")
        self.add(f"{holder} a {wide} bit{'s' if wide > 1 else ''}{self.reset(wide)}",
                 f"    loads {choose(('data', 'data', 'data + 1', 'late'))} when load is a", *more)
        self.add(f"register b {wide} bit{'s' if wide > 1 else ''}{self.reset(wide)}", "    loads result when load is b",
                 *(["    loads b + 1 when low"] if self.some(3) else []))
        self.add(f"{choose(('register', 'register', 'latch'))} late {wide} bit{'s' if wide > 1 else ''}"
                 f"{self.reset(wide)}",
                 f"    loads {choose(('a', 'b', 'result', self.number(wide), 'a xor b'))} "
                 f"when {choose(('grant', 'low', self.words.hardware(1)))}")
        for name, width in (("ir", 2), ("a", wide), ("b", wide)):
            self.words.value(Value(name, width), rare=name != "ir")
        if self.some(3):
            self.words.value(Value("late", wide))

    def memory(self) -> None:
        choose, wide = self.choose, self.width
        self.remembers = self.some(3)
        if not self.remembers:
            return
        address = choose(("ir", "ir", "{key, a[0]}", "{data[0], late[0]}", "{a[0], ir[1]}"))
        sources = ("data", "data", "a", "result", "b + 1", self.number(wide))
        lines = [f"memory ram {choose((3, 4))} words of {wide} bit{'s' if wide > 1 else ''}", f"    address {address}"]
        lines += [f"    writes {choose(sources)} when {choose(('pulse', 'low', self.words.hardware(1)))}"
                  for _ in range(choose((0, 1, 1, 2)))]
        self.add(*lines, *choose(((), ("    holds zeros",))))
        self.words.value(Value("ram", wide), rare=True)

    def put(self) -> str:
        """What a driver is said to put on its bus."""
        wide = self.width
        parts = ["a xor b", "result", "not data", "late + 1", "b", "a if key else late", "result if low else b",
                 f"{self.number(wide)}", "ir" if wide == 2 else "ir[1]", "{flag, low}" if wide == 2 else "flag"]
        parts += ["ram", "ram xor a", "ram if grant else data"] if self.remembers else []
        return f" = {self.choose(parts)}"

    def number(self, width: int) -> str:
        return f"0b{self.choose(range(1 << width)):0{width}b}"

    def reset(self, width: int) -> str:
        return str(self.choose(("", "", ", reset any", *(f", reset {n}" for n in range(1 << width)))))

    def signals(self) -> None:
        choose = self.choose
        self.add(f"signal strobe = {choose(('pulse', 'pulse or low', 'pulse and not grant', 'low', 'pulse and key'))}")
        self.words.bit("strobe")
        if self.some(3):
            self.add("constant many = 1 + 1")
            self.words.constants.append("many")
        self.add(f"signal mixed = {choose(('a xor b', 'a', '{}'.format('b + a'), 'data', 'a and b'))}")

    # ------------------------------------------------------------ wiring

    def buses(self) -> None:
        choose, wide = self.choose, self.width
        bits = f"{wide} bit{'s' if wide > 1 else ''}"
        turn = choose(("", "", ", turnaround 1", ", turnaround 2", ", turnaround 3"))
        promise = choose((", follows result", "", ", steady while not low", f", steady while {self.words.rule(0)}"))
        second = choose(("b", "flag", "load", "chip", "mixed", "late", "drive_many", *(("ram", "ram") if self.remembers
                                                                                       else ())))
        part = self.put() if "follows" not in promise and self.some(3) else ""
        lines = [f"bus data {bits}, {choose(UNDRIVEN)}{turn}", f"    driven by a when {self.enable('source is one')}",
                 f"    driven by {second}{self.put() if self.some(6) else ''} when {self.enable('source is two')}",
                 f"    driven by part{part} when {self.enable('source is value' if self.full else 'low and pulse')}"
                 f"{promise}"]
        for agent in self.agents:
            steady = choose((f", steady while {agent}.owns", f", steady while {agent}.want", ""))
            lines.append(f"    driven by {agent} when {agent}.owns{steady}")
        lines += [f"    sampled by a when {choose(('load is a', 'load is a', 'low'))}",
                  f"    sampled by memory when {choose(('pulse', 'strobe', 'low', self.words.hardware(1)))}"]
        self.add(*lines)
        turn = choose(("", "", "", ", turnaround 1"))
        when = choose(("", " when low", " when source is not none"))
        alu = f"alu{self.put()}{when}" if self.some(3) else f"alu{when}, follows data"
        others = ("b", "a", "late", *(("ram",) if self.remembers else ()))
        self.add(f"bus result {bits}, {choose(UNDRIVEN)}{turn}", f"    driven by {alu}",
                 f"    driven by {choose(others)} when {choose(('load is b', 'pulse', 'source is none'))}")
        if self.some(8):
            self.add("signal drive_many = data" if wide == 2 else "signal drive_many = {data}")
        else:
            self.add(f"constant drive_many = {choose((0, 1))}")

    def enable(self, usual: str) -> str:
        return str(self.choose((usual, usual, usual, f"{usual} and not low", self.words.hardware(1),
                                f"({usual}) or ({self.words.hardware(0)})")))

    # ------------------------------------------------------------ what is demanded

    def demands(self) -> None:
        choose = self.choose
        for label in self.labels if self.kind != "steps" else ():
            self.words.places.append(f"at {label}")
        if self.kind != "steps":
            self.words.places.append("in second")
            if self.kind in ("dispatch", "mapped", "wired"):
                self.words.places += ['at "third"', 'in "rest"']
        else:
            self.words.places += ['at "one"', 'in "one"', 'in "rest"']
            self.words.value(Value("step", 2))
        for strobe in choose((("strobe",), ("strobe",), ("strobe", "second_strobe"), ())):
            lines = [f"strobe {strobe}"]
            for bus in choose((("data",), ("data", "result"))):
                before, after = choose((0, 1, 1, 2, 3)), choose((0, 1, 1, 2, 3))
                lines.append(f"    {bus} steady {before} cycles before, {after} cycles after")
            self.add(*lines)
            if strobe == "second_strobe":
                self.add(f"signal second_strobe = {self.words.rule(1)}")
        if self.some(2):
            self.add(f"keep a, {choose(('b', 'ir', 'flag'))} while {choose(('grant', 'low', self.words.rule(1)))}")
        if self.some(8):
            self.add("signal was_low = prior(low)")
            self.add(f"exclusive was_low, {choose(('pulse', 'grant', 'low'))}")
        if self.some(2):
            self.add(f"exclusive {choose(('pulse, grant', 'grant, low', 'low, pulse, grant', 'pulse, key'))}")
        for _ in range(choose((0, 0, 0, 0, 1, 2))):
            self.add(f"assume {choose(('not (key and grant)', 'key or not flag', self.words.rule(1), 'key or low'))}")
        self.add(f"home {choose(('first', 'flag', 'first', self.words.rule(1)))}" if self.kind != "steps"
                 else f"home {choose(('step is 0', 'step is 0', self.words.rule(1)))}")
        for number in range(10):
            self.add(f'rule "rule {number}" {self.words.statement()}')
        for _ in range(choose((0, 0, 0, 1, 2))):
            self.add(self.allowance())

    def allowance(self) -> str:
        check = self.choose(ALLOWED)
        names = {"contention": ("data", "result", "a", "part"), "floating": ("data", "a", "memory", "flag"),
                 "turnaround": ("data", "part"), "missing-hold": ("data", "strobe"), "lost-state": ("a", "flag"),
                 "conflicting-enables": ("low", "grant"), "race": ("a", "late"), "double-load": ("a", "b"),
                 "undefined-code": ("source", "branch", "load"), "torn": ("control",)}
        on = self.choose(("", *(f" on {name}" for name in names.get(check, ()))))
        spots = self.labels if self.kind != "steps" else ['"one"', '"rest"']
        at = self.choose(("", "", *(f" at {spot}" for spot in spots)))
        if self.kind in ("dispatch", "mapped", "wired"):
            at = at.replace("third", '"third"')
        return f'allow {check}{on}{at} "by chance"'

    # ------------------------------------------------------------ microprogram

    def micro(self) -> str:
        text = self.instructions() if self.kind == "steps" else self.routines()
        if self.nano:
            text += "routine beside in nano at 0\n" + "".join(
                f"        {self.choose(('work', 'kind loud', 'work, kind odd', 'kind quiet'))}\n"
                for _ in range(4))
        return text

    def routines(self) -> str:
        lines = []
        for name in self.labels:
            lines += [f"routine {name}" + (" at 0" if name == "first" and self.kind != "wired" else "")]
            more = self.choose((0, 0, 1) if self.kind == "delayed" else (0, 1, 1))
            if self.kind == "wired":
                more = self.choose((0, 0, 1)) if name != "third" else 1
            lines += [f"        {self.word()}" for _ in range(more)]
            lines += [f"        {self.word(last=True)}"] * (2 if self.kind == "delayed" else 1)
        if self.kind in ("dispatch", "mapped", "wired"):
            lines = [line.replace("routine third", 'instruction 2 "third"') for line in lines]
            lines += [f'instruction {"others" if self.some(4) is False else "0b0x"} "rest"',
                      f"        {self.word(last=True)}"]
        if self.kind == "mapped":
            lines += ["map table", "        0: second", f"        {self.choose(('others', '1', '0b1x'))}: first"]
        return "\n".join(lines) + "\n"

    def instructions(self) -> str:
        lines = []
        if self.some(4):
            lines += ["prologue", f"        {self.word()}"]
        for opcode, title in (("0", "one"), ("0b1x", "two"), ("others", "rest")):
            lines += [f'instruction {opcode} "{title}"']
            count = self.choose((1, 1, 2, 2, 3))
            lines += [f"        {self.word()}" for _ in range(count - 1)]
            asked = any(not line.endswith(".asks") for line in self.lines)
            lines += self.arms() if asked and self.some(2) else [f"        {self.ending()}"]
        return "\n".join(lines) + "\n"

    def arms(self, depth: int = 0) -> list[str]:
        line = self.choose([line for line in self.lines if not line.endswith(".asks")])
        condition = self.choose((line, f"not {line}") if line != "dial" else ("dial is slow", "dial in (off, slow)"))
        pad = "        " + "        " * depth
        inner = self.arms(depth + 1) if depth == 0 and len(self.lines) > 1 and self.some(3) else [
            f"{pad}        {self.word()}" if self.some(2) else f"{pad}        {self.ending()}"]
        outer, below = [f"{pad}        {self.ending()}"], []
        if self.some(3):  # arms that are alike for a while
            alike = f"{pad}        {self.word()}"
            inner, outer = [alike, *inner], [alike, *outer]
        elif self.some(4):
            below = [f"{pad}{self.ending()}"]
        return [f"{pad}when {condition}", *inner, f"{pad}otherwise", *outer, *below]

    def ending(self) -> str:
        return f"{self.word(plain=True)}, branch end".removeprefix(", ")

    def word(self, last: bool = False, plain: bool = False) -> str:
        choose = self.choose
        parts = []
        if self.kind != "steps":
            parts.append(self.goes_on(last))
        elif "stay" in self.codes and not plain and self.some(4):
            parts.append("branch stay")
        sources = ("one", "two", "value") if self.full else ("one", "two")
        extras = ((f"source {choose(sources)}", 2), (f"load {choose(('a', 'b', 'ir'))}", 2), ("pulse", 3),
                  ("grant", 3), ("low", 3))
        parts += [part for part, chance in extras if self.some(chance)]
        if self.hints and self.some(3):
            parts.append("hint")
        return ", ".join(parts) or ("" if plain else "branch step")

    def goes_on(self, last: bool) -> str:
        choose = self.choose
        places = [name if name != "third" or self.kind not in ("dispatch", "mapped", "wired") else '"third"'
                  for name in self.labels]
        target, another = choose(places), choose(places)
        if self.kind == "successor":
            ways = [f"target {target}"] if last else ["branch step", "branch test", f"branch wait, target {target}"]
            ways += [f"branch fork, target pair({target}, {another})"] if "fork" in self.codes else []
            ways += [f"branch four, target table({target}, {another}, {target}, {choose(places)})"] \
                if "four" in self.codes and self.some(3) else []
            return str(choose([way for way in ways if way.split(",")[0].removeprefix("branch ") in self.codes
                               or way.startswith("target")]))
        jumps = [f"branch jump, target {target}"]
        jumps += ["branch go"] if "go" in self.codes else []
        jumps += ["branch second"] if "second" in self.codes else []
        jumps += ["branch back"] if "back" in self.codes else []
        if last:
            return str(choose(jumps))
        ways = ["branch step", "branch step", f"branch test, target {target}", *jumps[1:]]
        ways += [f"branch {code}" for code in ("wait", "skip") if code in self.codes]
        ways += [f"branch call, target {target}"] if "call" in self.codes else []
        return str(choose(ways))
