"""How long a cold `ordain prove` takes, beside SPIN and berkeley-abc on the same model.

    python benchmarks/prove.py            # about 1e5, 1e6 and 1e7 states
    python benchmarks/prove.py --large    # 1e8 too, ordain alone

Seeded models of one kind: a control store of many blocks that ask for a pause, dispatch on an opcode and branch on
latched flags; bus masters with a priority chain, each behind two flip-flops. From the same seed each is written as an
ordain machine and as Promela (the words in C tables, one step a clock in one atomic block); `ordain export aiger`
writes it for abc, whose time is that of `pdr` in a process that reads the file. SPIN is run twice: with the opcode
cleared where no path reads it, and without. It counts other states than ordain, which leaves out what nothing reads.

whole: processes from start to end, those of `spin -a`, `gcc -O2` and `pan` together. alone: the search and its verdicts
on a model that is compiled already; `pan`. Ratios are to the same column of ordain's row. A caveat: SPIN and abc are
general and know nothing of control stores; what is compared is the answer to one kind of question.
"""

import argparse
import math
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

BLOCK = 16
PATIENCE = 300
"""Seconds that abc is given."""


class Size(NamedTuple):
    name: str
    words: int
    masters: int
    flags: int


SIZES = (Size("1e5", 256, 3, 1), Size("1e6", 1024, 3, 2), Size("1e7", 4096, 3, 3))
LARGE = (Size("1e8", 16384, 4, 3),)


class Word(NamedTuple):
    """`branch`: step, jump, if_asked, if_flag0.., dispatch; `target`: an address."""

    branch: str
    target: int
    grant: bool
    read: bool
    load: bool


def program(size: Size, seed: int) -> list[Word]:
    """The words by address. The last block is the pause: release, wait with grant, go back to a block."""
    rng = random.Random(seed)
    blocks = size.words // BLOCK
    pause = (blocks - 1) * BLOCK
    words = []
    for address in range(size.words):
        block, place = divmod(address, BLOCK)
        if block == blocks - 1:
            words.append(Word("if_asked", address, True, False, False) if place == 1 else
                         Word("jump", rng.randrange(blocks - 1) * BLOCK, False, False, False) if place else
                         Word("step", 0, False, False, False))
        elif place == BLOCK - 1 and block % 4 == 0:
            words.append(Word("dispatch", block // 16 * 16 * BLOCK, False, False, False))
        elif place == BLOCK - 1:
            words.append(Word("jump", (block + 1) % (blocks - 1) * BLOCK, False, False, False))
        elif place == 12:
            words.append(Word("if_asked", pause, False, False, False))
        elif place == 5 and size.flags:
            target = (block * 7 + 3) % (blocks - 1) * BLOCK
            words.append(Word(f"if_flag{block % size.flags}", target, False, False, False))
        else:
            words.append(Word("step", 0, False, rng.random() < 0.5, place == 3))
    return words


def branches(size: Size) -> list[str]:
    return ["step", "jump", "if_asked", "dispatch", *(f"if_flag{flag}" for flag in range(size.flags))]


def machine_text(size: Size) -> str:
    width = (size.words - 1).bit_length()
    masters = range(size.masters)
    names = branches(size)
    lines = ['machine bench "made by benchmarks/prove.py"', 'microprogram "bench.micro"',
             f"store control {size.words} words of {width + 8} bits", "    address upc", "field branch 4 bits"]
    lines += [f"    {name} {code}{' idle' if not code else ''}" for code, name in enumerate(names)]
    lines += [f"field target {width} bits address, idle 0", "field grant 1 bit", "field read 1 bit", "field load 1 bit",
              "spare 1 bit", f"state upc {width} bits, reset 0", "    next choose branch", "        step : upc + 1",
              "        jump : target", "        if_asked : target if asked else upc + 1"]
    high = f"target[{width - 1}:8], " if width > 8 else ""
    lines.append(f"        dispatch : {{{high}ir, 0b0000}}")
    lines += [f"        if_flag{flag} : target if flag{flag} else upc + 1" for flag in range(size.flags)]
    lines += ["        otherwise : 0", "register ir 4 bits, reset 0", "    loads data when load"]
    for flag in range(size.flags):
        lines += [f"input event{flag} 1 bit", f"state flag{flag} 1 bit, reset 0",
                  f"    next 0 if branch is if_flag{flag} else (event{flag} or flag{flag})"]
    for one in masters:
        lines += [f"state first{one} 1 bit, reset 0", f"    next m{one}.asks", f"state second{one} 1 bit, reset 0",
                  f"    next first{one}"]
    lines.append("signal asked = " + " or ".join(f"second{one}" for one in masters))
    lines += ["bus data 4 bits, pulled high", "    driven by memory when read"]
    lines += [f"    driven by m{one} when m{one}.owns" for one in masters]
    for one in masters:
        free = [f"second{one}", *(f"not m{other}.asks" for other in masters if other < one),
                *(f"not m{other}.owns" for other in masters if other > one)]
        lines += [f"agent m{one}", "    input wants 1 bit",
                  "    state mode (idle, asking, owning, leaving), reset idle", "        next choose mode",
                  "            idle : asking if wants else idle",
                  f"            asking : owning if {' and '.join(['grant', *free])} else asking",
                  "            owning : owning if wants else leaving",
                  "            leaving : leaving if grant else idle",
                  "    signal asks = mode in (asking, owning)", "    signal owns = mode is owning"]
    lines.append("home start")
    lines += [f'rule "{one} gets it" reach m{one}.owns' for one in masters]
    return "\n".join(lines) + "\n"


def micro_text(size: Size, words: list[Word]) -> str:
    lines = []
    for address, word in enumerate(words[:size.words - BLOCK + 3]):
        if address % BLOCK == 0:
            lines.append(f"routine {'start' if not address else f'b{address}'} at {address}")
        target = f", target {'start' if not word.target else f'b{word.target}' if word.target % BLOCK == 0 else 'wait'}"
        clauses = [f"branch {word.branch}" + (target if word.branch != "step" else "")]
        clauses += [name for name in ("grant", "read", "load") if getattr(word, name)]
        label = "wait: " if word.grant else ""
        lines.append(f"    {label}" + ", ".join(clauses))
    return "\n".join(lines) + "\n"


def promela_text(size: Size, words: list[Word], cleared: bool) -> str:
    masters = range(size.masters)
    names = branches(size)

    def table(name: str, values: list[int]) -> str:
        return f"static const unsigned short {name}[] = {{{','.join(map(str, values))}}};"

    lines = ["c_decl {", table("BR", [names.index(word.branch) for word in words]),
             table("TG", [word.target for word in words]), table("GR", [int(word.grant) for word in words]),
             table("RD", [int(word.read) for word in words]), table("LD", [int(word.load) for word in words]), "}",
             "short upc = 0; byte ir = 0; hidden byte nir; bool bad = 0;"]
    for one in masters:
        lines.append(f"byte m{one} = 0; bit f{one} = 0; bit s{one} = 0; hidden byte w{one};")
    lines += [f"bit g{flag} = 0; hidden byte e{flag};" for flag in range(size.flags)]
    lines += ["active proctype machine() {", "  do", "  :: atomic {"]
    lines += [f"    if :: (m{one} == 0 || m{one} == 2) -> if :: w{one} = 0 :: w{one} = 1 fi :: else -> w{one} = 0 fi;"
              for one in masters]
    lines += [f"    if :: e{flag} = 0 :: e{flag} = 1 fi;" for flag in range(size.flags)]
    lines += ["    nir = ir;", "    if :: c_expr { LD[now.upc] } -> select(nir : 0 .. 15) :: else fi;", "    c_code {",
              "      int a = now.upc, grant = GR[a], asked = " + "|".join(f"now.s{one}" for one in masters) + ";",
              "      int drivers = RD[a]" + "".join(f" + (now.m{one} == 2)" for one in masters) + ";",
              "      int next = a + 1;", "      switch (BR[a]) {", "      case 1: next = TG[a]; break;",
              "      case 2: if (asked) next = TG[a]; break;",
              "      case 3: next = (TG[a] & ~255) | now.ir << 4; break;"]
    lines += [f"      case {4 + flag}: if (now.g{flag}) next = TG[a]; break;" for flag in range(size.flags)]
    lines += ["      }", "      if (drivers > 1) now.bad = 1;", "      now.upc = next;",
              "      now.ir = (next & 15) > 3 && !((next >> 4) & 3) ? nir : 0;" if cleared else "      now.ir = nir;"]
    lines += [f"      now.g{flag} = BR[a] == {4 + flag} ? 0 : (e{flag} | now.g{flag});" for flag in range(size.flags)]
    for one in masters:
        lines.append(f"      int o{one} = now.m{one} == 2, q{one} = now.s{one}, k{one} = o{one} || now.m{one} == 1;")
    for one in masters:
        free = [f"q{one}", *(f"!k{other}" for other in masters if other < one),
                *(f"!o{other}" for other in masters if other > one)]
        lines += [f"      now.s{one} = now.f{one}; now.f{one} = k{one};",
                  f"      switch (now.m{one}) {{ case 0: if (w{one}) now.m{one} = 1; break;",
                  f"        case 1: if ({' && '.join(['grant', *free])}) now.m{one} = 2; break;",
                  f"        case 2: if (!w{one}) now.m{one} = 3; break; default: if (!grant) now.m{one} = 0; }}"]
    lines += ["    };", "    assert(!bad)", "  }", "  od", "}"]
    return "\n".join(lines) + "\n"


class Run(NamedTuple):
    """Seconds, megabytes at most, and what was printed."""

    seconds: float
    megabytes: float
    text: str


class Row(NamedTuple):
    """What one program took for one model; `alone` without what comes before the search; None where it is not told
    apart."""

    program: str
    states: int | None
    whole: float
    alone: float | None
    megabytes: float


def run(command: list[str], directory: Path) -> Run:
    with tempfile.TemporaryFile("w+") as told:
        start = time.perf_counter()
        process = subprocess.Popen(command, cwd=directory, stdout=told, stderr=subprocess.STDOUT)
        _, status, used = os.wait4(process.pid, 0)
        seconds = time.perf_counter() - start
        process.returncode = os.waitstatus_to_exitcode(status)
        told.seek(0)
        text = told.read()
    if process.returncode:
        raise SystemExit(f"{' '.join(command)}: status {process.returncode}\n{text}")
    return Run(seconds, used.ru_maxrss / 1024, text)


def spin(directory: Path, text: str, program: str) -> Row:
    (directory / "bench.pml").write_text(text)
    made = [run(["spin", "-a", "bench.pml"], directory),
            run(["gcc", "-O2", "-w", "-DSAFETY", "-DNOREDUCE", "-DMEMLIM=20000", "-o", "pan", "pan.c"], directory)]
    found = run(["./pan", "-m2000000", "-w26"], directory)
    if "errors: 0" not in found.text:
        raise SystemExit("pan found an error, ordain none:\n" + found.text)
    stored = re.search(r"(\S+) states, stored", found.text)
    return Row(program, int(float(stored[1])) if stored else None, sum(each.seconds for each in made) + found.seconds,
               found.seconds, found.megabytes)


def abc(directory: Path, ordain: str) -> Row:
    """All bad states decided by property directed reachability; as quick as its options are known to make it."""
    run([ordain, "export", "aiger", "bench.machine", "--out", "bench.aig"], directory)
    found = run(["berkeley-abc", "-q", "read_aiger bench.aig; logic; undc; strash; zero; "
                                       f"pdr -a -n -c -T {PATIENCE}"], directory)
    told = re.search(r"Undecided = (\d+)", found.text)
    done = told is not None and told[1] == "0"
    return Row("abc pdr" if done else "abc pdr, given up", None, found.seconds, None, found.megabytes)


ALONE = """
import gc, time
from pathlib import Path
from ordain.checks.run import questions
from ordain.pipeline import build_model
from ordain.prover.decide import decide
from ordain.control.system import build_system
built, _ = build_model(Path("bench.machine"), Path("build"))
asked = tuple(prop for _, prop in questions(built.contents))
gc.set_threshold(1_000_000, 20, 100)  # as the command sets it
start = time.perf_counter()
decide(build_system(built.contents), asked)
print(time.perf_counter() - start)
"""


def ours(directory: Path, ordain: str, runs: int = 5) -> Row:
    """The least of several cold runs."""
    found = min(run([ordain, "prove", "bench.machine", "--no-cache"], directory) for _ in range(runs))
    alone = min(float(run([sys.executable, "-c", ALONE], directory).text) for _ in range(runs))
    counted = re.search(r"([\d,]+) states", found.text)
    return Row("ordain", int(counted[1].replace(",", "")) if counted else None, found.seconds, alone, found.megabytes)


def show(size: Size, row: Row, mine: Row) -> None:
    alone = "" if row.alone is None else f"{row.alone:.3f}"
    ratios = ["", ""]
    if row is not mine:
        ratios = [f"{row.whole / mine.whole:.1f}",
                  "" if row.alone is None or mine.alone is None else f"{row.alone / mine.alone:.1f}"]
    states = "" if row.states is None else f"{row.states:,}"
    print(f"{size.name:4}  {size.words:6,}  {row.program:22}  {states:>11}  {row.whole:8.2f}  {alone:>8}  "
          f"{row.megabytes:6,.0f}  {ratios[0]:>7}  {ratios[1]:>7}", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--large", action="store_true")
    large = parser.parse_args().large
    ordain = shutil.which("ordain", path=str(Path(sys.executable).parent)) or "ordain"
    print("size   words  program                      states   whole s   alone s      MB   ratio  (alone)")
    points = []
    for size in (*SIZES, *(LARGE if large else ())):
        words = program(size, 7)
        with tempfile.TemporaryDirectory() as name:
            directory = Path(name)
            (directory / "bench.machine").write_text(machine_text(size))
            (directory / "bench.micro").write_text(micro_text(size, words))
            mine = ours(directory, ordain)
            points.append((size.words, mine))
            show(size, mine, mine)
            if size not in SIZES:
                continue
            if shutil.which("berkeley-abc"):
                show(size, abc(directory, ordain), mine)
            if shutil.which("spin"):
                show(size, spin(directory, promela_text(size, words, True), "spin, opcode cleared"), mine)
                show(size, spin(directory, promela_text(size, words, False), "spin, unreduced"), mine)
    print(f"growth: whole ~ words^{exponent([(size, row.whole) for size, row in points]):.2f}, "
          f"alone ~ words^{exponent([(size, row.alone or 0.0) for size, row in points]):.2f}")


def exponent(points: list[tuple[int, float]]) -> float:
    """Of the power of the number of words that fits best (least squares over logarithms)."""
    x = [math.log(words) for words, _ in points]
    y = [math.log(seconds) for _, seconds in points]
    mean_x, mean_y = sum(x) / len(x), sum(y) / len(y)
    return (sum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True))
            / sum((a - mean_x) ** 2 for a in x))


if __name__ == "__main__":
    main()
