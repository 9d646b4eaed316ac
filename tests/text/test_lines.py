"""Logical lines and blocks: offsets stay true, and a broken line hides no other."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ordain.language.words import CARRY_MACHINE
from ordain.text.lines import (
    DEEPEST_BLOCK,
    DEEPEST_BRACKET,
    Block,
    Carry,
    Line,
    Placed,
    blocks,
    flatten,
    in_order,
    logical_lines,
)
from ordain.text.source import Source


def read(text: str) -> tuple[list[Line], list[tuple[str, str]]]:
    """The lines, and name and place of each finding."""
    lines, findings = logical_lines(Source("f", text))
    return lines, [(finding.name, str(finding.span)) for finding in findings]


def texts(text: str) -> list[str]:
    lines, findings = read(text)
    assert findings == []
    return [line.text for line in lines]


def test_blank_lines_and_comments_are_no_lines() -> None:
    assert texts("\n  \n# a\n   # b \na b  # c\n  d#e\n") == ["a b", "d"]


def test_a_hash_inside_quotes_is_no_comment() -> None:
    assert texts('rule "pin #4" never a  # "b"\n') == ['rule "pin #4" never a']


def test_depth_and_start_are_those_of_the_first_character() -> None:
    lines, _ = read("a\n    b   # c\n        d")
    assert lines == [Line("a", 0, 0, False), Line("b", 6, 4, False), Line("d", 22, 8, False)]


@pytest.mark.parametrize("text", [
    "holds a,\n      b,   # high\n\n  # more\n      c\nnext",
    "holds {a,\n      b,   # high\n  c}\nnext",
    "holds (a\n\n   b # c )\n)\nnext",
])
def test_a_line_goes_on_after_a_comma_or_while_a_bracket_is_open(text: str) -> None:
    first, second = read(text)[0]
    assert second.text == "next"
    for offset, character in enumerate(first.text):
        assert character in (" ", text[offset]), (offset, character)
    assert [word for word in "abc" if word in first.text] == (["a", "b"] if "(" in text else ["a", "b", "c"])


def test_what_carries_on_is_indented_further_or_closes_a_bracket() -> None:
    assert texts("x (\n  a\n)\ny") == ["x (   a )", "y"]
    lines, findings = read("a (b\nc d\n  e\nf")
    assert [line.text for line in lines] == ["a (b)", "c d", "e", "f"]
    assert findings == [("unclosed-bracket", "f:1:3")]
    assert [line.broken for line in lines] == [True, False, False, False]


def test_a_comma_at_the_end_swallows_no_other_statement() -> None:
    lines, findings = read("  a,\n  b\n  c, # d\n")
    assert [line.text for line in lines] == ["a", "b", "c"]
    assert findings == [("unfinished-line", "f:1:4"), ("unfinished-line", "f:3:4")]


@pytest.mark.parametrize(("text", "name", "place", "repaired"), [
    ('a "b', "unclosed-quote", "f:1:3", ['a "b"', "c"]),
    ('a "b,', "unclosed-quote", "f:1:3", ['a "b,"', "c"]),
    ("a {b", "unclosed-bracket", "f:1:3", ["a {b}", "c"]),
    ("a (b [c", "unclosed-bracket", "f:1:6", ["a (b [c])", "c"]),
    ("a b)", "unmatched-bracket", "f:1:4", ["a b", "c"]),
    ("a (b]", "unmatched-bracket", "f:1:5", ["a (b)", "c"]),
])
def test_one_finding_for_a_bracket_or_quote_and_the_next_line_is_whole(
        text: str, name: str, place: str, repaired: list[str]) -> None:
    lines, findings = read(text + "\nc\n")
    assert findings == [(name, place)]
    assert [line.text for line in lines] == repaired and [line.broken for line in lines] == [True, False]


def test_a_wrong_closing_bracket_shows_both_places() -> None:
    _, [finding] = logical_lines(Source("f", "a (b]"))
    assert [(str(place.span), place.label) for place in finding.places] == [("f:1:3", "opened here")]


def test_brackets_nested_too_deep_are_one_finding_where_the_limit_is_passed() -> None:
    deep = DEEPEST_BRACKET
    assert read("(" * deep + ")" * deep)[1] == []
    lines, findings = read("(" * 9000 + ")" * 900 + "\nc")
    assert findings[0] == ("nested-too-deep", f"f:1:{deep + 1}") and lines[-1].text == "c"


def test_tabs_are_one_finding_a_file_and_a_comment_may_have_them() -> None:
    lines, findings = read("a\n\tb\t#\t\n#\tx\n\t\n\tc")
    assert findings == [("tab", "f:2:1")]
    assert [(line.text, line.depth) for line in lines] == [("a", 0), ("b", 8), ("c", 8)]
    assert logical_lines(Source("f", "a\n\tb\t\n\tc"))[1][0].message == "a tab; 2 more in this file"


def test_a_statement_of_a_million_characters_is_one_finding() -> None:
    lines, findings = read("a (\n" + " bbbbbbbbb,\n" * 100_000 + ")\nc")
    assert findings == [("line-too-long", "f:1:1")] and [line.text for line in lines] == ["c"]


def test_forty_thousand_comments_in_a_statement() -> None:
    lines, findings = read("a,\n" + "#\n" * 40_000 + "    c\n")
    assert findings == [] and [line.text.split() for line in lines] == [["a,", "c"]]


def test_a_code_called_and_ends_a_line_however_many_rows_say_so() -> None:
    """`is not and` names a code; an `and` that joins goes on. What is said before it stands in other rows."""
    lines, _ = logical_lines(Source("f", "x a is\n  not\n  and\n  b\ny c\n  and\n  d\n"), CARRY_MACHINE)
    assert [line.text.split() for line in lines] == [["x", "a", "is", "not", "and"], ["b"], ["y", "c", "and", "d"]]


def test_flatten_keeps_the_length() -> None:
    assert flatten('a "#" # b\n\tc') == 'a "#"      c'


@given(st.text(st.sampled_from('ab ,#"()[]{}\n\t'), max_size=80))
def test_every_character_of_a_line_stands_where_the_file_has_it(text: str) -> None:
    source = Source("f", text)
    lines, _ = logical_lines(source)
    for line in lines:
        for offset, character in enumerate(line.text):
            if not line.broken:
                there = text[line.start + offset]
                assert character == there or (character == " " and there in "\n\t") or "#" in text
    assert [line.start for line in lines] == sorted({line.start for line in lines})


# ---------------------------------------------------------------- blocks


def forest(text: str) -> tuple[str, list[tuple[str, str]]]:
    """The blocks in brackets, and the findings."""
    source = Source("f", text)
    lines, lexical = logical_lines(source)
    roots, findings = blocks(source, lines)
    assert lexical == []

    def show(found: list[Block]) -> str:
        return " ".join(block.text + (f"({show(block.children)})" if block.children else "") for block in found)

    return show(roots), [(finding.name, str(finding.span)) for finding in findings]


def test_indented_lines_are_the_block_of_the_line_before() -> None:
    assert forest("a\n  b\n    c\n  d\n      e\nf\n b") == ("a(b(c) d(e)) f(b)", [])


def test_a_line_between_two_levels_is_one_finding_and_stays_in_the_block() -> None:

    shown, findings = forest("a\n    b\n  c\n    d\nf")
    assert findings == [("indentation", "f:3:3")] and shown == "a(b c d) f"


def test_a_first_line_that_is_indented_is_one_finding() -> None:
    assert forest("  a\n    b\n  c") == ("a(b) c", [("indentation", "f:1:3")])
    assert forest("  a\nb\n  c\nd") == ("a b(c) d", [("indentation", "f:1:3")])


def test_blocks_nested_too_deep_are_one_finding() -> None:
    text = "\n".join(" " * depth + "a" for depth in range(5000))
    source = Source("f", text)
    _, findings = blocks(source, logical_lines(source)[0])
    assert [(finding.name, finding.span and finding.span.line) for finding in findings] == [
        ("nested-too-deep", DEEPEST_BLOCK + 2)]


def test_findings_about_indentation_are_left_out_where_a_tab_is_to_blame() -> None:
    source = Source("f", "a\n\tb\n    c\n")
    lines, tabs = logical_lines(source)
    _, indentation = blocks(source, lines)
    assert [finding.name for finding in indentation] == ["indentation"]
    assert [finding.name for finding in in_order(indentation + tabs)] == ["tab"]


def test_a_placed_text_makes_spans_of_its_file() -> None:
    source = Source("f", "ab\n  cde")
    placed = Placed("cde", source, 5)
    assert placed.span(1, 3).text == "de" and placed.whole().text == "cde" and str(placed.span(1, 3)) == "f:2:4"


CARRY = Carry(re.compile(r"\b(?:and|when)$|=$"), re.compile(r"(?:and|when)(?!\w)(?! *[0-9]+$)|="))


def carried(text: str, carry: Carry = CARRY) -> list[str]:
    lines, findings = logical_lines(Source("f", text), carry)
    assert findings == []
    return [" ".join(line.text.split()) for line in lines]


def test_a_line_goes_on_after_and_before_words_that_join() -> None:
    assert carried("a and\n  b\nc") == ["a and b", "c"]
    assert carried("a\n  and b\n\n  # c\n     when d\n  e") == ["a and b when d", "e"]
    assert carried("a =\n  b # when\n  c") == ["a = b", "c"]
    assert carried("a (b\n c)\n  and d\ne") == ["a (b c) and d", "e"]
    assert carried("x\n  a,\n   b and\n    c\n  d") == ["x", "a, b and c", "d"]


def test_what_is_not_indented_further_or_names_something_carries_nothing_on() -> None:
    assert carried("a and\nb") == ["a and", "b"]
    assert carried("a\nand b") == ["a", "and b"]
    assert carried("a\n  when 3\n  b") == ["a", "when 3", "b"]
    assert carried("a\n  brand\n  android b") == ["a", "brand", "android b"]
    assert texts("a and\n  b\n  when c") == ["a and", "b", "when c"], "only where it is asked for"


def test_offsets_stay_those_of_the_file() -> None:
    text = "abc   # x and\n\n     when de\n  f"
    (first, second), _ = logical_lines(Source("f", text), CARRY)
    assert all(character in (" ", text[offset]) for offset, character in enumerate(first.text))
    assert first.text.replace(" ", "") == "abcwhende" and text[second.start] == "f"
