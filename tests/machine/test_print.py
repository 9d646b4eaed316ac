"""The machine as tables: what a person holds against the schematic."""

from ordain.machine.print import machine_lines, table
from tests.machine.described import FRAME, sound
from tests.machine.whole import KILN


def test_a_small_machine_is_printed_whole() -> None:
    text = FRAME + """\
chip U1 32 x 8
    holds   control[7:2], not go, halt
    address {any, upc[0], upc[3:1]}
    technology eeprom
register r 4 bits, loads b when go
bus b 4 bits, pulled high, turnaround 2
    driven by r when halt
    sampled by lamps
"""
    assert machine_lines(sound(text)) == """\
store control: 16 words of 8 bits
  address: upc (4 bits)
  field   bits   holds                              pins, highest bit first
  branch  [7:6]  step 0, jump 1, loop 2, idle step  U1.D7, U1.D6
  target  [5:2]  address[3:0], idle 0               U1.D5, U1.D4, U1.D3, U1.D2
  go      [1]    flag                               not U1.D1
  halt    [0]    flag, active low                   U1.D0

chip U1: 32 x 8, erased ones, eeprom
  control
    D7-D2 control[7:2]  D1 not control[1]  D0 control[0]
    A4 any  A3 address[0]  A2-A0 address[3:1]

state upc: 4 bits, reset 0
  next  upc + 1                 if branch is step
  next  target                  if branch is jump
  next  upc                     if branch is loop
  next  any (undefined branch)  otherwise

registers
  name  kind      bits  loads  when
  r     register  4     b      go

bus b: 4 bits, pulled high, turnaround 2
  driven by   r      register  when halt
  sampled by  lamps            when always""".splitlines()


def test_every_name_of_a_machine_is_printed() -> None:
    """Nothing that the file declares may be missing from what is held against the schematic."""
    machine = sound(KILN)
    text = "\n".join(machine_lines(machine))
    fields = [field.name for field in machine.fields.values() if field.holds != "spare"]
    parts = [driver.name for bus in machine.buses.values() for driver in bus.drivers]
    codes = [code.name for field in machine.fields.values() for code in field.codes]
    for name in [*machine.stores, *machine.chips, *fields, *codes, *machine.states, *machine.registers, *machine.buses,
                 *parts, *(strobe.name for strobe in machine.strobes)]:
        assert name in text, name


def test_every_wired_pin_is_printed_at_its_field() -> None:
    machine = sound(KILN)
    text = "\n".join(machine_lines(machine))
    for chip in machine.chips.values():
        for bank in chip.banks:
            for place, pin in enumerate(reversed(bank.pins)):
                if pin.bit is not None:
                    assert f"{chip.name}.D{place}" in text


def test_no_line_ends_in_blanks() -> None:
    assert all(line == line.rstrip() for line in machine_lines(sound(KILN)))


def test_a_table_lines_its_columns_up() -> None:
    assert table([("a", "bb"), ("ccc", "")], indent="") == ["a    bb", "ccc"]
    assert table([]) == []
