"""Small machines made by chance, as text in the two languages: five kinds of sequencers, agents, buses of every kind,
strobes, rules of every form.

`choose` takes a sequence and gives one of its members: `random.Random(seed).choice`, or a draw of hypothesis.
"""

from collections.abc import Callable, Sequence
from typing import Any

from ordain.language.machine_file import parse_machine
from ordain.machine.resolve import resolve
from ordain.rom.contents import Contents, Site
from ordain.text.findings import has_errors
from tests.planted.plant import Sound

Choose = Callable[[Sequence[Any]], Any]

SEQUENCERS = ("counter", "successor", "dispatch", "steps", "delayed")
KINDS = ("floats", "floats", "pulled high", "kept", "wired or", "multiplexed")


def machine_text(choose: Choose) -> Sound:
    """A machine that compiles; whether anything is wrong with it is up to chance."""
    return _Made(choose).sound()


class _Made:
    def __init__(self, choose: Choose) -> None:
        self.choose = choose
        self.kind: str = choose(SEQUENCERS)
        self.agents: list[str] = ["guest", "other"][:choose((0, 1, 1, 2))]
        self.lines: list[str] = []
        self.labels = ["first", "second", "third"]

    def some(self, chance: int) -> bool:
        """True once in so many times."""
        return bool(self.choose([True] + [False] * (chance - 1)))

    def sound(self) -> Sound:
        self.lines = ['machine made "by chance"', 'microprogram "m.micro"']
        self.control()
        self.registers()
        for agent in self.agents:
            self.agent(agent)
        self.wiring()
        self.demands()
        return Sound("\n".join(self.lines) + "\n", self.micro())

    # ------------------------------------------------------------ control

    def control(self) -> None:
        fields = {
            "counter": ["field branch 2 bits", "    step 0 idle", "    jump 1", "    test 2", "    wait 3",
                        "field target 3 bits address, idle 0"],
            "successor": ["field branch 2 bits", "    step 0 idle", "    test 2", "    wait 3", "    skip 1",
                          "field target 3 bits address, idle following"],
            "dispatch": ["field branch 2 bits", "    step 0 idle", "    jump 1", "    test 2", "    go 3",
                         "field target 3 bits address, idle 0"],
            "steps": ["field branch 1 bit", "    step 0 idle", "    end 1"],
            "delayed": ["field branch 2 bits", "    step 0 idle", "    jump 1", "    test 2", "    wait 3",
                        "field target 3 bits address, idle 0"],
        }[self.kind]
        words = 16 if self.kind == "steps" else 8
        address = {"steps": "{ir, step}", "delayed": "active"}.get(self.kind, "upc")
        roles = ["    instruction ir", "    step step"] if self.kind == "steps" else []
        unused = self.choose(("    unused branch step", "    unused source one"))
        unused += ", target first" if self.kind == "successor" else ""
        self.lines += [f"store control {words} words of 16 bits", f"    address {address}", *roles, unused]
        self.lines += [*fields, "field source 2 bits", "    none 0 idle", "    one 1", "    two 2", "    value 3",
                       "field load 2 bits", "    none 0 idle", "    a 1", "    b 2", "    ir 3",
                       f"field pulse 1 bit{self.choose(('', ', active low'))}", "field grant 1 bit", "field low 1 bit"]
        self.lines += ["spare " + ("8 bits" if self.kind == "steps" else "4 bits")]
        if self.kind == "dispatch":
            self.lines += ["store entry 4 words of 3 bits", "    address ir", "    word start of instruction"]
        tested = self.choose(("key", "flag", "ir[0]", "flag and key") + (("guest.asks",) if self.agents else ()))
        self.lines += ["input key 1 bit", f"signal tested = {tested}"]
        upc_reset = self.choose(("0", "0", "0", "any"))
        if self.kind == "steps":
            self.lines += ["state step 2 bits, reset 0", "    next 0 if branch is end else step + 1"]
        elif self.kind == "successor":
            self.lines += [f"state upc 3 bits, reset {upc_reset}", "    next choose branch", "        step: target",
                           "        skip: target xor {0b00, tested}", "        test: target if tested else upc",
                           "        wait: upc if tested else target"]
        else:
            last = "go: entry.word" if self.kind == "dispatch" else "wait: upc if tested else upc + 1"
            self.lines += [f"state upc 3 bits, reset {upc_reset}", "    next choose branch", "        step: upc + 1",
                           "        jump: target", "        test: target if tested else upc + 1", f"        {last}"]
        if self.kind == "delayed":
            self.lines += ["state active 3 bits, reset 0", "    next upc"]

    def registers(self) -> None:
        self.lines += [f"state flag 1 bit, reset {self.choose(('0', 'any'))}",
                       f"    next {self.choose(('key', 'flag xor low', 'data[0] if low else flag', 'flag or grant'))}"]
        latch = self.choose(("register", "register", "latch"))
        if self.kind == "steps":  # an open latch in the address would make the word choose its own address
            latch = "register"
        self.lines += [f"{latch} ir 2 bits, loads data when load is ir",
                       f"{self.choose(('register', 'latch'))} a 2 bits, loads data when load is a",
                       "register b 2 bits", "    loads result when load is b"]
        if self.some(3):
            self.lines += ["    loads b + 1 when low"]

    def agent(self, name: str) -> None:
        choose = self.choose
        grant = "grant" if name == "guest" else choose(("low", "grant and not guest.owns"))
        modes = choose((("idle", "asks_in", "has"), ("idle", "asks_in", "has", "leaves")))
        last = modes[-1] if len(modes) == 4 else "idle"
        gets = choose(("has if G else asks_in", "has if G else idle", "has"))
        goes = choose(("has if want else L", "L", "L if not G else has"))
        self.lines += [f"agent {name} \"made by chance\"", "    input want 1 bit",
                       f"    state mode ({', '.join(modes)}), reset idle", "        next choose mode",
                       "            idle   : asks_in if want else idle",
                       f"            asks_in: {gets.replace('G', grant)}",
                       f"            has    : {goes.replace('G', grant).replace('L', last)}"]
        if len(modes) == 4:
            self.lines += [f"            leaves : {choose(('idle', 'idle if want else leaves'))}"]
        self.lines += ["    signal asks = mode is asks_in",
                       f"    signal owns = mode {choose(('is has', 'in (has, asks_in)'))}"]

    # ------------------------------------------------------------ wiring

    def wiring(self) -> None:
        choose = self.choose
        turn = choose(("", "", ", turnaround 1", ", turnaround 2", ", turnaround 3"))
        promise = choose((", follows result", "", ", steady while not low"))
        self.lines += [f"bus data 2 bits, {choose(KINDS)}{turn}",
                       "    driven by a when source is one",
                       f"    driven by {choose(('b', 'flag', 'load', 'chip'))} when source is two",
                       f"    driven by part when source is value{promise}"]
        for agent in self.agents:
            steady = choose((f", steady while {agent}.owns", f", steady while {agent}.want", ""))
            self.lines += [f"    driven by {agent} when {agent}.owns{steady}"]
        self.lines += ["    sampled by a when load is a",
                       f"    sampled by memory when {choose(('pulse', 'strobe', 'low'))}"]
        self.lines += [f"bus result 2 bits, {choose(KINDS)}",
                       f"    driven by alu{choose(('', ' when low', ' when source is not none'))}, follows data",
                       f"    driven by {choose(('b', 'a'))} when {choose(('load is b', 'pulse', 'source is none'))}"]
        self.lines += [f"signal strobe = {choose(('pulse', 'pulse or low', 'pulse and not grant', 'low'))}"]

    def demands(self) -> None:
        choose = self.choose
        if self.some(2):
            self.lines += ["strobe strobe"]
            for bus in choose((("data",), ("data", "result"))):
                before, after = choose((0, 1, 1, 2, 3)), choose((0, 1, 1, 2, 3))
                self.lines += [f"    {bus} steady {before} cycles before, {after} cycles after"]
        if self.some(2):
            self.lines += [f"keep a, {choose(('b', 'ir', 'flag'))} while {choose(('grant', 'low', self.condition()))}"]
        if self.some(2):
            self.lines += [f"exclusive {choose(('pulse, grant', 'grant, low', 'low, pulse, grant'))}"]
        for _ in range(choose((0, 0, 0, 0, 1, 2))):
            promise = choose(("not (key and grant)", "key or not flag", "not (flag and key)", "key or low"))
            self.lines += [f"assume {promise}"]
        self.lines += [f"home {choose(('first', 'flag', 'first'))}" if self.kind != "steps" else "home step is 0"]
        for number in range(choose((2, 3, 4, 5))):
            self.lines += [f'rule "rule {number}" {self.rule()}']
        if self.some(4):
            place = choose(("", " on data"))
            self.lines += [f'allow {choose(("contention", "floating", "turnaround"))}{place} "by chance"']

    def condition(self) -> str:
        atoms = ["key", "flag", "pulse", "grant", "low", "source is one", "load is ir", "ir is 2", "ir[1]", "tested",
                 "strobe"]
        atoms += ["step is 1"] if self.kind == "steps" else [f"at {self.choose(self.labels)}", "in second", "upc[0]"]
        for agent in self.agents:
            atoms += [f"{agent}.asks", f"{agent}.owns", f"{agent}.want", f"{agent}.mode is idle"]
        left = self.choose(atoms)
        shape = self.choose(("A", "A", "not A", "A and B", "A and not B", "A or B", "prior(A)", "A and prior(B)"))
        return shape.replace("A", f"({left})").replace("B", f"({self.choose(atoms)})")

    def rule(self) -> str:
        form = self.choose(("never P", "never P", "reach P", "always reach P", "when P then Q within N cycles",
                            "when P then Q within N cycles unless R", "between P and Q never R",
                            "between P and Q never R after S", "after P never Q until R"))
        words = []
        for word in form.split():
            if word in ("P", "Q", "R", "S"):
                words.append(f"({self.condition()})")
            else:
                words.append(str(self.choose((0, 1, 2, 3, 5, 8))) if word == "N" else word)
        return " ".join(words)

    # ------------------------------------------------------------ microprogram

    def micro(self) -> str:
        if self.kind == "steps":
            return self.instructions()
        lines = []
        for name in self.labels:
            lines += [f"routine {name}" + (" at 0" if name == "first" else "")]
            more = self.choose((0, 0, 1) if self.kind == "delayed" else (0, 1, 1))
            lines += [f"        {self.word()}" for _ in range(more)]
            lines += [f"        {self.word(last=True)}"] * (2 if self.kind == "delayed" else 1)  # one in the delay slot
        if self.kind == "dispatch":
            lines = [line.replace("routine third", 'instruction 2 "third"') for line in lines]
            lines += ['instruction others "rest"', f"        {self.word(last=True)}"]
        return "\n".join(lines) + "\n"

    def instructions(self) -> str:
        lines = []
        for opcode in ("0", "0b1x", "others"):
            lines += [f'instruction {opcode} "op {opcode}"']
            count = self.choose((1, 2, 3, 4))
            lines += [f"        {self.word()}" for _ in range(count - 1)]
            last = f"        {self.word().removeprefix('branch step')}, branch end"
            lines += [last.replace("        , ", "        ")]
        return "\n".join(lines) + "\n"

    def word(self, last: bool = False) -> str:
        choose = self.choose
        parts = []
        if self.kind != "steps":
            target = choose(self.labels)
            other = "go" if self.kind == "dispatch" else "wait"
            if last:
                parts.append({"counter": f"branch jump, target {target}", "delayed": f"branch jump, target {target}",
                              "successor": f"target {target}",
                              "dispatch": choose((f"branch jump, target {target}", "branch go"))}[self.kind])
            elif self.kind == "successor":
                parts.append(choose(("branch step", "branch step", "branch test", f"branch wait, target {target}",
                                     f"branch skip, target {target}")))
            else:
                parts.append(choose(("branch step", "branch step", f"branch test, target {target}", f"branch {other}")))
        extras = ((f"source {choose(('one', 'two', 'value'))}", 2), (f"load {choose(('a', 'b', 'ir'))}", 2),
                  ("pulse", 3), ("grant", 3), ("low", 3))
        parts += [part for part, chance in extras if self.some(chance)]
        return ", ".join(parts) or "branch step"


def random_words(sound: Sound, choose: Choose) -> Contents:
    """The machine of the text with words made by chance instead of by the compiler: every field takes any value, some
    addresses count as placed, and labels stand anywhere."""
    tree, unread = parse_machine({"m.machine": sound.machine}, "m.machine")
    assert tree is not None and not unread, [(str(found.span), found.message) for found in unread]
    machine, findings = resolve(tree)
    assert machine is not None and not has_errors(findings), [(str(found.span), found.message) for found in findings]
    words: dict[str, tuple[int, ...]] = {}
    sites: dict[str, dict[int, Site]] = {}
    for store in machine.stores.values():
        size = 1 << store.address_width
        filler = choose(range(1 << store.bits))
        words[store.name] = tuple(choose(range(1 << store.bits)) if choose((1, 1, 1, 0)) else filler
                                  for _ in range(size))
        sites[store.name] = {address: Site(store.name, address, "", f"body {address // 3}", "word", ("word",), None,
                                           words[store.name][address], 0, address)
                             for address in range(size) if choose((1, 1, 1, 0))}
    size = len(words["control"])
    labels = {name: ("control", frozenset((choose(range(size)),))) for name in ("first", "second", "third")}
    routines = {name: ("control", frozenset((choose(range(size)), choose(range(size)))))
                for name in ("first", "second", "third")}
    return Contents(machine, words, sites, labels, routines)
