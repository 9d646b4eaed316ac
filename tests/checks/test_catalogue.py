"""Every finding that the program can make is explained, and every text is complete."""

import ast
import re
from pathlib import Path

from ordain.checks import catalogue, compile_time
from ordain.checks.check import Explanation
from ordain.machine.rules import CHECKS as ALLOWABLE

SOURCE = Path(__file__).parents[2] / "src" / "ordain"
MAKERS = {"error", "warning", "note", "Finding"}
ELSEWHERE = {"checks", "cli", "show", "compare", "prover", "logic"}
"""Packages in which a hyphenated word is not always the name of a finding."""
NO_FINDINGS = {"is-not", "parity-of", "pulled-high", "pulled-low", "wired-and", "wired-or", "utf-8", "utf-8-sig",
               "program-over", "erase-sector", "erase-sectors", "find-out", "logic-1"}
"""What else is hyphenated in the other packages."""


def texts_in(path: Path) -> dict[str, bool]:
    """Every string in a module that may be the name of a finding; True where it certainly is one: the first argument of
    what makes findings. Names may also reach a maker by way of a function or a table."""
    found: dict[str, bool] = {}
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            if re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)+", node.value):
                found.setdefault(node.value, False)
        elif isinstance(node, ast.Call) and node.args:
            maker = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
            if maker in MAKERS:
                found.update((part, True) for part in _choices(node.args[0]))
    return found


def _choices(node: ast.expr) -> list[str]:
    """`"a"`, or both of `"a" if x else "b"`."""
    if isinstance(node, ast.IfExp):
        return _choices(node.body) + _choices(node.orelse)
    return [node.value] if isinstance(node, ast.Constant) and isinstance(node.value, str) else []


def names_made() -> dict[str, str]:
    """The names of findings and a module in which each stands."""
    made: dict[str, str] = {}
    for path in sorted(SOURCE.rglob("*.py")):
        package = path.relative_to(SOURCE).parts[0]
        if "texts" not in path.parts:
            made.update((text, path.name) for text, certain in texts_in(path).items()
                        if certain or (package not in ELSEWHERE and text not in NO_FINDINGS))
    return made


def test_every_finding_has_a_text() -> None:
    made = names_made()
    assert len(made) > 100
    known = set(catalogue.names())
    assert {name: path for name, path in made.items() if name not in known} == {}


def test_every_text_is_about_a_finding() -> None:
    """No text outlives what it explains. (Checks take the name of their finding from the text itself.)"""
    made = set(names_made())
    assert {text.name for text in compile_time.EXPLANATIONS if text.name not in made} == set()


def test_every_text_is_complete_and_unique() -> None:
    names = catalogue.names()
    assert len(set(names)) == len(names)
    for text in catalogue.EXPLANATIONS:
        assert text.name == text.name.lower() and set(text.name) <= set("abcdefghijklmnopqrstuvwxyz-8"), text.name
        for part in text:
            assert part.strip() and not part.startswith("\n"), text.name
        assert not text.fault.endswith(".") and text.about.endswith((".", ":")), text.name
        assert text.repair.rstrip("\n").endswith((".", "chip")), text.name
        assert max(map(len, text.example.splitlines())) <= 110, text.name


def test_every_check_that_can_be_allowed_is_known() -> None:
    assert set(ALLOWABLE) <= set(catalogue.names())
    assert {check.name for check in catalogue.CHECKS} <= set(ALLOWABLE)


def test_explain_finds_a_text_by_its_name() -> None:
    text = catalogue.explain("contention")
    assert isinstance(text, Explanation) and "two drivers" in text.fault
    assert catalogue.explain("no-such-thing") is None
    assert set(catalogue.provable()) < set(catalogue.names())
