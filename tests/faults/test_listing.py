"""Which faults there are, worked out by hand for three words in four chips."""

from pathlib import Path

import pytest

from ordain.cli.faults import every_fault
from ordain.faults.listing import bit_faults, chip_faults, driver_faults, erased_faults, held_bits, synchroniser_faults
from ordain.faults.model import BoardFault, Fault
from ordain.machine.expression import Terms
from ordain.pipeline import build_model
from tests.faults.test_classes import MACHINE, MICRO
from tests.workshop import contents_of

ROOT = Path(__file__).parents[2]
CHIPS = """\
store lit 8 words of 2 bits
    address upc
    word {upc[0], upc is 3}
store dim 8 words of 2 bits
    address upc
    word {upc[0], upc is 3}
chip U1 8 x 4
    erased zeros
    holds not control[7:5], control[4]
    address upc
chip U2 8 x 4
    holds control[3:1], spare
    address upc
chip U3 8 x 2
    holds lit
    address upc
chip U4 8 x 4
    repeats control[7:4]
    address upc
bus sound"""
BOARD = contents_of(MACHINE.replace("bus sound", CHIPS), MICRO)
WORDS = {0: 0b001_1_0_00_0, 1: 0b010_0_1_00_0, 2: 0b000_0_0_01_0}
LINES = {7: "next[2] (U1.D3)", 6: "next[1] (U1.D2)", 5: "next[0] (U1.D1)", 4: "ring (U1.D0)", 3: "lamp (U2.D3)",
         2: "tone[1] (U2.D2)", 1: "tone[0] (U2.D1)"}


def test_every_bit_that_a_chip_holds_of_every_word_that_stands_somewhere() -> None:
    """`dim` is in no chip; the lowest bit of `control`, which is spare, is in none, either."""
    assert {address: BOARD.words["control"][address] for address in WORDS} == WORDS
    found = list(bit_faults(BOARD))
    names = ["round.start", "round.start+1", "round.start+2"]
    assert found[:21] == [
        Fault("bit", f"{names[address]} at control {address}: {line}",
              ("control", "round", names[address], line.split("[")[0].split(" ")[0], line[-6:-4]),
              {"control": {address: word ^ 1 << bit}}, "control", address, bit)
        for address, word in WORDS.items() for bit, line in LINES.items()]
    assert found[21:] == [Fault("bit", f"lit {address}: lit[{bit}] (U3.D{bit})", ("lit", "U3"),
                                {"lit": {address: BOARD.words["lit"][address] ^ 1 << bit}}, "lit", address, bit)
                          for address in range(8) for bit in (1, 0)]


def test_where_no_chip_is_said_every_bit_may_be_wrong() -> None:
    found = list(bit_faults(contents_of(MACHINE, MICRO)))
    assert [(one.address, one.bit) for one in found] == [(at, bit) for at in range(3) for bit in range(7, -1, -1)]
    assert found[7].text == "round.start at control 0: spare bit 0"


@pytest.mark.parametrize("blank, left", [(0b1110_1110, (0, 1, 2)), (0b0011_0001, (1, 2)), (0b0011_0000, (1, 2))])
def test_words_that_read_erased(blank: int, left: tuple[int, ...]) -> None:
    """A bit that no chip holds stays; a word that says the same when it is erased has no fault."""
    found = list(erased_faults(BOARD, {"control": blank, "lit": 0b11, "dim": 0b11}))
    assert found[:len(left)] == [
        Fault("erased", f"round.start{f'+{address}' * (address > 0)} at control {address} erased",
              ("control", "round", f"round.start{f'+{address}' * (address > 0)}"),
              {"control": {address: blank & 0b1111_1110}}, "control", address, -1) for address in left]
    assert [(one.store, one.address, one.changes) for one in found[len(left):]] == [
        ("lit", address, {"lit": {address: 0b11}}) for address in (0, 1, 2, 4, 5, 6, 7)]
    assert held_bits(BOARD.machine, "dim") == 0 and held_bits(BOARD.machine, "lit") == 0b11


def test_faults_of_chips_change_what_reads_otherwise() -> None:
    words = BOARD.words["control"]
    found = list(chip_faults(BOARD, [("pin", "U1.D0 stays 1", {"control": (words[0], words[1] | 16, *words[2:])}),
                                     ("exchange", "U1 and U2 exchanged", {"control": words})]))
    assert found == [Fault("pin", "U1.D0 stays 1", ("U1", "control"), {"control": {1: words[1] | 16}}),
                     Fault("exchange", "U1 and U2 exchanged", ("U1", "U2", "control"), {"control": {}})]
    with pytest.raises(ValueError, match="state"):
        list(chip_faults(BOARD, [("state", "upc", {})]))


@pytest.mark.parametrize("when, levels", [("when ring", (1, 0)), ("when 1", (0,)), ("when 0", (1,))])
def test_drivers_that_are_always_on_or_never(when: str, levels: tuple[int, ...]) -> None:
    drivers = f"driven by horn when lamp\n    driven by bell {when}"
    machine = contents_of(MACHINE.replace("driven by bell when ring", drivers)
                          .replace("sampled by horn when ring", ""), MICRO).machine
    said = {1: "always drives", 0: "never drives"}
    assert list(driver_faults(machine)) == [
        Fault("driver", f"{name} {said[level]} sound", (name, "sound"), {}, board=BoardFault("sound", number, level))
        for number, name, some in ((0, "horn", (1, 0)), (1, "bell", levels)) for level in some]


def test_a_flip_flop_that_is_left_out() -> None:
    terms = Terms()
    inside = ((terms.leaf("state", "late", 1), terms.leaf("input", "ask", 1)),)
    assert list(synchroniser_faults([("late left out", inside)])) == [
        Fault("synchroniser", "late left out", ("late",), {}, board=BoardFault(inside=inside))]


def test_no_two_faults_of_a_machine_are_called_alike() -> None:
    """What came of them is kept by that."""
    tried = (build_model(path)[0] for path in sorted((ROOT / "examples").rglob("*.machine")))
    built = [one for one in tried if one is not None]
    assert len(built) > 5
    for one in built:
        texts = [fault.text for fault in every_fault(one)[0]]
        assert len({*texts}) == len(texts) > 50, one.machine.name
