"""Boards whose store is addressed by flags, opcode and step, with interrupt lines of falling urgency.

Every instruction is two to ten words long, drawn by a seed; some ask about a flag. There is no next-address field: an
instruction ends with the word that says `over`.
"""

import random
from collections.abc import Iterator

from benchmarks.styles.source import Source, rules


def stepped(opcode_bits: int, lines: int, flags: int = 2, seed: int = 3) -> Source:
    """`lines`: interrupt lines, each behind two flip-flops."""
    rng = random.Random(seed)
    return Source("\n".join(_machine(opcode_bits, lines, flags)) + "\n",
                  "\n".join(_micro(opcode_bits, flags, rng)) + "\n")


def _machine(opcode_bits: int, lines: int, flags: int) -> Iterator[str]:
    address = ", ".join([*(f"flag{one}" for one in range(flags)), "ir", "step"])
    yield 'machine stepped "made by benchmarks/styles"'
    yield 'microprogram "bench.micro"'
    yield f"store control {1 << flags + opcode_bits + 4} words of 16 bits"
    yield from (f"    address {{{address}}}", "    instruction ir", "    step step", "    unused over")
    yield from ("field source 3 bits", "    none 0 idle", "    acc 1", "    temp 2", "    sum 3", "    memory 4",
                "    pc 5")
    yield from ("field load 3 bits", "    none 0 idle", "    ir 1", "    acc 2", "    temp 3", "    mar 4", "    pc 5")
    yield from (f"field {name} 1 bit, active low" for name in ("drive", "read", "write", "over"))
    yield from (f"field {name} 1 bit" for name in ("keep", "count", "allow", "forbid", "look"))
    yield "spare 1 bit"
    yield from ("state step 4 bits, reset 0", "    next 0 if over else step + 1")
    for one in range(lines):
        yield from (f"input irq{one} 1 bit", f"state irq{one}_1 1 bit, reset 0", f"    next irq{one}",
                    f"state irq{one}_2 1 bit, reset 0", f"    next irq{one}_1",
                    f"state asking{one} 1 bit, reset 0",
                    f"    next 0 if served is {one + 1} else (irq{one}_2 or asking{one})")
    chosen = "".join(f"{one + 1} if asking{one} else " for one in range(lines)) + "0"
    bits = lines.bit_length()
    yield f"signal urgent = {_sized(chosen, bits)}"
    yield f"signal served = urgent if take else {_number(0, bits)}"
    yield from ("state allowed 1 bit, reset 0", "    next 1 if allow else (0 if forbid or take else allowed)",
                "signal take = look and allowed and urgent is not 0")
    top = (1 << opcode_bits) - 1
    yield from (f"register ir {opcode_bits} bits, reset any",
                f"    loads {top} if take else data[{opcode_bits - 1}:0] when load is ir")
    for one in range(flags):
        yield from (f"condition event{one} 1 bit", f"register flag{one} 1 bit, reset any",
                    f"    loads event{one} when keep")
    width = max(8, opcode_bits)
    for name in ("acc", "temp", "mar"):
        yield from (f"register {name} {width} bits", f"    loads data when load is {name}")
    yield from (f"register pc {width} bits", "    loads pc + 1 when count", "    loads data when load is pc")
    yield from (f"bus address {width} bits, floats", "    driven by mar when drive and not fetch",
                "    driven by pc when drive and fetch", "    sampled by memory when write or read",
                "signal fetch = step is 0")
    yield f"bus data {width} bits, floats"
    yield from (f"    driven by {one} when source is {one}" for one in ("acc", "temp", "sum", "pc"))
    yield "    driven by memory when source is memory and read, follows address"
    yield from (f"    sampled by {one} when load is {one}" for one in ("ir", "acc", "temp", "mar", "pc"))
    yield "    sampled by memory when write"
    yield from ("strobe write", "    address steady 1 cycle before, 1 cycle after",
                "    data steady 1 cycle before, 1 cycle after", "exclusive read, write", "exclusive count, loads_pc",
                "signal loads_pc = load is pc", "home step is 0")
    yield rules(fault="read and write", start="step is 0", end="over", rare="write", other="read", goal="take",
                home="step is 0", asked="write", answer="over", within=8, forgiven="read", long=16)


def _number(value: int, bits: int) -> str:
    return f"0b{value:0{bits}b}"


def _sized(text: str, bits: int) -> str:
    """The plain numbers of a choice as binary digits, which say their width."""
    return " ".join(_number(int(word), bits) if word.isdigit() else word for word in text.split())


def _micro(opcode_bits: int, flags: int, rng: random.Random) -> Iterator[str]:
    yield from ("prologue", "        drive, ir <- memory, read, count, look")
    for opcode in range((1 << opcode_bits) * 7 // 8):
        yield f'instruction {opcode} "do {opcode}"'
        if rng.random() < 0.3:
            yield f"    when flag{rng.randrange(flags)}"
            yield from _body(rng)
            yield "    otherwise"
        yield from _body(rng)
    yield from (f'instruction {(1 << opcode_bits) - 1} "interrupt"', "        forbid", "        source pc, drive",
                "        source pc, drive, write", "        source pc, drive", "        load pc, source temp, over")
    yield from ('instruction others "nothing"', "        allow, over")


def _body(rng: random.Random) -> Iterator[str]:
    parts = [["drive, load temp, source memory, read"], ["source sum, load acc, keep"], ["count"], ["allow"],
             ["drive, source acc", "drive, source acc, write", "drive, source acc"], ["source acc, load mar"],
             ["source acc, load pc"]]
    words = [word for part in rng.sample(parts, rng.randrange(1, 5)) for word in part]
    yield from (f"        {word}" for word in words)
    yield "        over"
