"""The wire list: every known pin once, with the net that the file puts on it."""

import csv
import io

import pytest

from ordain.language.machine_file import parse_machine
from ordain.machine.wire_list import WiredPin, joints
from ordain.machine.wording import code_names
from ordain.show.wires import wires_csv
from tests.language.trees import said
from tests.machine.described import FRAME, sound

BOARD = FRAME + """\
input ready 1 bit
signal go_out = go and ready
chip U2 32 x 8
    holds branch, target, not go, halt
    address {0b0, upc[0], not upc[3], upc[2:1]}
part U10 "74LS00"
    A1 1, B1 2, Y1 3, GND 7
part U2
    A4 20, D7 9
wire go_out at U10.Y1
wire branch[0] at U10.A1
wire target at U11.Q[3:0], U2.D[5:2]
wire halt at U3.{LE}
"""


def test_every_pin_has_its_net() -> None:
    machine = sound(BOARD)
    found = joints(machine, code_names(machine))
    nets = {f"{joint.part}.{joint.pin}": joint.net for joint in found}
    assert len(nets) == len(found), "each pin once"
    assert nets == {
        "U2.D7": "branch[1]", "U2.D6": "branch[0]", "U2.D5": "target[3]", "U2.D4": "target[2]", "U2.D3": "target[1]",
        "U2.D2": "target[0]", "U2.D1": "not go", "U2.D0": "halt",
        "U2.A4": "0", "U2.A3": "upc[0]", "U2.A2": "not upc[3]", "U2.A1": "upc[2]", "U2.A0": "upc[1]",
        "U3.LE": "halt", "U10.A1": "branch[0]", "U10.B1": "", "U10.Y1": "go_out", "U10.GND": "",
        "U11.Q3": "target[3]", "U11.Q2": "target[2]", "U11.Q1": "target[1]", "U11.Q0": "target[0]"}
    numbers = {f"{joint.part}.{joint.pin}": joint.number for joint in found if joint.number is not None}
    assert numbers == {"U10.A1": 1, "U10.B1": 2, "U10.Y1": 3, "U10.GND": 7, "U2.A4": 20, "U2.D7": 9}
    assert [joint.part for joint in found] == sorted((joint.part for joint in found), key=lambda part: int(part[1:]))


def test_what_a_net_is_is_said() -> None:
    machine = sound(BOARD)
    what = {f"{joint.part}.{joint.pin}": joint.what for joint in joints(machine, code_names(machine))}
    assert what["U3.LE"] == "field, active low" and what["U10.Y1"] == "signal"
    assert what["U2.D0"] == "bit 0 of control, active low"
    assert what["U2.D1"] == "bit 1 of control, inverted behind the pin"
    assert what["U2.A2"] == "address bit 3 of control, inverted before the pin"
    assert what["U2.A4"] == "tied for control" and what["U10.GND"] == "no net in this file"


def test_a_chip_of_two_stores_names_both_nets() -> None:
    machine = sound(FRAME + """\
store look 8 words of 2 bits
    address {upc[3:2], go}
    word {go, go}
chip U2 32 x 8
    holds control
    address {0b0, upc}
    holds spare, look, spare, spare, spare, spare, spare
    address {0b1, any, look_address}
signal look_address = {upc[3:2], go}
""".replace("look_address}\nsignal look_address = {upc[3:2], go}\n", "upc[3:2], go}\n"))
    nets = {joint.pin: joint.net for joint in joints(machine, code_names(machine))}
    assert (nets["A4"], nets["D6"], nets["A2"]) == ("0 / 1", "branch[0] / look[1]", "upc[2] / upc[3]")


def test_as_csv_it_is_read_back_by_a_reader_of_csv() -> None:
    """Python's csv, an implementation of RFC 4180."""
    rows = list(csv.reader(io.StringIO(wires_csv([
        WiredPin("U1", "A0", 10, "upc[0]", "address bit 0 of control"), WiredPin("U4", "Y1", None, "", "a, b")]))))
    assert rows == [["chip", "pin", "number", "net", "what"],
                    ["U1", "A0", "10", "upc[0]", "address bit 0 of control"], ["U4", "Y1", "", "", "a, b"]]


@pytest.mark.parametrize(("line", "fault"), [
    ("wire a + b at U1.X", ("syntax", "m:2:6")), ("wire a at U1", ("syntax", "m:2:11")),
    ("wire a at U1.{}", ("syntax", "m:2:11")), ("wire a at U1.{A B}", ("syntax", "m:2:11")),
    ("wire a at U1.D[4000:0]", ("bad-number", "m:2:11")), ("part U4 74", ("syntax", "m:2:9")),
    ("part U4\n    A", ("syntax", "m:3:6")), ("wire a\nat U1.X", ("syntax", "m:2:7"))])
def test_what_cannot_be_read(line: str, fault: tuple[str, str]) -> None:
    assert fault in said(parse_machine({"m": "machine m\n" + line + "\n"}, "m")[1])


def test_pins_may_have_any_order_and_lie_on_the_next_line() -> None:
    machine = sound(FRAME + "wire target at\n    U4.Q[0:3],\n    U5.{1A, 2A, 3A, 4A}\n")
    assert machine.wires[0].pins == (("U4", ("Q0", "Q1", "Q2", "Q3")), ("U5", ("1A", "2A", "3A", "4A")))
