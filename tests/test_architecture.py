"""The house rules that a machine can check, over the import graph and the text of src/ordain."""

import ast
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

SOURCE = Path(__file__).parent.parent / "src" / "ordain"
LAYERS = ("text", "language", "machine", "microprogram", "placement", "rom", "logic", "prover", "checks", "compare",
          "show", "cli")
DATA_MODULES = {
    "ordain.text.source", "ordain.text.findings", "ordain.language.tree", "ordain.machine.model",
    "ordain.machine.expression", "ordain.microprogram.model", "ordain.placement.model", "ordain.rom.contents",
    "ordain.prover.model",
}
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


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_the_prover_never_sees_the_compiler(path: Path) -> None:
    if package_of(name_of(path)) in ("prover", "checks", "compare"):
        for node, target in imports_of(path):
            assert package_of(target) not in ("language", "microprogram", "placement"), f"{path}:{node.lineno} {target}"


def test_no_cycle_in_the_import_graph() -> None:
    graph = {name_of(path): {target for _, target in imports_of(path) if target.startswith("ordain.")}
             for path in MODULES}
    TopologicalSorter(graph).prepare()


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_imports_stand_at_the_top_except_in_commands(path: Path) -> None:
    if package_of(name_of(path)) == "cli":
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
