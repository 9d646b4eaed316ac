"""Words back into the source's symbols."""

import pytest

from ordain.machine.model import Machine
from ordain.rom.uncompile import read_word, vocabulary
from tests.rom.machines import machine_of

LANTERN = """
machine lantern
microprogram "lantern.micro"
store control 64 words of 36 bits
    address upc
field branch 2 bits
    step 0 idle
    jump 1
    when_dark 2
    table 3
field target 6 bits address, idle 0
field source 2 bits
    none 0 idle
    lamp 1
    wick 2
    oil 3
field load 2 bits
    none 0 idle
    lamp 1
    wick 2
field write 1 bit, active low
field level 4 bits, idle 0
field test 2 bits, idle any
    dark 0
    cold 1
    full 2
field mode 1 bit
    slow 0
    fast 1
field page_target 4 bits address[3:0], idle 0
field high 4 bits address[5:2], idle 0
field turns 4 bits, idle 0
spare 3 bits
field parity 1 bit = even parity of control[35:1]
state upc 6 bits, reset 0
    next choose branch
        step     : upc + 1
        jump     : target
        when_dark: target if dark else upc + 1
        table    : {target[5:1], dark}
input dark 1 bit
constant vault = 0x2B
bus data 8 bits, floats
    driven by lamp when source is lamp
    driven by wick when source is wick
    driven by oil  when source in (oil, wick)
    sampled by lamp when load is lamp
    sampled by wick when load is wick
bus side 8 bits, floats
    driven by lamp when source is lamp
    sampled by tray when write
order goto <there>: branch jump, target <there>
order away: goto vault_gate
order branch on <line> to <there>: branch when_dark, test <line>, target <there>
order fork <no> <yes>: branch table, target table(<no>, <yes>)
order dim by <n>: level <n>
order trap: branch jump, target 0x2A
order deep trap: branch jump, target vault
order rise to <there>: branch when_dark, high <there>
order step on: branch table, target following
order near <there>: branch jump, page_target page(<there>)
order show <n>: mode 1, write, turns <n>[7:4], level <n>[3:0]
"""


@pytest.fixture(scope="module")
def lantern() -> Machine:
    return machine_of(LANTERN)


def word(machine: Machine, **values: int) -> int:
    """A word with these asserted values, others idle (0), `mode` slow."""
    bits = 0
    for name in machine.stores["control"].fields:
        field = machine.fields[name]
        bits |= field.write(values.get(name, 0))
    return bits


LABELS = {0x18: "upper", 0x05: "home", 0x12: "gate.open", 0x13: "gate.shut", 0x25: "near_by", 0x30: "vault_gate"}


def read(machine: Machine, at: int = 0, open_bits: int = 0, **values: int) -> list[str]:
    known = vocabulary(machine, "control", lambda _, address, __: LABELS.get(address, ""),
                       {name: ("control", frozenset((address,))) for address, name in LABELS.items()})
    return read_word(word(machine, **values), at, known, open_bits)


CASES: list[tuple[dict[str, int], list[str]]] = [
    ({}, ["mode slow"]),
    ({"mode": 1}, ["mode fast"]),
    ({"branch": 1, "target": 5}, ["goto home", "mode slow"]),
    ({"branch": 1, "target": 7}, ["branch jump", "target 0x7", "mode slow"]),
    ({"branch": 1, "target": 0x2A}, ["trap", "mode slow"]),
    ({"branch": 1, "target": 0x2B}, ["deep trap", "mode slow"]),
    ({"branch": 2, "high": 6}, ["rise to upper", "mode slow"]),
    ({"branch": 2, "high": 5}, ["branch when_dark", "mode slow", "high 0x5"]),
    ({"branch": 3, "target": 1}, ["step on", "mode slow"]),
    ({"branch": 1, "target": 0x30}, ["goto vault_gate", "mode slow"]),
    ({"branch": 2, "test": 2, "target": 0x12}, ["branch on full to gate.open", "mode slow"]),
    ({"branch": 3, "target": 0x12}, ["fork gate.open gate.shut", "mode slow"]),
    ({"branch": 3, "target": 0x0A}, ["branch table", "target 0xA", "mode slow"]),
    ({"level": 10}, ["dim by 0xA", "mode slow"]),
    ({"level": 9}, ["dim by 0x9", "mode slow"]),
    ({"source": 2, "load": 1}, ["lamp <- wick", "mode slow"]),
    ({"source": 3, "load": 2, "level": 1}, ["wick <- oil", "dim by 0x1", "source oil", "mode slow"]),
    ({"source": 1, "write": 1}, ["tray <- lamp", "mode slow"]),
    ({"write": 1}, ["write", "mode slow"]),
    ({"source": 2}, ["source wick", "mode slow"]),
    ({"turns": 9}, ["mode slow", "turns 9"]),
    ({"turns": 10}, ["mode slow", "turns 0xA"]),
    ({"load": 3}, ["load 3", "mode slow"]),
    ({"target": 5}, ["target home", "mode slow"]),
    ({"mode": 1, "write": 1, "turns": 3, "level": 5}, ["show 0x35"]),
    ({"mode": 1, "write": 1, "turns": 2, "level": 0xB}, ["show 0x2B"]),
]


@pytest.mark.parametrize(("values", "text"), CASES, ids=[text[0] for _, text in CASES])
def test_a_word_is_told_in_the_source_s_own_terms(values: dict[str, int], text: list[str], lantern: Machine) -> None:
    assert read(lantern, **values) == text


def test_a_page_field_counts_from_the_words_own_page(lantern: Machine) -> None:
    assert read(lantern, at=0x21, branch=1, page_target=5) == ["near near_by", "mode slow"]
    assert read(lantern, at=0x01, branch=1, page_target=5) == ["near home", "mode slow"]
    assert read(lantern, at=0x21, page_target=5) == ["mode slow", "page_target page(near_by)"]


def test_bits_that_mean_nothing_are_told_only_where_they_are_not_known_to(lantern: Machine) -> None:
    test = lantern.fields["test"]
    assert read(lantern, test=2) == ["test full", "mode slow"]
    assert read(lantern, open_bits=0b11 << test.low, test=2) == ["mode slow"]


def test_active_low_is_undone(lantern: Machine) -> None:
    field = lantern.fields["write"]
    assert word(lantern) >> field.low & 1 == 1 and field.read(word(lantern)) == 0
    assert field.read(word(lantern, write=1)) == 1


def test_orders_inside_others_are_opened() -> None:
    """One with a label in it, and one with a number."""
    machine = machine_of(LANTERN + "order pad <n>: turns <n>\norder flee: goto vault_gate, pad 6\n")
    assert read(machine, branch=1, target=0x30, turns=6) == ["flee", "mode slow"]
    assert read(machine, branch=1, target=0x30, turns=7) == ["goto vault_gate", "pad 0x7", "mode slow"]
    assert read(machine, branch=1, target=0x05, turns=6) == ["goto home", "pad 0x6", "mode slow"]


def test_an_order_of_two_words_inside_another() -> None:
    machine = machine_of(LANTERN + "order doom: deep trap, turns 3\n")
    assert read(machine, branch=1, target=0x2B, turns=3) == ["doom", "mode slow"]


def test_a_transfer_that_hangs_on_a_derived_field_is_none_that_is_said() -> None:
    """Nobody writes such a field."""
    machine = machine_of(LANTERN.replace("sampled by tray when write", "sampled by tray when parity"))
    assert read(machine, source=1) == ["source lamp", "mode slow"]


def test_a_transfer_that_wants_a_line_low() -> None:
    machine = machine_of(LANTERN.replace("sampled by tray when write", "sampled by tray when not write"))
    assert read(machine, source=1) == ["tray <- lamp", "mode slow"]
    assert read(machine, source=1, write=1) == ["source lamp", "write", "mode slow"]


def test_a_constant_in_a_part_of_an_address() -> None:
    """0x2B without its two lowest bits; and an order inside another that leads to the word after it."""
    machine = machine_of(LANTERN + "order deep rise: branch when_dark, high vault\norder onward: goto following\n")
    assert read(machine, branch=2, high=0xA) == ["deep rise", "mode slow"]
    assert read(machine, branch=2, high=0xC) == ["rise to vault_gate", "mode slow"]
    assert read(machine, branch=1, target=5) == ["goto home", "mode slow"]


def test_an_order_that_names_another_without_anything_beside_it() -> None:
    machine = machine_of(LANTERN + "order sleep: trap, turns 3\n")
    assert read(machine, branch=1, target=0x2A, turns=3) == ["sleep", "mode slow"]


def test_a_driver_that_is_always_on() -> None:
    """Whoever takes it takes it from that one; where a line from outside decides, the word cannot say it."""
    side = "bus side 8 bits, floats\n    driven by lamp when source is lamp\n"
    for driven, told in (("driven by wick", ["tray <- wick", "mode slow"]),
                         ("driven by wick when dark", ["write", "mode slow"])):
        machine = machine_of(LANTERN.replace(side, f"bus side 8 bits, pulled low\n    {driven}\n"))
        assert read(machine, write=1) == told


def test_two_fields_that_hold_one_address_together() -> None:
    """`high` has all bits but the two lowest, `page_target` the four lowest: 0x12 is 4 and 2, 0x13 is 4 and 3, 0x25 is
    9 and 5; 8 and 5 differ in a bit that both hold. Of a part nothing says where the rest comes from."""
    machine = machine_of(LANTERN + "order far <there>: branch table, high <there>, page_target <there>\n"
                         "order over <there>: branch table, target part(<there>), turns 5\n")
    assert read(machine, branch=3, high=4, page_target=2) == ["far gate.open", "mode slow"]
    assert read(machine, branch=3, high=4, page_target=3) == ["far gate.shut", "mode slow"]
    assert read(machine, branch=3, high=9, page_target=5) == ["far near_by", "mode slow"]
    assert "far" not in " ".join(read(machine, branch=3, high=8, page_target=5))
    assert "over" not in " ".join(read(machine, branch=3, target=5, turns=5))


def test_a_transfer_that_wants_a_field_to_be_something_else() -> None:
    """Taken whatever drives, but for oil and wick; and whatever is tested, but for `full`."""
    machine = machine_of(LANTERN.replace("sampled by tray when write", "sampled by tray when source not in (oil, wick)")
                         .replace("sampled by lamp when load is lamp", "sampled by lamp when level is not 3"))
    assert "tray <- lamp" in read(machine, source=1)
    assert "lamp <- wick" in read(machine, source=2, level=15)
    assert "lamp <- wick" not in read(machine, source=2, level=3)


def test_a_field_that_lacks_the_highest_address_line_alone() -> None:
    machine = machine_of(LANTERN.replace("spare 3 bits", "spare 2 bits").replace(
        "field page_target 4 bits address[3:0]", "field page_target 5 bits address[4:0]"))
    assert read(machine, at=0x21, page_target=5) == ["mode slow", "page_target page(near_by)"]
    assert read(machine, at=0x01, page_target=0x12) == ["mode slow", "page_target page(gate.open)"]


def test_what_is_spare_or_computed_is_not_told(lantern: Machine) -> None:
    made = [field for field in lantern.fields.values() if field.holds in ("spare", "derived")]
    known = vocabulary(lantern, "control", lambda _, __, ___: "", {})
    assert len(made) == 2 and read_word(word(lantern) | sum(field.mask for field in made), 0, known, 0) == ["mode slow"]


def test_a_transfer_finds_what_it_needs(lantern: Machine) -> None:
    assert read(lantern, load=1) == ["load lamp", "mode slow"]


def test_a_part_of_an_address_is_called_by_the_whole_of_it(lantern: Machine) -> None:
    assert read(lantern, high=6) == ["mode slow", "high upper"]


@pytest.mark.parametrize(("order", "values", "told"), [
    ("next near: branch jump, page_target following", {"branch": 1, "page_target": 2},
     ["branch jump", "mode slow", "page_target 0x2"]),
    ("fork vault: branch table, target table(vault, home)", {"branch": 3, "target": 0x2B},
     ["branch table", "target 0x2B", "mode slow"]),
    ("over: branch table, target part(vault)", {"branch": 3, "target": 0x2B},
     ["branch table", "target 0x2B", "mode slow"]),
    ("leap <vault>: branch jump, high <vault>", {"branch": 1, "high": 0xA}, ["branch jump", "mode slow", "high 0xA"]),
])
def test_what_an_order_nearly_says(order: str, values: dict[str, int], told: list[str]) -> None:
    """A word that follows in another page than the field reaches; a number where a label has to stand; a hole that is
    called as a constant."""
    machine = machine_of(LANTERN + f"order {order}\n")
    assert read(machine, at=0x21, **values) == told


def test_a_code_without_a_name_fills_no_hole(lantern: Machine) -> None:
    assert read(lantern, branch=2, test=3, target=0x12) == ["branch when_dark", "target gate.open", "test 3",
                                                            "mode slow"]


IDLE = """
machine moth
microprogram "moth.micro"
store control 16 words of 12 bits
    address upc
field level 3 bits, idle 0
field kind 2 bits
    none 0 idle
    one 1
field go 1 bit
field vent 1 bit, idle 1
spare 5 bits
state upc 4 bits, reset 0
    next upc + 1 if go else 0
"""


@pytest.mark.parametrize(("orders", "values", "told"), [
    ("", {}, ["kind none"]),
    ("order lift <n>: level <n>\norder both <n>: kind none, level <n>\norder on: go\norder rest: kind none\n", {},
     ["rest"]),
    ("order on: go\norder rest: kind none\n", {"go": 1}, ["on"]),
    ("order on: go\norder shut: vent 0\n", {"go": 1, "vent": 0}, ["on", "shut"]),
    ("order on: go\norder rest: kind none\n", {"level": 3}, ["level 3"]),
    ("order on: go\norder rest: kind none\n", {"vent": 0}, ["vent 0"]),
    ("order on: go\norder rest: kind none\n", {"kind": 3}, ["kind 3"]),
])
def test_a_word_that_does_nothing(orders: str, values: dict[str, int], told: list[str]) -> None:
    """The first order that says just that, else a field of codes; neither where anything else is to be said."""
    assert read(machine_of(IDLE + orders), **{"vent": 1, **values}) == told


def test_a_word_that_does_nothing_and_has_no_codes() -> None:
    machine = machine_of(IDLE.replace("field kind 2 bits\n    none 0 idle\n    one 1\n", "spare 2 bits\n"))
    assert read(machine, vent=1) == []


def test_a_label_is_one_of_the_store_to_which_its_field_leads() -> None:
    """The third word of the rows, and the word at 2 of the control store, have other names. A field that leads to both
    stores is read as one of its own."""
    text = ("machine m\nmicroprogram \"m.micro\"\nstore control 16 words of 9 bits\n    address upc\n"
            "field go 1 bit\nfield to 4 bits address, idle 0\nfield row 4 bits address, idle 0\n"
            "state upc 4 bits, reset 0\n    next to if go else NEXT\n"
            "store rows 16 words of 1 bit\n    address row\nfield mark 1 bit\n"
            "order with <row> : row <row>\norder first : row top\norder goto <there> : go, to <there>\n")
    names = {("control", 2): "below", ("rows", 2): "third", ("rows", 1): "top"}
    labels = {name: (store, frozenset((at,))) for (store, at), name in names.items()}
    labels["up"] = "control", frozenset((1,))
    for following, said in (("upc + 1", "with third"), ("row", "with below")):
        machine = machine_of(text.replace("NEXT", following))
        known = vocabulary(machine, "control", lambda store, at, _: names.get((store, at), ""), labels)
        assert read_word(word(machine, row=2), 0, known, 0) == [said]
        assert read_word(word(machine, go=1, to=2), 0, known, 0) == ["goto below"]
    known = vocabulary(machine_of(text.replace("NEXT", "upc + 1")), "control", lambda _, __, ___: "", labels)
    assert read_word(word(machine, row=1), 0, known, 0) == ["first"]
