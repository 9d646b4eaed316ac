"""Machines by chance and the examples, each beside its twin."""

from collections.abc import Sequence
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from ordain.data.datapath import Datapath
from ordain.data.model import Memories
from ordain.data.partial import exactly
from ordain.pipeline import Built, build_model
from ordain.rom.contents import Contents, Stored
from ordain.rom.images import pack
from tests.data.test_compiled import at_power_up
from tests.judge.clocks import clocked
from tests.judge.machines import machine as machine_of_judge
from tests.judge.tool import Text, build
from tests.twin import machines
from tests.twin.comparing import Compared, Unsettled, compared

ROOT = Path(__file__).parents[2]
UNSETTLED = "gates that lead back to themselves"
EXAMPLES = ("microcode/heron.machine", *sorted(
    str(file.relative_to(ROOT)) for file in (ROOT / "examples").rglob("*.machine")
    if "\nmachine " in "\n" + file.read_text()))


def inputs_by_chance(contents: Contents, random: Random, steps: int) -> list[dict[str, int]]:
    """Each line stays for some steps, most for few; conditions that nothing computes are set now and then."""
    sizes = {name: len(one.codes) or 1 << one.width for name, one in contents.machine.inputs.items()}
    sizes.update((name, 1 << one.width) for name, one in contents.machine.conditions.items() if one.value is None)
    now = {name: random.randrange(size) for name, size in sizes.items()}
    rows = []
    for _ in range(steps):
        for name, size in sizes.items():
            if random.random() < 0.3:
                now[name] = random.randrange(size)
        rows.append(dict(now))
    return rows


def made(seed: int) -> Text:
    """A machine of one of the kinds, by its seed."""
    choose = Random(seed).choice
    match seed % 4:
        case 0:
            return machine_of_judge(choose)
        case 1:
            return clocked(choose, machine_of_judge(choose))
    return Text(*machines.machine(choose))


def by_chance(seed: int, steps: int) -> tuple[Text, Compared | str]:
    """A machine beside its twin; in its place the first finding, where it is none. Every third has no values at
    power-up."""
    text, random = made(seed), Random(seed)
    built, findings = build(text)
    if built is None:
        return text, next((found.message for found in findings), "nothing was built")
    contents = built.contents if seed % 3 == 0 else at_power_up(built.contents, random.choice)
    images = pack(contents.machine, {name: Stored(dict(enumerate(words)), None)
                                     for name, words in contents.words.items()})
    memories: Memories = {name: {address: exactly(random.randrange(1 << one.bits), one.bits)
                                 for address in range(one.words) if seed % 3 or address % 2}
                          for name, one in contents.machine.memories.items()}
    with TemporaryDirectory() as place:
        try:
            return text, compared(Datapath(contents), images, memories, inputs_by_chance(contents, random, steps),
                                  Path(place))
        except Unsettled:
            return text, UNSETTLED


def example(name: str, seed: int, steps: int) -> Compared:
    """One of the examples, registers and memories filled by chance; of a memory that programs are in, with opcodes that
    mean something."""
    built, findings = build_model(ROOT / name)
    assert built is not None, findings
    random = Random(seed)
    contents = at_power_up(built.contents, random.choice)
    memories: Memories = {memory.name: {address: exactly(random.choice(_codes(built, memory.bits)), memory.bits)
                                        for address in range(memory.words)}
                          for memory in contents.machine.memories.values()}
    with TemporaryDirectory() as place:
        return compared(Datapath(contents), built.images, memories, inputs_by_chance(contents, random, steps),
                        Path(place))


def _codes(built: Built, bits: int) -> Sequence[int]:
    return [use.opcode for use in built.program.opcodes if use.opcode < 1 << bits] or range(1 << bits)
