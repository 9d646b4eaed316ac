"""AIGER files, read back by a reader written from the format's report and run beside the machine.

Format: A. Biere, K. Heljanko, S. Wieringa, "AIGER 1.9 and Beyond", FMV technical report 11/2, JKU Linz, 2011, and A.
Biere, "The AIGER And-Inverter Graph (AIG) Format Version 20071012" for the binary encoding (both from memory).
"""

import random
from typing import NamedTuple

from ordain.checks.run import questions
from ordain.control.model import Variable
from ordain.control.system import build_system
from ordain.prover.questions import lower_properties
from ordain.show.aiger import AT_THE_START, aiger
from tests.generated import machine_text, random_words
from tests.oracle import Model
from tests.workshop import contents_of


class File(NamedTuple):
    """`latches`: (literal, next, reset)."""

    inputs: list[int]
    latches: list[tuple[int, int, int]]
    bad: list[int]
    constraints: list[int]
    gates: list[tuple[int, int, int]]
    symbols: dict[str, str]
    comment: list[str]


def read(data: bytes) -> File:
    """A binary file of version 1.9 without outputs, justice and fairness."""
    head, rest = data.split(b"\n", 1)
    tag, *numbers = head.split()
    assert tag == b"aig"
    highest, inputs, latches, outputs, gates, bad, constraints = map(int, numbers)
    assert outputs == 0 and highest == inputs + latches + gates
    lines = []
    for _ in range(latches + bad + constraints):
        line, rest = rest.split(b"\n", 1)
        lines.append([int(number) for number in line.split()])
    latch_rows = []
    for index, (following, *reset) in enumerate(lines[:latches]):
        own = 2 * (inputs + 1 + index)
        latch_rows.append((own, following, reset[0] if reset else 0))
    place = 0

    def delta() -> int:
        nonlocal place
        value = shift = 0
        while True:
            byte = rest[place]
            place += 1
            value |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                return value

    gate_rows = []
    for index in range(gates):
        out = 2 * (inputs + latches + 1 + index)
        left = out - delta()
        right = left - delta()
        assert out > left >= right >= 0
        gate_rows.append((out, left, right))
    symbols, _, comment = rest[place:].decode().partition("\nc\n")
    table = dict(line.split(" ", 1) for line in symbols.splitlines() if line)
    return File([2 * (1 + index) for index in range(inputs)], latch_rows,
                [line[0] for line in lines[latches:latches + bad]], [line[0] for line in lines[latches + bad:]],
                gate_rows, table, comment.splitlines())


class Simulated:
    """A file at work: levels of inputs go in, levels of bad states and constraints come out."""

    def __init__(self, file: File, start: dict[int, int]) -> None:
        self.file, self.latches = file, dict(start)

    def step(self, inputs: dict[int, int]) -> tuple[list[int], list[int]]:
        levels = {0: 0, **inputs, **self.latches}

        def level(literal: int) -> int:
            return levels[literal & ~1] ^ (literal & 1)

        for out, left, right in self.file.gates:
            levels[out] = level(left) & level(right)
        self.latches = {own: level(following) for own, following, _ in self.file.latches}
        return [level(literal) for literal in self.file.bad], [level(literal) for literal in self.file.constraints]


def model_names(model: Model) -> list[str]:
    return [slot.name for slot in model.slots]


def bit_of(values: dict[str, int], symbol: str) -> int:
    """The level of `name` or `name[bit]`."""
    name, _, bit = symbol.partition("[")
    return values[name] >> int(bit.rstrip("]") or 0) & 1 if bit else values[name]


def test_a_file_runs_as_the_machine_does() -> None:
    ran = fired = 0
    for seed in range(60):
        chance = random.Random(seed)
        contents = random_words(machine_text(chance.choice), chance.choice)
        asked = [question for _, question in questions(contents)]
        system = build_system(contents)
        written = aiger(system, lower_properties(system, tuple(asked)))
        file = read(written.data)
        assert len(written.bad) == len(file.bad)
        watched = [(place, asked[what.property]) for place, what in enumerate(written.bad)
                   if what.role != "trigger" and asked[what.property].kind != "within"]
        monitors: dict[str, Variable] = {each.name: each for _, question in watched for each in question.monitors}
        model = Model(contents, [question.node for _, question in watched], list(monitors.values()))
        free_names = [key.split(" ", 1)[1] for key in model.frees]
        names = {symbol.removeprefix(f"{AT_THE_START} ").partition("[")[0]
                 for key, symbol in file.symbols.items() if key[0] == "i"} - set(model_names(model))
        if not names <= set(free_names):
            continue  # something unknown that the oracle calls by another name
        state = chance.choice(model.starts())
        known = {slot.name: value for slot, value in zip(model.slots, state, strict=True)}
        assert all(reset in (0, 1) for _, _, reset in file.latches)
        simulated = Simulated(file, {own: reset for own, _, reset in file.latches})
        for _ in range(30):
            frees = tuple(chance.choice(domain) for domain in model.domains)
            holds, following, _, values = model.evaluate(state, frees)
            given = dict(zip(free_names, frees, strict=True))
            levels = {}
            for index, literal in enumerate(file.inputs):  # after the first cycle it does not matter what started
                symbol = file.symbols[f"i{index}"]
                start = symbol.removeprefix(f"{AT_THE_START} ")
                levels[literal] = bit_of(given, symbol) if start == symbol else bit_of(known, start)
            known = {name: chance.getrandbits(8) for name in known}
            bad, constraints = simulated.step(levels)
            assert all(constraints) == bool(holds)
            assert [bad[place] for place, _ in watched] == list(values)
            fired += sum(values)
            state = following
            ran += 1
    assert ran > 500 and fired > 500


def test_names_and_what_is_left_out_are_in_the_file() -> None:
    chance = random.Random(8)
    contents = random_words(machine_text(chance.choice), chance.choice)
    asked = tuple(question for _, question in questions(contents))
    system = build_system(contents)
    file = read(aiger(system, lower_properties(system, asked)).data)
    named = [file.symbols[f"b{place}"] for place in range(len(file.bad))]
    for question in asked:
        if question.kind == "always":
            assert f"not a safety property, left out: {question.check}: {question.subject}" in file.comment
        else:
            assert any(name.startswith(f"{question.check}: {question.subject}") for name in named)
    inputs = [file.symbols[f"i{place}"] for place in range(len(file.inputs))]
    latches = [file.symbols[f"l{place}"] for place in range(len(file.latches))]
    assert "key" in inputs and "upc[0]" in latches
    assert len(set(latches)) == len(latches) and len(set(inputs)) == len(inputs)


WRITES = """\
machine slate "a memory that is written while a register says so which nothing else asks"
microprogram "slate.micro"
store control 2 words of 4 bits
    address upc
field put 1 bit
field load 1 bit
spare 2 bits
state upc 1 bit, reset 0
    next not upc
register wet 1 bit, loads chalk[0] when load
memory board 2 words of 2 bits
    address upc
    writes chalk when wet
bus chalk 2 bits, floats
    driven by hand when put
home begin
"""


def test_a_register_that_only_the_writes_of_a_memory_read_is_a_latch() -> None:
    """Nothing else reads `wet`. It is 1 in the first cycle, driven by nobody, where it came up so."""
    system = build_system(contents_of(WRITES, "routine begin at 0\n        load\n        put\n"))
    asked = [prop for _, prop in questions(system.contents) if (prop.check, prop.subject) == ("floating", "chalk")]
    written = aiger(system, lower_properties(system, tuple(asked)))
    assert next(one.role for one in written.bad if one.name.startswith("floating: chalk")) == "fault"
    assert b" at the start wet\n" in written.data and b"\nl1 wet\n" in written.data
