"""Settings of the whole suite: in CI a skipped test is a failed run."""

import os
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


def pytest_terminal_summary(terminalreporter: Any, exitstatus: int, config: pytest.Config) -> None:
    if os.environ.get("CI") and terminalreporter.stats.get("skipped"):
        terminalreporter.write_line("CI is set: nothing may be skipped here, see the skipped tests above", red=True)


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") and reporter is not None and reporter.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
