"""`python -m benchmarks.run`: cycles a second of `ordain run` on heron, beside Icarus Verilog on the exported twin.

The program counts in a loop that writes to memory. Both run the same cycles; each once more with next to none, so that
reading and starting are not counted. Seconds are those of the processor. `every cycle worked out` is what a run does
whose every cycle somebody wants to see. Wants Icarus Verilog (iverilog, vvp).
"""

import argparse
import subprocess
import sys
from pathlib import Path
from resource import RUSAGE_CHILDREN, getrusage
from tempfile import TemporaryDirectory
from time import process_time

from ordain.cli.run_watching import questions_of, watches_of
from ordain.data.datapath import Datapath
from ordain.data.partial import exactly
from ordain.data.record import recorded
from ordain.pipeline import Built, build_model
from ordain.rom.mem import write_mem
from ordain.show.verilog import clock_port, escaped, verilog_text

HERON = Path(__file__).parent.parent / "microcode" / "heron.machine"
PROGRAM: tuple[str | int, ...] = ("load k, n", 200, "load x, nn", 0x00, 0x20, "clear a", "add a, n", 3, "store a, [x]",
                                  "repeat nn", 0x06, 0xE0, "go nn", 0x00, 0xE0)


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m benchmarks.run", description=__doc__)
    parser.add_argument("--cycles", type=int, default=100_000)
    cycles = parser.parse_args().cycles
    built, findings = build_model(HERON)
    if built is None:
        print(findings, file=sys.stderr)
        return 1
    opcodes: dict[str, int] = {}
    for use in built.program.opcodes:
        opcodes.setdefault(use.title, use.opcode)
    code = [opcodes[part] if isinstance(part, str) else part for part in PROGRAM]
    ours = _ours(built, code, cycles, False) - _ours(built, code, 100, False)
    few = max(1000, cycles // 20)
    each = _ours(built, code, few, True) - _ours(built, code, 100, True)
    with TemporaryDirectory() as place:
        theirs = _icarus(built, code, cycles, Path(place)) - _icarus(built, code, 1, Path(place))
    print(f"{'cycles':>10}  {'ordain run':>14}  {'Icarus Verilog':>14}  ratio  every cycle worked out")
    print(f"{cycles:>10}  {cycles / ours:>12.0f}/s  {cycles / theirs:>12.0f}/s  {theirs / ours:>4.1f}x  "
          f"{few / each:>20.0f}/s")
    return 0


def _ours(built: Built, code: list[int], cycles: int, each: bool) -> float:
    """As `ordain run --each nothing`, or `--each cycle`, without what is printed."""
    began = process_time()
    path = Datapath(built.contents, watches_of(questions_of(built.contents)))
    memories = {"memory": {0xE000 + at: exactly(byte, 8) for at, byte in enumerate(code)}}
    recorded(path, memories, lambda cycle: {}, None, cycles, None, (), kept="cycles" if each else "nothing",
             steady=None if each else 0)
    return process_time() - began


def _icarus(built: Built, code: list[int], cycles: int, place: Path) -> float:
    path, machine = Datapath(built.contents), built.machine
    clock = clock_port(machine)
    ports = "".join(f", .{escaped(name)}({one.width}'d0)" for name, one in machine.inputs.items())
    stores = "".join(f"m.{escaped('memory words')}[{0xE000 + at}] = {byte}; " for at, byte in enumerate(code))
    (place / "m.v").write_text(verilog_text(path) + f"""module bench;
  reg c = 0;
  {escaped(machine.name)} m(.{clock}(c){ports});
  initial begin {stores} repeat ({cycles}) begin #1 c = 1; #1 c = 0; end $finish; end
endmodule
""")
    for chip in machine.chips.values():
        (place / f"{chip.name}.mem").write_text(write_mem(built.images[chip.name], chip.bits, chip.name))
    subprocess.run(["iverilog", "-g2005", "-s", "bench", "-o", "m.out", "m.v"], cwd=place, check=True)
    began = getrusage(RUSAGE_CHILDREN)
    subprocess.run(["vvp", "-n", "m.out"], cwd=place, check=True, capture_output=True)
    used = getrusage(RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime - began.ru_utime - began.ru_stime


if __name__ == "__main__":
    sys.exit(main())
