"""What a word orders: fields by the names of their codes, what no order set, words that nobody wrote."""

from itertools import product

import pytest

from ordain.compare.orders import Pairing
from ordain.compare.told import Told
from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import compared, edited, moved

QUILL = """\
machine quill
microprogram "m.micro"
store control 8 words of 10 bits
    address upc
field go 1 bit
field to 3 bits address, idle 0
field note 2 bits
    none 0 idle
    bell 1
    horn 2
field pen 3 bits, idle any
field ink 1 bit, idle any
state upc 3 bits, reset 0
    next to if go else upc + 1
home upc is 0
"""
PEN = 0b1110
"""Its bits in a word."""


def quill(open: tuple[str, ...] = (), left: int = 0, text: str = QUILL, ink_of_unused: int = 0,
          **first: int | str) -> Contents:
    """The first word; the second goes where nobody wrote one. `open`, `left`: fields and bits that no order set."""
    made = burned(resolved(text), {0: Word("fetch", first, open=open), 1: Word("on", {"go": 1, "to": 7})},
                  unused={"ink": ink_of_unused, "go": 1})
    rows = made.sites["control"]
    return made._replace(sites={**made.sites, "control": {**rows, 0: rows[0]._replace(open=rows[0].open | left)}})


def test_what_no_order_set_does_not_count() -> None:
    """Where a field is `idle any`; and left open is not the same as set to what happens to stand there."""
    for filler in (0, 1):
        assert moved(compared(quill(("ink",), ink=filler), quill(("ink",), ink=1 - filler))) == {}
        assert moved(compared(quill(("ink",), ink=filler), quill(ink=filler)))["reset"] == "changed"
        assert moved(compared(quill(ink=filler), quill(ink=1 - filler)))["reset"] == "changed"
    assert moved(compared(quill(("pen", "ink"), pen=5, ink=1), quill(("pen", "ink"), pen=2))) == {}
    assert moved(compared(quill(("pen",), pen=5), quill(("ink",), pen=5)))["reset"] == "changed"


def test_a_field_with_an_idle_code_counts_though_no_order_set_it() -> None:
    assert moved(compared(quill(("note",)), quill(note="none"))) == {}
    assert moved(compared(quill(("note",)), quill(("note",), note="bell")))["reset"] == "changed"


@pytest.mark.parametrize("bit", [0, 1, 2])
def test_of_a_field_that_is_set_in_part_that_part_counts(bit: int) -> None:
    left = 0b0010 << bit
    assert moved(compared(quill(left=left, pen=0), quill(left=left, pen=1 << bit))) == {}
    for other in {0, 1, 2} - {bit}:
        assert moved(compared(quill(left=left, pen=0), quill(left=left, pen=1 << other)))["reset"] == "changed"
        assert moved(compared(quill(left=left), quill(left=0b0010 << other)))["reset"] == "changed"
    assert moved(compared(quill(left=left, pen=7), quill(pen=7)))["reset"] == "changed"
    assert moved(compared(quill(left=PEN, pen=7), quill(("pen",), pen=0))) == {}


def test_a_word_that_nobody_wrote_orders_what_stands_in_it() -> None:
    assert moved(compared(quill(), quill())) == {}
    assert moved(compared(quill(), quill(ink_of_unused=1)))["reset"] == "changed"


def test_the_idle_code_counts_like_any_other() -> None:
    """What was `none` where nothing was ordered is `bell` now, and so it is told; ordered, they are the same."""
    rings = edited((QUILL, ""), ("none 0 idle\n    bell 1\n", "none 0\n    bell 1 idle\n"))[0]

    def all_of(text: str, **orders: str) -> Contents:
        return burned(resolved(text), {address: Word(f"w{address}", orders) for address in range(8)})

    assert moved(compared(all_of(QUILL), all_of(rings)))["reset"] == "changed"
    for note in ("none", "bell", "horn"):
        assert moved(compared(all_of(QUILL, note=note), all_of(rings, note=note))) == {}


@pytest.mark.parametrize(("was", "codes", "now", "same"), [
    ("none", "    bell 0 idle\n", "bell", False), ("bell", "    bell 0 idle\n", "bell", True),
    ("none", "    bell 0 idle\n", 1, False),
    ("horn", "    none 0 idle\n    bell 2\n", 1, False),
    ("horn", "    none 0 idle\n    bell 2\n", "bell", False), ("horn", "    bell 0 idle\n", 2, True)])
def test_a_number_without_a_counterpart_is_no_code(was: str, codes: str, now: int | str, same: bool) -> None:
    """`none` is gone, and 0 is the number of `bell` now; or 2 is, and 1 no code any more."""
    other = edited((QUILL, ""), ("    none 0 idle\n    bell 1\n    horn 2\n", codes))[0]
    old = burned(resolved(QUILL), {address: Word(f"w{address}", {"note": was}) for address in range(8)})
    new = burned(resolved(other), {address: Word(f"w{address}", {"note": now}) for address in range(8)})
    assert (moved(compared(old, new)) == {}) == same


def test_a_field_that_is_active_low() -> None:
    low = QUILL.replace("note 2 bits", "note 2 bits, active low")
    for was, now in product(("none", "bell", "horn"), repeat=2):
        for one, two in ((low, low), (QUILL, low), (low, QUILL)):
            old, new = (burned(resolved(text), {address: Word(f"w{address}", {"note": note}) for address in range(8)})
                        for text, note in ((one, was), (two, now)))
            assert (moved(compared(old, new)) == {}) == (was == now)


@pytest.mark.parametrize(("called", "number", "rings", "same"), [
    ("gong", 1, "gong", True), ("gong", 3, "gong", True), ("gong", 1, "horn", False), ("bell", 1, "bell", True)])
def test_a_code_with_another_name_that_rings_the_same_bell(called: str, number: int, rings: str, same: bool) -> None:
    """Of `horn` nothing is said, unless it rings, so the field counts by the names of its codes, but for what rings."""
    text = QUILL + "strobe ring\nsignal ring = note is bell\n"
    other = edited((text, ""), ("bell 1", f"{called} {number}"), ("note is bell", f"note is {rings}"))[0]
    for was, now in (("bell", called), ("horn", "horn"), ("none", "none")):
        old, new = (burned(resolved(text), {address: Word(f"w{address}", {"note": note}) for address in range(8)})
                    for text, note in ((text, was), (other, now)))
        expected = same or was == "none"
        assert (moved(compared(old, new)) == {}) == expected == (moved(compared(new, old)) == {})


def test_what_no_order_set_does_not_count_whatever_code_stands_there() -> None:
    """The codes have changed their numbers, and what fills the bits has not."""
    note = "field note 2 bits\n    none 0 idle\n    bell 1\n    horn 2\n"
    first = edited((QUILL, ""), (note, note.replace(" bits", " bits, idle any").replace(" idle\n", "\n")))[0]
    other = edited((first, ""), ("none 0\n    bell 1", "none 1\n    bell 0"))[0]

    def all_of(text: str, note: int | str, open: tuple[str, ...]) -> Contents:
        return burned(resolved(text), {address: Word(f"w{address}", {"note": note}, open=open) for address in range(8)})

    for was, now in product(range(4), repeat=2):
        assert moved(compared(all_of(first, was, ("note",)), all_of(other, now, ("note",)))) == {}
    for was, now in product(("none", "bell", "horn"), repeat=2):
        assert (moved(compared(all_of(first, was, ()), all_of(other, now, ()))) == {}) == (was == now)


# ---------------------------------------------------------------- codes that are left to what they bring about

KETTLE = """\
machine kettle
store control 8 words of 8 bits
    address upc
field FIELD
field lid 2 bits
    shut 0 idle
    ajar 1
    open 2
spare REST
input rain 1 bit
state upc 3 bits, reset 0
    next upc + 1
register hot 1 bit
    loads bus when HOT
register loud 1 bit
    loads bus when LOUD
register ajar_now 1 bit
    loads bus when lid is ajar
bus bus 1 bit, floats
    driven by rain when upc is 1
home upc is 0
"""


def said(field: str, hot: str, loud: str) -> Told:
    rest = "3 bits" if " 3 bits" in field else "4 bits"
    machine = resolved(KETTLE.replace("REST", rest).replace("FIELD", field).replace("HOT", hot).replace("LOUD", loud))
    return Told(machine, [load.when for register in machine.registers.values() for load in register.loads])


FIRE = said("fire 2 bits\n    out 0 idle\n    low 1\n    high 2\n    full 3", "fire[0]", "fire[1]")
"""All four are told from each other."""
FLAME = said("flame 2 bits\n    out 0 idle\n    high 1\n    low 2\n    pilot 3", "flame is low", "flame is pilot")
"""`high` is as `out`."""
GAPPED = said("flame 2 bits\n    out 0 idle\n    low 2\n    high 1", "flame is low", "flame is low")
"""Number 3 is none of its codes, and is told of nothing."""
WHOLE = said("flame 2 bits\n    out 0 idle\n    low 2\n    pilot 3", "flame is low", "flame is pilot")
"""All three are told."""
NUMBERS = {0: 0, 1: 2, 2: 1}


def pairing(old: Told, new: Told, loose: bool = True, numbers: dict[int, int] | None = NUMBERS) -> Pairing:
    fields = ("fire", "flame") if old is FIRE else ("flame", "fire")
    return Pairing({"lid": ("lid", None), fields[0]: (fields[1], numbers)}, (), (),
                   frozenset((fields[0],) if loose else ()), (old, new))


def left(of: Pairing, side: int, name: str) -> set[int]:
    return {value for value in range(4) if of.left_to_effects(side, name, value)}


def test_a_code_is_left_to_what_it_brings_about_where_both_machines_tell_it_or_one_alone_has_it() -> None:
    """`low` is told on both; `high` and `out` on one; `full` and `pilot` have no counterpart."""
    forth, back = pairing(FIRE, FLAME), pairing(FLAME, FIRE, numbers={0: 0, 2: 1, 1: 2})
    assert (left(forth, 0, "fire"), left(forth, 1, "flame")) == ({1, 3}, {2, 3})
    assert (left(back, 0, "flame"), left(back, 1, "fire")) == ({2, 3}, {1, 3})
    for of in (forth, back):
        assert left(of, 0, "lid") == left(of, 1, "lid") == set()        # that is compared code by code


def test_no_code_of_a_field_whose_codes_all_have_counterparts_is_left_to_what_it_brings_about() -> None:
    strict = pairing(FIRE, FLAME, loose=False)
    assert left(strict, 0, "fire") == left(strict, 1, "flame") == set()
    for of in (strict, pairing(FIRE, WHOLE, loose=False)):
        assert not of.said_by_effects(0, "fire") and not of.said_by_effects(1, "flame")


def test_a_number_that_is_no_code_of_the_other_machine_is_left_to_what_it_brings_about() -> None:
    """As the numbers are: 3 is `full` and nothing, or `pilot`, 2 is `high` and `low`, told on both."""
    assert left(pairing(FIRE, GAPPED, numbers=None), 0, "fire") == {2, 3}
    assert left(pairing(FIRE, FLAME, numbers=None), 0, "fire") == {2, 3}
    assert left(pairing(FLAME, FIRE, numbers=None), 1, "fire") == {2, 3}
    wider = said("flame 3 bits, idle 0", "flame[0]", "flame[1]")        # none of the codes has a counterpart
    assert left(pairing(FIRE, wider, numbers={}), 0, "fire") == {0, 1, 2, 3}


@pytest.mark.parametrize("side", [0, 1])
def test_a_code_of_a_field_that_one_machine_has_is_left_to_what_it_brings_about_where_that_is_said(side: int) -> None:
    for told, name, codes, all_said in ((FIRE, "fire", {0, 1, 2, 3}, True), (FLAME, "flame", {2, 3}, False)):
        old, new = ((), (name,)) if side else ((name,), ())
        of = Pairing({"lid": ("lid", None)}, old, new, frozenset(), (FLAME if side else told, told if side else FIRE))
        assert left(of, side, name) == codes and left(of, side, "lid") == set()
        assert of.said_by_effects(side, name) == all_said and not of.said_by_effects(side, "lid")


def test_effects_say_all_of_a_field_where_they_say_every_code_but_the_idle_one() -> None:
    for one, two, same in ((FIRE, WHOLE, True), (FIRE, FLAME, False), (WHOLE, FIRE, True), (FLAME, FIRE, False)):
        of = pairing(one, two)
        names = ("fire", "flame") if one is FIRE else ("flame", "fire")
        assert [of.said_by_effects(side, name) for side, name in enumerate(names)] == [same, same]
        assert not of.said_by_effects(0, "lid") and not of.said_by_effects(1, "lid")
    silent = said("flame 2 bits\n    out 0 idle\n    low 1", "rain", "rain")
    assert not Pairing({}, (), ("flame",), frozenset(), (FIRE, silent)).said_by_effects(1, "flame")
    number = said("flame 2 bits, idle 0", "rain", "rain")
    assert not Pairing({}, (), ("flame",), frozenset(), (FIRE, number)).said_by_effects(1, "flame")


def test_what_hangs_on_the_number_of_a_code_is_asked_where_codes_have_other_numbers() -> None:
    """The line is wired to number 1: that was `bell`, and is `horn` now."""
    rung = edited((QUILL, ""), ("home upc", "strobe chime\nsignal chime = note is 1\nhome upc"))[0]
    other = edited((rung, ""), ("bell 1\n    horn 2", "bell 2\n    horn 1"))[0]
    for note, same in (("none", True), ("bell", False), ("horn", False)):
        old, new = (burned(resolved(text), {address: Word(f"w{address}", {"note": note}) for address in range(8)})
                    for text in (rung, other))
        assert (moved(compared(old, new)) == {}) == same
