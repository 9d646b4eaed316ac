"""Tests run in children of this process: which lines each of them comes to, and whether they notice a fault.

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
from types import ModuleType
from typing import Any, NamedTuple

import coverage
import pytest

from tests.mutants.faults import with_fault

MEMORY = 4 << 30
"""Bytes that a child may have."""
CRASH = -1
"""What a child gives that ends without giving anything."""
ASLEEP = 20
"""So many times its seconds of the processor a child may take by the clock on the wall."""


class Covered(NamedTuple):
    """A test: its seconds, and by file the lines that it comes to."""

    seconds: float
    lines: dict[str, list[int]]


# ---------------------------------------------------------------- what a test comes to


class _Lines:
    """A plugin that notes the lines of some files that each test comes to."""

    def __init__(self, files: Sequence[Path]) -> None:
        self._coverage = coverage.Coverage(data_file=None, config_file=False, include=[str(path) for path in files])
        self._coverage.set_option("run:disable_warnings", ["no-data-collected"])
        self._seconds: dict[str, float] = {}

    def pytest_sessionstart(self) -> None:
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

    done = _in_child(run, 3600)
    if done is None or done == CRASH or done[0] != 0:
        raise SystemExit(f"without a fault these tests do not pass: {' '.join(tests)}")
    return {name: Covered(*found) for name, found in done[1].items()}


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
    """A plugin that keeps some tests, in their order, and makes no failing example smaller."""

    def __init__(self, names: Sequence[str]) -> None:
        self._order = {name: number for number, name in enumerate(names)}

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        from hypothesis import Phase, settings  # pytest wants to be the first to import it
        items[:] = sorted((item for item in items if item.nodeid in self._order),
                          key=lambda item: self._order[item.nodeid])
        for item in items:
            test: Any = getattr(item, "obj", None)
            said = getattr(test, "_hypothesis_internal_use_settings", None)
            if said is not None:
                phases = [phase for phase in said.phases if phase not in (Phase.shrink, Phase.explain)]
                test._hypothesis_internal_use_settings = settings(said, phases=phases)


def noticed(module: str, path: Path, number: int, tests: dict[str, Covered], grace: float = 30) -> str:
    """"test" when a test fails, "effort" when the tests do not come to an end in their time and memory, "crash" when
    they end with the process, "" when nothing is noticed. `tests`: those to run, the quickest first. `grace`: seconds
    of the processor that they may take beside five times what they take without a fault."""
    names = sorted(tests, key=lambda name: tests[name].seconds)

    def run() -> Any:
        sys.meta_path.insert(0, _InPlace(module, path, number))
        files = list(dict.fromkeys(name.split("::")[0] for name in names))
        return int(pytest.main([*QUIET, "-x", *files], plugins=[_Chosen(names)]))

    status = _in_child(run, grace + 5 * sum(one.seconds for one in tests.values()))
    if status in (pytest.ExitCode.USAGE_ERROR, pytest.ExitCode.NO_TESTS_COLLECTED):
        raise AssertionError("the tests that were there before the fault are not there any more")
    return "effort" if status is None else "crash" if status == CRASH else "" if status == 0 else "test"


QUIET = ("-q", "-p", "no:cacheprovider", "-p", "no:xdist", "--no-header")


def _in_child(work: Callable[[], Any], seconds: float) -> Any:
    """What `work` gives, in a process of its own; None when it takes more memory or more seconds of the processor, or,
    asleep or on a busy machine, many times as long; CRASH when it gives nothing."""
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


def _resident(process: int) -> int:
    """Bytes of memory that a process really has; 0 where the system does not say it. A limit of the system would count
    what is only set aside, and decision diagrams set aside gigabytes."""
    try:
        pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    except (OSError, IndexError):
        return 0
    return pages * resource.getpagesize()
