"""heron run from its chips: a plain simulator of the board, written against the drawings and not with ordain.

It is given the images of U31 to U38, U21 and U22 and finds the control word by reading pins. It obeys every word that
it comes to, cycle by cycle, and raises `Fault` where a bus is taken while nobody drives it.
"""

from collections.abc import Callable

Image = dict[str, bytes]


class Fault(Exception):
    """The board would fight, float, or do something else that no board should."""


SOURCE = ("none", "acc", "temp", "alu", "number", "tally", "flags", "pointer_low", "pointer_high", "backplane")
LOAD = ("none", "acc", "temp", "ir", "tally", "flags", "pc_low", "pc_high", "sp_low", "sp_high", "x_low", "x_high",
        "y_low", "y_high", "ea_low", "ea_high")
POINTER = ("none", "pc", "sp", "x", "y", "ea")
COUNT = (*POINTER, "tally")


def bits(byte: int, *pins: int) -> int:
    """The number whose bits, highest first, are the given bits of a byte."""
    value = 0
    for pin in pins:
        value = value << 1 | byte >> pin & 1
    return value


class Board:
    """Registers by name, memory as a dict of written bytes over a background, and the sequencer."""

    def __init__(self, images: Image, background: Callable[[int], int]) -> None:
        self.images, self.background = images, background
        self.memory: dict[int, int] = {}
        self.registers = dict.fromkeys(("acc", "temp", "ir", "tally", "flags", "pc", "sp", "x", "y", "ea"), 0)
        self.upc, self.brake = 0, 1
        self.pick_seen = self.pick_enabled = self.asked = 0
        self.granted = False
        self.cycles = 0

    def read(self, address: int) -> int:
        return self.memory.get(address, self.background(address) & 0xFF)

    # ------------------------------------------------------------ the sockets, as the tracks run

    def _word(self) -> dict[str, int]:
        plain = self.upc
        u33 = bits(plain, 0, 1, 2, 3, 4) << 5 | plain >> 5          # A9..A5 are upc0..upc4, A4..A0 are upc9..upc5
        u36 = (plain >> 4) << 4 | bits(plain, 0, 1, 2, 3)
        b31, b32, b34, b35, b37 = (self.images[chip][plain] for chip in ("U31", "U32", "U34", "U35", "U37"))
        b33, b36, b38 = self.images["U33"][u33], self.images["U36"][u36], self.images["U38"][plain]
        lower = (b34 & 3, b35, b36 >> 1, b37, b38 & 0x17)
        if bits(b36, 0) != sum(map(int.bit_count, (b31, b32, b33, b34 & 0xFC))) & 1:
            raise Fault("a bit of the upper half is wrong")
        if sum(map(int.bit_count, lower)) & 1:
            raise Fault("a bit of the lower half is wrong")
        return {
            "branch": b31 >> 5, "test": b31 >> 1 & 15, "target": (b31 & 1) << 9 | b32 << 1 | b33 >> 7,
            "source": b33 >> 3 & 15, "load": (b33 & 7) << 1 | b34 >> 7, "pointer": b34 >> 4 & 7, "count": b34 >> 1 & 7,
            "down": b34 & 1, "address_out": ~b35 >> 7 & 1, "data_out": ~b35 >> 6 & 1, "read": ~b35 >> 5 & 1,
            "write": ~b35 >> 4 & 1, "grant_reader": ~b35 >> 3 & 1, "grant_console": ~b35 >> 2 & 1,
            "set_flags": b35 >> 1 & 1, "function": b36 >> 5 << 1 | b35 & 1, "loom": ~b36 >> 3 & 3,
            "pick": b36 >> 1 & 3, "number": bits(b37, 0, 1, 2, 3, 4, 5, 6, 7),
        }

    def _entry(self) -> int:
        ir = self.registers["ir"]
        low = self.images["U22"][(ir & 15) << 4 | ir >> 4]
        return (self.images["U21"][ir] & 3) << 8 | (low & 15) << 4 | bits(low, 4, 5, 6, 7)

    # ------------------------------------------------------------ one clock

    def clock(self) -> None:
        word, was = self._word(), dict(self.registers)
        self.granted = bool(word["grant_console"] or word["grant_reader"])
        pointer = None if not word["pointer"] else was[POINTER[word["pointer"]]]
        address = pointer if word["address_out"] else None
        if word["address_out"] and pointer is None:
            raise Fault("the address gate is open and no pointer is")
        result, carry = alu(word["function"], was["acc"], was["temp"], was["flags"] >> 1 & 1)
        backplane = self.read(address) if word["read"] and address is not None else None
        source = SOURCE[word["source"]]
        inner = {"none": None, "alu": result, "number": word["number"], "backplane": backplane,
                 "pointer_low": None if pointer is None else pointer & 0xFF,
                 "pointer_high": None if pointer is None else pointer >> 8}.get(source, was.get(source))
        if word["write"]:
            if address is None or inner is None or not word["data_out"] or word["read"]:
                raise Fault("a write without address or data")
            self.memory[address] = inner
        load = LOAD[word["load"]]
        if load != "none" and inner is None:
            raise Fault(f"{load} takes a bus that nobody drives")
        self._load(load, inner, word, was, result, carry)
        self._step(word, was)
        self.cycles += 1

    def _load(self, load: str, inner: int | None, word: dict[str, int], was: dict[str, int], result: int,
              carry: int) -> None:
        registers = self.registers
        if load.endswith("_low"):
            registers[load[:2].rstrip("_")] = was[load[:2].rstrip("_")] & 0xFF00 | (inner or 0)
        elif load.endswith("_high"):
            registers[load[:2].rstrip("_")] = was[load[:2].rstrip("_")] & 0x00FF | (inner or 0) << 8
        elif load != "none":
            registers[load] = (inner or 0) & (7 if load == "flags" else 0xFF)
        if word["set_flags"]:
            registers["flags"] = (result >> 7) << 2 | carry << 1 | (result == 0)
        counted = COUNT[word["count"]]
        if counted == "tally":
            registers["tally"] = was["tally"] - 1 & 0xFF
        elif counted != "none":
            registers[counted] = was[counted] + (-1 if word["down"] else 1) & 0xFFFF

    def _step(self, word: dict[str, int], was: dict[str, int]) -> None:
        due, flags = self.pick_seen & self.pick_enabled, was["flags"]
        lines = (flags & 1, flags >> 1 & 1, flags >> 2 & 1, self.brake, 0, self.asked, self.asked, self.pick_seen,
                 self.asked | due, int(was["tally"] == 0), *[0] * 6)
        tested, target, after = lines[word["test"]], word["target"], self.upc + 1 & 0x3FF
        self.upc = (after, target, target if tested else after, after if tested else target, self._entry(),
                    0x030 if self.asked else 0x028 if due else 0x020, 0x028 if due else 0x020, 0)[word["branch"]]
        if word["pick"]:
            self.pick_enabled = int(word["pick"] == 1)
            self.pick_seen &= int(word["pick"] != 3)
        if word["loom"]:
            self.brake = int(word["loom"] != 2)

    # ------------------------------------------------------------ a whole instruction

    def start(self, **registers: int) -> None:
        """At the fetch, with these registers."""
        self.registers.update(registers)
        self.upc = 0x020

    def instruction(self, most: int = 4000) -> None:
        """Until the next fetch."""
        for _ in range(most):
            self.clock()
            if self.upc == 0x020:
                return
        raise Fault("no end of it")


def alu(function: int, a: int, b: int, carry: int) -> tuple[int, int]:
    """Result and carry. Subtraction leaves a carry of 1 where nothing was borrowed."""
    wide = (a + b, a + b + carry, a + (b ^ 0xFF) + 1, a + (b ^ 0xFF) + carry, a & b, a | b, a ^ b, b,
            a ^ 0xFF, 0, a + 1, a + 0xFF, a << 1, (a & 1) << 8 | a >> 1, a << 1 | carry,
            (a & 1) << 8 | carry << 7 | a >> 1)[function]
    return wide & 0xFF, wide >> 8 & 1
