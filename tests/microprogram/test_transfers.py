"""`a <- b` sets the fields under which b drives a bus that a takes; each fault beside its sound neighbour."""

import pytest

from tests.microprogram.compiled import compiled, described, faults, program_of

MACHINE = """\
machine small

store control 64 words of 24 bits
    address upc

field branch 2 bits
    step 0 idle
    jump 1
field target 6 bits address, idle 0
field source 3 bits
    none   0 idle
    acc    1
    memory 2
    shared 3
    temp   4
field load 3 bits
    none 0 idle
    acc  1
    ir   2
    temp 3
    spy  4
field read  1 bit
field write 1 bit, active low
field gate  1 bit
field mode 2 bits
    plain  0 idle
    first  1
    second 2
field move  1 bit
spare 4 bits

state upc 6 bits, reset 0
    next choose branch
        step: upc + 1
        jump: target
        otherwise: 0
input granted 1 bit
register acc  8 bits, loads data when load is acc
register ir   8 bits, loads data when load is ir
register temp 8 bits
    loads data when load is temp
    loads acc when move
register pair 16 bits, loads {pair[15:8], data} when write

bus data 8 bits, floats
    driven by acc     when source is acc
    driven by memory  when source is memory and read, follows address
    driven by shared  when source is shared and granted
    driven by either  when mode is first or mode is second
    driven by lent    when mode is first or (mode is second and granted)
    driven by never   when source is none and source is acc
    driven by other   when not gate
    driven by named   when target in (1, 3)
    sampled by acc    when load is acc
    sampled by ir     when load is ir
    sampled by memory when write
    sampled by spy    when load is spy and not (source is acc)
    sampled by wide   when load in (ir, spy)
    sampled by idler  when source is none

bus address 8 bits, floats
    driven by ir   when read
    driven by acc  when gate
    driven by temp when source is temp
    sampled by memory when read
    sampled by ir     when load is ir

order goto <there>: branch jump, target <there>
"""


def fields(clauses: str) -> dict[str, int]:
    """The asserted fields of a word that are not at rest."""
    machine = described(MACHINE)
    word = program_of(machine, f"routine first at 0\n    {clauses}, goto first\n").words[0].bits
    values = {name: field.read(word) for name, field in machine.fields.items() if field.holds == "code"}
    assert values.pop("branch") == 1
    return {name: value for name, value in values.items() if value}


SOURCE = {"acc": 1, "memory": 2, "shared": 3, "temp": 4}
LOAD = {"acc": 1, "ir": 2, "temp": 3, "spy": 4}


@pytest.mark.parametrize(("clauses", "expected"), [
    ("ir <- acc via data", {"source": 1, "load": 2}),
    ("acc <- memory", {"source": 2, "read": 1, "load": 1}),
    ("memory <- acc via data", {"source": 1, "write": 1}),
    ("memory <- ir", {"read": 1}),
    ("memory <- acc via address", {"gate": 1, "read": 1}),
    ("ir <- temp", {"source": 4, "load": 2}),
    ("ir <- acc via address", {"gate": 1, "load": 2}),
    ("acc <- shared", {"source": 3, "load": 1}),
    ("temp <- memory", {"source": 2, "read": 1, "load": 3}),
    ("temp <- acc via data", {"source": 1, "load": 3}),
    ("pair <- shared", {"source": 3, "write": 1}),
    ("acc <- lent", {"mode": 1, "load": 1}),
    ("acc <- either, mode first", {"mode": 1, "load": 1}),
    ("acc <- either, mode second", {"mode": 2, "load": 1}),
    ("acc <- lent, mode first", {"mode": 1, "load": 1}),
    ("acc <- other", {"load": 1}),
    ("spy <- memory", {"source": 2, "read": 1, "load": 4}),
    ("wide <- memory, load ir", {"source": 2, "read": 1, "load": 2}),
    ("wide <- memory, load spy", {"source": 2, "read": 1, "load": 4}),
    ("acc <- shared, ir <- temp via address, load acc", None),
])
def test_a_transfer_sets_fields(clauses: str, expected: dict[str, int] | None) -> None:
    if expected is None:
        assert [line.split(": ")[1] for line in faults(
            described(MACHINE), f"routine first at 0\n    {clauses}, goto first\n")][:1] == ["field-conflict"]
    else:
        assert fields(clauses) == expected


def test_a_register_loads_a_register_without_a_bus() -> None:
    """`temp` loads `acc` when `move`; over the data bus it could too, so that bus must be out of the way."""
    text = MACHINE.replace("    loads data when load is temp\n", "")
    machine = described(text)
    word = program_of(machine, "routine first at 0\n    temp <- acc, goto first\n").words[0].bits
    assert machine.fields["move"].read(word) == 1 and machine.fields["source"].read(word) == 0


@pytest.mark.parametrize(("clauses", "found"), [
    ("acc <- memory", ""),
    ("ack <- memory", "unknown-name: nothing called `ack` takes anything from a bus"),
    ("acc <- memry", "unknown-name: nothing called `memry` drives a bus"),
    ("ir <- acc", "ambiguous-transfer: `ir <- acc` can go over `data`, `address`"),
    ("ir <- acc via data", ""),
    ("ir <- acc via dat", "unknown-name: there is no bus `dat`"),
    ("acc <- ir", "no-transfer: `ir` drives `address`, and `acc` takes from `data`"),
    ("acc <- memory via address", "no-transfer: `memory` drives `data`, and `acc` takes from `data`"),
    ("acc <- never", "never-driven: `acc <- never` cannot be: nothing allows `never` to be driven on `data`"),
    ("idler <- acc", "never-driven: `idler <- acc` needs `source` to be `acc` and `none` at once"),
    ("acc <- either, mode first", ""),
    ("acc <- either", "never-driven: nothing in this word allows `either` to be driven on `data`"),
    ("acc <- either, mode plain", "never-driven: nothing in this word allows `either` to be driven on `data`"),
    ("wide <- memory, load spy", ""),
    ("wide <- memory", "never-sampled: nothing in this word allows `wide` to take what is on `data`"),
    ("wide <- memory, load acc", "never-sampled: nothing in this word allows `wide` to take what is on `data`"),
    ("spy <- memory", ""),
    ("spy <- acc via data", "never-sampled: `spy <- acc` cannot be: nothing allows `spy` to take what is on `data`"),
    ("acc <- named", ""),                   # `goto first` sets the target, and where `first` stands is open yet
    ("acc <- other", ""),
    ("acc <- other, gate",
     "field-conflict: `acc <- other` sets `gate` to 0, `gate` to 1"),
])
def test_a_fault_and_its_neighbour(clauses: str, found: str) -> None:
    shown = faults(described(MACHINE), f"routine first at 0\n    {clauses}, goto first\n")
    assert [line.split(": ", 1)[1] for line in shown] == ([found] if found else [])


def test_the_choices_are_told() -> None:
    _, (finding,) = compiled(described(MACHINE), "routine first at 0\n    acc <- either, goto first\n")
    assert finding.help == "add one of: `mode` `first`; `mode` `second`"
    assert finding.places[0].span.text == "driven by either  when mode is first or mode is second"


@pytest.mark.parametrize(("clause", "more", "help_text"), [
    ("acc <- ir", "", "go by way of a register"),
    ("acc <- memory via address", "", "write `acc <- memory`"),
    ("spy <- ir", "", "go by way of a register; or say that it takes that bus, too: `sampled by spy when ...` below "
                      "`bus address`"),
    ("acc <- disk", ", follows outer", "go by way of a register"),          # it may be a memory at that address
    ("acc <- disk", " = outer", "`acc <- bridge` takes what `bridge` brings there from `outer`"),
    ("acc <- disk", " = address", "go by way of a register"),
    ("acc <- disk", ", follows outer; driven by bridge when read, follows data",
     "`acc <- bridge` takes what `bridge` brings there from `outer`"),
    ("spy <- disk", " = outer", "`spy <- bridge` takes what `bridge` brings there from `outer`"),
])
def test_how_to_get_from_one_bus_to_another(clause: str, more: str, help_text: str) -> None:
    """Through a transceiver it is two drivers, and the word names the one on the side of who takes."""
    text, (inward, _, back) = MACHINE, more.partition("; ")
    if more:
        text += f"bus outer 8 bits, floats\n    driven by disk when gate\n    {back}\n"
        value, _, follows = inward.partition(",")
        text = text.replace("    sampled by acc    when load is acc\n",
                            f"    driven by bridge{value} when mode is second{',' + follows if follows else ''}\n"
                            "    sampled by acc    when load is acc\n")
        assert faults(described(text), "routine first at 0\n    acc <- bridge, goto first\n") == []
    _, (finding,) = compiled(described(text), f"routine first at 0\n    {clause}, goto first\n")
    assert (finding.name, finding.help) == ("no-transfer", help_text)


@pytest.mark.parametrize(("state", "help_text"), [
    ("count", "say when it takes the bus: `sampled by count when ...` below bus `data`"),
    ("total", "did you mean `count_up`?"),
])
def test_who_could_take_is_told_how_it_does(state: str, help_text: str) -> None:
    """A counter that is loaded from the bus takes nothing until it is said when; registers that load are takers."""
    text = MACHINE + f"state {state} 8 bits, reset 0\n    next data if load is acc else 0\n"
    text += "register count_up 8 bits, loads data when load is acc\n"
    _, (finding,) = compiled(described(text), "routine first at 0\n    "
                             f"{'count' if state == 'count' else 'coun_up'} <- memory, goto first\n")
    assert finding.help == help_text


# ---------------------------------------------------------------- conditions that other things have a part in

PANEL = """\
machine small

store control 16 words of 16 bits
    address upc

field load 2 bits
    none 0 idle
    acc  1
    memory 2
field output 2 bits
    none 0 idle
    acc  1
    memory 2
field on    1 bit
field quiet 1 bit, active low
field left  1 bit
field right 1 bit
field bypass 1 bit
field number 2 bits, idle 0
field check 1 bit = parity(control[15:12])
field target 4 bits address, idle following

store wires 8 words of 2 bits
    address {output, on}
    word    {output is memory and on, output is acc or on}

state upc 4 bits, reset 0
    next target
state clock (high, low), reset high
    next low if clock is high else high
input panel 1 bit
register acc 8 bits, loads data when load is acc

bus data 8 bits, pulled high
    driven by acc    when output is acc
    driven by gated  when (output is memory and clock is low) or panel
    driven by master when on and ((output is memory and clock is low) or panel)
    driven by phased when (left and clock is low) or (right and clock is high)
    driven by lent   when (output is memory and clock is low) or (panel and on)
    driven by turbo  when output is memory and (clock is low or bypass)
    driven by held   when output is memory and not (panel and on)
    driven by stage  when wires.word[1] and clock is low
    driven by staged when wires.word[0] and (clock is low or panel)
    driven by raw    when control[13] and not control[12]
    driven by even   when not check and load is acc and panel
    driven by soft   when not quiet and clock is low
    driven by far    when number >= 2 and number is not 3
    driven by near   when number in (1, 2) and clock is low
    driven by clocked when clock is low
    driven by always
    sampled by acc   when load is acc
    sampled by memory when (load is memory and clock is low) or panel
    sampled by late  when load is memory and clock is high
    sampled by tick  when clock is high
"""


def set_by(clauses: str) -> dict[str, int]:
    machine = described(PANEL)
    word = program_of(machine, f"routine first at 0\n    {clauses}, target first\n").words[0].bits
    values = {name: field.read(word) for name, field in machine.fields.items()
              if field.holds in ("code", "number")}
    return {name: value for name, value in values.items() if value}


@pytest.mark.parametrize(("clauses", "expected"), [
    ("memory <- acc", {"load": 2, "output": 1}),            # the panel can write without the word, but not for it
    ("acc <- gated", {"load": 1, "output": 2}),
    ("memory <- gated", {"load": 2, "output": 2}),
    ("acc <- master, output memory", {"load": 1, "output": 2, "on": 1}),
    ("acc <- phased, left", {"load": 1, "left": 1}),
    ("acc <- phased, left, right", {"load": 1, "left": 1, "right": 1}),
    ("acc <- lent, output memory", {"load": 1, "output": 2}),
    ("acc <- lent, on", {"load": 1, "on": 1}),
    ("acc <- turbo, bypass", {"load": 1, "output": 2, "bypass": 1}),
    ("acc <- turbo, bypass 0", {"load": 1, "output": 2}),
    ("acc <- held", {"load": 1, "output": 2}),              # `on` at rest is the best that can be had
    ("acc <- stage", {"load": 1, "output": 2, "on": 1}),
    ("acc <- staged, on", {"load": 1, "on": 1}),
    ("acc <- staged, output acc", {"load": 1, "output": 1}),
    ("memory <- raw", {"load": 2, "output": 2}),
    ("acc <- soft", {"load": 1}),
    ("acc <- far", {"load": 1, "number": 2}),
    ("acc <- near, number 1", {"load": 1, "number": 1}),
    ("acc <- clocked", {"load": 1}),
    ("tick <- always", None),
    ("tick <- acc", {"output": 1}),
])
def test_a_transfer_happens_through_the_word(clauses: str, expected: dict[str, int] | None) -> None:
    if expected is None:
        assert faults(described(PANEL), f"routine first at 0\n    {clauses}, target first\n") == [
            f"small.micro:2:5: nothing-to-set: `{clauses}` sets no field of `control`"]
    else:
        assert set_by(clauses) == expected


@pytest.mark.parametrize(("clauses", "name", "ways"), [
    ("acc <- master", "never-driven", "`output` `memory`; `output` `none` or `acc`"),
    ("acc <- phased", "never-driven", "`left`; `right`"),
    ("acc <- phased, left 0", "never-driven", "`left`; `right`"),
    ("acc <- lent", "never-driven", "`output` `memory`; `on`"),
    ("acc <- lent, output acc", "never-driven", "`output` `memory`; `on`"),
    ("acc <- turbo", "never-driven", "`bypass` 0; `bypass`"),
    ("acc <- staged", "never-driven", "`output` `acc`; `on`"),
    ("acc <- near", "never-driven", "`number` 1; `number` 2"),
    ("acc <- near, number 3", "never-driven", "`number` 1; `number` 2"),
])
def test_ways_between_which_the_word_must_choose(clauses: str, name: str, ways: str) -> None:
    _, (finding,) = compiled(described(PANEL), f"routine first at 0\n    {clauses}, target first\n")
    assert (finding.name, finding.help) == (name, f"add one of: {ways}")


def test_a_driver_and_a_taker_that_never_meet() -> None:
    """`stage` drives in one half of the clock, `late` takes in the other; a bus that keeps its level will do."""
    text = "routine first at 0\n    late <- stage, target first\n"
    assert faults(described(PANEL), text) == [
        "small.micro:2:5: never-sampled: `late <- stage` cannot be: when `stage` drives, `late` does not take"]
    assert faults(described(PANEL.replace("pulled high", "kept")), text) == []


def test_a_register_takes_when_its_list_and_its_load_say_so() -> None:
    apart = PANEL.replace("loads data when load is acc", "loads data when load is acc and left")
    machine = described(apart)
    word = program_of(machine, "routine first at 0\n    acc <- stage, target first\n").words[0].bits
    assert machine.fields["left"].read(word) == 1
