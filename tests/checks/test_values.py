"""What a driver is said to put on its bus, against the same said by `follows`, a signal or a `sampled by`: the checks
must see as much."""

import pytest

from tests.checks.reports import outcomes, report
from tests.planted.plant import Sound

MACHINE = """\
machine weir "a weir with two pools"
microprogram "m.micro"
store control 4 words of 8 bits
    address upc
field fill 1 bit
field open 1 bit
field take 1 bit
field gate 1 bit
field move 1 bit
field last 1 bit
spare 2 bits
state upc 2 bits, reset 0
    next 0 if last else upc + 1
register level 2 bits, loads level + 1 when move, reset 0
bus upper 2 bits, floats
    driven by level when fill
bus lower 2 bits, floats
    DRIVER
DECLARED
strobe gate
    lower steady 1 cycle before, 1 cycle after
"""
POOL = "memory pool 4 words of 2 bits\n    address upper\n"
JOINTS = {
    "by follows": ("driven by sluice when open, follows upper", ""),
    "by a value": ("driven by sluice = upper when open", ""),
    "by an expression": ("driven by sluice = not upper when open", ""),
    "by a signal": ("driven by sluice when open", "signal sluice = upper + 1\n"),
    "by a memory": ("driven by pool when open", POOL),
    "by a value with a memory": ("driven by sluice = pool when open", POOL),
}


def weir(joint: str, words: list[str], more: str = "register basin 2 bits, loads lower when take\n") -> Sound:
    driver, declared = JOINTS[joint]
    text = MACHINE.replace("DRIVER", driver).replace("DECLARED\n", declared + more)
    return Sound(text, "routine main\n" + "".join(f"        {word}\n" for word in [*words, "last"]))


@pytest.mark.parametrize("joint", JOINTS)
@pytest.mark.parametrize(("word", "outcome"), [
    ("open, take", "broken"), ("fill, open, take", "proved"), ("open", "proved"), ("take, fill", "proved")])
def test_a_bus_without_a_level_is_taken_through_what_a_driver_puts(joint: str, word: str, outcome: str) -> None:
    """`upper` floats unless it is filled; `basin` takes it by way of `lower`. Without `open` nothing comes through."""
    found = outcomes(report(weir(joint, [word, "fill, open"])))
    assert found["floating upper"] == outcome


@pytest.mark.parametrize("joint", JOINTS)
@pytest.mark.parametrize(("words", "outcome"), [
    (["fill, open", "fill, open, gate", "fill, open"], "proved"),
    (["fill, open, move", "fill, open, gate", "fill, open"], "broken"),
    (["fill, open", "fill, open, gate, move", "fill, open"], "broken"),
    (["open", "fill, open, gate", "fill, open"], "broken")])
def test_what_is_put_there_is_as_steady_as_what_it_comes_from(joint: str, words: list[str], outcome: str) -> None:
    """`level` moves in the cycle before the strobe, or at its end; or `upper` is driven only from the strobe on."""
    found = outcomes(report(weir(joint, words, "")))
    held = {found[f"missing-hold lower {side} gate"] for side in ("before", "after")}
    assert ("broken" if "broken" in held else "proved") == outcome


@pytest.mark.parametrize(("write", "more"), [
    ("writes lower when take", ""), ("writes 0b01 when lower[0] and take", ""),
    ("", "    sampled by pond when take\n")])
def test_a_write_takes_what_it_stores(write: str, more: str) -> None:
    """As much as a `sampled by` does: `lower` has no level while nothing is open."""
    machine = MACHINE.replace("DRIVER", f"driven by sluice = upper when open\n{more}").replace(
        "DECLARED\n", f"memory pond 4 words of 2 bits\n    address level\n    {write}\n" if write else "")
    for word, outcome in (("take", "broken"), ("fill, open, take", "proved")):
        texts = Sound(machine, f"routine main\n        {word}\n        fill, open\n        last\n")
        assert outcomes(report(texts))["floating lower"] == outcome


def test_an_address_from_a_bus_is_taken_by_a_write() -> None:
    machine = MACHINE.replace("DRIVER", "driven by sluice = upper when open").replace(
        "DECLARED\n", "memory pond 4 words of 2 bits\n    address lower\n    writes level when take\n")
    for word, outcome in (("take", "broken"), ("fill, open, take", "proved"), ("fill", "proved")):
        texts = Sound(machine, f"routine main\n        {word}\n        fill, open\n        last\n")
        assert outcomes(report(texts))["floating lower"] == outcome


def test_a_memory_that_is_written_is_not_steady() -> None:
    """What is read changes with the word, though the address stands."""
    for write, outcome in (("    writes level when move\n", "broken"), ("", "proved")):
        pond = f"memory pond 4 words of 2 bits\n    address 0b00\n{write}"
        machine = MACHINE.replace("DRIVER", "driven by pond when open").replace("DECLARED\n", pond).replace(
            "loads level + 1 when move", "loads level + 1 when last")
        texts = Sound(machine, "routine main\n        open, move\n        open, gate\n        open\n        last\n")
        assert outcomes(report(texts))["missing-hold lower before gate"] == outcome


@pytest.mark.parametrize("value", ["pond", "pond + 1"])
@pytest.mark.parametrize(("address", "outcome"), [("0b00", "proved"), ("{paddle, paddle}", "broken")])
def test_a_memory_that_a_line_from_outside_addresses_is_not_steady(value: str, address: str, outcome: str) -> None:
    """Nothing says that the line keeps still while the strobe needs the bus."""
    machine = MACHINE.replace("DRIVER", f"driven by sluice = {value} when open").replace(
        "DECLARED\n", f"memory pond 4 words of 2 bits\n    address {address}\ninput paddle 1 bit\n")
    micro = "routine main\n        open\n        open, gate\n        open\n        last\n"
    found = outcomes(report(Sound(machine, micro)))
    assert found["missing-hold lower before gate"] == found["missing-hold lower after gate"] == outcome
