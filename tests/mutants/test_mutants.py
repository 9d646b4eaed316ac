"""The faults themselves, and that a test's failing, hanging and passing are told apart."""

import ast
from pathlib import Path

import pytest

from tests.mutants.__main__ import candidates, key_of, listed_as_equivalent
from tests.mutants.faults import faults, with_fault
from tests.mutants.trial import Trial, covered, tried

SOURCE = '''\
"""Text."""
LIMIT = 3
def small(number: int) -> bool:
    """Text."""
    if number < LIMIT and not number == 7:
        return True
    return False
'''


def test_each_fault_changes_one_thing() -> None:
    found = faults(SOURCE)
    assert len({ast.unparse(with_fault(SOURCE, fault.number)) for fault in found}) == len(found)
    assert all(ast.unparse(with_fault(SOURCE, fault.number)) != ast.unparse(ast.parse(SOURCE)) for fault in found)


@pytest.mark.parametrize(("source", "expected"), [
    ("x = a < b", ["a <= b"]), ("x = a and b", ["a or b", "b", "a"]), ("x = not a", ["a"]), ("x = a + b", ["a - b"]),
    ("x = True", ["False"]), ("x = 0", ["1"]), ("x = 2", ["3", "1"]), ("x = min(a)", ["max(a)"]),
    ("x = a if b else c", ["a", "c"]), ("x = [a for a in b if c]", ["[a for a in b]"]),
    ("if a:\n    b", ["if True:", "if False:"]), ("def f():\n    return a", ["return None"]), ("f()", ["pass"]),
    ("a[b] = c", ["pass"]), ("a += b", ["pass"]), ("for a in b:\n    break", ["pass"]), ("x: int = a", []),
    ("def f(a: 'x < y'):\n    'text'", []), ("assert a < b", []), ("raise a(b < c)", []), ("x = f'{a < b}'", []),
    ("x = zip(a, strict=True)", []),
])
def test_kinds_of_faults(source: str, expected: list[str]) -> None:
    assert [fault.after for fault in faults(source)] == expected


def test_what_tests_notice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One fault fails a test, one outside of all functions too, one hangs it, one is not noticed."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "made_up.py").write_text(
        "def count(top):\n    number = 0\n    while number < top:\n        number += 1\n    return number\n"
        "def odd(top):\n    return top > 5\nLEAST = 8\n")
    test = tmp_path / "test_made_up.py"
    test.write_text("import sys\nsys.path.insert(0, " + repr(str(tmp_path)) + ")\nimport made_up\n"
                    "def test_it():\n    assert made_up.count(made_up.LEAST) == 8\n    made_up.odd(4)\n")
    path = tmp_path / "made_up.py"
    tests = covered([path], [test.name])
    (name,) = tests
    assert {2, 3, 4, 5, 7} == set(tests[name].lines[str(path)])
    wanted = {"number <= top": "test", "top >= 5": "", "pass": "effort", "9": "test"}
    said: dict[str, str] = {}
    tried([Trial("made_up", path, fault, tests) for fault in faults(path.read_text()) if fault.after in wanted],
          lambda trial, how: said.update({trial.fault.after: how}), 5)
    assert said == wanted


KINDS = """\
from functools import cache, cached_property
class Kinds:
    @property
    def a(self):
        return 1
    @cached_property
    def b(self):
        return 2
    @staticmethod
    def c():
        return 3
    @classmethod
    def d(cls):
        return 4
@cache
def e():
    return 5
def maker():
    def made():
        return 6
    return made
f = maker()
"""


def test_a_fault_is_put_into_whatever_is_wrapped_around_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    path, test = tmp_path / "all_kinds.py", tmp_path / "test_all_kinds.py"
    path.write_text(KINDS)
    test.write_text(f"import sys\nsys.path.insert(0, {str(tmp_path)!r})\nimport all_kinds\ndef test_it():\n"
                    "    one = all_kinds.Kinds()\n"
                    "    assert (one.a, one.b, one.c(), one.d(), all_kinds.e(), all_kinds.f()) == (1, 2, 3, 4, 5, 6)\n")
    tests = covered([path], [test.name])
    said: dict[str, str] = {}
    tried([Trial("all_kinds", path, fault, tests) for fault in faults(KINDS)],
          lambda trial, how: said.update({f"{trial.fault.before} {trial.fault.after}": how}), 5)
    assert len(said) == 13 and {*said.values()} == {"test"}  # one more and one less, and none of what is made


def test_what_nobody_can_see_is_a_fault_of_the_code_as_it_is() -> None:
    """Code that has changed may have made a fault seen, or has no such fault any more."""
    listed = listed_as_equivalent()
    modules = sorted({one.split(":")[0].split(" ")[0] for one in listed})
    known = {name for module in modules for one in candidates(module) for name in (key_of(one), f"{module}: *")}
    assert sorted(listed.keys() - known) == []
