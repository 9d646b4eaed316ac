"""Clauses become settings: orders, fields, flags, numbers, labels; each fault beside its sound neighbour."""

import pytest

from tests.microprogram.compiled import compiled, described, faults, program_of

MACHINE = """\
machine small

store control 64 words of 32 bits
    address upc

field branch 2 bits
    step 0 idle
    jump 1
field target 6 bits address, idle 0
field source 3 bits
    none 0 idle
    acc  1
    temp 2
field load 3 bits, active low
    none 0 idle
    acc  1
    temp 2
field number 6 bits, idle 0
field go 1 bit
field read 1 bit, active low
field parity 1 bit = even parity of control[31:10]
field kind 2 bits
    plain 0 idle
    odd   3
spare 7 bits ones

constant limit = 40
constant high = 90

state upc 6 bits, reset 0
    next choose branch
        step: upc + 1
        jump: target
        otherwise: 0

order goto <there>    : branch jump, target <there>
order goto start      : branch jump, target first
order fetch <a>       : source <a>, read
order fetch <a> twice : fetch <a>, go
order move <a> to <b> : source <a>, load <b>
order again           : goto first
order count <n>       : number <n>
order page <n>        : number <n>[9:4]
order all of <n>      : count <n>, load <n>[2:0]
"""

REST = 0b00_000000_000_111_000000_0_1_0_00_1111111
"""The stored word that nothing sets: active-low fields at 1, spare bits as said."""


def word(clauses: str) -> int:
    """The stored bits of one word, the parity bit left out (placement fills it), address fields still 0."""
    text = f"routine first at 0\n    {clauses}, branch jump\n"
    return program_of(described(MACHINE), text).words[0].bits & ~(1 << 30)


def put(high: int, value: int) -> int:
    """A change of the resting word: `value` xor-ed in below bit `high` (exclusive)."""
    return REST ^ value << high


@pytest.mark.parametrize(("clauses", "bits"), [
    ("kind plain", REST),
    ("source acc", put(21, 1)),
    ("source temp, load acc", put(21, 2) ^ 1 << 18),
    ("load temp", put(18, 2)),
    ("number 63", put(12, 63)),
    ("number limit", put(12, 40)),
    ("number 0x2A", put(12, 42)),
    ("go", put(11, 1)),
    ("read", put(10, 1)),
    ("go, read", put(11, 1) ^ 1 << 10),
    ("kind odd", put(7, 3)),
    ("kind 3", put(7, 3)),
    ("fetch acc", put(21, 1) ^ 1 << 10),
    ("fetch acc twice", put(21, 1) ^ 1 << 10 ^ 1 << 11),
    ("move acc to temp", put(21, 1) ^ 2 << 18),
    ("count 7", put(12, 7)),
    ("count limit", put(12, 40)),
    ("source acc, source acc", put(21, 1)),
    ("page 0x130", put(12, 0x13)),
    ("all of 2", put(12, 2) ^ 2 << 18),
    ("fetch acc, source acc", put(21, 1) ^ 1 << 10),
    ("go 0", REST),
    ("target 5", put(24, 5)),
    ("target limit", put(24, 40)),
])
def test_a_setting(clauses: str, bits: int) -> None:
    assert f"{word(clauses):032b}" == f"{bits:032b}"


def target(clauses: str) -> tuple[str, tuple[str, ...], str]:
    text = f"routine first at 0\n    {clauses}\n  wait: again\n"
    ((field, found),) = program_of(described(MACHINE), text).words[0].targets
    assert field == "target"
    return found.kind, found.labels, found.rest


@pytest.mark.parametrize(("clauses", "kind", "labels", "rest"), [
    ("goto first", "label", ("first",), "zeros"),
    ("goto wait", "label", ("first.wait",), "zeros"),
    ("goto first.wait", "label", ("first.wait",), "zeros"),
    ("goto start", "label", ("first",), "zeros"),
    ("again", "label", ("first",), "zeros"),
    ("goto following", "following", (), "zeros"),
    ("goto pair(first, wait)", "pair", ("first", "first.wait"), "zeros"),
    ("goto table(first, wait, wait, first)", "table", ("first", "first.wait", "first.wait", "first"), "zeros"),
    ("goto page(wait)", "label", ("first.wait",), "page"),
    ("goto page(following)", "following", (), "page"),
    ("goto part(wait)", "label", ("first.wait",), "part"),
    ("goto part(following)", "following", (), "part"),
    ("branch jump, target wait", "label", ("first.wait",), "zeros"),
])
def test_a_target(clauses: str, kind: str, labels: tuple[str, ...], rest: str) -> None:
    assert target(clauses) == (kind, labels, rest)


@pytest.mark.parametrize(("clauses", "found"), [
    ("fetch acc", ""),
    ("fetsh acc", "2:5: unknown-order: there is no order or field `fetsh`"),
    ("fetch", "2:5: unknown-order: there is no order `fetch`"),
    ("fetch acc thrice", "2:5: unknown-order: there is no order `fetch acc thrice`"),
    ("fetch ack", "2:11: unknown-code: `source` has no code `ack`"),
    ("source ack", "2:12: unknown-code: `source` has no code `ack`"),
    ("source", "2:5: no-value: `source` is set to nothing"),
    ("source acc temp", "2:16: unknown-order: `source acc temp` is not an order, and a field takes one value"),
    ("source 2", ""),
    ("source 3", "2:12: undefined-code: `source` has no code 3"),
    ("source 8", "2:12: too-wide: 8 needs 4 bits, and `source` has 3"),
    ("number 63", ""),
    ("number 64", "2:12: too-wide: 64 needs 7 bits, and `number` has 6"),
    ("number limit", ""),
    ("number high", "2:12: too-wide: 90 needs 7 bits, and `number` has 6"),
    ("number first", "2:12: unknown-code: `number` has no code `first`"),
    ("count 64", "2:11: too-wide: 64 needs 7 bits, and `number` has 6"),
    ("page 0x3F0", ""),
    ("page 0x3F8", "2:10: too-wide: 1016 has bits that `page <n>` puts nowhere"),
    ("page 0x7F0", "2:10: too-wide: 2032 has bits that `page <n>` puts nowhere"),
    ("page high", "2:10: too-wide: 90 has bits that `page <n>` puts nowhere"),
    ("page first", "2:10: wrong-kind: `first` is no number"),
    ("page pair(first, first)", "2:10: wrong-kind: `pair(first, first)` is no number"),
    ("all of 2", ""),
    ("all of 3", "2:12: undefined-code: `load` has no code 3"),
    ("all of 66", "2:12: too-wide: 66 needs 7 bits, and `number` has 6"),
    ("go", ""),
    ("go 1", ""),
    ("go 2", "2:8: too-wide: 2 needs 2 bits, and `go` has 1"),
    ("go yes", "2:8: unknown-code: `go` has no code `yes`"),
    ("target first", ""),
    ("target 64", "2:12: too-wide: 64 needs 7 bits, and `target` has 6"),
    ("target nowhere", "2:5: unknown-label: there is no label `nowhere`"),
    ("goto nowhere", "2:5: unknown-label: there is no label `nowhere`"),
    ("source pair(first, first)", "2:12: wrong-kind: `source` holds no address"),
    ("target pair(first, first)", ""),
    ("target pair(first)", "2:12: block-size: `pair` takes 2 labels, not 1"),
    ("target table(first, first, first)", "2:12: block-size: `table` takes 2, 4, 8 ... labels, not 3"),
    ("target page(first, first)", "2:12: block-size: `page` takes 1 label, not 2"),
    ("target peir(first, first)", "2:12: unknown-name: there is no `peir(...)`"),
    ("parity 1", "2:5: wrong-kind: `parity` is computed and cannot be set"),
])
def test_a_fault_and_its_neighbour(clauses: str, found: str) -> None:
    shown = faults(described(MACHINE), f"routine first at 0\n    {clauses}, branch jump\n")
    assert shown == ([f"small.micro:{found}"] if found else [])


@pytest.mark.parametrize(("clause", "help_"), [
    ("temp", "write `source temp` or define an order for it"),
    ("temp first", "write `source temp`, what else is set behind a comma, or define an order for it"),
    ("tamp", "define an `order` in the machine file")])
def test_the_name_of_a_code_alone(clause: str, help_: str) -> None:
    _, (finding,) = compiled(described(MACHINE), f"routine first at 0\n    {clause}, branch jump\n")
    assert (finding.name, finding.help) == ("unknown-order", help_)


def test_a_fault_in_many_places_is_one_finding() -> None:
    text = "routine first at 0\n" + "    sorce acc\n" * 6 + "    again\n"
    assert faults(described(MACHINE), text) == ["small.micro:2:5: unknown-order: there is no order or field `sorce`"]


@pytest.mark.parametrize(("orders", "clause", "names"), [
    (("turn <a> temp: source <a>", "turn acc <b>: load <b>"), "turn acc temp", ["ambiguous-order"]),
    (("turn <a> temp: source <a>", "turn acc <b>: load <b>"), "turn temp temp", []),
    (("turn <a> temp: source <a>", "turn acc temp: go"), "turn acc temp", []),
])
def test_two_orders_for_one_phrase(orders: tuple[str, str], clause: str, names: list[str]) -> None:
    """More words of its own decide; where neither order has all of the other's, the phrase is a fault."""
    text = MACHINE + "".join(f"order {order}\n" for order in orders)
    shown = faults(described(text), f"routine first at 0\n    {clause}, again\n")
    assert [line.split(": ")[1] for line in shown] == names


def test_an_order_that_is_also_a_setting() -> None:
    """`kind odd` sets the field; an order of the same words is in doubt unless it says the same."""
    text = "routine first at 0\n    kind odd, again\n"
    assert faults(described(MACHINE + "order kind odd: kind odd\n"), text) == []
    assert faults(described(MACHINE + "order kind odd: go\n"), text) == [
        "small.micro:2:5: ambiguous-order: `kind odd` is an order and also sets the field `kind`"]


def test_a_name_broken_in_the_machine_file_is_not_reported_again() -> None:
    machine = described(MACHINE)._replace(broken=frozenset({"sorce"}))
    assert faults(machine, "routine first at 0\n    sorce acc, again\n") == []
    assert faults(machine, "routine first at 0\n    sorse acc, again\n") == [
        "small.micro:2:5: unknown-order: there is no order or field `sorse`"]


def test_the_word_below_has_no_name_of_its_own_in_a_pair() -> None:
    _, (finding,) = compiled(described(MACHINE), "routine first at 0\n    target pair(following, first), branch jump\n")
    assert finding.name == "unknown-label" and "put a label before the word below" in finding.help
