"""A mapping store narrower than the address: the wires beside its outputs say where an instruction may begin."""

from collections.abc import Callable, Sequence

import pytest

from ordain.language.machine_file import parse_machine
from ordain.machine.expression import Leaf, Node, Terms
from ordain.machine.resolve import resolve
from ordain.placement.mapped import Mapped, mapped
from tests.checks.reports import names, report
from tests.placement.by_hand import machine, store
from tests.planted.plant import Sound
from tests.workshop import compiled, contents_of

MACHINE = """\
machine narrow
store control 64 words of 10 bits
    address upc
field go 2 bits
    next 0 idle
    home 1
    dispatch 2
field mark 8 bits, idle 0
store entry 8 words of {bits} bits
    address ir
    word start of instruction
register ir 3 bits, loads data when mark is 1
register lamps 3 bits, changes when mark is 20
bus data 3 bits, floats
    driven by memory
state upc 6 bits, reset 0
    next choose go
        next: upc + 1
        home: 0
        dispatch: {join}
        otherwise: upc
home upc is 0
"""
MICRO = """\
routine fetch at 0
    mark 1
    go dispatch
instruction 0 "one"
    mark 10
    mark 11
    mark 12, go home
instruction 1 "two"
    mark 20, go home
instruction 0b01x "three"
    mark 30
    mark 31, go home
instruction others "four"
    go home
"""


@pytest.mark.parametrize(("join", "bits", "leads"), [
    ("entry", 6, lambda word: word),
    ("{0b0, entry}", 5, lambda word: word),
    ("{0b1, entry}", 5, lambda word: 32 | word),
    ("{0b10, entry}", 4, lambda word: 32 | word),
    ("{entry, 0b00}", 4, lambda word: word << 2),
    ("{entry, 0b10}", 4, lambda word: word << 2 | 2),
    ("{0b11, entry, 0b0}", 3, lambda word: 48 | word << 1),
])
def test_every_word_of_the_table_leads_to_its_instruction(join: str, bits: int, leads: object) -> None:
    """What the wires make of a word is where the instruction begins; and the proof finds nothing."""
    assert callable(leads)
    machine = MACHINE.format(join=join, bits=bits)
    contents = contents_of(machine, MICRO)
    for opcode, title in enumerate(["one", "two", "three", "three", "four", "four", "four", "four"]):
        assert leads(contents.words["entry"][opcode]) in contents.labels[title][1]
    assert names(report(Sound(machine, MICRO))) == []


def test_without_room_where_the_wires_lead_it_is_over_full() -> None:
    """{0b11111, entry}: two addresses for four instructions."""
    contents, findings = compiled(MACHINE.format(join="{0b11111, entry}", bits=1), MICRO)
    assert contents is None and findings[-1].name in ("over-full", "placement-undecided")


def test_a_label_that_stands_elsewhere_stands_a_second_time() -> None:
    machine = MACHINE.format(join="{0b1, entry}", bits=5)
    contents = contents_of(machine, MICRO.replace('"two"', '"two" at 7'))
    assert 7 in contents.labels["two"][1] and 32 | contents.words["entry"][1] in contents.labels["two"][1]


def test_rows_of_a_map_are_wired_alike() -> None:
    machine = MACHINE.format(join="{0b1, entry}", bits=5).replace("    word start of instruction\n", "")
    micro = "routine fetch at 0\n    mark 1\n    go dispatch\nroutine one\n    go home\nroutine two\n    mark 2\n" \
            "    go home\nmap entry\n    0b0xx: one\n    others: two\n"
    contents = contents_of(machine, micro)
    assert {32 | word for word in contents.words["entry"][:4]} <= contents.labels["one"][1]
    assert {32 | word for word in contents.words["entry"][4:]} <= contents.labels["two"][1]


@pytest.mark.parametrize(("join", "said"), [("{0b0, entry}", True), ("{top, entry}", False)])
def test_a_table_whose_other_lines_are_not_described_is_told(join: str, said: bool) -> None:
    machine = MACHINE.format(join=join, bits=5) + "input top 1 bit\n"
    _, findings = compiled(machine, MICRO)
    assert [finding.name for finding in findings] == ([] if said else ["start-unclear"])


@pytest.mark.parametrize(("address", "word"), [
    (0b010100, 0b10), (0b010111, None), (0b011100, None), (0b000100, None), (0b110100, None), (0b010010, 0b01),
    (0b010110, 0b11)])
def test_the_word_that_leads_to_an_address(address: int, word: int | None) -> None:
    """Two bits of the word stand in the third and second; below and above, lines are tied to 0, and one to 1."""
    assert Mapped(2, 1, 0b101001, 0b010000, True).value(address) == word


def test_a_word_right_below_a_line_that_is_tied_high() -> None:
    """Five bits above a 0 and below a 1: 64 + 2 * word."""
    way = Mapped(5, 1, 1, 64, True)
    assert [way.value(address) for address in (64, 66, 126, 65, 62, 0)] == [0, 1, 31, None, None, None]


def word_of(addresses: Sequence[Callable[[Terms, Leaf], Node]], bits: int = 3) -> Mapped:
    """How `entry` stands in an address of six bits; each address is that of a store."""
    terms = Terms()
    entry = terms.leaf("word", "entry", bits)
    stores = [store("entry", 4, bits, 2, terms, fill="map"), *(
        store(f"control {number}", 64, 8, 6, terms)._replace(address=address(terms, entry))
        for number, address in enumerate(addresses))]
    return mapped(machine(stores, [], terms), "entry", 6)


def joined(*parts: int | str | None) -> Callable[[Terms, Leaf], Node]:
    """Bits as constants; None: the word of the table; a name: a state of a bit."""
    def join(terms: Terms, entry: Leaf) -> Node:
        return terms.join(tuple([entry if part is None else terms.leaf("state", part, 1) if isinstance(part, str)
                                 else terms.const(part, 1) for part in parts]))
    return join


@pytest.mark.parametrize(("parts", "low", "zeros", "ones"), [
    ((0, 0, 0, None), 0, 0b111000, 0), ((1, 0, 1, None), 0, 0b010000, 0b101000), ((None, 0, 0, 0), 3, 0b000111, 0),
    ((None, 1, 0, 1), 3, 0b000010, 0b000101), ((0, 1, None, 0), 1, 0b100001, 0b010000),
    ((1, None, 1, 1), 2, 0, 0b100011)])
def test_what_is_wired_beside_the_word(parts: Sequence[int | None], low: int, zeros: int, ones: int) -> None:
    assert word_of([joined(*parts)]) == Mapped(3, low, zeros, ones, True)


@pytest.mark.parametrize("other", [
    joined(0, None), joined(1, 1, 1, 1, None),              # an address of four bits, one of seven
    joined("a", "b", 0, 0, 0, 1)])                          # one that the word is not in
def test_only_addresses_of_that_width_with_the_word_in_them_say_so(other: Callable[[Terms, Leaf], Node]) -> None:
    way = Mapped(3, 0, 0b010000, 0b101000, True)
    assert word_of([joined(1, 0, 1, None)]) == word_of([other, joined(1, 0, 1, None)]) == way
    assert word_of([joined(1, 0, 1, None), other]) == way


@pytest.mark.parametrize("other", [joined(0, 0, 1, None), joined("a", 0, 1, None), joined(None, 1, 0, 1)])
def test_a_word_that_stands_in_two_ways_is_taken_for_the_address(other: Callable[[Terms, Leaf], Node]) -> None:
    assert word_of([joined(1, 0, 1, None), other]) == word_of([]) == Mapped(3, 0, 0b111000, 0, False)


def test_a_bit_that_chooses_between_addresses_is_none_of_them() -> None:
    """A table of one bit: it chooses one of two addresses, and stands in a third."""
    def choice(terms: Terms, entry: Leaf) -> Node:
        return terms.if_(entry, terms.const(0b010101, 6), terms.leaf("state", "here", 6))

    way = joined(1, 0, 1, 1, 0, None)
    assert word_of([choice, way], bits=1) == word_of([way], bits=1) == Mapped(1, 0, 0b010010, 0b101100, True)


def test_a_word_that_a_register_takes_up() -> None:
    """The address register is loaded from the table, with two lines tied."""
    text = MACHINE.format(join="mar", bits=4) + "register mar 6 bits, loads {0b10, entry} when mark is 2\n"
    tree, _ = parse_machine({"m.machine": text}, "m.machine")
    assert tree is not None
    made, findings = resolve(tree)
    assert made is not None and not findings, findings
    assert mapped(made, "entry", 6) == Mapped(4, 0, 0b010000, 0b100000, True)
