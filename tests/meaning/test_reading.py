"""How meanings are written, and what is said of what cannot be read or means nothing."""

import ast
from pathlib import Path

import pytest

import ordain
from ordain.text.findings import Finding
from tests.meaning.till import FETCH, MACHINE
from tests.workshop import compiled

WORDS = "        fetched, load temp\n        put sum, load acc, branch home\n"


def findings_of(means: str, more: str = "", machine: str = MACHINE) -> list[Finding]:
    text = FETCH + more + f'instruction 1 "tried"\n    means {means}\n{WORDS}'
    return compiled(machine, text)[1]


@pytest.mark.parametrize("means, name, at, says", [
    ("acc <- ", "syntax", "", "expected a value"),
    ("acc = 3", "syntax", "=", "`<-`"),
    ("acc <- 3 4", "syntax", "4", "a comma, `when`"),
    ("acc <- memory[pc)", "unmatched-bracket", ")", ""),
    ("acc[0:3] <- 0b0000", "syntax", "[0:3]", "high bit"),
    ("acc <- nix", "unknown-name", "nix", ""),
    ("nix <- 1", "unknown-name", "nix", "register, state or memory"),
    ("acc <- pc", "width-mismatch", "pc", "8 bits"),
    ("acc <- 256", "too-wide", "256", "8 bits"),
    ("acc[8] <- 0", "bad-slice", "acc", "7 down to 0"),
    ("acc[pc] <- 0", "bad-slice", "acc", "no memory"),
    ("memory <- 0", "bad-slice", "memory", "which word"),
    ("memory[3:0] <- 0", "bad-slice", "memory", "which word"),
    ("acc <- data", "no-old-value", "data", "memories"),
    ("acc <- memory", "no-old-value", "memory", "memory[ADDRESS]"),
    ("acc <- acc[pc]", "wrong-kind", "acc", "no memory"),
    ("put <- 1", "wrong-kind", "put", "a field"),
    ("zero <- sum_zero", "no-old-value", "sum_zero", "outside"),
    ("acc <- 0 when pc", "width-mismatch", "pc", "condition"),
    ("let pc = acc, acc <- pc", "defined-twice", "pc", "another name"),
    ("let a = 3, acc <- a", "no-width", "3", "digits"),
    ("double()", "unknown-name", "double", "effect"),
    ("triple(acc)", "effect-call", "triple", "2 values"),
    ("around(acc)", "effect-cycle", "around", "calls itself"),
])
def test_a_fault_is_told_with_its_place_and_a_way_out(means: str, name: str, at: str, says: str) -> None:
    more = "effect triple(a, b)\n    acc <- a + b\neffect around(a)\n    around(a)\n"
    found = findings_of(means, more)
    assert [one.name for one in found] == [name], found
    span = found[0].span
    assert span is not None and (span.text == at or name == "syntax"), span
    assert says in found[0].message + found[0].label + found[0].help
    assert found[0].help


def test_a_machine_that_says_nothing_of_what_is_visible() -> None:
    machine = MACHINE.replace("visible acc, zero, pc, memory\n", "")
    assert {one.name for one in findings_of("acc <- 0", machine=machine)} == {"no-visible"}


def test_a_meaning_belongs_to_an_instruction() -> None:
    text = FETCH.replace("        fetched, load ir", "    means pc <- pc + 1\n        fetched, load ir")
    found = compiled(MACHINE, text)
    assert [one.name for one in found[1]] == ["meaning-of-nothing"]


def test_a_family_fills_its_variables_and_a_fault_in_it_is_told_once() -> None:
    text = FETCH + """\
effect double(v)
    let both = v + v
    acc <- both
instruction 0b01ss "double {s}" for s in (acc, temp)
    means double({s}), zero[0] <- zero,
          pc <- pc
        put {s}, load temp
        branch home
"""
    contents, found = compiled(MACHINE, text)
    assert contents is not None and not found
    effects = contents.meanings["double temp"].effects
    assert [effect.name for effect in effects] == ["acc", "zero", "pc"]
    _, found = compiled(MACHINE, text.replace("let both = v + v", "let both = v + pc"))
    assert [one.name for one in found] == ["width-mismatch"]
    _, found = compiled(MACHINE, text.replace("pc <- pc\n", "pc <- {s}\n"))
    assert [one.name for one in found] == ["width-mismatch"]


def test_a_label_may_still_be_called_means() -> None:
    contents, found = compiled(MACHINE, FETCH + 'instruction 1 "tried"\n  means: branch home\n')
    assert contents is not None and not found and "tried" not in contents.meanings


def test_every_fault_of_a_meaning_has_a_case() -> None:
    path = Path(ordain.__file__).parent / "machine" / "effects.py"
    made = {part.value for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.Call)
            and getattr(node.func, "attr", getattr(node.func, "id", "")) in ("error", "_report")
            for part in ast.walk(node.args[0]) if isinstance(part, ast.Constant)}
    assert made <= {"no-visible", "defined-twice", "effect-cycle", "effect-call", "too-many-words", "wrong-kind",
                    "bad-slice", "no-old-value"}


def test_meanings_are_proved_from_python_too() -> None:
    """`prove_machine` has them in its report."""
    built = ordain.build_machine(Path(__file__).parents[2] / "examples" / "stepper" / "carillon.machine")
    rows = [row for row in ordain.prove_machine(built).rows if row.check == "meaning"]
    assert len(rows) == 13 and all(row.outcome == "proved" for row in rows)
