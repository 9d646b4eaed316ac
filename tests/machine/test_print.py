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
  field   bits   pins       holds
  branch  [7:6]  U1.D7-D6   step 0, jump 1, loop 2, idle step
  target  [5:2]  U1.D5-D2   address[3:0], idle 0
  go      [1]    not U1.D1  flag
  halt    [0]    U1.D0      flag, active low

chip U1: 32 x 8, erased ones, eeprom
  control
    D7-D2 control[7:2]  D1 not control[1]  D0 control[0]
    A4 any  A3 upc[0]  A2-A0 upc[3:1]

state upc: 4 bits, reset 0
  next  branch is step  : upc + 1
  next  branch is jump  : target
  next  branch is loop  : upc
  next  otherwise       : any (undefined branch)

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


def test_pins_are_printed_at_the_fields_whose_bits_they_hold() -> None:
    """Layout and pins of the kiln worked out by hand; see `whole`."""
    lines = machine_lines(sound(KILN))
    rows = {line.split()[0]: line for line in lines if line.startswith("  ")}
    assert " U20.D15-D12 " in rows["source"]
    assert " U20.D0, U21.D7-D1 " in rows["number"]
    assert " U21.D0, U23.D7, U22.D0 " in rows["branch"]
    assert " not U22.D5 " in rows["check"]
    assert "  pins: U22.D7-D0, U23.D6=U24.D1, U23.D5=U24.D0" in lines


def test_neighbouring_pins_are_said_together_up_or_down() -> None:
    text = FRAME + "chip U1 16 x 8\n    holds {targets}, branch, go, halt\n    address upc\n"
    for targets, shown in (("target", "U1.D7-D4"), ("target[0], target[1], target[2], target[3]", "U1.D4-D7"),
                           ("target[2], target[3], target[1:0]", "U1.D6-D7, U1.D5-D4"),
                           ("target[3:2], target[0], target[1]", "U1.D7-D6, U1.D4-D5")):
        row = next(line for line in machine_lines(sound(text.format(targets=targets))) if "target " in line)
        assert f"  {shown}  " in row


def test_no_line_ends_in_blanks() -> None:
    assert all(line == line.rstrip() for line in machine_lines(sound(KILN)))


def test_a_table_lines_its_columns_up() -> None:
    assert table([("a", "bb"), ("ccc", "")], indent="") == ["a    bb", "ccc"]
    assert table([]) == []
    wide = "x" * 60
    assert table([("a", "b"), (wide, "c")], indent="") == ["a  b", wide + "  c"]
