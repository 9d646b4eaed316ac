"""What a programmer of heron is told an instruction does: the registers and bytes after it, opcode by opcode.

Nothing here knows of microinstructions. `Machine` is what a programmer sees; what the ALU gives for a function is taken
from the drawings (`loom.alu`), the same for both sides.
"""

from collections.abc import Callable

from tests.examples.loom import alu


class Machine:
    """The programmer's registers, and memory through two functions."""

    def __init__(self, registers: dict[str, int], read: Callable[[int], int], brake: int, enabled: int) -> None:
        self.a, self.k, self.f = registers["acc"], registers["tally"], registers["flags"]
        self.pc, self.sp, self.x, self.y = (registers[name] for name in ("pc", "sp", "x", "y"))
        self._read, self.written = read, dict[int, int]()
        self.brake, self.enabled = brake, enabled

    def read(self, address: int) -> int:
        return self.written.get(address, self._read(address))

    def write(self, address: int, value: int) -> None:
        self.written[address] = value

    def next(self) -> int:
        byte = self.read(self.pc)
        self.pc = self.pc + 1 & 0xFFFF
        return byte

    def next_address(self) -> int:
        low = self.next()
        return self.next() << 8 | low

    def push(self, byte: int) -> None:
        self.sp = self.sp - 1 & 0xFFFF
        self.write(self.sp, byte)

    def pull(self) -> int:
        byte = self.read(self.sp)
        self.sp = self.sp + 1 & 0xFFFF
        return byte

    def along(self, pointer: str) -> int:
        """The address in x or y, which then moves on."""
        address: int = getattr(self, pointer)
        setattr(self, pointer, address + 1 & 0xFFFF)
        return address

    def service(self, vector: int) -> None:
        self.push(self.pc >> 8)
        self.push(self.pc & 0xFF)
        self.push(self.f)
        self.pc = vector

    def calculate(self, function: int, operand: int, keep: bool = True) -> None:
        result, carry = alu(function, self.a, operand, self.f >> 1 & 1)
        self.f = (result >> 7) << 2 | carry << 1 | (result == 0)
        if keep:
            self.a = result

    def holds(self, condition: int) -> bool:
        return bool((self.f & 1, self.f >> 1 & 1, self.f >> 2 & 1, self.brake)[condition])

    # ------------------------------------------------------------ the opcode map

    def obey(self) -> None:
        op = self.next()
        p = "xy"[op & 1]
        if op < 0x48 and op & 7 != 3:
            self.calculate(2 if op >= 0x40 else op >> 3, self.operand(op & 7), op < 0x40)
        elif op == 0x49:
            self.write(self.next_address(), self.a)
        elif op == 0x4A:
            self.k = self.a
        elif 0x4C <= op < 0x50:
            pointer = "xy"[op >> 1 & 1]
            self.write(self.along(pointer) if op & 1 else getattr(self, pointer), self.a)
        elif 0x50 <= op < 0x58:
            self.calculate(8 + (op & 7), 0)
        elif op == 0x58:
            self.k = self.next()
        elif op == 0x59:
            self.sp = self.next_address()
        elif op in (0x5A, 0x5B):
            self.sp = getattr(self, p)
        elif op in (0x5C, 0x5D):
            setattr(self, p, self.sp)
        elif op == 0x5E:
            self.x = self.y
        elif op == 0x5F:
            self.y = self.x
        elif 0x60 <= op < 0x72:
            self.pointer(op >> 1 & 15, p)
        elif op == 0x72:
            self.x, self.y = self.y, self.x
        elif op in (0x74, 0x75, 0x76):
            self.push((self.a, self.k, self.f)[op & 3])
        elif op == 0x78:
            self.a = self.pull()
        elif op == 0x79:
            self.k = self.pull()
        elif op == 0x7A:
            self.f = self.pull() & 7
        elif op in (0x7C, 0x7D):
            self.push(getattr(self, p) >> 8)
            self.push(getattr(self, p) & 0xFF)
        elif op in (0x7E, 0x7F):
            low = self.pull()
            setattr(self, p, self.pull() << 8 | low)
        elif 0x80 <= op < 0x91:
            self.flow(op, p)
        elif 0x91 <= op < 0x9C:
            self.loom(op)
        else:
            self.undefined()

    def undefined(self) -> None:
        self.brake = 1
        self.service(0xE020)

    def operand(self, mode: int) -> int:
        if mode == 0:
            return self.next()
        if mode == 1:
            return self.read(self.next_address())
        if mode == 2:
            return self.k
        pointer = "xy"[mode >> 1 & 1]
        return self.read(self.along(pointer) if mode & 1 else getattr(self, pointer))

    def pointer(self, what: int, p: str) -> None:
        value: int = getattr(self, p)
        if what == 0:
            setattr(self, p, self.next_address())
        elif what == 1:
            address = self.next_address()
            setattr(self, p, self.read(address + 1 & 0xFFFF) << 8 | self.read(address))
        elif what == 2:
            address = self.next_address()
            self.write(address, value & 0xFF)
            self.write(address + 1 & 0xFFFF, value >> 8)
        elif what in (3, 4):
            setattr(self, p, value + (1 if what == 3 else -1) & 0xFFFF)
        elif what in (5, 6):
            self.calculate(7, value >> 8 if what == 6 else value & 0xFF)
        elif what == 7:
            setattr(self, p, value & 0xFF00 | self.a)
        else:
            setattr(self, p, value & 0x00FF | self.a << 8)

    def flow(self, op: int, p: str) -> None:
        if op == 0x80:
            self.pc = self.next_address()
        elif op in (0x82, 0x83):
            self.pc = getattr(self, p)
        elif op == 0x84:
            target = self.next_address()
            self.push(self.pc >> 8)
            self.push(self.pc & 0xFF)
            self.pc = target
        elif op in (0x85, 0x86):
            if op == 0x86:
                self.f = self.pull() & 7
                self.enabled = 1
            low = self.pull()
            self.pc = self.pull() << 8 | low
        elif op == 0x87:
            self.service(0xE030)
        elif op >= 0x88:
            if op == 0x90:
                self.k = self.k - 1 & 0xFF
            target = self.next_address()
            taken = self.k != 0 if op == 0x90 else self.holds(op >> 1 & 3) != bool(op & 1)
            self.pc = target if taken else self.pc
        else:
            self.undefined()

    def loom(self, op: int) -> None:
        if op == 0x91:
            self.write(0xD000 | self.next(), self.a)
        elif op == 0x92:
            group = self.next()
            self.write(0xD000 | group, self.read(self.along("x")))
        elif op == 0x93:
            self.calculate(7, self.read(0xD100 | self.next()))
        elif op in (0x94, 0x95):
            while self.k:
                self.write(self.along("y"), self.read(self.along("x")) if op == 0x94 else self.a)
                self.k -= 1
        elif op in (0x97, 0x98):
            self.enabled = int(op == 0x97)
        elif op in (0x99, 0x9A):
            self.brake = int(op == 0x99)
