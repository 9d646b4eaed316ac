"""heron as its programmer's manual has it: an instruction at a time, in plain Python. Written from the meanings in the
microprogram's texts and the table in microcode/README.md; of words, buses and cycles it knows nothing."""

from collections.abc import Mapping


class Programmer:
    """What a programmer sees. `memory`: 65536 bytes; beyond BFFF nothing is written. `titles`: of opcodes."""

    def __init__(self, memory: bytearray, titles: Mapping[int, str]) -> None:
        self.memory, self.titles = memory, titles
        self.acc = self.tally = self.sp = self.x = self.y = 0
        self.zero = self.carry = self.minus = 0
        self.braked = 1
        self.pc = 0xE000

    @property
    def flags(self) -> int:
        return self.minus << 2 | self.carry << 1 | self.zero

    @flags.setter
    def flags(self, value: int) -> None:
        self.minus, self.carry, self.zero = value >> 2 & 1, value >> 1 & 1, value & 1

    # ------------------------------------------------------------ memory

    def byte(self) -> int:
        self.pc += 1
        return self.memory[self.pc - 1 & 0xFFFF]

    def word(self) -> int:
        return self.byte() | self.byte() << 8

    def read_word(self, at: int) -> int:
        return self.memory[at & 0xFFFF] | self.memory[at + 1 & 0xFFFF] << 8

    def write(self, at: int, value: int) -> None:
        if at & 0xFFFF < 0xC000:
            self.memory[at & 0xFFFF] = value & 0xFF

    def push(self, value: int) -> None:
        self.sp = self.sp - 1 & 0xFFFF
        self.write(self.sp, value)

    def pull(self) -> int:
        self.sp = self.sp + 1 & 0xFFFF
        return self.memory[self.sp - 1 & 0xFFFF]

    def push_word(self, value: int) -> None:
        self.push(value >> 8)
        self.push(value)

    def pull_word(self) -> int:
        return self.pull() | self.pull() << 8

    # ------------------------------------------------------------ operands and results

    def operand(self, how: str) -> int:
        """n, [nn], k, [x], [x+] ..."""
        match how:
            case "n":
                return self.byte()
            case "[nn]":
                return self.memory[self.word()]
            case "k":
                return self.tally
        found = self.memory[getattr(self, how[1])]
        self.move_on(how)
        return found

    def move_on(self, how: str) -> None:
        if how.endswith("+]"):
            setattr(self, how[1], getattr(self, how[1]) + 1 & 0xFFFF)

    def result(self, value: int, carry: int, keep: bool = True) -> None:
        value &= 0xFF
        self.zero, self.carry, self.minus = int(value == 0), carry, value >> 7
        if keep:
            self.acc = value

    def calculate(self, what: str, n: int) -> None:
        a, borrow = self.acc, self.carry
        match what:
            case "add":
                self.result(a + n, a + n >> 8)
            case "add_carry":
                self.result(a + n + borrow, a + n + borrow >> 8)
            case "subtract" | "compare":
                self.result(a - n, int(a < n), what == "subtract")
            case "subtract_carry":
                self.result(a - n - borrow, int(a < n + borrow))
            case "both":
                self.result(a & n, self.carry)
            case "either":
                self.result(a | n, self.carry)
            case "differ":
                self.result(a ^ n, self.carry)
            case "load":
                self.result(n, self.carry)

    def alone(self, what: str) -> None:
        a, c = self.acc, self.carry
        value, carry = {"invert": (~a, c), "clear": (0, 0), "increase": (a + 1, int(a == 255)),
                        "decrease": (a - 1, int(a == 0)), "shift_left": (a << 1, a >> 7),
                        "shift_right": (a >> 1, a & 1), "roll_left": (a << 1 | c, a >> 7),
                        "roll_right": (a >> 1 | c << 7, a & 1)}[what]
        self.result(value, carry)

    # ------------------------------------------------------------ an instruction

    def enter(self, place: int) -> None:
        self.push_word(self.pc)
        self.push(self.flags)
        self.pc = place

    def step(self) -> None:
        title = self.titles.get(self.byte(), "undefined")
        what, *rest = title.replace(",", "").split()
        match what, rest:
            case _, ["a", how] if what in ("add", "add_carry", "subtract", "subtract_carry", "both", "either", "differ",
                                           "load", "compare"):
                self.calculate(what, self.operand(how))
            case _, ["a"]:
                self.alone(what)
            case "load", ["a", "low" | "high" as half, pointer]:
                self.calculate("load", getattr(self, pointer) >> 8 * (half == "high") & 0xFF)
            case "load", ["low", pointer, "a"]:
                setattr(self, pointer, getattr(self, pointer) & 0xFF00 | self.acc)
            case "load", ["high", pointer, "a"]:
                setattr(self, pointer, getattr(self, pointer) & 0xFF | self.acc << 8)
            case "load", ["k", "n"]:
                self.tally = self.byte()
            case "load", [to, "nn"]:
                setattr(self, to, self.word())
            case "load", [to, "[nn]"]:
                setattr(self, to, self.read_word(self.word()))
            case "load", [to, source]:
                setattr(self, to, getattr(self, source))
            case "store", ["a", "[nn]"]:
                self.write(self.word(), self.acc)
            case "store", ["a", "k"]:
                self.tally = self.acc
            case "store", ["a", how]:
                self.write(getattr(self, how[1]), self.acc)
                self.move_on(how)
            case "store", [pointer, "[nn]"]:
                at = self.word()
                self.write(at, getattr(self, pointer))
                self.write(at + 1, getattr(self, pointer) >> 8)
            case "increase" | "decrease", [pointer]:
                setattr(self, pointer, getattr(self, pointer) + (1 if what == "increase" else -1) & 0xFFFF)
            case "exchange", _:
                self.x, self.y = self.y, self.x
            case "push", ["x" | "y" as pointer]:
                self.push_word(getattr(self, pointer))
            case "push", [name]:
                self.push(getattr(self, name))
            case "pull", ["x" | "y" as pointer]:
                setattr(self, pointer, self.pull_word())
            case "pull", [name]:
                setattr(self, name, self.pull())
            case _:
                self.flow(what, rest)
        self.pc &= 0xFFFF

    def flow(self, what: str, rest: list[str]) -> None:
        match what, rest:
            case "go", ["nn"]:
                self.pc = self.word()
            case "go", [pointer]:
                self.pc = getattr(self, pointer)
            case "go", ["nn", "if" | "unless" as when, line]:
                place = self.word()
                self.pc = place if getattr(self, line) == (when == "if") else self.pc
            case "repeat", _:
                place, self.tally = self.word(), self.tally - 1 & 0xFF
                self.pc = place if self.tally else self.pc
            case "call", _:
                place = self.word()
                self.push_word(self.pc)
                self.pc = place
            case "return", ["from", "service"]:
                self.flags = self.pull()
                self.pc = self.pull_word()
            case "return", _:
                self.pc = self.pull_word()
            case "trip", _:
                self.enter(0xE030)
            case "undefined", _:
                self.enter(0xE020)
                self.braked = 1
            case "lift", ["n"]:
                self.byte()
            case "lift", _:
                self.byte()
                self.x = self.x + 1 & 0xFFFF
            case "feel", _:
                self.calculate("load", self.memory[0xD100 | self.byte()])
            case "move" | "fill", _:
                while self.tally:
                    self.write(self.y, self.memory[self.x] if what == "move" else self.acc)
                    self.x = self.x + (what == "move") & 0xFFFF
                    self.y, self.tally = self.y + 1 & 0xFFFF, self.tally - 1
            case "stop" | "run", _:
                self.braked = int(what == "stop")
            case _:
                assert (what, *rest) in (("none",), ("picks", "on"), ("picks", "off"))
