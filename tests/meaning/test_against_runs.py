"""Programs by chance on heron: the machine, word by word as it is run, beside its instructions as `meaning` prints
them, read by a few lines of Python."""

from functools import cache
from itertools import islice
from pathlib import Path
from random import Random
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.control.system import build_system
from ordain.data.datapath import Datapath
from ordain.data.partial import Ternary as Known
from ordain.data.partial import exactly
from ordain.data.run import run
from ordain.meaning.guessing import under_guesses
from ordain.meaning.telling import told
from ordain.pipeline import Built, build_model
from ordain.prover.decide import ProofRounds
from tests.meaning.manual import Bits, applied

HERON = Path(__file__).parents[2] / "microcode" / "heron.machine"
FETCH, REGISTERS = 0x20, ("acc", "tally", "flags", "pc", "sp", "x", "y")


@cache
def heron() -> tuple[Built, dict[int, str], dict[str, tuple[str, ...]]]:
    """The machine, its titles by opcode, and what `meaning` prints; of `move` and `fill` that is nothing yet."""
    built, _ = build_model(HERON)
    assert built is not None
    titles = {use.opcode: use.title for use in built.program.opcodes}
    found, _, _ = under_guesses(built.contents, ProofRounds(build_system(built.contents)).decide,
                                dict.fromkeys(titles.values()), told)
    return built, titles, {title: one.effects for title, one in found.items() if not one.why}


class Cells(dict[int, Known]):
    """A memory full of bytes by chance, the same ones again for the same seed."""

    def __init__(self, seed: int) -> None:
        super().__init__()
        self.seed = seed

    def byte(self, address: int) -> int:
        return Random(self.seed << 16 | address).randrange(0xA0)        # most opcodes from A0 on mean nothing

    def get(self, address: int, default: Any = None) -> Any:
        return super().get(address, None) or exactly(self.byte(address), 8)


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 1 << 30))
def test_a_program_by_chance_does_what_its_instructions_mean(seed: int) -> None:
    built, titles, effects = heron()
    contents, chance = built.contents, Random(seed)
    start = {name: chance.randrange(1 << contents.machine.registers[name].width) for name in REGISTERS}
    machine = contents.machine._replace(registers={
        name: one._replace(reset=start.get(name, chance.randrange(1 << one.width)))
        for name, one in contents.machine.registers.items()})
    path = Datapath(contents._replace(machine=machine))
    cells, mine = Cells(seed), Cells(seed)
    held: dict[str, Bits] = {}
    done, title = 0, ""
    for ran in islice(run(path, {"memory": cells}, lambda cycle: {}, (machine.stores["control"].address,)), 600):
        now = {name: ran.moment.held[path.terms.leaf("register", name, machine.registers[name].width)]
               for name in REGISTERS}
        if ran.seen[0].value == FETCH:
            if held:
                assert {name: one.value for name, one in held.items()} == \
                    {name: one.value for name, one in now.items()}, title
                assert dict(mine) == dict(cells.items()), title
            registers = {name: Bits(one.value, machine.registers[name].width) for name, one in now.items()}
            title = titles[mine.get(registers["pc"].value).value]
            if title not in effects or title == "rest":
                break
            registers["pc"] += 1
            brake = ran.moment.held[path.terms.leaf("state", "brake", 1)].value
            after, written = applied(effects[title], {**registers, "brake": Bits(brake, 1)},
                                     lambda memory, address: Bits(mine.get(address).value, 8))
            for _, address, value in written:
                mine[address] = exactly(value.value, 8)
            held = {**registers, **after}
            done += 1
    assert done
