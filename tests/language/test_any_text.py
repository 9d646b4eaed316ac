"""No text, however broken, raises, recurses, or makes a finding without a place inside its file."""

import re

from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.language.machine_file import parse_machine
from ordain.language.micro_file import parse_microprogram
from ordain.text.findings import Finding
from tests.language.test_machine_statements import STATEMENTS

MACHINE = "machine m\n" + "\n".join(text for text, _ in STATEMENTS) + "\n"
MICRO = '''routine hold at 0x3F0 align 2
        release
  wait: grant, loop while requested, then back
        when zero and not carry
            a
        otherwise
            b pair(wait, x), c <- d via e
        push acc
sequence push <reg>
        memory <- <reg>, write
instruction 0b1_dd_00101, 0b1 "load {d}, n" for d in (acc, b = 2)
        {d} <- memory   # comment
prologue
        x
map second
        0x2B, 0x2F : store_write
        others : trap
'''
PIECES = sorted(set(re.findall(r"\w+|[^\w\s]|\n *", MACHINE + MICRO)))


def check(findings: list[Finding], text: str) -> None:
    for finding in findings:
        assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", finding.name) and finding.message and finding.help
        for span in [finding.span, *(place.span for place in finding.places)]:
            if span is not None:
                assert 0 <= span.start <= span.end <= len(text) + 1, (finding.name, span.start, span.end)
                assert span.line >= 1 and span.column >= 1


def read_both(text: str) -> None:
    made, findings = parse_machine({"m": text}, "m")
    check(findings, text)
    made_too, findings = parse_microprogram({"u": text}, ["u"])
    check(findings, text)
    assert (made is not None and made_too is not None) or [finding.name for finding in findings] == [
        "control-character"]


@settings(max_examples=300)
@given(st.lists(st.sampled_from(PIECES), max_size=60).map(" ".join))
def test_any_words_of_the_languages_in_any_order(text: str) -> None:
    read_both(text)


@given(st.text(max_size=200))
def test_any_characters(text: str) -> None:
    read_both(text)


@given(st.sampled_from([MACHINE, MICRO]), st.lists(st.tuples(
    st.integers(0, 6000), st.integers(0, 4), st.sampled_from([*' \n()"#,\tx<{', ""])), min_size=1, max_size=4))
def test_a_good_text_with_a_few_characters_changed(text: str, changes: list[tuple[int, int, str]]) -> None:
    for at, length, new in changes:
        at %= len(text)
        text = text[:at] + new + text[at + length:]
    read_both(text)


def test_deep_and_long_texts() -> None:
    arms = "".join(" " * n + "when a\n" for n in range(1, 900))
    for text in ("(" * 9000, "{" * 9000, "routine r\n  a" + "(" * 9000, "routine r\n" + arms, "a\n" * 20000,
                 "routine r\n" + "  x:\n" * 9000, '"' * 9999, "signal a = " + "a[0]" + "[0]" * 3000,
                 "order a: t " + "page(" * 1500, "routine a\n  b " + "page(" * 1500 + "x" + ")" * 1500, ",\n" * 5000,
                 "x " * 4999, "signal a = {" + "b,\n " * 20000 + "b}"):
        read_both(text)


def test_the_whole_of_both_languages_has_no_finding() -> None:
    assert parse_machine({"m": MACHINE}, "m")[1] == []
    assert parse_microprogram({"u": MICRO.replace(", 0b1 ", " ")}, ["u"])[1] == []
