"""`python -m benchmarks.run`: cycles a second of `ordain run` on heron, beside Icarus Verilog on the exported twin.

The program counts in a loop that writes to memory. Both run the same cycles; each once more with none, so that reading
and starting are not counted. Wants Icarus Verilog (iverilog, vvp).
"""

import argparse
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

from ordain.data.datapath import Datapath
from ordain.data.partial import exactly
from ordain.data.run import run
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
    ours = _ours(built, code, cycles) - _ours(built, code, 100)
    with TemporaryDirectory() as place:
        theirs = _icarus(built, code, cycles, Path(place)) - _icarus(built, code, 1, Path(place))
    print(f"{'cycles':>10}  {'ordain run':>14}  {'Icarus Verilog':>14}  ratio")
    print(f"{cycles:>10}  {cycles / ours:>12.0f}/s  {cycles / theirs:>12.0f}/s  {theirs / ours:.1f}x")
    return 0


def _ours(built: Built, code: list[int], cycles: int) -> float:
    path = Datapath(built.contents)
    memories = {"memory": {0xE000 + at: exactly(byte, 8) for at, byte in enumerate(code)}}
    began = perf_counter()
    for number, _ in enumerate(run(path, memories, lambda cycle: {}), 1):
        if number == cycles:
            break
    return perf_counter() - began


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
    began = perf_counter()
    subprocess.run(["vvp", "-n", "m.out"], cwd=place, check=True, capture_output=True)
    return perf_counter() - began


if __name__ == "__main__":
    sys.exit(main())
