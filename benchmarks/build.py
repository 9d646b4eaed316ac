"""How long a cold `ordain build` takes, beside GNU `as` with macros and `objcopy --interleave` on as many words.

    python benchmarks/build.py

Both sides start cold for every run, compile the same invented words, and leave one image per 8-bit chip; ordain also
reads every image back and compares it. The ratio is of the least of several runs in this same process.
"""

import random
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ORDERS = 64
RUNS = 7


def machine_text(words: int, bits: int) -> str:
    """A counter-addressed machine: a 4-bit sequencing field, an address field, the rest 4-bit fields of 16 codes."""
    width = (words - 1).bit_length()
    free = bits - 4 - width
    lines = [
        'machine bench "made by benchmarks/build.py"', 'microprogram "bench.micro"', "",
        f"store control {words} words of {bits} bits", "    address upc", "",
        "field sequence 4 bits", "    step 0 idle", "    jump 1", f"field target {width} bits address, idle 0",
    ]
    for number in range(free // 4):
        lines.append(f"field f{number} 4 bits")
        lines.append("    none 0 idle")
        lines.extend(f"    c{code} {code}" for code in range(1, 16))
    if free % 4:
        lines.append(f"spare {free % 4} bits")
    for chip in range(-(-bits // 8)):
        high = bits - 1 - 8 * chip
        low = max(0, high - 7)
        pad = "".join(", 0" for _ in range(8 - (high - low + 1)))
        lines += [f"chip U{chip + 1} {words} x 8", f"    holds control[{high}:{low}]{pad}", "    address {upc}"]
    lines += [
        f"state upc {width} bits, reset 0", "    next choose sequence", "        step : upc + 1",
        "        jump : target", "        otherwise: 0", "home top",
    ]
    for order in range(ORDERS):
        pair = sorted({order % (free // 4), (order * 7 + 3) % (free // 4)})
        settings = ", ".join(f"f{field} c{1 + (order * 5 + field) % 15}" for field in pair)
        lines.append(f"order do{order}: {settings}")
    lines.append("order goto <there>: sequence jump, target <there>")
    return "\n".join(lines) + "\n"


def order_fields(order: int, fields: int) -> dict[int, int]:
    """The codes that an order of `machine_text` sets, by field number."""
    return {field: 1 + (order * 5 + field) % 15 for field in {order % fields, (order * 7 + 3) % fields}}


def choose_orders(words: int, bits: int, seed: int) -> list[list[int]]:
    """For every word three to five orders that set different fields."""
    fields = (bits - 4 - (words - 1).bit_length()) // 4
    rng = random.Random(seed)
    chosen = []
    for _ in range(words):
        taken: set[int] = set()
        row = []
        for order in rng.sample(range(ORDERS), 12):
            if len(row) < 5 and not taken & set(order_fields(order, fields)):
                taken |= set(order_fields(order, fields))
                row.append(order)
        chosen.append(row)
    return chosen


def micro_text(rows: list[list[int]]) -> str:
    lines = ["routine top at 0"]
    for number, row in enumerate(rows):
        clauses = [f"do{order}" for order in row]
        if number % 8 == 7:
            clauses.append("goto top")
        lines.append("        " + ", ".join(clauses))
        if number % 8 == 7 and number + 1 < len(rows):
            lines.append(f"routine r{number}")
    return "\n".join(lines) + "\n"


def assembler_text(rows: list[list[int]], words: int, bits: int) -> str:
    """The same words for GNU as: one macro per order that adds into a symbol, one macro that lays the word down."""
    width = (words - 1).bit_length()
    fields = (bits - 4 - width) // 4
    parts = -(-bits // 64)
    lines = []
    for order in range(ORDERS):
        value = 0
        for field, code in order_fields(order, fields).items():
            value |= code << (bits - 4 - width - 4 * (field + 1))
        lines.append(f".macro do{order}")
        lines += [f".set w{part}, w{part} | {value >> 64 * part & (1 << 64) - 1:#x}" for part in range(parts)]
        lines.append(".endm")
    jump = 1 << (bits - 4)
    lines += [".macro goto", *(f".set w{part}, w{part} | {jump >> 64 * part & (1 << 64) - 1:#x}"
                               for part in range(parts)), ".endm"]
    lines += [".macro begin", *(f".set w{part}, 0" for part in range(parts)), ".endm"]
    lines += [".macro lay", *(f".quad w{part}" for part in range(parts)), ".endm"]
    for number, row in enumerate(rows):
        lines += ["begin", *(f"do{order}" for order in row)]
        if number % 8 == 7:
            lines.append("goto")
        lines.append("lay")
    return "\n".join(lines) + "\n"


def timed(commands: list[list[str]], directory: Path) -> float:
    start = time.perf_counter()
    for command in commands:
        subprocess.run(command, cwd=directory, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - start


def measure(words: int, bits: int) -> None:
    rows = choose_orders(words, bits, seed=words)
    with tempfile.TemporaryDirectory() as name:
        directory = Path(name)
        (directory / "bench.machine").write_text(machine_text(words, bits))
        (directory / "bench.micro").write_text(micro_text(rows))
        (directory / "bench.s").write_text(assembler_text(rows, words, bits))
        chips = -(-bits // 8)
        stride = 8 * -(-bits // 64)
        outside = [["as", "bench.s", "-o", "bench.o"], ["objcopy", "-O", "binary", "bench.o", "bench.bin"]]
        outside += [["objcopy", "-I", "binary", "-O", "binary", f"--interleave={stride}", f"--byte={chip}",
                     "bench.bin", f"as{chip}.bin"] for chip in range(chips)]
        ordain = [shutil.which("ordain", path=str(Path(sys.executable).parent)) or "ordain", "build", "bench.machine",
                  "--quiet"]
        theirs, ours = [], []
        for _ in range(RUNS):
            theirs.append(timed(outside, directory))
            shutil.rmtree(directory / "build", ignore_errors=True)
            ours.append(timed([ordain], directory))
        bare = min(timed([[sys.executable, "-c", "pass"]], directory) for _ in range(RUNS))
        agree = all(
            (directory / f"as{chip}.bin").read_bytes() == (directory / "build" / f"U{chips - chip}.bin").read_bytes()
            for chip in range(chips)) if bits % 8 == 0 else None
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    same = {True: "yes", False: "NO", None: "-"}[agree]
    print(f"{words:6} x {bits:3}  {min(theirs) * 1e3:9.1f}  {min(ours) * 1e3:9.1f}  {min(ours) / min(theirs):6.1f}"
          f"  {min(ours) / words * 1e6:10.1f}  {peak:8.0f}  {bare * 1e3:8.1f}  {same}")


def main() -> None:
    print("words x bits  as+objcopy ms  ordain ms  ratio  us per word  peak MB  bare python ms  same images")
    for words, bits in ((512, 64), (1024, 64), (2048, 64), (4096, 64), (8192, 64), (16384, 108)):
        measure(words, bits)


if __name__ == "__main__":
    main()
