"""The whole machine in Verilog (IEEE 1364-2005), data included, for any simulator: a twin that shares no code with us.

One module: inputs of the machine and its agents, and conditions that nothing computes, are ports; the oscillator is
one more, and everything moves at its rising edge. Chips are arrays that `$readmemh` fills from `CHIP.mem`, read through
their own pins; a store that is in no chip yet has an array of its own, from `STORE.mem`. Buses are nets with a driver
each (`tri`, `tri1`, `tri0`, `wand`, `wor`), so that a fight is an `x` on the bus. Every expression is a wire
as wide as it is, since in Verilog the width of an operand depends on what stands around it. What has no value at
power-up is `x`. Names are escaped, `\\console.mode `, and so may be any.
"""

from collections.abc import Iterator

from ordain.control.standing import shown, stands_for
from ordain.data.datapath import Datapath
from ordain.machine.expression import (
    Add,
    Among,
    And,
    Const,
    Equal,
    If,
    Join,
    Leaf,
    Less,
    Node,
    Not,
    Or,
    Parity,
    Prior,
    Slice,
    Sub,
    Xor,
    postorder,
)
from ordain.machine.model import Bus, Chip, Machine, Memory, Store

_NETS = {"floats": "tri", "multiplexed": "tri", "pulled-high": "tri1", "pulled-low": "tri0", "kept": "tri",
         "wired-and": "wand", "wired-or": "wor"}


def verilog_text(path: Datapath) -> str:
    """The module."""
    return "\n".join(_Module(path).lines()) + "\n"


def bench_text(machine: Machine, cycles: int) -> str:
    """A bench to begin with: inputs at 0, so many cycles of the oscillator, everything in a dump."""
    clock = clock_port(machine)
    ports = [(one.name, one.width) for one in machine.inputs.values()]
    ports += [(one.name, one.width) for one in machine.conditions.values() if one.value is None]
    lines = ["`timescale 1us / 1us", "module bench;", f"  reg {clock} = 0;"]
    lines += [f"  reg {_range(width)}{escaped(name)} = 0;" for name, width in ports]
    joined = "".join(f", .{escaped(name)}({escaped(name)})" for name, _ in ports)
    lines += [f"  {escaped(machine.name)} machine(.{clock}({clock}){joined});", "  initial begin",
              f'    $dumpfile("{machine.name}.vcd");', "    $dumpvars(0, machine);",
              f"    repeat ({cycles}) begin #1 {clock} = 1; #1 {clock} = 0; end", "    $finish;", "  end", "endmodule"]
    return "\n".join(lines) + "\n"


def clock_port(machine: Machine) -> str:
    """The name of the port at whose rising edge everything moves; machine files have no names with a `$`."""
    return "oscillator" if "oscillator" not in _declared(machine) else "oscillator$"


def _declared(machine: Machine) -> set[str]:
    return {*machine.inputs, *machine.states, *machine.registers, *machine.conditions, *machine.buses, *machine.stores,
            *machine.memories, *machine.chips, *machine.signals}


def unchipped(machine: Machine) -> list[Store]:
    """The stores of which some bit is in no chip."""
    held: dict[str, set[int]] = {}
    for chip in machine.chips.values():
        for bank in chip.banks:
            held.setdefault(bank.store, set()).update(pin.bit for pin in bank.pins if pin.bit is not None)
    return [store for store in machine.stores.values() if len(held.get(store.name, ())) < store.bits]


def escaped(name: str) -> str:
    """An escaped identifier: a backslash, the name, a blank that ends it. Blanks inside are underscores."""
    return f"\\{name.replace(' ', '_')} "


def _range(width: int) -> str:
    return f"[{width - 1}:0] " if width > 1 else ""


class _Module:
    def __init__(self, path: Datapath) -> None:
        self.path, self.machine = path, path.machine
        self.names: dict[Node, str] = {}
        self.body: list[str] = []
        self.reads = 0

    def lines(self) -> Iterator[str]:
        machine = self.machine
        ports = [(one.name, one.width) for one in machine.inputs.values()]
        ports += [(one.name, one.width) for one in machine.conditions.values() if one.value is None]
        yield f"// {machine.name}, as its machine file describes it"
        clock = clock_port(machine)
        yield f"module {escaped(machine.name)}(input {clock}" + "".join(
            f", input {_range(width)}{escaped(name)}" for name, width in ports) + ");"
        held = [*self._held()]
        for name, width, reset, _ in held:
            value = f"{width}'b{'x' * width}" if reset is None else f"{width}'d{reset}"
            yield f"  reg {_range(width)}{escaped(name)} = {value};"
        for chip in machine.chips.values():
            yield f"  reg {_range(chip.bits)}{escaped(chip.name)} [0:{chip.words - 1}];"
            yield f'  initial $readmemh("{chip.name}.mem", {escaped(chip.name)});'
        for store in unchipped(machine):
            words = escaped(f"{store.name} words")
            yield f"  reg {_range(store.bits)}{words} [0:{(1 << store.address_width) - 1}];"
            yield f'  initial $readmemh("{store.name}.mem", {words});'
        for memory in machine.memories.values():
            yield f"  reg {_range(memory.bits)}{escaped(f'{memory.name} words')} [0:{memory.words - 1}];"
            yield f"  wire {_range(memory.bits)}{escaped(memory.name)};"
        for bus in machine.buses.values():
            yield f"  {_NETS[bus.undriven]} {_range(bus.width)}{escaped(bus.name)};"
        for store in machine.stores.values():
            yield f"  wire {_range(store.bits)}{escaped(store.name)};"
        for latch in self.path.latches.values():
            yield f"  wire {_range(latch.width)}{escaped(latch.name)};"
        for condition in machine.conditions.values():
            if condition.value is not None:
                yield f"  wire {_range(condition.width)}{escaped(condition.name)};"
        for signal, expression in self._signals():
            yield f"  wire {_range(expression.width)}{escaped(signal)};"
        self._combinational()
        edge = []
        for name, _, _, following in held:
            edge.append(f"    {escaped(name)} <= {self.name(following)};")
        for memory in machine.memories.values():
            for write in memory.writes:
                edge += self._write(memory, self.name(write.when), self.name(memory.address), self.name(write.source))
        yield from self.body
        yield "  integer at$;"
        yield f"  always @(posedge {clock}) begin"
        yield from edge
        yield "  end"
        yield "endmodule"

    def _held(self) -> Iterator[tuple[str, int, int | None, Node]]:
        """(name, width, reset, next) of everything that moves at the edge."""
        machine, terms = self.machine, self.path.terms
        for state in machine.states.values():
            yield state.name, state.width, state.reset, self.path.nexts[terms.leaf("state", state.name, state.width)]
        for register in machine.registers.values():
            leaf = terms.leaf("register", register.name, register.width)
            if register.transparent:
                yield f"{register.name} held", register.width, register.reset, leaf
            else:
                yield register.name, register.width, register.reset, self.path.nexts[leaf]
        for bus in machine.buses.values():
            if bus.undriven == "kept":
                yield f"{bus.name} kept", bus.width, None, terms.leaf("bus", bus.name, bus.width)

    def _write(self, memory: Memory, when: str, address: str, source: str) -> list[str]:
        """Where it is not known whether or at which address, the language would leave memory as it was, and known."""
        words = escaped(f"{memory.name} words")
        return [f"    if ({when} !== 1'b0) begin",
                f"      if (^{address} === 1'bx) for (at$ = 0; at$ < {memory.words}; at$ = at$ + 1) "
                f"{words}[at$] <= {memory.bits}'b{'x' * memory.bits};",
                f"      else {words}[{address}] <= {when} ? {source} : {words}[{address}];", "    end"]

    def _signals(self) -> Iterator[tuple[str, Node]]:
        """Names for expressions of the present; hardware has no line for what looks back."""
        for signal in self.machine.signals.values():
            if not any(type(part) is Prior for part in postorder((signal.value,))):
                yield signal.name, signal.value

    def _combinational(self) -> None:
        machine = self.machine
        alone = unchipped(machine)
        for store in machine.stores.values():
            word = f"{escaped(f'{store.name} words')}[{self.name(store.address)}]" if store in alone else \
                f"{{{', '.join(self._word(store))}}}"
            self.body.append(f"  assign {escaped(store.name)} = {word};")
        for bus in machine.buses.values():
            self._bus(bus)
        for latch in self.path.latches.values():
            self.body.append(f"  assign {escaped(latch.name)} = {self.name(shown(latch, machine.terms))};")
        for memory in machine.memories.values():
            words = f"{escaped(f'{memory.name} words')}[{self.name(memory.address)}]"
            self.body.append(f"  assign {escaped(memory.name)} = {words};")
        for condition in machine.conditions.values():
            if condition.value is not None:
                self.body.append(f"  assign {escaped(condition.name)} = {self.name(condition.value)};")
        for name, value in self._signals():
            self.body.append(f"  assign {escaped(name)} = {self.name(value)};")

    def _bus(self, bus: Bus) -> None:
        terms = self.path.terms
        rest = {"wired-and": "1", "wired-or": "0"}.get(bus.undriven, "z")
        for driver in bus.drivers:
            value = self.path.puts[bus.name, driver.name]
            put = f"{bus.width}'b{'x' * bus.width}" if value is None else self.name(value)
            self.body.append(f"  assign {escaped(bus.name)} = {self.name(driver.when)} ? {put} : "
                             f"{bus.width}'b{rest * bus.width};")
        if bus.undriven == "kept":                      # a register behind each line holds it while nobody drives
            driven = self.name(terms.or_((terms.const(0, 1), *(driver.when for driver in bus.drivers))))
            self.body.append(f"  assign {escaped(bus.name)} = {driven} ? {bus.width}'b{'z' * bus.width} : "
                             f"{escaped(f'{bus.name} kept')};")
        if bus.undriven in ("wired-and", "wired-or"):
            self.body.append(f"  assign {escaped(bus.name)} = {bus.width}'b{rest * bus.width};")

    def _word(self, store: Store) -> Iterator[str]:
        """The bits of a word, highest first, each from a data pin that has it."""
        pins: dict[int, tuple[Chip, str, bool]] = {}
        for chip in self.machine.chips.values():
            for bank in chip.banks:
                if bank.store != store.name:
                    continue
                address = ", ".join(self._line(store, pin.bit, pin.inverted, pin.level) for pin in bank.address)
                self.reads += 1
                read = f"r${self.reads}"
                self.body.append(f"  wire {_range(chip.bits)}{read} = {escaped(chip.name)}[{{{address}}}];")
                for at, data in zip(reversed(range(chip.bits)), bank.pins):
                    if data.bit is not None:
                        pins.setdefault(data.bit, (chip, f"{read}[{at}]" if chip.bits > 1 else read, data.inverted))
        for bit in reversed(range(store.bits)):
            _, pin, inverted = pins[bit]
            yield f"~{pin}" if inverted else pin

    def _line(self, store: Store, bit: int | None, inverted: bool, level: int | None) -> str:
        if bit is None:
            return f"1'b{level or 0}"
        line = self.name(self.path.terms.slice(store.address, bit, bit))
        return f"~{line}" if inverted else line

    def name(self, node: Node) -> str:
        """The net or number of an expression; wires for its parts are added to the body."""
        for part in postorder((node,)):
            if part in self.names:
                continue
            text = self._leaf(part) if type(part) is Leaf else \
                f"{part.width}'d{part.value}" if type(part) is Const else ""
            if not text:
                text = f"n${len(self.names)}"
                self.body.append(f"  wire {_range(part.width)}{text} = {self._operator(part)};")
            self.names[part] = text
        return self.names[node]

    def _leaf(self, leaf: Leaf) -> str:
        match leaf.kind:
            case "at" | "in" | "field" | "address":
                meant = stands_for(self.path.contents, leaf)
                if meant is not None:
                    return self.name(meant)
            case "free" if leaf.name not in self.machine.memories:
                return f"{leaf.width}'b{'x' * leaf.width}"
        return escaped(leaf.name)

    def _operator(self, node: Node) -> str:
        args = [self.names[arg] for arg in node.args]
        match node:
            case Not():
                return f"~{args[0]}"
            case And():
                return " & ".join(args)
            case Or():
                return " | ".join(args)
            case Xor():
                return f"{args[0]} ^ {args[1]}"
            case Add():
                return f"{args[0]} + {args[1]}"
            case Sub():
                return f"{args[0]} - {args[1]}"
            case Slice(high=high, low=low):
                if type(node.args[0]) is Const or node.args[0].width == 1:
                    return args[0]
                return f"{args[0]}[{high}:{low}]" if high > low else f"{args[0]}[{low}]"
            case Join():
                return f"{{{', '.join(args)}}}"
            case If():
                return f"{args[0]} ? {args[1]} : {args[2]}"
            case Parity():
                return f"^{args[0]}"
            case Equal():
                return f"{args[0]} == {args[1]}"
            case Less():
                return f"{args[0]} < {args[1]}"
            case Among(values=values):
                return " | ".join(f"({args[0]} == {node.args[0].width}'d{value})" for value in sorted(values))
        raise TypeError("not an operator")


