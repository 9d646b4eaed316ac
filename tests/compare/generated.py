"""Random machines with random microprograms, changes that keep what they do, and changes that may not."""

import re
from collections.abc import Mapping
from typing import NamedTuple

from hypothesis import strategies as st

from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.simulator import NOWHERE, Simulator, Values

TEXT = """machine generated
store control 128 words of 40 bits
    address upc
field branch 4 bits
    step     0 idle
    jump     1
    if_zero  2
    if_ready 3
    fork     4
    call     5
    back     6
    dispatch 7
    second   8
    restart  9
field target 7 bits address, idle 0
field other 7 bits address, idle 0
field source 3 bits
    none   0 idle
    acc    1
    memory 2
    temp   3
field load 3 bits
    none 0 idle
    acc  1
    ir   2
    temp 3
field function 3 bits
    pass 0 idle
    add  1
    sub  2
    both 3
field write 1 bit, active low
field grant 1 bit
field number 4 bits, idle 0
spare 7 bits
store entry 8 words of 7 bits
    address ir
    word start of instruction
store table 8 words of 7 bits
    address ir
register ir 3 bits, loads data[2:0] when load is ir
register acc 8 bits, loads data when load is acc
register temp 8 bits, loads data when load is temp
condition zero 1 bit
condition ready 1 bit
state held 1 bit, reset 0
    next ready and grant
state ret 7 bits, reset 0
    next upc + 1 if branch is call else ret
state upc 7 bits, reset 0
    next choose branch
        step      : upc + 1
        jump      : target
        if_zero   : target if zero else upc + 1
        if_ready  : target if ready else upc + 1
        fork      : target if zero else other
        call      : target
        back      : ret
        dispatch  : 0x78 if held else entry.word
        second    : table.word
        restart   : 0x78
        otherwise : 0
bus data 8 bits, floats
    driven by acc when source is acc
    driven by memory when source is memory and not held
    driven by temp when source is temp
    sampled by acc when load is acc
    sampled by ir when load is ir
    sampled by temp when load is temp
strobe pulse
    data steady 1 cycle after
signal pulse = write
home fetch
"""

OPCODES = 8
PAUSE = 0x78
HIDDEN = frozenset({"upc", "ret"})
ADDRESSES = frozenset({"target", "other"})


class Step(NamedTuple):
    """One word: `orders` as code names, and where it goes: a branch code and (body, word) places."""

    orders: tuple[tuple[str, str | int], ...]
    flow: str
    to: tuple[tuple[str, int], ...]


Program = dict[str, tuple[Step, ...]]


class Build(NamedTuple):
    """A program, placed. `starts`: opcode -> body; `rows`: opcode -> body, of the second dispatch."""

    text: str
    program: Program
    starts: tuple[str, ...]
    rows: tuple[str, ...]
    places: Mapping[str, int]
    contents: Contents


INSTRUCTIONS = ("alpha", "beta", "gamma")
ROUTINES = ("sub", "tail")
SECONDS = ("first_way", "second_way")

_orders = st.fixed_dictionaries({}, optional={
    "source": st.sampled_from(("acc", "memory", "temp")), "load": st.sampled_from(("acc", "temp")),
    "function": st.sampled_from(("add", "sub", "both")), "write": st.just(1), "grant": st.just(1),
    "number": st.integers(0, 15)})


@st.composite
def programs(draw: st.DrawFn) -> tuple[Program, tuple[str, ...], tuple[str, ...]]:
    """A fetch, a pause routine, three instructions, two routines and two ways of a second dispatch."""
    lengths = {name: draw(st.integers(1, 4)) for name in (*INSTRUCTIONS, *ROUTINES, *SECONDS, "pause")}
    lengths["fetch"] = 2
    everywhere = [(name, index) for name, length in lengths.items() for index in range(length) if name != "fetch"]
    everywhere += [("fetch", 0)] * 4
    program: Program = {}
    for name, length in lengths.items():
        steps = []
        for index in range(length):
            last = index == length - 1
            flows = ("jump", "fork", "dispatch", "back", "second", "restart") if last else (
                "step", "step", "step", "if_zero", "if_ready", "call", "jump")
            flow = draw(st.sampled_from(flows))
            if name == "fetch":
                flow = "dispatch" if last else "step"
            count = {"jump": 1, "if_zero": 1, "if_ready": 1, "call": 1, "fork": 2}.get(flow, 0)
            to = tuple(draw(st.sampled_from(everywhere)) for _ in range(count))
            orders = draw(_orders)
            if name == "fetch" and index == 0:
                orders = {**orders, "load": "ir", "source": "memory"}
            steps.append(Step(tuple(sorted(orders.items())), flow, to))
        program[name] = tuple(steps)
    starts = tuple(draw(st.sampled_from(INSTRUCTIONS)) for _ in range(OPCODES))
    rows = tuple(draw(st.sampled_from(SECONDS)) for _ in range(OPCODES))
    return program, starts, rows


@st.composite
def places(draw: st.DrawFn, program: Program) -> dict[str, int]:
    """The fetch at reset's place, the pause routine where the sequencer is wired to go, the others in any order and
    with any gaps."""
    names = draw(st.permutations([name for name in program if name not in ("pause", "fetch")]))
    at = len(program["fetch"])
    free = PAUSE - at - sum(len(program[name]) for name in names)
    found: dict[str, int] = {"pause": PAUSE, "fetch": 0}
    for name in names:
        gap = draw(st.integers(0, min(free, 6)))
        free -= gap
        at += gap
        found[name] = at
        at += len(program[name])
    return found


def build(text: str, program: Program, starts: tuple[str, ...], rows: tuple[str, ...],
          at: Mapping[str, int], fields: Mapping[str, str] | None = None) -> Build:
    """Assemble. `fields`: renamed fields, old name -> new name."""
    renamed = fields or {}
    words: dict[int, Word] = {}
    for name, steps in program.items():
        for index, step in enumerate(steps):
            values: dict[str, int | str] = dict(step.orders)
            values["branch"] = step.flow
            for field, (body, place) in zip(("target", "other"), step.to):
                values[field] = at[body] + place
            words[at[name] + index] = Word(name, {renamed.get(field, field): value for field, value in values.items()},
                                           f"l{index}")
    tables = {"entry": {opcode: at[name] for opcode, name in enumerate(starts)},
              "table": {opcode: at[name] for opcode, name in enumerate(rows)}}
    return Build(text, program, starts, rows, at, burned(resolved(text), words, tables=tables))


@st.composite
def builds(draw: st.DrawFn) -> Build:
    program, starts, rows = draw(programs())
    return build(TEXT, program, starts, rows, draw(places(program)))


# ---------------------------------------------------------------- changes that keep what is done


class Kept(NamedTuple):
    """A build that does the same as another. `bodies`: old body -> new name. `names`: new name of a thing -> old."""

    build: Build
    bodies: Mapping[str, str]
    names: Mapping[str, str]


@st.composite
def kept(draw: st.DrawFn, old: Build) -> Kept:
    """Move, reorder, rename, copy tails, give codes other numbers: in any combination."""
    program = dict(old.program)
    if draw(st.booleans()):
        program = draw(_tail_copied(program))
    text, fields, names = old.text, {}, {}
    if draw(st.booleans()):
        text = draw(_recoded(text))
    if draw(st.booleans()):
        text, fields, names = draw(_renamed(text))
    bodies = {name: f"new_{name}" if draw(st.booleans()) and name not in ("fetch",) else name for name in old.program}
    program = {bodies.get(name, name): tuple(
        step._replace(to=tuple((bodies.get(body, body), index) for body, index in step.to)) for step in steps)
        for name, steps in program.items()}
    pause = bodies["pause"]
    shown = {**{name: steps for name, steps in program.items() if name != pause}, "pause": program[pause]}
    at = draw(places(shown))
    at[pause] = at["pause"]
    starts = tuple(bodies[name] for name in old.starts)
    rows = tuple(bodies[name] for name in old.rows)
    return Kept(build(text, program, starts, rows, at, fields), bodies, names)


@st.composite
def _tail_copied(draw: st.DrawFn, program: Program) -> Program:
    """One way into the middle of a body goes to a copy of it from there on instead."""
    ways = [(name, index, number) for name, steps in program.items() for index, step in enumerate(steps)
            for number, (body, _) in enumerate(step.to) if body != "fetch"]
    if not ways:
        return program
    name, index, number = draw(st.sampled_from(ways))
    step = program[name][index]
    body, place = step.to[number]
    changed = step._replace(to=tuple(("copy", 0) if k == number else way for k, way in enumerate(step.to)))
    result = dict(program)
    result["copy"] = program[body][place:]
    result[name] = tuple(changed if k == index else other for k, other in enumerate(program[name]))
    return result


@st.composite
def _recoded(draw: st.DrawFn, text: str) -> str:
    """The codes of one field get other numbers; the idle one keeps its name, not its number."""
    field = draw(st.sampled_from(("source", "load", "function", "branch")))
    match = re.search(rf"field {field} .*\n((?:    \w+ +\d+.*\n)+)", text)
    assert match is not None
    lines = match[1].splitlines()
    declared = re.search(rf"field {field} (\d)", text)
    assert declared is not None
    width = int(declared[1])
    numbers = draw(st.permutations(range(1 << width)))
    fresh = [re.sub(r"(\w+ +)\d+", rf"\g<1>{number}", line, count=1) for line, number in zip(lines, numbers)]
    return text.replace(match[1], "\n".join(fresh) + "\n")


@st.composite
def _renamed(draw: st.DrawFn, text: str) -> tuple[str, dict[str, str], dict[str, str]]:
    """Fields, buses, registers or conditions get other names."""
    chosen = draw(st.sets(st.sampled_from(("source", "load", "function", "data", "temp", "zero", "held", "pulse")),
                          min_size=1, max_size=2))
    fields: dict[str, str] = {}
    names: dict[str, str] = {}
    for name in sorted(chosen):
        fresh = f"{name}_2"
        text = re.sub(rf"\b{name}\b", fresh, text)
        names[fresh] = name
        if name in ("source", "load", "function"):
            fields[name] = fresh
    if "temp" in chosen:                            # also a code of two fields: those keep their names
        text = re.sub(r"    temp_2( +\d)", r"    temp\1", text).replace("is temp_2", "is temp")
    return text, fields, names


# ---------------------------------------------------------------- changes that may not


@st.composite
def one_field_changed(draw: st.DrawFn, old: Build) -> Build:
    """The same build with one field of one placed word set to something else."""
    store = list(old.contents.words["control"])
    address = draw(st.sampled_from(sorted(old.contents.sites["control"])))
    machine = old.contents.machine
    names = [name for name in machine.stores["control"].fields
             if machine.fields[name].holds in ("code", "number", "address") and name not in ("branch", "other")]
    field = machine.fields[draw(st.sampled_from(names))]
    codes = [code.value for code in field.codes] or list(range(1 << min(field.width, 4)))
    value = draw(st.sampled_from(codes))
    mask = (1 << field.width) - 1
    if field.active_low:
        value ^= mask
    store[address] = store[address] & ~(mask << field.low) | value << field.low
    return old._replace(contents=old.contents._replace(words={**old.contents.words, "control": tuple(store)}))


# ---------------------------------------------------------------- the oracle


def simulators(old: Build, new: Build, names: Mapping[str, str] | None = None) -> tuple[Simulator, Simulator]:
    return (Simulator(old.contents, HIDDEN, ADDRESSES), Simulator(new.contents, HIDDEN, ADDRESSES, names))


def starts(old: Build, new: Build, old_body: str, new_body: str, opcode: int,
           held: str = "held") -> list[tuple[Values, Values]]:
    """The values with which an instruction begins, for every value of what control may ask about."""
    return [({"upc": old.places[old_body], "ret": NOWHERE, "ir": opcode, "held": value},
             {"upc": new.places[new_body], "ret": NOWHERE, "ir": opcode, held: value}) for value in (0, 1)]


def entrances(build: Build, held: str = "held") -> tuple[list[Values], list[Values]]:
    """Everything from which the machine itself starts; and the rows of its second table."""
    places = {(build.places[name], opcode) for opcode, name in enumerate(build.starts)} | {(0, -1), (PAUSE, -1)}
    rows = {(build.places[name], -1) for name in build.rows}
    found = [[{"upc": place, "ret": NOWHERE, "ir": opcode, held: value} for place, opcode in sorted(group)
              for value in (0, 1)] for group in (places, rows)]
    return found[0], found[1]
