"""Clauses together make a word: conflicts, fields at rest, fields that must be set."""

import pytest

from ordain.microprogram.model import Microinstruction
from tests.microprogram.compiled import compiled, described, faults, placed, program_of

MACHINE = """\
machine small

store control 16 words of 16 bits
    address here
    unused  none stop, to first

field to 4 bits address, idle following
field none 2 bits
    go   1
    stop 2
    wait 3
field test 3 bits, idle any
    zero 0
    minus 5
field low 2 bits, active low, idle any
field number 3 bits, idle 5
field flag 1 bit, active low
spare 1 bit ones

state here 4 bits, reset 0
    next to

order stop: none stop
order go  : none go
"""


def words(text: str) -> tuple[Microinstruction, ...]:
    return program_of(described(MACHINE), f"routine first\n{text}").words


def test_fields_at_rest() -> None:
    """`idle following` is open until placement, `idle any` is zeros for now, active low is 1 in the store."""
    first, last = words("    go\n    stop, to first\n")
    assert f"{first.bits:016b}" == "0000_01_000_00_101_1_1".replace("_", "")
    assert f"{first.open:016b}" == "0000_00_111_11_000_0_0".replace("_", "")
    assert [(name, target.kind) for name, target in first.targets] == [("to", "following")]
    assert [(name, target.labels) for name, target in last.targets] == [("to", ("first",))]


def test_what_is_set_is_not_open() -> None:
    first, _ = words("    go, test minus, low 1, number 2, flag\n    stop, to first\n")
    assert f"{first.bits:016b}" == "0000_01_101_10_010_0_1".replace("_", "")
    assert first.open == 0


def test_text_labels_and_owner() -> None:
    first, second = words("    go,  flag\n  again: stop, to again\n")
    assert (first.text, first.orders, first.labels, first.owner) == ("go, flag", ("go", "flag"), (), "first")
    assert (second.text, second.labels) == ("stop, to again", ("again",))
    assert second.span.text.startswith("again: stop")


def test_where_a_word_came_from() -> None:
    text = "sequence twice\n    go\n    go, flag\n\nroutine first\n    twice\n    stop, to first\n"
    program = program_of(described(MACHINE), text)
    assert [word.called_from.line if word.called_from else None for word in program.words] == [6, 6, None]
    assert [word.span.line for word in program.words] == [2, 3, 7]


@pytest.mark.parametrize(("line", "found"), [
    ("go, flag", ""),
    ("go, none go", ""),
    ("go, stop", "2:9: field-conflict: `go` sets `none` to `go`, `stop` to `stop`"),
    ("go, none wait", "2:9: field-conflict: `go` sets `none` to `go`, `none wait` to `wait`"),
    ("go, to first, to following",
     "2:19: field-conflict: `to first` sets `to` to `first`, `to following` to `following`"),
    ("go, to first, to first", ""),
    ("go, number 5, number 5", ""),
    ("go, number 4, number 5", "2:19: field-conflict: `number 4` sets `number` to 4, `number 5` to 5"),
    ("flag", "2:5: field-not-set: this word does not set `none`"),
    ("sop", "2:5: unknown-order: there is no order or field `sop`"),
])
def test_a_fault_and_its_neighbour(line: str, found: str) -> None:
    """A word with a clause that means nothing is not also reported for what that clause may have set."""
    shown = faults(described(MACHINE), f"routine first\n    {line}\n    stop, to first\n")
    assert shown == ([f"small.micro:{found}"] if found else [])


def test_a_field_without_idle_code_is_one_finding() -> None:
    """However many words do not set it."""
    _, (finding,) = compiled(described(MACHINE), "routine first\n" + "    flag\n" * 6 + "    stop, to first\n")
    assert finding.name == "field-not-set" and len(finding.places) == 4
    assert finding.notes == ("the same in 2 more places",)


@pytest.mark.parametrize(("field", "way_out"), [
    ("number 3 bits", "`, idle 0`"), ("number 3 bits\n    few 0\n    many 7", "mark one of its codes `idle`")])
def test_a_way_out_that_fits_what_the_field_holds(field: str, way_out: str) -> None:
    _, (finding,) = compiled(described(MACHINE.replace("number 3 bits, idle 5", field).replace(
        "stop, to first", "stop, to first, number 0")), "routine first\n    stop, to first\n")
    assert finding.name == "field-not-set" and way_out in finding.help


def test_both_places_of_a_conflict() -> None:
    _, (finding,) = compiled(described(MACHINE), "routine first\n    go, flag, stop\n    stop, to first\n")
    assert finding.span is not None
    assert [(place.span.text, place.label) for place in finding.places] == [("go", "`none` `go`")]
    assert (finding.span.text, finding.label) == ("stop", "`none` `stop`")


def test_nothing_follows_the_last_word() -> None:
    assert faults(described(MACHINE), "routine first\n    go\n    stop, to first\n") == []
    assert faults(described(MACHINE), "routine first\n    go\n    stop\n") == [
        "small.micro:3:5: runs-off: `to` is to name the following word, and none follows"]


def test_the_unused_word() -> None:
    program = program_of(described(MACHINE), "routine first\n    go\n    stop, to first\n")
    unused = program.unused["control"]
    assert unused is not None and [(name, target.labels) for name, target in unused.targets] == [("to", ("first",))]
    placement = placed(described(MACHINE), "routine first at 9\n    go\n    stop, to first\n")
    assert placement.unused["control"] is not None and placement.unused["control"] >> 12 == 9
    without = described(MACHINE.replace("    unused  none stop, to first\n", ""))
    assert program_of(without, "routine first\n    go\n    stop, to first\n").unused == {"control": None}


def test_a_fault_in_the_unused_word() -> None:
    assert faults(described(MACHINE.replace("to first", "to frist")), "routine first\n    stop, to first\n") == [
        "small.machine:5:24: unknown-label: there is no label `frist`"]


TWO_STORES = MACHINE + """
store second 8 words of 4 bits
    address there
field other 3 bits address
field mark 1 bit
state there 3 bits, reset 0
    next other
order mark it: mark
order both: mark, flag
"""


@pytest.mark.parametrize(("text", "found"), [
    ("routine one in second\n    mark, other one\n", ""),
    ("routine one in second\n    mark it, other one\n", ""),
    ("routine one in control\n    stop, to one\n", ""),
    ("routine one\n    stop, to one\n", ""),
    ("routine one in second\n    flag, other one\n", "4:5: wrong-store: `flag` is a field of `control`"),
    ("routine one in second\n    both, other one\n", "4:5: wrong-store: `both` sets `flag`, a field of `control`"),
    ("routine one in secnd\n    mark, other one\n", "3:16: unknown-name: `secnd` is no store"),
])
def test_words_of_two_stores(text: str, found: str) -> None:
    shown = faults(described(TWO_STORES), f"routine first\n    stop, to first\n{text}")
    assert shown == ([f"small.micro:{found}"] if found else [])


def test_a_word_that_names_a_word_of_another_store() -> None:
    placement = placed(described(TWO_STORES), "routine first\n    stop, to first\n"
                       "routine one in second at 5\n    mark, other two\nroutine two in second at 6\n    other one\n")
    assert placement.words["second"] == {5: 6 << 1 | 1, 6: 5 << 1}


LABELS = """\
routine first
    go
  wait: stop, to wait
routine second
  wait: stop, to {0}
"""


@pytest.mark.parametrize(("label", "found"), [
    ("wait", ""),
    ("first.wait", ""),
    ("first", ""),
    ("second", ""),
    ("wit", "5:15: unknown-label: there is no label `wit`"),
    ("third.wait", "5:15: unknown-label: there is no label `third.wait`"),
])
def test_labels(label: str, found: str) -> None:
    shown = faults(described(MACHINE), LABELS.format(label))
    assert shown == ([f"small.micro:{found}"] if found else [])


def test_a_label_means_that_of_its_own_body_first() -> None:
    program = program_of(described(MACHINE), LABELS.format("wait"))
    assert [word.targets[0][1].labels for word in program.words[1:]] == [("first.wait",), ("second.wait",)]
    assert program.labels == {
        "first": 0, "second": 2, "first.wait": 1, "second.wait": 2}


def test_a_label_of_two_bodies_from_a_third() -> None:
    text = LABELS.format("wait") + "routine third\n    stop, to {0}\n"
    assert faults(described(MACHINE), text.format("second.wait")) == []
    assert faults(described(MACHINE), text.format("wait")) == [
        "small.micro:7:11: ambiguous-label: `wait` is a label of 2 bodies"]


@pytest.mark.parametrize(("text", "found"), [
    ("routine a\n    go\n x: stop, to x\n", []),
    ("routine a\n x: go\n x: stop, to x\n", ["3:2: defined-twice: the label `x` stands twice in `a`"]),
    ("routine a\n a: go\n    stop, to a\n", []),
    ("routine a\n    go\n a: stop, to a\n", ["3:2: defined-twice: `a` is a label and the name of a body"]),
    ("routine a\n    stop, to a\nroutine a\n    stop, to a\n", ["3:1: defined-twice: `a` is defined twice"]),
    ("routine a\n    stop, to b\nroutine b\n    stop, to a\n", []),
])
def test_names_defined_twice(text: str, found: list[str]) -> None:
    assert faults(described(MACHINE.replace("to first", "to a")), text) == [f"small.micro:{each}" for each in found]


def test_an_unknown_label_twice_in_a_clause_is_told_once() -> None:
    _, (finding,) = compiled(described(MACHINE), "routine first\n    stop, to pair(frist, frist)\n")
    assert (finding.name, finding.places, finding.notes) == ("unknown-label", (), ())


def test_an_unknown_label_in_many_words_is_one_finding() -> None:
    _, (finding,) = compiled(described(MACHINE), "routine first\n" + "    stop, to frist\n" * 6)
    assert (finding.name, finding.help) == ("unknown-label", "did you mean `first`?")
    assert [place.span.line for place in finding.places] == [3, 4, 5]
    assert finding.notes == ("the same in 2 more places",)


NAMED = MACHINE + """\
home first
rule "one" never at {0} and flag
rule "two" never in {1} and flag
"""


@pytest.mark.parametrize(("at", "inside", "found"), [
    ("first", "first", []),
    ("first.wait", "first", []),
    ("wait", "first", []),
    ("wat", "first", ["26:21: unknown-label: there is no label `wat`"]),
    ("first", "wait", ["27:21: unknown-label: there is no routine or instruction `wait`"]),
])
def test_labels_that_the_machine_file_names(at: str, inside: str, found: list[str]) -> None:
    shown = faults(described(NAMED.format(at, inside)), "routine first\n    go\n  wait: stop, to wait\n")
    assert shown == [f"small.machine:{each}" for each in found]


@pytest.mark.parametrize(("called", "home", "twofold"), [
    ("wait", "wait", True),
    ("wait", "at wait", False),
    ("wait", "wait is 1", False),
    ("waits", "waits", False),
    ("waits", "wait", False),
    ("first", "first", False),              # the condition is that control is there
])
def test_a_home_that_a_label_and_a_signal_could_both_be(called: str, home: str, twofold: bool) -> None:
    value = "at first" if called == "first" else "flag"
    machine = described(MACHINE + f"signal {called} = {value}\nhome {home}\n")
    _, found = compiled(machine, "routine first\n    go\n  wait: stop, to wait\n")
    assert [(each.name, each.help) for each in found] == [
        ("ambiguous-label", "write `home at wait` or `home wait is 1`")] * twofold


@pytest.mark.parametrize(("header", "found"), [
    ("routine first at 3", ""),
    ("routine first align 4", ""),
    ("routine first same page 8", ""),
    ("routine first align 3", "bad-size: `align 3`: pages and blocks have 1, 2, 4, 8 ... words"),
    ("routine first same page 6", "bad-size: `same page 6`: pages and blocks have 1, 2, 4, 8 ... words"),
    ("routine first at somewhere", "unknown-name: there is no constant `somewhere`"),
])
def test_headers(header: str, found: str) -> None:
    shown = faults(described(MACHINE), f"{header}\n    stop, to first\n")
    assert [line.split(": ", 1)[1] for line in shown] == ([found] if found else [])


def test_headers_reach_placement() -> None:
    text = MACHINE + "constant somewhere = 11\n"
    assert placed(described(text), "routine first at somewhere\n    stop, to first\n").addresses == ((11,),)
    placement = placed(described(text), "routine one at 0\n    stop, to first\nroutine first align 8\n    go\n"
                                        "    stop, to first\n")
    assert placement.addresses == ((0,), (8,), (9,))


@pytest.mark.parametrize(("micro", "found"), [
    ("routine first\n    stop, to there\n there: stop, to first\n", True),
    ("routine first\n    stop, to there\nroutine next\n there: stop, to first\nroutine last\n there: stop, to first\n",
     True),
    ("routine first\n    stop, to there\nroutine there\n    stop, to first\n", True),
    ("routine first\n    stop, to there\nroutine there at there\n    stop, to first\n", False),
    ("routine first\n    stop, to first\n there: stop, to first\n", False),
    ("routine first\n    stop, to there\n their: stop, to first\n", False),
])
def test_what_is_a_constant_and_a_label_is_taken_for_neither(micro: str, found: bool) -> None:
    """The constant went before, without a word: control came to 11 and not to the label."""
    shown = faults(described(MACHINE + "constant there = 11\n"), micro)
    assert [line.split(": ", 1)[1] for line in shown] == ["ambiguous-label: `there` is a label and a constant"] * found


@pytest.mark.parametrize(("micro", "line"), [
    ("routine first\n    stop, to first\n following: stop, to first\n", 3),
    ("routine first\n    stop, to first\nroutine following\n    stop, to first\n", 3),
    ("routine first\n    stop, to first\n follows: stop, to first\n", 0),
])
def test_no_word_is_called_following(micro: str, line: int) -> None:
    """`to following` would lead to the word below all the same."""
    shown = faults(described(MACHINE), micro)
    assert [each.split(":")[1] for each in shown if "reserved: `following`" in each] == [str(line)] * bool(line)
