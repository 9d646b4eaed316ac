"""Settings of the whole suite: in CI a skipped test is a failed run; `--quick` tries a little of everything."""

import os
import signal
import tempfile
from fnmatch import fnmatch
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile("ordain", deadline=None, derandomize=True,
                          suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
settings.load_profile("ordain")


@pytest.fixture(autouse=True)
def no_width(monkeypatch: pytest.MonkeyPatch) -> None:
    """What runs tests side by side sets COLUMNS, to which output would be folded."""
    monkeypatch.delenv("COLUMNS", raising=False)


CASES, EXAMPLES = 2, 4
"""What `--quick` keeps: cases of a test that has several, examples of a property."""
SLOW = ("tests/cli/test_[!s]*", "tests/cli/test_since.py", "tests/attack/*", "tests/docs/*", "tests/judge/*",
        "tests/follow/test_captures.py", "tests/follow/test_diagnosis.py", "tests/mutants/*", "tests/outside/*",
        "tests/planted/*", "tests/rom/test_publish.py", "tests/checks/test_cache.py", "tests/checks/test_encodings.py")
"""Files that `--quick` leaves out: what runs commands as processes of their own, kills them, or takes long."""


def pytest_configure() -> None:
    """A shell lets what it starts in the background ignore interrupts, and so would the commands that are interrupted
    in tests. Examples are copied without the tree around them, of which they name files."""
    os.environ["ORDAIN_READ_FROM"] = tempfile.gettempdir()
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--quick", action="store_true",
                     help="within a minute: a few cases and examples of every test, the slow files left out")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if not config.getoption("--quick"):
        return
    cases: dict[str, list[pytest.Item]] = {}
    for item in items:
        if not any(fnmatch(item.nodeid.split("::")[0], pattern) for pattern in SLOW):
            cases.setdefault(item.nodeid.split("[")[0], []).append(item)
    kept = {case for every in cases.values() for case in every[::max(1, (len(every) - 1) // (CASES - 1))][:CASES]}
    config.hook.pytest_deselected(items=[item for item in items if item not in kept])
    items[:] = [item for item in items if item in kept]
    for item in items:
        test = getattr(item, "obj", None)
        said = getattr(test, "_hypothesis_internal_use_settings", None)
        if said is not None and said.max_examples > EXAMPLES:
            test._hypothesis_internal_use_settings = settings(said, max_examples=EXAMPLES)


def pytest_terminal_summary(terminalreporter: Any, exitstatus: int, config: pytest.Config) -> None:
    if os.environ.get("CI") and terminalreporter.stats.get("skipped"):
        terminalreporter.write_line("CI is set: nothing may be skipped here, see the skipped tests above", red=True)


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") and reporter is not None and reporter.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
