"""What a computed store holds is a function of its address: from the lines, against the leaves themselves."""

from itertools import product

import pytest

from ordain.logic.evaluate import evaluate
from ordain.machine.expression import leaves
from ordain.machine.lines import over_address
from tests.machine.described import FRAME, sound

INPUTS = "input a 3 bits, b 2 bits, c 1 bit\n"


@pytest.mark.parametrize("address, word", [
    ("{a, b}", "{a[0], b is 3}"),
    ("{b[0], a, b[1]}", "{parity(a), b[1]}"),
    ("{not a, b}", "{a is 3, a is 4}"),
    ("{a[2:1], c, a[0]}", "{a < 5, c}"),
    ("{a[2:1], b}", "{a[1], b[0]}"),       # a[0] does not reach the chip, and the word does not ask
    ("{a, 0b1, a[0]}", "{a[0], a is 2}"),  # one line on two pins, one tied
])
def test_the_word_over_the_address_is_the_word_over_the_leaves(address: str, word: str) -> None:
    machine = sound(f"{FRAME}{INPUTS}store prom 16 words of 2 bits\n    address {address}\n    word {word}\n")
    store, terms = machine.stores["prom"], machine.terms
    assert store.computed is not None and store.fill == "computed"
    rewritten, missing = over_address(terms, "prom", store.address, store.computed)
    assert rewritten is not None and missing == []
    whole = terms.leaf("address", "prom", store.address_width)
    assert set(leaves([rewritten])) <= {whole}
    for a, b, c in product(range(8), range(4), range(2)):
        values = {terms.leaf("input", "a", 3): a, terms.leaf("input", "b", 2): b, terms.leaf("input", "c", 1): c}
        presented = evaluate(store.address, values)
        assert evaluate(rewritten, {whole: presented}) == evaluate(store.computed, values)


@pytest.mark.parametrize("address, role, place", [
    ("{c, a, b}", "a", (4, 2)),
    ("{c, a, b}", "b", (1, 0)),
    ("{c, a[2:1], b}", "a", (3, 2)),       # as many of its lines as the address carries
    ("{b, a[2], a[1], a[0], c}", "a", (3, 1)),
])
def test_the_place_of_a_role(address: str, role: str, place: tuple[int, int]) -> None:
    store = f"store other 16 words of 2 bits\n    address {address}\n    instruction {role}\nfield f 2 bits\n"
    assert sound(FRAME + INPUTS + store).stores["other"].instruction == place
