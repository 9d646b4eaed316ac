"""What expressions of the language mean, worked out by hand for given values."""

import pytest

from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Const, Leaf, Terms, leaves
from tests.machine.described import FRAME, sound

MORE = """\
input want 1 bit, number 8 bits
state m (idle, busy, ended), reset idle
    next m
constant seven = 7
constant wide = 0x0F
constant sum = seven + 2 - 1
"""


@pytest.mark.parametrize("text, values, expected", [
    ("not upc is 3", {"upc": 3}, 0),                       # `not` is looser than a comparison
    ("upc + 1 is 0", {"upc": 15}, 1),                      # modulo 16
    ("upc - 1 is 15", {"upc": 0}, 1),
    ("upc - target - 1 is 1", {"upc": 5, "target": 3}, 1),   # to the left: (5 - 3) - 1
    ("upc - (target - 1) is 3", {"upc": 5, "target": 3}, 1),
    ("go or halt and want", {"go": 1, "halt": 0, "want": 0}, 1),   # `and` is tighter than `or`
    ("go xor halt and want", {"go": 1, "halt": 1, "want": 0}, 1),  # and than `xor`, which is tighter than `or`
    ("go or halt xor want", {"go": 1, "halt": 1, "want": 1}, 1),
    ("upc < 8", {"upc": 8}, 0),
    ("upc <= 8", {"upc": 8}, 1),
    ("upc > 8", {"upc": 8}, 0),
    ("upc >= 8", {"upc": 8}, 1),
    ("8 < upc", {"upc": 9}, 1),
    ("upc is not 3", {"upc": 3}, 0),
    ("upc in (1, 3, target)", {"upc": 5, "target": 5}, 1),
    ("upc in (1, 3, target)", {"upc": 3, "target": 5}, 1),
    ("upc not in (1, 3)", {"upc": 3}, 0),
    ("upc[3]", {"upc": 8}, 1),
    ("upc[2:1] is 0b10", {"upc": 0b1101}, 1),
    ("{upc[0], upc[3:1]}", {"upc": 0b0011}, 0b1001),
    ("{upc, 0b00}", {"upc": 0b1010}, 0b101000),
    ("{want, 0x0, wide}", {"want": 1}, 0b1_0000_00001111),
    ("upc if want else target", {"upc": 3, "target": 9, "want": 0}, 9),
    ("upc if want else 9", {"upc": 3, "want": 0}, 9),
    ("1 if want else 0", {"want": 1}, 1),
    ("upc if want else target if go else 2", {"upc": 3, "target": 9, "want": 0, "go": 0}, 2),
    ("parity(number)", {"number": 0b0111_0000}, 1),
    ("even parity of number", {"number": 0b0111_0000}, 1),   # the bit that makes the number of ones even
    ("odd parity of number", {"number": 0b0111_0000}, 0),
    ("branch is jump", {"branch": 1}, 1),
    ("jump is branch", {"branch": 2}, 0),
    ("branch is 1", {"branch": 1}, 1),
    ("branch in (jump, loop)", {"branch": 2}, 1),
    ("m is busy", {"m": 1}, 1),
    ("m is not busy", {"m": 1}, 0),
    ("m in (busy, ended)", {"m": 0}, 0),
    ("m is (busy if want else ended)", {"m": 2, "want": 0}, 1),
    ("upc is seven", {"upc": 7}, 1),
    ("upc is sum", {"upc": 8}, 1),
    ("upc + seven is 1", {"upc": 10}, 1),
    ("number is wide", {"number": 15}, 1),
    ("3 < 5", {}, 1),
    ("not upc", {"upc": 0b0101}, 0b1010),
    ("upc and 0b0110", {"upc": 0b0101}, 0b0100),
    ("control[7:6] is 0b10", {"control": 0b1011_1111}, 1),
    ("control.word[0]", {"control": 1}, 1),
    ("0", {}, 0),
    ("0b0110", {}, 6),
])
def test_meaning(text: str, values: dict[str, int], expected: int) -> None:
    machine = sound(f"{FRAME}{MORE}signal s = {text}\n")
    node = machine.signals["s"].value
    given = {leaf: values[leaf.name] for leaf in leaves([node])}
    assert evaluate(node, given) == expected


def test_a_choose_takes_the_case_of_its_subject() -> None:
    machine = sound(FRAME)
    node = machine.states["upc"].next
    terms = machine.terms
    for code, expected in ((0, 6), (1, 9), (2, 5)):
        values = {terms.leaf("state", "upc", 4): 5, terms.leaf("field", "target", 4): 9,
                  terms.leaf("field", "branch", 2): code, terms.leaf("free", "undefined branch", 4): 13}
        assert evaluate(node, values) == expected


def test_an_undefined_code_can_mean_anything() -> None:
    """Two bits, three codes: nobody says what the hardware does for the fourth, so no proof may lean on it."""
    machine = sound(FRAME)
    terms, node = machine.terms, machine.states["upc"].next
    for anything in range(16):
        values = {terms.leaf("state", "upc", 4): 5, terms.leaf("field", "target", 4): 9,
                  terms.leaf("field", "branch", 2): 3, terms.leaf("free", "undefined branch", 4): anything}
        assert evaluate(node, values) == anything


def test_with_otherwise_or_with_all_codes_nothing_is_undefined() -> None:
    otherwise = FRAME.replace("        loop : upc", "        otherwise : upc")
    fourth = FRAME.replace("    loop 2", "    loop 2\n    stop 3").replace("        loop :", "        loop, stop :")
    for text in (otherwise, fourth):
        node = sound(text).states["upc"].next
        assert all(leaf.kind != "free" for leaf in leaves([node]))


def test_two_undefined_values_are_independent() -> None:
    machine = sound(FRAME + "state other 4 bits, reset 0\n    next choose branch\n        step, jump, loop : other\n")
    names = {leaf.name for state in machine.states.values() for leaf in leaves([state.next]) if leaf.kind == "free"}
    assert names == {"undefined branch", "undefined branch 2"}


def test_an_enumerated_state_stays_among_its_codes_even_when_the_field_does_not() -> None:
    machine = sound(FRAME + "state m (a, b, c), reset a\n    next choose branch\n        step : a\n        jump : b\n"
                            "        loop : c\n")
    node, terms = machine.states["m"].next, machine.terms
    free = next(leaf for leaf in leaves([node]) if leaf.kind == "free")
    reached = {evaluate(node, {terms.leaf("field", "branch", 2): 3, free: value}) for value in range(4)}
    assert reached == {0, 1, 2}


def test_a_choose_in_which_only_otherwise_stands_is_that_value() -> None:
    """Left out without a word, the state's next value was anything."""
    machine = sound(FRAME + "state other 4 bits, reset 0\n    next choose branch\n        otherwise : other + 1\n")
    leaf = machine.terms.leaf("state", "other", 4)
    assert machine.states["other"].next is machine.terms.add(leaf, machine.terms.const(1, 4))


def test_a_choose_over_an_enumerated_state_covers_its_codes() -> None:
    machine = sound(FRAME + "state m (a, b, c), reset a\n    next choose m\n"
                            "        a : b\n        b : c\n        c : a\n")
    node = machine.states["m"].next
    assert [leaf.name for leaf in leaves([node])] == ["m"]
    assert [evaluate(node, {leaves([node])[0]: value}) for value in range(3)] == [1, 2, 0]


def test_codes_come_before_other_names_only_where_codes_are_expected() -> None:
    """`busy` is a code of `m` and an input: next to `m` it is the code, alone it is the input."""
    machine = sound(FRAME + "input busy 1 bit\nstate m (idle, busy), reset idle\n    next busy if busy else idle\n"
                            "signal s = m is busy\nsignal t = busy\n")
    assert [leaf.kind for leaf in leaves([machine.signals["s"].value])] == ["state"]
    assert [leaf.kind for leaf in leaves([machine.signals["t"].value])] == ["input"]
    assert [(leaf.kind, leaf.name) for leaf in leaves([machine.states["m"].next])] == [("input", "busy")]


def test_inside_an_agent_its_own_names_come_first() -> None:
    machine = sound(FRAME + "input x 1 bit\nagent a\n    input x 1 bit\n    signal s = x and go\n    signal t = s\n")
    assert [leaf.name for leaf in leaves([machine.signals["a.s"].value])] == ["a.x", "go"]
    assert machine.signals["a.t"].value is machine.signals["a.s"].value


def test_an_active_low_field_is_read_as_asserted() -> None:
    machine = sound(FRAME + "signal s = halt\n")
    node = machine.signals["s"].value
    assert isinstance(node, Leaf) and (node.kind, node.name) == ("field", "halt")


def test_signals_may_be_used_before_they_are_declared() -> None:
    machine = sound(FRAME + "signal a = b and go\nsignal b = c\nsignal c = not halt\n")
    assert machine.signals["b"].value is machine.signals["c"].value


def test_labels_are_collected_with_their_places() -> None:
    machine = sound(FRAME + 'home fetch\nrule "r" never in hold and at "load a, n"\nallow stuck at hold.x "meant"\n')
    assert [(kind, name, span.text) for kind, name, span in machine.labels] == [
        ("at", "fetch", "fetch"), ("in", "hold", "hold"), ("at", "load a, n", '"load a, n"'),
        ("at", "hold.x", "hold.x")]


def test_a_home_may_be_a_condition_with_a_name() -> None:
    machine = sound(FRAME + "signal fetch = upc is 0\nhome fetch\n")
    assert machine.home is machine.signals["fetch"].value and machine.labels == ()


def test_a_long_chain_of_signals() -> None:
    """Deep terms from shallow lines."""
    lines = ["signal s0 = upc"] + [f"signal s{i} = s{i - 1} + target" for i in range(1, 3000)]
    machine = sound(FRAME + "\n".join(reversed(lines)) + "\n")
    node = machine.signals["s2999"].value
    given = {leaf: 3 if leaf.name == "upc" else 5 for leaf in leaves([node])}
    assert evaluate(node, given) == (3 + 5 * 2999) % 16


def test_a_number_is_a_number_even_where_a_truth_value_was_given() -> None:
    """Else it is written out as a word."""
    for level in (False, True):
        number = Terms().const(level, 1)
        assert isinstance(number, Const) and str(number.value) == str(int(level))
