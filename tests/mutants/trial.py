"""Tests run in children of this process: which functions each of them comes to, and whether they notice a fault.

Here only libraries are imported, so a child starts with them and imports the program, with the fault in it, anew.
"""

import contextlib
import io
import json
import math
import os
import resource
import signal
import sys
import time
from collections.abc import Callable, Sequence
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import ModuleSpec
from importlib.util import spec_from_loader
from pathlib import Path
from types import FrameType, ModuleType
from typing import Any, NamedTuple

import pytest

from tests.mutants.faults import with_fault

MEMORY = 4 << 30
"""Bytes that a child may have."""
ASLEEP = 20
"""So many times its seconds of the processor a child may take by the clock on the wall."""


class Covered(NamedTuple):
    """A test: its seconds, and the functions of the program that it comes to, as `module:function`."""

    seconds: float
    functions: frozenset[str]


# ---------------------------------------------------------------- what a test comes to


class _Coverage:
    """A plugin that notes the functions that are called in each test."""

    def __init__(self, root: Path) -> None:
        self._root, self._names = str(root) + os.sep, dict[Any, str]()
        self._seen: set[str] = set()
        self.found: dict[str, tuple[float, list[str]]] = {}

    def _called(self, frame: FrameType, event: str, argument: object) -> None:
        code = frame.f_code
        name = self._names.get(code)
        if name is None:
            inside = code.co_filename.startswith(self._root)
            module = code.co_filename.removeprefix(self._root).removesuffix(".py").replace(os.sep, ".")
            name = self._names[code] = f"{module}:{code.co_qualname.split('.<locals>')[0]}" if inside else ""
        if name:
            self._seen.add(name)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Any:
        self._seen, started = set(), time.process_time()
        sys.settrace(self._called)
        try:
            return (yield)
        finally:
            sys.settrace(None)
            self.found[item.nodeid] = time.process_time() - started, sorted(self._seen)


def covered(source: Path, tests: Sequence[str]) -> dict[str, Covered]:
    """By its name, every test of these files or directories that passes without a fault. `source`: where the modules
    lie."""
    def run() -> Any:
        plugin = _Coverage(source)
        status = pytest.main([*QUIET, *tests], plugins=[plugin])
        return int(status), plugin.found

    status, found = _in_child(run, 3600)
    if status != 0:
        raise SystemExit(f"without a fault these tests do not pass: {' '.join(tests)}")
    return {name: Covered(seconds, frozenset(functions)) for name, (seconds, functions) in found.items()}


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


class _Chosen:
    """A plugin that keeps some tests, in their order."""

    def __init__(self, names: Sequence[str]) -> None:
        self._order = {name: number for number, name in enumerate(names)}

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = sorted((item for item in items if item.nodeid in self._order),
                          key=lambda item: self._order[item.nodeid])


def noticed(module: str, path: Path, number: int, tests: dict[str, Covered], grace: float = 30) -> str:
    """"test" when a test fails, "time" when the tests do not come to an end, "" when nothing is noticed. `tests`: those
    to run, the quickest first. `grace`: seconds of the processor that they may take beside five times what they take
    without a fault."""
    names = sorted(tests, key=lambda name: tests[name].seconds)

    def run() -> Any:
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        sys.meta_path.insert(0, _InPlace(module, path, number))
        files = list(dict.fromkeys(name.split("::")[0] for name in names))
        return int(pytest.main([*QUIET, "-x", *files], plugins=[_Chosen(names)]))

    status = _in_child(run, grace + 5 * sum(one.seconds for one in tests.values()))
    if status in (pytest.ExitCode.USAGE_ERROR, pytest.ExitCode.NO_TESTS_COLLECTED):
        raise AssertionError("the tests that were there before the fault are not there any more")
    return "time" if status is None else "" if status == 0 else "test"


QUIET = ("-q", "-p", "no:cacheprovider", "-p", "no:xdist", "--no-header")


def _in_child(work: Callable[[], Any], seconds: float) -> Any:
    """What `work` gives, in a process of its own; None when it takes more seconds of the processor, or, asleep or on a
    busy machine, many times as long; 1 when it gives nothing."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.setsid()
        os.close(reading)
        used = time.process_time()
        resource.setrlimit(resource.RLIMIT_CPU, (math.ceil(used + seconds), resource.RLIM_INFINITY))
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
        while open_still and time.monotonic() < ended:
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
    return json.loads(text) if text else 1
