"""The model of a machine that uses every statement."""

import pytest

from ordain.logic.evaluate import evaluate
from ordain.machine import model
from ordain.machine.expression import LeafKind, Node, leaves
from ordain.machine.wording import words
from tests.machine.described import sound
from tests.machine.whole import KILN

MACHINE = sound(KILN)


def leaf(kind: LeafKind, name: str, width: int) -> Node:
    return MACHINE.terms.leaf(kind, name, width)


def line(bit: int | None, inverted: bool = False, level: int | None = None) -> model.AddressPin:
    return model.AddressPin(bit, inverted, level)


def test_the_head() -> None:
    assert (MACHINE.name, MACHINE.title) == ("kiln", "opens the draught of a kiln by the clock, tended from a panel")
    assert [file.text for file in MACHINE.microprogram] == ["kiln.micro"]
    assert MACHINE.constants == {"hold_vector": 0x3F0, "trap_vector": 0x3F1}
    assert MACHINE.broken == frozenset()


def test_stores() -> None:
    control, entry, decoder = MACHINE.stores.values()
    assert (control.fill, control.words, control.bits, control.address_width) == ("microprogram", 1024, 40, 10)
    assert control.unused is not None and [clause.text for clause in control.unused] == ["goto fetch"]
    assert (entry.fill, entry.opcode_width, entry.instruction) == ("start", 8, (7, 0))
    assert entry.unused is None and entry.address is leaf("register", "ir", 8)
    assert decoder.fill == "computed" and decoder.computed is not None
    assert words(decoder.computed) == "{source is 1, source is not 2, parity(source)}"


def test_data_pins() -> None:
    """Layout of the word, by hand: source 39:36, write 35, target 34:25, number 24:17, branch 16:14, drive_address 13,
    grant 12, read_enable 11, load 10:9, check 8."""
    u20, _, u22, u23, _, u25 = MACHINE.chips.values()
    assert [pin.bit for pin in u20.banks[0].pins] == list(range(39, 23, -1))
    first, second = u22.banks
    assert [pin.bit for pin in first.pins] == [10, 9, 8, 11, None, None, 13, 14]
    assert [pin.inverted for pin in first.pins] == [False, False, True, False, False, False, False, False]
    assert second.store == "entry" and [pin.bit for pin in second.pins] == [9, 8, 7, 6, 5, 4, 3, 2]
    assert [pin.bit for pin in u25.banks[0].pins] == [None, 2, 1, 0]
    assert [pin.level for pin in u23.banks[0].pins] == [0, 1, 1, 0, 1, 1, 0, 1], "spare: as erased; tied: as tied"
    assert u23.banks[1].pins[-2].level == 0, "spare here, tied to 0 where the other bank shares the cell"
    assert u23.banks[1].repeats and not u23.banks[0].repeats


@pytest.mark.parametrize(("high", "level"), [("0b1", 0), ("any", 1)])
def test_a_spare_pin_reads_as_erased_but_for_cells_that_are_shared(high: str, level: int) -> None:
    """The other part ties the line to 1: in its own half of the chip, or in both."""
    chip = sound(f"""\
machine small
store control 4 words of 3 bits
    address upc
field go 3 bits, idle 0
store look 4 words of 2 bits
    address upc
    word upc
chip U1 8 x 6
    holds   1, spare, spare, control
    address {{{'0b0' if level == 0 else 'any'}, upc}}
    holds   spare, look, spare, spare, spare
    address {{{high}, upc}}
    erased zeros
state upc 2 bits, reset 0
    next upc + 1
""").chips["U1"]
    assert [bank.pins[0].level for bank in chip.banks] == [1, level]


def test_address_pins() -> None:
    _, u21, u22, u23, *_ = MACHINE.chips.values()
    assert u21.banks[0].address == (line(None), *[line(None, level=0)] * 4, *[line(bit) for bit in range(9, -1, -1)])
    assert [pin.bit for pin in u22.banks[0].address] == [None, 0, 9, 8, 7, 6, 5, 4, 3, 2, 1]
    assert u22.banks[1].address == (line(None, level=1), line(None, level=0), line(None, level=0),
                                    *[line(bit, inverted=True) for bit in range(7, -1, -1)])
    assert u23.banks[1].address[:2] == (line(None, level=1), line(None, level=1))


def test_technology() -> None:
    u20, u21, *_ = MACHINE.chips.values()
    assert (u20.technology, u20.sector, u20.erased) == ("flash", 256, 1)
    assert (u21.technology, u21.sector, u21.erased) == ("", 0, 0)


def test_states_and_inputs() -> None:
    assert list(MACHINE.states) == ["upc", "request_1", "request_2", "panel.mode"]
    mode = MACHINE.states["panel.mode"]
    assert (mode.width, mode.codes, mode.reset, mode.agent) == (2, ("idle", "asking", "looking", "writing"), 0, "panel")
    assert list(MACHINE.inputs) == ["draught", "panel.want", "panel.turn", "clock.hour"]
    turn = MACHINE.inputs["panel.turn"]
    assert (turn.width, turn.codes, turn.agent) == (2, ("left", "right", "none"), "panel")
    assert MACHINE.agents["panel"].title == "whoever tends the kiln" and MACHINE.agents["clock"].title == ""


def test_registers() -> None:
    acc, ir, mar = MACHINE.registers.values()
    assert (acc.reset, ir.reset, acc.transparent, mar.transparent) == (0, None, False, True)
    assert acc.loads[0].source is leaf("bus", "data", 8)
    assert acc.loads[0].when is MACHINE.terms.among(leaf("field", "load", 2), frozenset({1}))
    assert mar.loads[0].source is MACHINE.terms.join([MACHINE.terms.const(0, 8), leaf("bus", "data", 8)])
    assert mar.loads[1].source is None


def test_buses() -> None:
    address, data = MACHINE.buses.values()
    assert (address.width, address.undriven, address.turnaround) == (16, "floats", 0)
    assert (data.width, data.undriven, data.turnaround) == (8, "floats", 1)
    assert [(driver.name, driver.kind) for driver in data.drivers] == [
        ("acc", "register"), ("memory", "part"), ("number", "part"), ("panel", "agent")]
    assert data.drivers[1].follows == "address" and address.drivers[1].steady is not None
    assert address.drivers[0].steady is None
    assert [(sampler.name, words(sampler.when)) for sampler in data.samplers] == [
        ("acc", "load is 1"), ("memory", "write or panel.mode is 3")]


def test_demands() -> None:
    strobe, = MACHINE.strobes
    assert strobe.active is MACHINE.signals["pulse"].value
    assert [need[:3] for need in strobe.needs] == [("address", 1, 1), ("data", 0, 1)]
    keep, = MACHINE.keeps
    assert (keep.names, keep.text) == (("acc", "ir", "upc"), "panel.owns")
    exclusive, = MACHINE.exclusives
    assert exclusive.names == ("read_enable", "pulse")
    assert [assumption.text for assumption in MACHINE.assumptions] == [
        "not (panel.asks and panel.mode is writing)", "hour < 24"]
    assert MACHINE.home is leaf("at", "fetch", 1)
    allowance, = MACHINE.allowances
    assert allowance[:4] == ("contention", "data", "hold.release", "series resistors R11 to R18")


def test_rules() -> None:
    never, reach, always, when, between, after = MACHINE.rules
    assert never.text == "grant only after the drivers are off" and never.source == "never granted and drive_address"
    assert isinstance(never.form, model.Never)
    assert isinstance(reach.form, model.Reach) and not reach.form.always
    assert isinstance(always.form, model.Reach) and always.form.always
    assert isinstance(when.form, model.WhenThen) and when.form.cycles == 40
    assert words(when.form.unless) == "draught is 7" and when.form.trigger is leaf("state", "request_2", 1)
    assert isinstance(between.form, model.BetweenNever) and between.form.after is leaf("field", "write", 1)
    assert isinstance(after.form, model.AfterNever) and after.form.until is leaf("field", "grant", 1)


def test_what_a_rule_does_not_say() -> None:
    text = KILN.replace(" unless draught is 7", "").replace(" after write", "")
    machine = sound(text)
    when, between = machine.rules[3].form, machine.rules[4].form
    assert isinstance(when, model.WhenThen) and when.unless is machine.terms.const(0, 1)
    assert isinstance(between, model.BetweenNever) and between.after is machine.terms.const(1, 1)


def test_orders_are_kept_as_written() -> None:
    assert [len(order.phrase) for order in MACHINE.orders] == [1, 2, 3, 4]
    assert [setting.field.text for setting in MACHINE.orders[3].settings] == ["read", "goto"]


def test_instruction_and_step() -> None:
    machine = sound("""\
machine small
store control 256 words of 4 bits
    address {zero, ir[7:4], step}
    instruction ir
    step step
field go 4 bits, idle 0
condition zero 1 bit
register ir 8 bits
state step 3 bits, reset 0
    next step + 1
""")
    control = machine.stores["control"]
    assert (control.instruction, control.step, control.opcode_width) == ((6, 3), (2, 0), 4)
    assert control.address_width == 8 and control.starts_at is None


def test_a_role_may_name_a_part() -> None:
    """`instruction ir[7:4]`: the same machine as when the whole register is named and four of its lines are carried."""
    def control(instruction: str, step: str) -> model.Store:
        return sound(f"""\
machine small
store control 256 words of 4 bits
    address {{zero, ir[7:4], count[2:0]}}
    instruction {instruction}
    step {step}
field go 4 bits, idle 0
condition zero 1 bit
register ir 8 bits
state count 5 bits, reset 0
    next count + 1
""").stores["control"]

    part = control("ir[7:4]", "count[2:0]")
    assert (part.instruction, part.step, part.opcode_width) == ((6, 3), (2, 0), 4)
    whole = control("ir", "count")
    assert (whole.instruction, whole.step, whole.opcode_width) == ((6, 3), (2, 0), 4)
    assert control("ir[6:4]", "count[1:0]").instruction == (5, 3)


def test_start_wired_from_a_part() -> None:
    """The opcode is what the `instruction` line says, and the start address is told over those bits alone."""
    machine = sound("""\
machine small
store control 128 words of 4 bits
    address upc
    starts at {ir[7], 0b0, ir[6:5], 0b000}
    instruction ir[7:5]
field go 4 bits, idle 0
register ir 8 bits
state upc 7 bits, reset 0
    next upc + 1
""")
    control, terms = machine.stores["control"], machine.terms
    assert control.opcode_width == 3 and control.opcode is terms.slice(terms.leaf("register", "ir", 8), 7, 5)
    assert control.starts_at is not None
    (opcode,) = leaves([control.starts_at])
    for value in range(8):
        assert evaluate(control.starts_at, {opcode: value}) == (value >> 2) << 6 | (value & 3) << 3


def test_start_wired_from_the_opcode() -> None:
    machine = sound("""\
machine small
store control 128 words of 4 bits
    address upc
    starts at {0b0, ir[3:0], 0b00}
field go 4 bits, idle 0
register ir 8 bits
state upc 7 bits, reset 0
    next upc + 1
""")
    control, terms = machine.stores["control"], machine.terms
    assert control.opcode_width == 8
    opcode = terms.slice(terms.leaf("opcode", "ir", 8), 3, 0)
    assert control.starts_at is terms.join([terms.const(0, 1), opcode, terms.const(0, 2)])
