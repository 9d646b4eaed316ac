"""Where fields lie: on random words, against a few plain lines that know nothing of the code."""

from hypothesis import given
from hypothesis import strategies as st

from tests.machine.described import FRAME, sound, understood

WIDTHS = st.lists(st.integers(1, 9), min_size=1, max_size=12)
HEAD = "machine small\nstate upc 4 bits, reset 0\n    next upc + 1\n"


def fields_text(widths: list[int], pins: dict[int, str]) -> str:
    return "".join(f"field f{index} {width} bits, idle 0{pins.get(index, '')}\n" for index, width in enumerate(widths))


@given(WIDTHS)
def test_fields_fill_the_word_from_the_left(widths: list[int]) -> None:
    machine = sound(f"{HEAD}store control 16 words of {sum(widths)} bits\n    address upc\n{fields_text(widths, {})}")
    word = "".join(f"<{index}>" * width for index, width in enumerate(widths))  # one mark a bit, highest first
    marks = word.replace(">", "").split("<")[1:]
    for index in range(len(widths)):
        field = machine.fields[f"f{index}"]
        own = [len(marks) - 1 - place for place, mark in enumerate(marks) if mark == str(index)]
        assert (field.high, field.low) == (max(own), min(own))


@given(st.permutations(range(5)), st.lists(st.integers(1, 6), min_size=5, max_size=5))
def test_pinned_fields_may_come_in_any_order(order: list[int], widths: list[int]) -> None:
    """The text names the fields in another order than that of the word; each is pinned where it lies."""
    lows, total = {}, sum(widths)
    top = total
    for index in range(5):
        top -= widths[index]
        lows[index] = top
    pins = {index: f", at [{lows[index] + widths[index] - 1}:{lows[index]}]" for index in range(5)}
    lines = fields_text(widths, pins).splitlines(keepends=True)
    text = "".join(lines[index] for index in order)
    machine = sound(f"{HEAD}store control 16 words of {total} bits\n    address upc\n{text}")
    bits = [bit for field in machine.fields.values() for bit in range(field.low, field.high + 1)]
    assert sorted(bits) == list(range(total)), "every bit in exactly one field"
    assert all(machine.fields[f"f{index}"].low == lows[index] for index in range(5))


@given(WIDTHS, st.integers(-5, 5).filter(bool))
def test_by_how_much_the_word_is_missed_is_said(widths: list[int], off: int) -> None:
    total = sum(widths)
    if total + off < 1:
        return
    _, findings = understood(
        f"{HEAD}store control 16 words of {total + off} bits\n    address upc\n{fields_text(widths, {})}")
    assert [item.name for item in findings] == ["word-underfull" if off > 0 else "word-overfull"]
    count = f"{abs(off)} bit{'' if abs(off) == 1 else 's'}"
    assert count in findings[0].message and count in findings[0].help


@given(st.integers(0, 4), st.integers(0, 4))
def test_two_pinned_fields_overlap_exactly_when_they_share_a_bit(a: int, b: int) -> None:
    text = f"field x 3 bits, idle 0, at [{a + 2}:{a}]\nfield y 3 bits, idle 0, at [{b + 2}:{b}]\n"
    _, findings = understood(f"{HEAD}store control 16 words of 7 bits\n    address upc\n{text}")
    shared = {a, a + 1, a + 2} & {b, b + 1, b + 2}
    names = [item.name for item in findings]
    assert ("field-overlap" in names) == bool(shared)
    if not shared:
        assert names == ["word-underfull"]


def test_what_a_field_is() -> None:
    machine = sound("""\
machine small
store control 16 words of 24 bits
    address upc
field source 4 bits
    none 0 idle
    acc 1
field write 1 bit, active low
field target 6 bits address, idle following
field part 3 bits address[3:1]
field imm 4 bits, idle any
field odd 1 bit = odd parity of {source, write}
spare 4 bits ones
spare 1 bit
state upc 4 bits, reset any
    next upc
""")
    fields = machine.fields
    assert [(field.high, field.low) for field in fields.values()] == [
        (23, 20), (19, 19), (18, 13), (12, 10), (9, 6), (5, 5), (4, 1), (0, 0)]
    assert [field.holds for field in fields.values()] == [
        "code", "code", "address", "address", "number", "derived", "spare", "spare"]
    assert [field.idle for field in fields.values()] == [0, 0, "following", "none", "any", 0, 15, 0]
    assert fields["target"].address_bits == (3, 0), "no more bits than the store's address has"
    assert fields["part"].address_bits == (3, 1)
    assert [code.name for code in fields["source"].codes] == ["none", "acc"]
    assert fields["write"].active_low and not fields["source"].active_low
    assert machine.states["upc"].reset is None
    assert machine.stores["control"].fields == tuple(fields)


def test_a_field_belongs_to_the_store_above_it() -> None:
    machine = sound(FRAME + "store second 4 words of 3 bits\n    address upc[1:0]\nfield late 3 bits, idle 0\n")
    assert machine.fields["late"].store == "second" and machine.stores["second"].fields == ("late",)
    assert machine.fields["go"].store == "control"


def test_a_derived_field_is_over_the_stored_word() -> None:
    """`halt` is active low: what it was asserted as is the inverse of what stands in the word."""
    machine = sound(FRAME.replace("field go 1 bit\nfield halt 1 bit, active low",
                                  "field halt 1 bit, active low\nfield check 1 bit = halt xor parity(target)"))
    terms = machine.terms
    word = terms.leaf("word", "control", 8)
    expected = terms.xor(terms.not_(terms.slice(word, 1, 1)), terms.parity(terms.slice(word, 5, 2)))
    assert machine.fields["check"].derived is expected
