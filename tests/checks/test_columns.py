"""Columns against plain evaluation, word by word and value by value."""

from itertools import product

import pytest
from bitarray import bitarray
from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.checks.columns import Columns, columns_of
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Leaf, Node, Terms, leaves, substitute
from ordain.rom.contents import Contents
from tests.logic.plain_terms import LEAVES, Plain, made, plain_terms
from tests.machine.described import sound

MACHINE = """\
machine small
store control 8 words of 12 bits
    address {page, upc}
field one 1 bit
field two 2 bits
field three 3 bits, active low, idle 0
field four 4 bits, idle 0
spare 2 bits
state upc 2 bits, reset 0
    next upc + 1
state page 1 bit, reset 0
    next page xor one
"""

KNOWN = {"a1": ("field", "one"), "a2": ("field", "two"), "a3": ("field", "three"), "a4": ("field", "four"),
         "b2": ("state", "upc"), "b3": ("address", "control")}
"""What stands in for the leaves of random terms; the others stay unknown inputs."""


def contents(words: list[int]) -> Contents:
    machine = sound(MACHINE.replace("field two 2 bits", "field two 2 bits, idle 0"))
    return Contents(machine, {"control": tuple(words)}, {"control": {}}, {}, {})


def in_machine(terms: Terms, term: Plain) -> Node:
    put_in = {terms.leaf("input", name, width): terms.leaf(*KNOWN[name], width) for _, name, width in LEAVES
              if name in KNOWN}
    return substitute(terms, (made(terms, term),), put_in)[0]


def at_address(held: Contents, leaf: Leaf, address: int) -> int | None:
    """What the leaf is worth at an address, worked out without columns; None: anything."""
    word = held.words["control"][address]
    if leaf.kind == "field":
        field = held.machine.fields[leaf.name]
        stored = (word >> field.low) & ((1 << field.width) - 1)
        return (1 << field.width) - 1 - stored if field.active_low else stored
    if leaf.kind == "address":
        return address
    if leaf.kind == "word":
        return word
    return {"upc": address % 4, "page": address // 4}.get(leaf.name)


@settings(max_examples=300)
@given(plain_terms(depth=3), st.lists(st.integers(0, 4095), min_size=8, max_size=8))
def test_columns_hold_every_value_that_can_occur(term: Plain, words: list[int]) -> None:
    held = contents(words)
    node = in_machine(held.machine.terms, term)
    open_ = [leaf for leaf in leaves((node,)) if at_address(held, leaf, 0) is None]
    if sum(leaf.width for leaf in open_) > 8:
        return
    bits = Columns(held, "control").may(node)
    for address in range(8):
        fixed: dict[Node, int] = {leaf: value for leaf in leaves((node,))
                                  if (value := at_address(held, leaf, address)) is not None}
        seen = [[False, False] for _ in bits]
        for values in product(*(range(1 << leaf.width) for leaf in open_)):
            value = evaluate(node, {**fixed, **dict(zip(open_, values, strict=True))})
            for place in range(len(bits)):
                seen[place][value >> (len(bits) - 1 - place) & 1] = True
        for held_bit, (zero, one) in zip(bits, seen, strict=True):
            assert held_bit.one[address] or not one
            assert held_bit.zero[address] or not zero
        if not open_:  # nothing unknown: nothing vague
            assert all(bit.one[address] != bit.zero[address] for bit in bits)


@given(st.lists(st.integers(0, 4095), min_size=8, max_size=8))
def test_the_columns_of_a_store_are_its_bits(words: list[int]) -> None:
    for place, column in enumerate(columns_of(contents(words), "control")):
        assert column == bitarray([word >> (11 - place) & 1 for word in words])


def test_a_choice_between_equal_values_is_certain_whatever_chooses() -> None:
    """`A if ? else A` is A: the two arms are looked at together."""
    held = contents([0, 0x800, 0, 0, 0, 0, 0, 0])
    terms = held.machine.terms
    one, other = terms.leaf("field", "one", 1), terms.leaf("input", "z", 1)
    both = terms.or_((terms.and_((other, one)), terms.and_((terms.not_(other), one))))
    choice = terms.if_(other, terms.leaf("field", "two", 2), terms.join((one, one)))
    columns = Columns(held, "control")
    assert columns.possible(both)[1] and not columns.possible(both)[0]
    assert columns.certain(terms.among(choice, frozenset((0,))))[0]
    assert not columns.certain(terms.among(choice, frozenset((0,))))[1]


def test_where_each_leaf_stands_once_columns_hold_nothing_else() -> None:
    """What may be is then just what can be, known and unknown parts beside each other."""
    held = contents([0, 0x800, 0x555, 0xFFF, 0x200, 0xA3C, 0x7E0, 0x41F])
    t = held.machine.terms
    one, two, upc = t.leaf("field", "one", 1), t.leaf("field", "two", 2), t.leaf("state", "upc", 2)
    page, word = t.leaf("state", "page", 1), t.leaf("word", "control", 12)
    x, y, z = t.leaf("input", "x", 1), t.leaf("input", "y", 2), t.leaf("input", "z", 1)
    address, elsewhere = t.leaf("address", "control", 3), t.leaf("address", "other", 3)
    terms = [t.and_((one, x)), t.or_((one, x)), t.xor(two, y), t.not_(y), t.and_((two, y)), t.or_((upc, y)),
             t.equal(two, y), t.equal(two, upc), t.among(y, frozenset((1,))), t.among(two, frozenset((2,))),
             t.among(two, frozenset((0, 3))), t.among(y, frozenset((0, 3))), t.if_(x, one, page), t.if_(one, y, two),
             t.join((one, y, page)), t.slice(word, 7, 5), t.slice(y, 1, 1), t.parity(two), t.parity(y),
             t.parity(t.join((two, x))), t.less(two, upc), t.less(y, two), t.add(two, upc), t.sub(two, upc), address,
             elsewhere, word, t.slice(word, 11, 11), t.and_((one, page, x)), t.or_((one, page, z)),
             t.equal(upc, t.const(2, 2))]
    columns = Columns(held, "control")
    for node in terms:
        known = [leaf for leaf in leaves((node,)) if leaf.name not in "xyz" and leaf.name != "other"]
        open_ = [leaf for leaf in leaves((node,)) if leaf not in known]
        for at in range(8):
            fixed: dict[Node, int] = {leaf: at_address(held, leaf, at) or 0 for leaf in known}
            values = {evaluate(node, {**fixed, **dict(zip(open_, each, strict=True))})
                      for each in product(*(range(1 << leaf.width) for leaf in open_))}
            for place, bit in enumerate(reversed(columns.may(node))):
                assert bool(bit.one[at]) == any(value >> place & 1 for value in values), (node, at)
                assert bool(bit.zero[at]) == any(not value >> place & 1 for value in values), (node, at)


@given(st.lists(st.integers(0, 4095), min_size=8, max_size=8), st.frozensets(st.integers(0, 127), min_size=1))
def test_of_a_set_it_is_known_where_a_number_may_be_in_it(words: list[int], values: frozenset[int]) -> None:
    """Of seven bits four are in the word and one in the address; two are anything."""
    held = contents(words)
    terms = held.machine.terms
    field, place, free = terms.leaf("field", "four", 4), terms.leaf("state", "page", 1), terms.leaf("input", "free", 2)
    (member,) = Columns(held, "control").may(terms.among(terms.join((free, field, place)), values))
    for address in range(8):
        known = at_address(held, field, address), at_address(held, place, address)
        found = {(loose << 5 | known[0] << 1 | known[1]) in values for loose in range(4)
                 if known[0] is not None and known[1] is not None}
        assert (bool(member.one[address]), bool(member.zero[address])) == (True in found, False in found)


def test_labels_and_routines_are_columns_of_the_store_that_they_stand_in() -> None:
    labels = {"here": ("control", frozenset((2, 5))), "there": ("other", frozenset((2,)))}
    held = contents([0] * 8)._replace(labels=labels, routines={"all": ("control", frozenset((1, 2, 3)))})
    terms, columns = held.machine.terms, Columns(held, "control")
    assert list(columns.certain(terms.leaf("at", "here", 1)).search(1)) == [2, 5]
    assert list(columns.possible(terms.leaf("at", "here", 1)).search(1)) == [2, 5]
    assert list(columns.certain(terms.leaf("in", "all", 1)).search(1)) == [1, 2, 3]
    there = terms.leaf("at", "there", 1)
    assert columns.possible(there).all() and not columns.certain(there).any()


@pytest.mark.parametrize("bits", [1, 8, 9, 49, 56, 57])
def test_the_columns_of_stores_of_other_widths(bits: int) -> None:
    held = Contents(sound(f"machine m\nstore control 2 words of {bits} bits\n    address a\nspare {bits} bits\n"
                          "state a 1 bit, reset 0\n    next not a\n"),
                    {"control": (1 << bits - 1, (1 << bits) - 2)}, {"control": {}}, {}, {})
    assert [column.to01() for column in columns_of(held, "control")] == (
        ["10"] if bits == 1 else ["11", *["01"] * (bits - 2), "00"])


def test_bits_of_a_state_are_known_wherever_the_address_has_them() -> None:
    """Address lines from the highest: bit 0 of `upc`, `page`, bit 1 of `upc`; nothing is known of `page` where the
    address has what `page` is not."""
    held = contents([0] * 8)
    for address, known in (("{upc[0], page, upc[1]}", True), ("{upc[0], not page, upc[1]}", False)):
        held = held._replace(machine=sound(MACHINE.replace("{page, upc}", address)))
        terms, columns = held.machine.terms, Columns(held, "control")
        upc, page = terms.leaf("state", "upc", 2), terms.leaf("state", "page", 1)
        assert [list(columns.certain(terms.equal(upc, terms.const(value, 2))).search(1)) for value in range(4)] == [
            [0, 2], [4, 6], [1, 3], [5, 7]]
        assert list(columns.certain(page).search(1)) == ([2, 3, 6, 7] if known else [])
        assert columns.possible(page).all() != known


def test_of_another_store_nothing_is_known() -> None:
    """Its word and its fields; and a routine may be called as the store is."""
    two = MACHINE + "store other 4 words of 12 bits\n    address upc\nfield far 1 bit\nspare 11 bits\n"
    held = Contents(sound(two), {"control": (0xFFF,) * 8, "other": (0xFFF,) * 4}, {"control": {}, "other": {}},
                    {"control": ("control", frozenset((1, 3)))}, {})
    terms, columns = held.machine.terms, Columns(held, "control")
    for leaf in (terms.leaf("word", "other", 12), terms.leaf("field", "far", 1)):
        assert all(bit.one.all() and bit.zero.all() for bit in columns.may(leaf))
    assert list(columns.certain(terms.leaf("at", "control", 1)).search(1)) == [1, 3]
