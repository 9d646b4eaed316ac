"""One cause, one finding: what a broken line leads to is not complained about again."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.language.machine_file import parse_machine
from ordain.machine.print import machine_lines
from ordain.machine.resolve import resolve
from ordain.text.findings import Finding, has_errors
from tests.machine.described import FRAME, shown, understood
from tests.machine.whole import KILN


@pytest.mark.parametrize("lines, cause", [
    ("state t 0 bits, reset 0\n    next t + 1\nsignal a = t is 3\nsignal b = a and t[2]\nrule \"r\" never b or t[0]",
     "bad-size"),
    ("signal a = lost\nsignal b = a\nsignal c = b is 3\nexclusive a, b\nstrobe a", "unknown-name"),
    ("signal a = upc + lost\nstate t 3 bits, reset 0\n    next a", "unknown-name"),
    ("input i 4097 bits\nsignal s = i + 3\nsignal t = {i, 0b1}", "bad-size"),
    ("signal a = upc is branch\nsignal b = a is 3", "width-mismatch"),
    ("signal a = upc + 16\nsignal b = a", "too-wide"),
    ("constant a = upc\nconstant b = a + 1\nsignal s = upc is b", "not-constant"),
    ("signal s = lost is jmp", "unknown-name"),
    ("signal s = lost in (jmp, hold, 3)", "unknown-name"),
    ("signal s = choose lost\n    this : go\n    that : halt", "unknown-name"),
    ("state t 0 bits, reset whatever\n    next some if go else other", "bad-size"),
    ("agent a\n    input i 0 bits\n    signal s = i\nsignal t = a.s", "bad-size"),
    ("store other 0 words of 4 bits\n    address upc\nfield x 4 bits, idle 0\nchip U1 16 x 4\n    holds other\n"
     "    address upc\nsignal s = other.word is 3", "bad-size"),
    ("store other 16 words of 4 bits\n    address lost\nfield x 4 bits, idle 0\nchip U1 16 x 4\n    holds x\n"
     "    address address", "unknown-name"),
    ("store other 16 words of 4 bits\n    address target[2:0]\nfield x 4 bits, idle 0\nchip U1 16 x 4\n    holds x\n"
     "    address address", "width-mismatch"),
    ("store other 16 words of 4 bits\n    address upc\nfield x 0 bits\nfield y 2 bits, idle 0\nsignal s = x is 3\n"
     "order o : x 3", "bad-size"),
    ("store other 4 words of 2 bits\n    address upc[1:0]\nfield x 2 bits\n    a 0\n    b 4\n    c 1\n"
     "signal s = x is b\nsignal t = choose x\n    a : go\n    b : halt\n    c : go\norder o : x b", "too-wide"),
    ("bus b 0 bits, floats\n    driven by rom when go\nbus c 4 bits, floats\n    driven by rom, follows b\n"
     "strobe go\n    b steady 1 cycle before", "bad-size"),
    ("store other 16 words of 3 bits\n    address upc\nfield x 3 bits, idle 0\nfield y 1 bit = x[0]\n"
     "chip U1 16 x 2\n    holds other[1:0]\n    address upc", "word-overfull"),
    ("store other 16 words of 3 bits\n    address upc\nfield x 1 bit\nfield y 1 bit = x\n"
     "chip U1 16 x 2\n    holds x, y\n    address upc", "word-underfull"),
    ("chip U1 17 x 8\n    holds control\n    address upc", "bad-size"),
    ("chip U1 16 x 8\n    holds control[7:1], lost\n    address upc", "unknown-name"),
    ("keep t while go\nstate t 0 bits, reset 0\n    next 0", "bad-size"),
    ("signal a = not a\nstate t 4 bits, reset 0\n    next a", "combinational-loop"),
])
def test_one_cause_one_finding(lines: str, cause: str) -> None:
    _, findings = understood(FRAME + lines + "\n")
    assert [item.name for item in findings] == [cause], shown(findings)


def test_all_causes_are_found_in_one_run() -> None:
    _, findings = understood(FRAME + "signal a = lost\nsignal b = upc[7]\nsignal c = upc is branch\n"
                                     "signal d = {upc, 2}\nsignal e = upc is gone\nrule \"r\" never upc\n")
    assert [item.name for item in findings] == [
        "unknown-name", "bad-slice", "width-mismatch", "no-width", "unknown-name", "width-mismatch"]


def test_findings_stand_in_the_order_of_the_text() -> None:
    text = "rule \"r\" never lost_1\nsignal a = lost_2\n" + "bus b 4 bits, floats\n    driven by rom when lost_3\n"
    _, findings = understood(FRAME + text)
    assert [item.span.text for item in findings if item.span] == ["lost_1", "lost_2", "lost_3"]


def test_broken_names_are_told_to_later_stages() -> None:
    machine, _ = understood(FRAME + "signal a = lost\nsignal b = a\nsignal c = go\n")
    assert machine is not None and machine.broken == {"a", "b"}


# ---------------------------------------------------------------- lines that could not be read


def read_and_resolved(text: str) -> tuple[list[Finding], list[Finding]]:
    """Findings of reading, and of resolving what could be read."""
    tree, unread = parse_machine({"small.machine": text}, "small.machine")
    assert tree is not None
    return unread, resolve(tree, unread)[1]


@pytest.mark.parametrize("line, broken", [
    ("state upc 4 bits, reset 0", "state upc 4 bits, rest 0"),
    ("        jump : target", "        jump = target"),
    ("    loop 2", "    loop two"),
    ("field target 4 bits address, idle 0", "field target 4 bits adress, idle 0"),
    ("    address upc", "    address upc +"),
    ("store control 16 words of 8 bits", "store control 16 words 8 bits"),
    ("    next choose branch", "    next chose branch"),
])
def test_what_could_not_be_read_is_not_missed(line: str, broken: str) -> None:
    assert FRAME.count(line + "\n") == 1
    unread, findings = read_and_resolved(FRAME.replace(line + "\n", broken + "\n"))
    assert unread and has_errors(unread)
    assert findings == [], shown(findings)


def test_a_file_that_is_missing_may_have_declared_anything() -> None:
    unread, findings = read_and_resolved(FRAME + 'include "more.machine"\nsignal s = elsewhere\nsignal t = upc is 16\n')
    assert [item.name for item in unread] == ["missing-file"]
    assert [item.name for item in findings] == ["too-wide"], shown(findings)


def test_beside_an_unread_line_other_faults_are_found() -> None:
    unread, findings = read_and_resolved(FRAME + "input a bits\nsignal s = a and lost\nsignal t = upc is 16\n")
    assert len(unread) == 1
    assert [item.name for item in findings] == ["unknown-name", "too-wide"], shown(findings)


# ---------------------------------------------------------------- whatever is written

WORDS = sorted(set(re.findall(r"[A-Za-z_][\w.]*|[0-9]\w*|[^\w\s]", KILN)))
PLACES = [(found.start(), found.end()) for found in re.finditer(r"[A-Za-z_][\w.]*|[0-9]\w*|[^\w\s]", KILN)]


@settings(max_examples=120)
@given(st.lists(st.tuples(st.sampled_from(PLACES), st.sampled_from([*WORDS, "", "0", "4097", "99999999999999999999"])),
                min_size=1, max_size=3))
def test_no_slip_of_the_pen_breaks_the_reader(slips: list[tuple[tuple[int, int], str]]) -> None:
    """Words of a whole machine exchanged, left out, made huge: a machine or findings, never an exception."""
    text = KILN
    for (start, end), word in sorted(slips, reverse=True):
        text = text[:start] + word + text[end:]
    tree, unread = parse_machine({"kiln.machine": text}, "kiln.machine")
    if tree is None:
        return
    machine, findings = resolve(tree, unread)
    for item in findings:
        assert item.span is not None and item.help and item.message
        assert str(item.span)
    assert machine is None or machine_lines(machine)


@settings(max_examples=60)
@given(st.sets(st.integers(0, KILN.count("\n") - 1), min_size=1, max_size=6))
def test_no_missing_line_breaks_the_reader(gone: set[int]) -> None:
    text = "".join(line for number, line in enumerate(KILN.splitlines(keepends=True)) if number not in gone)
    tree, unread = parse_machine({"kiln.machine": text}, "kiln.machine")
    if tree is not None:
        machine, _ = resolve(tree, unread)
        assert machine is None or machine_lines(machine)
