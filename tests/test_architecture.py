"""The house rules that a machine can check, over the import graph and the text of src/ordain."""

import ast
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

SOURCE = Path(__file__).parent.parent / "src" / "ordain"
LAYERS = ("text", "language", "machine", "microprogram", "placement", "rom", "audit", "logic", "control", "data",
          "bench", "capture", "prover", "follow", "checks", "meaning", "measure", "compare", "faults", "show", "cli")
LIBRARIES = ("text", "logic", "control", "capture")
"""Packages whose functions any higher package may call."""
DATA_MODULES = {
    "ordain.language.tree", "ordain.machine.model", "ordain.machine.driving", "ordain.machine.expression",
    "ordain.machine.leads", "ordain.machine.lines", "ordain.machine.redrawn", "ordain.machine.rewriting",
    "ordain.microprogram.model",
    "ordain.placement.model", "ordain.data.datapath", "ordain.data.model", "ordain.data.partial",
    "ordain.data.resolving", "ordain.machine.wording", "ordain.meaning.model",
    "ordain.rom.contents", "ordain.bench.model", "ordain.follow.model",
    "ordain.rom.burn_plan", "ordain.prover.model",
    "ordain.checks.check", "ordain.checks.catalogue", "ordain.measure.cycles", "ordain.compare.behaviour",
    "ordain.compare.comparison", "ordain.compare.difference", "ordain.compare.places", "ordain.compare.reach",
    "ordain.compare.roots", "ordain.compare.verdicts", "ordain.faults.model", "ordain.faults.summary",
}
"""What one package may read of another below it; passes themselves meet in `pipeline` and in the commands."""
ON_DIAGRAMS = {*(f"ordain.measure.{name}" for name in ("cycle_counts", "under_way", "waiting", "rings")),
               *(f"ordain.follow.{name}" for name in ("states", "broken", "cells", "apart"))}
"""Counting cycles goes on with the sets of states that the prover finds; so does following a capture."""
TREES = {"ordain.language", "ordain.language.tree"}
COMPILER = ("language", "microprogram", "placement")
MEETING = ("pipeline", "publishing", "sockets")
PROVING = ("control", "prover", "follow", "checks", "meaning", "measure", "compare", "faults")
MODULES = sorted(SOURCE.rglob("*.py"))


def name_of(path: Path) -> str:
    parts = ["ordain", *path.relative_to(SOURCE).with_suffix("").parts]
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def package_of(module: str) -> str:
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else ""


def imports_of(path: Path) -> Iterator[tuple[ast.stmt, str]]:
    """Every import statement of a module with the ordain module that it names."""
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node, alias.name
        elif isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                deeper = f"{node.module}.{alias.name}"
                is_module = (SOURCE.parent / Path(*deeper.split("."))).with_suffix(".py").exists()
                yield node, deeper if is_module else node.module


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_imports_run_from_cli_down_to_text(path: Path) -> None:
    package = package_of(name_of(path))
    if package not in LAYERS:
        return
    for node, target in imports_of(path):
        layer = package_of(target)
        if target.startswith("ordain.") and layer in LAYERS:
            assert LAYERS.index(layer) <= LAYERS.index(package), f"{path.name}:{node.lineno} imports {target}"


def import_graph() -> dict[str, set[str]]:
    return {name_of(path): {target for _, target in imports_of(path) if target.startswith("ordain.")}
            for path in MODULES}


def reached_from(module: str, graph: dict[str, set[str]]) -> set[str]:
    found: set[str] = set()
    waiting = [module]
    while waiting:
        new = graph.get(waiting.pop(), set()) - found
        found |= new
        waiting += new
    return found


def test_the_prover_never_sees_the_compiler() -> None:
    """Not by any way round. The machine model keeps orders and clauses as the trees that the compiler reads; the trees
    are data, and nothing but the model itself leads to them."""
    graph = import_graph()
    for module in graph:
        if package_of(module) in PROVING:
            seen = sorted(target for target in reached_from(module, graph)
                          if package_of(target) in (*COMPILER, *MEETING) and target not in TREES)
            assert not seen, f"{module} leads to {seen}"
            assert not graph[module] & TREES, f"{module} reads the compiler's trees"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_passes_meet_only_in_the_pipeline_and_the_commands(path: Path) -> None:
    module = name_of(path)
    package = package_of(module)
    if package not in LAYERS or package == "cli" or module in ON_DIAGRAMS:
        return
    for node, target in imports_of(path):
        other = package_of(target)
        if target.startswith("ordain.") and other in LAYERS and other != package and other not in LIBRARIES:
            assert target in DATA_MODULES, f"{path.name}:{node.lineno} imports {target}"


def test_the_audit_shares_nothing_with_what_found_the_proof() -> None:
    """It reads the machine model, its expressions and the contents of the chips, by no way round anything more; and a
    sceptic reads each part of it in an evening."""
    graph = import_graph()
    for path in MODULES:
        if package_of(name_of(path)) == "audit":
            seen = {package_of(target) for target in reached_from(name_of(path), graph)}
            assert seen <= {"audit", "machine", "rom", "language", "text"}, name_of(path)
            assert not graph[name_of(path)] & TREES
            assert len(path.read_text().splitlines()) <= 350, name_of(path)


def test_no_cycle_in_the_import_graph() -> None:
    TopologicalSorter(import_graph()).prepare()


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_imports_stand_at_the_top_except_in_commands(path: Path) -> None:
    if package_of(name_of(path)) == "cli" or name_of(path) == "ordain":
        return
    tree = ast.parse(path.read_text())
    for function in ast.walk(tree):
        if isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef):
            for node in ast.walk(function):
                assert not isinstance(node, ast.Import | ast.ImportFrom), f"{path.name}:{node.lineno}"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_no_star_import_and_no_changing_state_at_module_level(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.ImportFrom):
            assert all(alias.name != "*" for alias in node.names), f"{path.name}:{node.lineno}"
        assert not isinstance(node, ast.Global), f"{path.name}:{node.lineno}"


def test_every_package_says_what_comes_in_and_what_goes_out() -> None:
    for layer in LAYERS:
        opening = ast.get_docstring(ast.parse((SOURCE / layer / "__init__.py").read_text()))
        assert opening and len(opening) > 40, layer


def test_a_class_name_stands_once() -> None:
    """But for a statement, which is one thing in the text and another in the machine that is made of it."""
    places: dict[str, set[str]] = {}
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                places.setdefault(node.name, set()).add(name_of(path))
    twice = {name: found for name, found in places.items() if len(found) > 1}
    stated = {"ordain.language.tree", "ordain.machine.model"}, {"ordain.language.tree", "ordain.machine.expression"}
    assert {name: found for name, found in twice.items() if found not in stated} == {}
