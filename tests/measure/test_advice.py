"""Advice: each kind on a machine that deserves it, and on one that is a word away and does not."""

from pathlib import Path

import pytest

from ordain.cli.advising import advice_of
from ordain.cli.main import run
from ordain.machine.rules import CHECKS
from ordain.measure.advice import NAMES
from ordain.pipeline import build_model
from ordain.text.findings import Finding, Severity

MACHINE = """\
machine kiln
microprogram "kiln.micro"
store control 32 words of 14 bits
    address upc
    unused  go 0
field way 2 bits
    step     0 idle
    jump     1
    ask      2
    dispatch 3
field heat 2 bits
    off  0 idle
    low  1
    high 2
    full 3
field spare_bits 5 bits number, idle any
field there 5 bits address, idle 0
store entry 16 words of 5 bits
    address op
    word    start of instruction
state upc 5 bits, reset 0
    next choose way
        step    : upc + 1
        jump    : there
        ask     : there if asked else upc + 1
        dispatch: entry.word
input key 1 bit
state asked 1 bit, reset 0
    next key
register op 4 bits
    loads data when way is dispatch
bus data 4 bits, kept
    driven by memory
home fetch
order go <a>   : way jump, there <a>
order ask <a>  : way ask, there <a>
order dispatch : way dispatch
order heat <h> : heat <h>
order cool     : heat off
rule "the key is answered" when asked then at answer within 3 cycles
"""

MICRO = """\
routine fetch at 0
          ask answer
          dispatch
  answer: cool, go fetch
instruction 0 "fire"
    heat low
    heat high
    heat full
    go fetch
instruction 1 "soak"
    cool
    heat low
    heat high
    heat full
    go fetch
instruction 0b1_0_dd "hold {d}" for d in (low, high = 3)
    heat {d}, go fetch
instruction others "stop"
    cool, go fetch
"""


def advised(directory: Path, machine: str = MACHINE, micro: str = MICRO) -> list[Finding]:
    (directory / "kiln.machine").write_text(machine)
    (directory / "kiln.micro").write_text(micro)
    built, findings = build_model(directory / "kiln.machine")
    assert built is not None, [finding.message for finding in findings]
    return advice_of(built)


def named(findings: list[Finding], name: str) -> list[str]:
    assert all(finding.severity is Severity.NOTE for finding in findings)
    return [finding.message for finding in findings if finding.name == name]


# ---------------------------------------------------------------- tails


def test_a_tail_that_stands_elsewhere(tmp_path: Path) -> None:
    assert named(advised(tmp_path), "shared-tail") == [
        "the last 4 words of `soak` stand word for word in `fire`, from 0x3 on: sharing them saves 4 words"]


def test_one_order_more_and_only_what_follows_is_shared(tmp_path: Path) -> None:
    micro = MICRO.replace('"soak"\n    cool\n    heat low\n    heat high', '"soak"\n    cool\n    heat low\n    cool')
    assert named(advised(tmp_path, micro=micro), "shared-tail") == [
        "the last 2 words of `soak` stand word for word in `fire`, from 0x5 on: sharing them saves 2 words"]


def test_no_tail_where_the_word_before_cannot_jump(tmp_path: Path) -> None:
    micro = MICRO.replace('"soak"\n    cool', '"soak"\n    cool, ask answer')
    assert named(advised(tmp_path, micro=micro), "shared-tail") == []


def test_a_whole_body_needs_nobody_before_it(tmp_path: Path) -> None:
    micro = MICRO.replace('"soak"\n    cool\n', '"soak"\n')
    assert named(advised(tmp_path, micro=micro), "shared-tail") == [
        "all 4 words of `soak` stand word for word in `fire`, from 0x3 on: sharing them saves 4 words"]


# ---------------------------------------------------------------- families


def test_an_opcode_among_those_of_a_family(tmp_path: Path) -> None:
    """The family has 0b1000 and 0b1011, so what all of it has is 0b10; 0b1001 has that, too, 0b1101 has not."""
    micro = MICRO + 'instruction 0b1001 "vent"\n    heat off, go fetch\n'
    assert named(advised(tmp_path, micro=micro), "opcode-in-family") == [
        "opcode 0x9 of `vent` has the bits that `hold low` and all 2 of its family share"]
    assert named(advised(tmp_path, micro=micro.replace("0b1001", "0b1101")), "opcode-in-family") == []


def test_others_are_no_accident(tmp_path: Path) -> None:
    assert named(advised(tmp_path), "opcode-in-family") == []


# ---------------------------------------------------------------- looking at requests


def test_an_instruction_that_looks_too_late(tmp_path: Path) -> None:
    """`fire` takes four cycles and looks at nothing; the fetch after it does, in the fifth, too late for a rule of
    three. `hold low` takes one and is followed by the fetch in time."""
    told = named(advised(tmp_path), "unpolled")
    assert [message.split("`")[1] for message in told] == ["fire", "soak"]
    micro = MICRO.replace('"fire"\n    heat low\n', '"fire"\n    heat low, ask answer\n')
    told = named(advised(tmp_path, micro=micro), "unpolled")
    assert [message.split("`")[1] for message in told] == ["soak"]


@pytest.mark.parametrize(("within", "late"), [(3, True), (4, False)])
def test_the_bound_counts(tmp_path: Path, within: int, late: bool) -> None:
    """`soak` looks in its fourth word."""
    old = "    heat full\n    go fetch\ninstruction 0b1"
    micro = MICRO.replace(old, old.replace("full", "full, ask answer"))
    told = named(advised(tmp_path, MACHINE.replace("within 3 cycles", f"within {within} cycles"), micro), "unpolled")
    assert any("`soak` looks at the request of \"the key is answered\" after 4 cycles" in one for one in told) is late


def test_rules_about_places_and_words_are_left_out(tmp_path: Path) -> None:
    machine = MACHINE.replace("when asked then", "when asked and heat is full then")
    assert named(advised(tmp_path, machine), "unpolled") == []


# ---------------------------------------------------------------- what nobody uses, and what is left


def test_unused_orders_codes_and_labels(tmp_path: Path) -> None:
    assert named(advised(tmp_path), "unused-order") == []
    assert named(advised(tmp_path), "unused-code") == []
    assert named(advised(tmp_path), "unused-label") == []
    micro = MICRO.replace("heat full", "heat high").replace("    cool\n    heat low", "  again: heat off\n    heat low")
    micro = micro.replace("cool, go", "heat off, go")
    findings = advised(tmp_path, micro=micro)
    assert named(findings, "unused-order") == ["no word is written with the order `cool`"]
    assert named(findings, "unused-code") == ["no word sets `heat` to its code `full`"]
    assert named(findings, "unused-label") == ["nothing leads to the label `soak.again`"]
    assert named(advised(tmp_path, micro=micro.replace("heat low\n    heat high", "heat low\n    ask again")),
                 "unused-label") == []


def test_an_order_used_by_the_unused_words_is_used(tmp_path: Path) -> None:
    machine = MACHINE.replace("unused  go 0", "unused  rest")
    assert named(advised(tmp_path, machine + "order rest : way jump, there 0\n"), "unused-order") == []


def test_what_is_left(tmp_path: Path) -> None:
    """3 + 4 + 5 + 1 + 1 + 1 words are placed of 32; opcodes 0, 1, 8 + (1, 3) of 16 have an instruction of their own."""
    assert named(advised(tmp_path), "room-left") == [
        "`control`: 17 of 32 words are free, at most 17 of them in a row",
        "12 of 16 opcodes have no instruction of their own"]


STEPPED = """\
machine vat
microprogram "vat.micro"
store control 64 words of 2 bits
    address     {op, step}
    instruction op
    step        step
field over 1 bit
spare 1 bit
state step 3 bits, reset 0
    next 0 if over else step + 1
register op 3 bits
    loads data when step is 0
bus data 3 bits, kept
    driven by memory
home step is 0
order go on :
"""


@pytest.mark.parametrize(("words", "used"), [(1, 2), (2, 3), (6, 7)])
def test_what_is_left_of_steps(words: int, used: int, tmp_path: Path) -> None:
    """One step is the prologue's; `long` is the longer one of two."""
    micro = ("prologue\n    go on\ninstruction 5 \"long\"\n" + "    go on\n" * (words - 1) + "    over\n"
             + "instruction others \"short\"\n    over\n")
    first = "long" if words > 1 else "short"
    assert named(advised(tmp_path, STEPPED.replace("vat.micro", "kiln.micro"), micro), "room-left") == [
        f"`control`: of 8 steps the longest instruction, `{first}`, uses {used}",
        "7 of 8 opcodes have no instruction of their own"]


def test_an_instruction_that_never_looks(tmp_path: Path) -> None:
    """`stop` goes round in itself: no way from there comes to a word that asks."""
    micro = MICRO.replace("    cool, go fetch\n", "    cool, go stop_here\n")
    micro = micro.replace('"stop"\n', '"stop"\n  stop_here:\n')
    micro = micro.replace("answer: cool, go stop_here", "answer: cool, go fetch")
    told = named(advised(tmp_path, micro=micro), "unpolled")
    assert [message for message in told if message.startswith("`stop`")] == [
        '`stop` looks at the request of "the key is answered" on no way; the rule allows 3 cycles']


# ---------------------------------------------------------------- silence


def test_advice_is_silenced_with_a_reason(tmp_path: Path) -> None:
    machine = MACHINE + 'allow shared-tail at "soak" "timing"\nallow room-left on control "full enough"\n'
    findings = advised(tmp_path, machine)
    assert named(findings, "shared-tail") == [] and named(findings, "stale-allowance") == []
    assert named(findings, "room-left") == ["12 of 16 opcodes have no instruction of their own"]


def test_an_allowance_that_silences_nothing(tmp_path: Path) -> None:
    machine = MACHINE + 'allow shared-tail at "fire" "timing"\n'
    findings = advised(tmp_path, machine)
    assert len(named(findings, "shared-tail")) == 1
    assert named(findings, "stale-allowance") == ["this allowance of `shared-tail` silences nothing"]


def test_every_name_may_be_allowed() -> None:
    assert set(NAMES) <= set(CHECKS)


def test_advice_changes_neither_status_nor_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "kiln.machine").write_text(MACHINE)
    (tmp_path / "kiln.micro").write_text(MICRO)
    plain = run(["build", str(tmp_path)])
    files = {path.name: path.read_bytes() for path in (tmp_path / "build").iterdir()}
    said = capsys.readouterr().out
    assert run(["build", str(tmp_path), "--advice"]) == plain
    assert {path.name: path.read_bytes() for path in (tmp_path / "build").iterdir()} == files
    assert "note[shared-tail]" not in said and "note[shared-tail]" in capsys.readouterr().out
