"""Tests run in children of this process: which lines each of them comes to, and whether they notice a fault.

Here only libraries are imported, so a child starts with them and imports the program anew.
"""

import ast
import contextlib
import gc
import importlib
import inspect
import io
import json
import math
import os
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import ModuleSpec
from importlib.util import spec_from_loader
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any, NamedTuple

import coverage
import pytest

from tests.mutants.faults import Fault, with_fault

MEMORY = 4 << 30
"""Bytes that a child may have."""
examples = 100
"""Of each property, at most; a fault that only many more notice deserves a test of its own."""
CRASH = -1
"""What a child gives that ends without giving anything."""
LAST = 8
"""So many tests that noticed the last faults are tried first."""
ASLEEP = 20
"""So many times its seconds of the processor a child may take by the clock on the wall."""


class Covered(NamedTuple):
    """A test: its seconds, and by file the lines that it comes to."""

    seconds: float
    lines: dict[str, list[int]]


# ---------------------------------------------------------------- the command


def _call(directory: Path, *arguments: str, **more: str) -> "subprocess.CompletedProcess[str]":
    """As `call` of tests/cli/shell.py, in this process: lines are noted, and there is a fault, only here."""
    from ordain.cli.main import main
    from tests.cli.shell import environment

    said, told = (io.TextIOWrapper(io.BytesIO(), encoding=more.get("PYTHONIOENCODING", "utf-8"), write_through=True)
                  for _ in range(2))
    were, where, status = dict(os.environ), Path.cwd(), 0
    os.environ.clear()
    os.environ.update(environment(directory, **more))
    os.chdir(directory)
    sys.argv = ["ordain", *arguments]
    try:
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(told):
            main()
    except SystemExit as ended:
        status = ended.code if isinstance(ended.code, int) else int(ended.code is not None)
    finally:
        os.chdir(where)
        os.environ.clear()
        os.environ.update(were)
        gc.enable()
    out, err = (stream.buffer.getvalue().decode() for stream in (said, told))
    return subprocess.CompletedProcess(arguments, status, out, err)


# ---------------------------------------------------------------- what a test comes to


class _Here:
    """A plugin that runs the command in this process, tries few examples of a property and makes none smaller."""

    def pytest_sessionstart(self) -> None:
        from tests.cli import shell

        shell.call = _call

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        from hypothesis import Phase, settings  # pytest wants to be the first to import it

        for item in items:
            test: Any = getattr(item, "obj", None)
            said = getattr(test, "_hypothesis_internal_use_settings", None)
            if said is not None:
                phases = [phase for phase in said.phases if phase not in (Phase.shrink, Phase.explain)]
                test._hypothesis_internal_use_settings = settings(
                    said, phases=phases, max_examples=min(said.max_examples, examples))


class _Lines(_Here):
    """A plugin that notes the lines of some files that each test comes to, and how long that takes."""

    def __init__(self, files: Sequence[Path]) -> None:
        self._coverage = coverage.Coverage(data_file=None, config_file=False, include=[str(path) for path in files])
        self._coverage.set_option("run:disable_warnings", ["no-data-collected"])
        self._seconds: dict[str, float] = {}

    def pytest_sessionstart(self) -> None:
        super().pytest_sessionstart()
        self._coverage.start()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Any:
        started = time.process_time()
        self._coverage.switch_context(item.nodeid)
        try:
            return (yield)
        finally:
            self._coverage.switch_context("")
            self._seconds[item.nodeid] = time.process_time() - started

    def found(self) -> dict[str, tuple[float, dict[str, list[int]]]]:
        self._coverage.stop()
        data = self._coverage.get_data()
        found = {name: (seconds, dict[str, list[int]]()) for name, seconds in self._seconds.items()}
        for path in data.measured_files():
            for line, names in data.contexts_by_lineno(path).items():
                for name in filter(None, names):
                    found[name][1].setdefault(path, []).append(line)
        return found


def covered(files: Sequence[Path], tests: Sequence[str]) -> dict[str, Covered]:
    """By its name, every test of these files or directories, all of which have to pass. `files`: in which lines are
    noted."""
    def run() -> Any:
        plugin = _Lines(files)
        status = pytest.main([*QUIET, *tests], plugins=[plugin])
        return int(status), plugin.found()

    return {name: Covered(*found) for name, found in _passed(_in_child(run, 3600), tests).items()}


class _Timed(_Here):
    """A plugin that notes how long each test takes."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Any:
        started = time.process_time()
        try:
            return (yield)
        finally:
            self.seconds[item.nodeid] = time.process_time() - started


def timed(tests: Sequence[str]) -> dict[str, Covered]:
    """Every test of these files, all of which have to pass, without the lines that it comes to."""
    def run() -> Any:
        plugin = _Timed()
        return int(pytest.main([*QUIET, *tests], plugins=[plugin])), plugin.seconds

    return {name: Covered(seconds, {}) for name, seconds in _passed(_in_child(run, 3600), tests).items()}


def _passed(done: Any, tests: Sequence[str]) -> Any:
    if done is None or done == CRASH or done[0] != 0:
        raise SystemExit(f"without a fault these tests do not pass: {' '.join(tests)}")
    return done[1]


# ---------------------------------------------------------------- one fault


class _InPlace(MetaPathFinder, Loader):
    """Gives one module with a fault in it."""

    def __init__(self, module: str, path: Path, number: int) -> None:
        self._module, self._path, self._number = module, path, number

    def find_spec(self, name: str, path: object = None, target: object = None) -> ModuleSpec | None:
        return spec_from_loader(name, self, origin=str(self._path)) if name == self._module else None

    def exec_module(self, module: ModuleType) -> None:
        module.__file__ = str(self._path)
        exec(compile(with_fault(self._path.read_text(), self._number), str(self._path), "exec"), module.__dict__)


class Trial(NamedTuple):
    """A fault of a module, and the tests that come to it."""

    module: str
    path: Path
    fault: Fault
    tests: dict[str, Covered]

    def names(self) -> list[str]:
        """The quickest first."""
        return sorted(self.tests, key=lambda name: self.tests[name].seconds)


def tried(trials: Sequence[Trial], tell: Callable[[Trial, str], None], grace: float = 10) -> None:
    """Tell of every trial "test" when a test fails, "effort" when the tests do not come to an end in their time and
    memory, "crash" when they end with the process, "" when nothing is noticed. `grace`: seconds of the processor that
    a test may take beside five times what it takes without a fault.

    Where a fault is within a function, the tests are collected once and the function gets other code in each child.
    Elsewhere the program has to be imported with the fault in it, by a child that has not imported it yet."""
    inside: list[tuple[Trial, CodeType]] = []
    for one in trials:
        code = _other_code(one)
        if not one.tests:
            tell(one, "")
        elif code is not None:
            inside.append((one, code))
        else:
            number, names = one.fault.number, one.names()

            def run(one: Trial = one, number: int = number, names: list[str] = names) -> int:
                sys.meta_path.insert(0, _InPlace(one.module, one.path, number))
                return int(pytest.main([*QUIET, "-x", *_files(names)], plugins=[_Chosen(names)]))

            tell(one, _how(_in_child(run, _seconds(one, grace))))
    if inside:
        files = _files([name for one, _ in inside for name in one.tests])
        status = pytest.main([*QUIET, *files], plugins=[_Together(inside, tell, grace)])
        if status != 0:
            raise AssertionError("the tests that were there before the fault are not there any more")


def _files(names: Sequence[str]) -> list[str]:
    return list(dict.fromkeys(name.split("::")[0] for name in names))


def _seconds(one: Trial, grace: float) -> float:
    return grace + 5 * sum(test.seconds for test in one.tests.values())


def _how(status: int | None) -> str:
    if status in (pytest.ExitCode.USAGE_ERROR, pytest.ExitCode.NO_TESTS_COLLECTED):
        raise AssertionError("the tests that were there before the fault are not there any more")
    return "effort" if status is None else "crash" if status == CRASH else "" if status == 0 else "test"


def _other_code(one: Trial) -> CodeType | None:
    """The code of the function with the fault, None where the fault is not in that (but in a default, say), or where
    the module itself calls it when it is imported, and keeps what it made."""
    if _calls(ast.parse(one.path.read_text()), one.fault.function):
        return None
    before, after = (_codes(compile(tree, str(one.path), "exec"), one.fault.function)
                     for tree in (ast.parse(one.path.read_text()), with_fault(one.path.read_text(), one.fault.number)))
    return after[0] if len(before) == len(after) == 1 and before != after else None


def _calls(module: ast.Module, function: str) -> bool:
    """Whether a module calls one of its functions outside of all functions."""
    waiting: list[ast.AST] = [*module.body]
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == function:
            return True
        waiting += [] if isinstance(node, ast.FunctionDef | ast.Lambda) else ast.iter_child_nodes(node)
    return False


def _codes(code: CodeType, name: str) -> list[CodeType]:
    inner = [const for const in code.co_consts if isinstance(const, CodeType)]
    return [found for one in inner for found in ([one] if one.co_qualname == name else _codes(one, name))]


def _function(module: str, name: str) -> Any:
    """The function itself, whatever is wrapped around it."""
    found: Any = importlib.import_module(module)
    for part in name.split("."):
        found = inspect.getattr_static(found, part)
    while (inner := next((getattr(found, part) for part in ("__func__", "fget", "func", "__wrapped__")
                          if getattr(found, part, None) is not None), None)) is not None:
        found = inner
    return found


class _Chosen(_Here):
    """A plugin that keeps some tests, in their order."""

    def __init__(self, names: Sequence[str]) -> None:
        self._order = {name: number for number, name in enumerate(names)}

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        super().pytest_collection_modifyitems(items)
        items[:] = sorted((item for item in items if item.nodeid in self._order),
                          key=lambda item: self._order[item.nodeid])


class _Together(_Chosen):
    """A plugin that tries faults one after another, each in a child that has all tests collected already."""

    def __init__(self, trials: Sequence[tuple[Trial, CodeType]], tell: Callable[[Trial, str], None],
                 grace: float) -> None:
        super().__init__(list(dict.fromkeys(name for one, _ in trials for name in one.tests)))
        self._trials, self._tell, self._grace = trials, tell, grace

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        items = {item.nodeid: item for item in session.items}
        plugins = session.config.pluginmanager
        plugins.unregister(plugins.get_plugin("terminalreporter"))
        grace = self._grace
        gc.freeze()                 # children that look for what nobody needs would copy all of it
        noticed: list[str] = []     # the tests that noticed one of the last faults: the next one is mostly near by
        for one, code in self._trials:
            first = [name for name in noticed if name in one.tests]
            names = [*first, *(name for name in one.names() if name not in first)]

            def run(one: Trial = one, code: CodeType = code, names: list[str] = names) -> str:
                _function(one.module, one.fault.function).__code__ = code
                chosen = [items[name] for name in names]
                for item, following in zip(chosen, [*chosen[1:], None]):
                    _limit(grace + 5 * one.tests[item.nodeid].seconds)
                    item.ihook.pytest_runtest_protocol(item=item, nextitem=following)
                    if session.testsfailed:
                        return item.nodeid
                return ""

            by = _in_child(run, _seconds(one, grace))
            if by and isinstance(by, str):
                noticed = [by, *(name for name in noticed if name != by)][:LAST]
            self._tell(one, _how(int(by != "") if isinstance(by, str) else by))
        return True


QUIET = ("-q", "-o", "addopts=", "--tb=no", "--assert=plain", "-p", "no:cacheprovider", "-p", "no:xdist", "--no-header")


def _in_child(work: Callable[[], Any], seconds: float) -> Any:
    """What `work` gives, in a process of its own; None when it takes more memory or more seconds of the processor, or,
    asleep or on a busy machine, many times as long; CRASH when it gives nothing."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.setsid()
        os.close(reading)
        _limit(seconds)
        with contextlib.suppress(BaseException), contextlib.redirect_stdout(io.StringIO()), \
                contextlib.redirect_stderr(io.StringIO()):
            result = json.dumps(work()).encode()
            with os.fdopen(writing, "wb") as pipe:
                pipe.write(result)
        os._exit(0)
    os.close(writing)
    ended = time.monotonic() + ASLEEP * seconds
    os.set_blocking(reading, False)
    text, open_still = b"", True
    try:
        while open_still and time.monotonic() < ended and _resident(child) < MEMORY:
            try:
                more = os.read(reading, 1 << 20)
            except BlockingIOError:
                time.sleep(0.02)
                continue
            text, open_still = text + more, bool(more)
    finally:
        os.close(reading)
        if open_still:
            os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        with contextlib.suppress(ProcessLookupError):       # what it has started itself
            os.killpg(child, signal.SIGKILL)
    if open_still or (os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGXCPU):
        return None
    return json.loads(text) if text else CRASH


def _limit(seconds: float) -> None:
    """This process may take so many more of the processor."""
    resource.setrlimit(resource.RLIMIT_CPU, (math.ceil(time.process_time() + seconds), resource.RLIM_INFINITY))


def _resident(process: int) -> int:
    """Bytes of memory that a process really has; 0 where the system does not say it. A limit of the system would count
    what is only set aside, and decision diagrams set aside gigabytes."""
    try:
        pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    except (OSError, IndexError):
        return 0
    return pages * resource.getpagesize()
