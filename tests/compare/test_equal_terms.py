"""Terms that are equal for all values are one; others never are: held against plain evaluation of every value, of a
register file and its arithmetic against what is put into it, and with limits so small that every way is gone."""

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import ordain.logic.diagrams
from ordain.compare import equal_terms
from ordain.compare.equal_terms import EqualTerms, equal_above
from ordain.compare.trials import Lots
from ordain.logic.diagrams import Functions
from ordain.machine.expression import Const, Node, Terms
from tests.compare.judged import Texts, after, between, edited, moved
from tests.logic.test_diagrams import table, terms_of


@given(st.data())
@settings(max_examples=40)
def test_terms_are_one_exactly_when_they_have_equal_values(data: st.DataObject) -> None:
    terms = Terms()
    width = data.draw(st.sampled_from((1, 2, 3)))
    one, other = data.draw(terms_of(terms, width)), data.draw(terms_of(terms, width))
    found = EqualTerms(terms, Functions(()))
    assert (found.first(one) is found.first(other)) == (table(one) == table(other))
    assert isinstance(found.first(one), Const) == (len(set(table(one))) == 1)


@pytest.mark.parametrize("lane", [lambda lots, bit: 0, lambda lots, bit: -1, lambda lots, bit: 0x5555 << bit,
                                  lambda lots, bit: lots._some() & lots._some()])
@given(data=st.data())
@settings(max_examples=8)
def test_on_which_values_terms_are_tried_makes_no_difference(lane: Callable[[Lots, int], int],
                                                             data: st.DataObject) -> None:
    """None at all, always the same, or other ones by chance: what looks alike there is proved."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Lots, "lane", lane)
        terms = Terms()
        several = [data.draw(terms_of(terms, 2)) for _ in range(3)]
        found = EqualTerms(terms, Functions(()))
        for one in several:
            for other in several:
                assert (found.first(one) is found.first(other)) == (table(one) == table(other))
            assert isinstance(found.first(one), Const) == (len(set(table(one))) == 1)


@pytest.mark.parametrize("trials", (1, 256))
@given(data=st.data())
@settings(max_examples=20)
def test_what_is_too_large_for_a_diagram_is_never_taken_for_something_else(data: st.DataObject, trials: int) -> None:
    """No diagram has room, next to nothing is told apart by chance, no part is too small to stand for any word."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ordain.logic.diagrams, "LARGEST", 3)
        patch.setattr(equal_terms, "TRIALS", trials)
        patch.setattr(equal_terms, "_ALL", (1 << trials) - 1)
        patch.setattr(equal_terms, "SMALL", 0)
        patch.setattr(equal_terms, "FEW", data.draw(st.sampled_from((0, 3))))
        patch.setattr(equal_terms, "MOST_ABOVE", data.draw(st.sampled_from((6, 2000))))
        terms = Terms()
        width = data.draw(st.sampled_from((1, 2, 3)))
        several = [data.draw(terms_of(terms, width)) for _ in range(2)]
        found = EqualTerms(terms, Functions(()))
        for one in several:
            for other in several:
                assert found.first(one) is not found.first(other) or table(one) == table(other)
                assert table(found.first(one)) == table(one)
                assert not equal_above(one, other) or table(one) == table(other)


# ---------------------------------------------------------------- words too wide for a diagram


class File:
    """Sixteen registers of 16 bits, and two of them chosen by `ir`."""

    def __init__(self) -> None:
        terms = self.terms = Terms()
        self.ir = terms.leaf("register", "ir", 16)
        self.registers = [terms.leaf("register", f"r{number}", 16) for number in range(16)]
        self.left, self.right = self.chosen(9), self.chosen(5)

    def chosen(self, high: int) -> Node:
        value = self.registers[15]
        for number in range(14, -1, -1):
            asked = self.terms.among(self.terms.slice(self.ir, high, high - 3), frozenset((number,)))
            value = self.terms.if_(asked, self.registers[number], value)
        return value

    def chosen_by_halves(self, high: int) -> Node:
        """The same from the other end: four multiplexers in a row."""
        row: list[Node] = list(self.registers)
        for bit in range(high - 3, high + 1):
            line = self.terms.slice(self.ir, bit, bit)
            row = [self.terms.if_(line, row[at + 1], row[at]) for at in range(0, len(row), 2)]
        return row[0]


def test_the_same_said_otherwise_of_a_wide_word_is_the_same() -> None:
    file = File()
    terms, left, right = file.terms, file.left, file.right
    found = EqualTerms(terms, Functions((), 500))
    either = terms.and_((terms.or_((left, right)), terms.not_(terms.and_((left, right)))))
    one = terms.const(1, 16)
    for this, that in ((terms.xor(left, right), either),
                       (terms.add(left, right), terms.add(right, left)),
                       (terms.sub(left, right), terms.add(terms.add(left, terms.not_(right)), one)),
                       (terms.add(left, right), terms.add(file.chosen_by_halves(9), right))):
        assert found.first(this) is found.first(that)


def test_one_bit_of_a_wide_word_is_another_word() -> None:
    """Where chance would find it, and where it happens once in 65536 times sixteen."""
    file = File()
    terms, left, right = file.terms, file.left, file.right
    total = terms.add(left, right)
    found = EqualTerms(terms, Functions((), 500))
    rare = terms.and_((terms.among(total, frozenset((0x1234,))), terms.among(left, frozenset((0xBEE5,)))))
    for other in (terms.sub(left, right), terms.xor(total, terms.const(0x0400, 16)), terms.add(left, left),
                  terms.xor(total, terms.join((terms.const(0, 15), rare)))):
        assert found.first(total) is not found.first(other)


def test_what_both_say_in_the_same_words_needs_no_diagram(monkeypatch: pytest.MonkeyPatch) -> None:
    file = File()
    found = EqualTerms(file.terms, Functions(()))
    monkeypatch.setattr(Functions, "bits", None)
    total = file.terms.add(file.left, file.right)
    assert found.first(total) is total
    assert found.first(file.terms.add(file.left, file.right)) is total


# ---------------------------------------------------------------- machines with a register file

MACHINE = """\
machine bank "a register file of eight"
microprogram "bank.micro"
store control 16 words of 16 bits
    address at
field seq 2 bits
    next     0 idle
    jump     1
    jump_low 2
field target 4 bits address, idle 0
field result 1 bit
field keep 1 bit
field op 2 bits
    add  0 idle
    less 1
    odd  2
    same 3
field shift 1 bit
spare 5 bits
state at 4 bits, reset 0
    next choose seq
        next: at + 1
        jump: target
        jump_low: target if low else at + 1
        otherwise: 0
register ir 8 bits, loads data when keep and not result
REGISTERS
signal a = choose ir[5:3]
CHOICES
signal b = choose ir[2:0]
CHOICES
signal sum = choose op
    add : a + b
    less: a - b
    odd : a xor b
    same: a
signal shifted = {0b0, sum[15:1]} if shift else sum
condition low 1 bit = sum[0]
register zero 1 bit, loads shifted is 0 when keep
input outside 8 bits
bus data 8 bits, floats
    driven by slices = shifted[7:0] when result
    driven by outside               when not result
home start
""".replace("REGISTERS", "\n".join(f"register r{number} 16 bits, loads shifted when result and ir[2:0] is {number}"
                                   for number in range(8))).replace(
    "CHOICES", "\n".join(f"    {number}: r{number}" for number in range(8)))

TEXTS: Texts = (MACHINE, """routine start at 0
        keep, seq next
        op add, result, keep, seq next
        op less, result, keep, seq jump_low, target other
        op odd, shift, result, keep, seq jump, target start
 other: op same, shift, result, seq jump, target start
""")

RENAMED = (("signal sum = choose op", "signal total = choose op"), ("low 1 bit = sum[0]", "low 1 bit = total[0]"),
           ("{0b0, sum[15:1]} if shift else sum", "{0b0, total[15:1]} if shift else total"))


@pytest.mark.parametrize("edits", [
    (), RENAMED, (("add : a + b", "add : b + a"),), (("less: a - b", "less: a + (not b) + 1"),),
    (("odd : a xor b", "odd : (a or b) and not (a and b)"),)],
    ids=["itself", "another name", "operands the other way round", "a sum for a difference", "gates for gates"])
def test_a_machine_with_a_register_file_is_like_itself(edits: tuple[tuple[str, str], ...]) -> None:
    found = after(TEXTS, *edits)
    assert (moved(found), found.machine) == ({}, ())


@pytest.mark.parametrize("edit", [
    ("less: a - b", "less: b - a"), ("{0b0, sum[15:1]} if", "{sum[15], sum[15:1]} if"),
    ("odd : a xor b", "odd : a or b")], ids=["the other difference", "a shift with sign", "or"])
def test_a_change_inside_the_arithmetic_is_found(edit: tuple[str, str]) -> None:
    assert moved(after(TEXTS, edit))["start"] == "changed"


@pytest.mark.parametrize(("edit", "changed"), [
    (("odd : a xor b", "odd : (a or b) and not (a and b)"), False), (("odd : a xor b", "odd : a or b"), True)],
    ids=["gates for gates", "or"])
def test_control_that_asks_the_arithmetic_itself_asks_the_same(edit: tuple[str, str], changed: bool,
                                                               monkeypatch: pytest.MonkeyPatch) -> None:
    """Too large for a diagram, it is one condition on both sides all the same. The word that asks does nothing else."""
    monkeypatch.setattr(ordain.logic.diagrams, "LARGEST", 1000)
    asking = edited(TEXTS, ("condition low 1 bit = sum[0]", "signal low = sum is 0"),
                    ("op less, result, keep, seq jump_low", "op odd, seq jump_low"),
                    ("op odd, shift, result", "op add, result"))
    assert ("start" in moved(after(asking, edit))) == changed


def test_a_field_by_another_name_does_not_change_what_a_condition_means() -> None:
    """What a condition is worked out from is said in fields; they are paired before."""
    renamed = TEXTS[0].replace("op 2 bits", "task 2 bits").replace("choose op", "choose task"), \
        TEXTS[1].replace("op ", "task ")
    found = between(TEXTS, renamed)
    assert (moved(found), found.machine) == ({}, ())
    assert between(TEXTS, (renamed[0].replace("low 1 bit = sum[0]", "low 1 bit = sum[1]"), renamed[1])).machine == (
        "condition `low` means something else; it is taken for the same line",)


def test_what_is_equal_by_what_common_parts_are_made_of() -> None:
    """Whatever is 5 is less than 100: both are that it is 5, and only the lines of the 13 bits say so, as each of both
    conditions stands for any other where it is looked at from above. Whatever is 5 need not be less than 4."""
    terms = Terms()
    word, line = terms.leaf("register", "word", 13), terms.leaf("input", "line", 1)
    is_5 = terms.among(word, frozenset((5,)))

    def below(limit: int) -> Node:
        return terms.less(word, terms.const(limit, 13))

    for limit, same in ((100, True), (6, True), (5, False), (4, False)):
        one, other = terms.and_((is_5, below(limit))), terms.and_((is_5, terms.or_((below(limit), line))))
        assert one is not other and not equal_above(one, other)
        found = EqualTerms(terms, Functions(()))
        assert (found.first(one) is found.first(other)) == same
        assert (found.first(other) is found.first(one)) == same


def test_a_part_over_few_bits_is_looked_into_below_what_is_too_large() -> None:
    """What `line` adds to `below` is nothing where the word is 5; both parts are in both terms, and a sum that no
    diagram has room for is beside them. With `below 4` it does add something."""
    file = File()
    terms, total = file.terms, file.terms.add(file.left, file.right)
    word, line = terms.leaf("register", "word", 12), terms.leaf("input", "line", 1)
    is_5 = terms.among(word, frozenset((5,)))
    for limit, same in ((100, True), (4, False)):
        below = terms.less(word, terms.const(limit, 12))
        one, other = (terms.if_(terms.and_((is_5, part)), total, file.left)
                      for part in (below, terms.or_((below, line))))
        found = EqualTerms(terms, Functions((), 500))
        assert (found.first(one) is found.first(other)) == same


def test_what_was_a_cycle_before_is_a_word_of_its_own() -> None:
    """And so is what a memory holds: the same in whatever terms it stands, and not what it is asked about."""
    terms = Terms()
    word, line = terms.leaf("register", "word", 4), terms.leaf("input", "line", 4)
    for made in (terms.prior, lambda at: terms.cell("store", at, 4)):
        found, held = EqualTerms(terms, Functions(())), made(word)
        one, other = terms.add(held, line), terms.sub(held, terms.sub(terms.const(0, 4), line))
        assert one is not other and found.first(one) is found.first(other)
        assert len({found.first(term) for term in (word, line, held, made(line))}) == 4


def test_many_values_of_a_word_are_what_gates_say_of_it() -> None:
    """Those with an even number of ones, and all but one of them."""
    terms = Terms()
    word, line = terms.leaf("register", "word", 4), terms.leaf("input", "line", 1)
    found, even = EqualTerms(terms, Functions(())), frozenset(at for at in range(16) if not at.bit_count() % 2)
    one = terms.and_((line, terms.not_(terms.parity(word))))
    for values in (even, even - {5}):
        assert (found.first(terms.and_((terms.among(word, values), line))) is found.first(one)) == (values is even)
