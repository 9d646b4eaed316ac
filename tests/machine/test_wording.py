"""Terms in words: reading them back gives the same term."""

import pytest
from hypothesis import given, settings

from ordain.machine.expression import Node
from ordain.machine.lines import gates_as_choices
from ordain.machine.wording import code_names, words
from tests.logic.plain_terms import LEAVES, Plain, made, plain_terms, width_of
from tests.machine.described import FRAME, sound

INPUTS = "".join(f"input {name} {width} bits\n" for _, name, width in LEAVES)
FOUR_CODES = "state m (idle, busy, ended, lost), reset idle\n    next m\n"


@settings(max_examples=120)
@given(plain_terms())
def test_what_is_written_reads_back_as_the_same_term(term: Plain) -> None:
    first = sound(FRAME + INPUTS)
    text = words(made(first.terms, term), limit=100_000)
    again = sound(f"{FRAME}{INPUTS}state back {width_of(term)} bits, reset 0\n    next {text}\n")
    assert again.states["back"].next is gates_as_choices(again.terms, made(again.terms, term)), text


@pytest.mark.parametrize("text, shown", [
    ("branch is jump", "branch is jump"),
    ("not branch is jump", "branch is not jump"),
    ("branch in (jump, 2)", "branch in (jump, loop)"),
    ("m in (idle, busy, lost)", "m is not ended"),
    ("m in (busy, lost)", "m in (busy, lost)"),
    ("upc >= 5", "upc >= 5"),
    ("{upc, 0b01}[3]", "upc[1]"),
    ("{upc, 0b01} is 0x3D", "{upc, 0b01} is 0x3D"),
    ("go and (halt or upc[0])", "go and (halt or upc[0])"),
    ("parity(control[7:1])", "parity(control.word[7:1])"),
    ("upc is (target if go else upc + 1)", "upc is (target if go else upc + 1)"),
])
def test_words(text: str, shown: str) -> None:
    machine = sound(f"{FRAME}{FOUR_CODES}signal s = {text}\n")
    assert words(machine.signals["s"].value, code_names(machine)) == shown


def test_codes_are_named_where_the_value_has_them() -> None:
    machine = sound(FRAME + FOUR_CODES.replace("next m", "next busy if go else (idle if halt else m)"))
    assert words(machine.states["m"].next, code_names(machine), of="m") == "busy if go else idle if halt else m"


def test_labels_and_what_was_before() -> None:
    machine = sound(FRAME + 'rule "r" never at fetch and in "load a, n" and prior(go)\n')
    form = machine.rules[0].form
    assert words(form[0]) == 'at fetch and in "load a, n" and prior(go)'


def test_a_term_that_grows_without_end_is_cut() -> None:
    """Forty levels that share their parts: a million million characters written out."""
    machine = sound(FRAME)
    node: Node = machine.terms.leaf("state", "upc", 4)
    for _ in range(40):
        node = machine.terms.xor(machine.terms.add(node, machine.terms.leaf("field", "target", 4)), node)
    text = words(node)
    assert len(text) <= 404 and text.endswith(" ...")
