"""Limits of states, memory and time: whether one is reached."""

import sys
from pathlib import Path
from time import monotonic

from ordain.prover.model import Limits

try:
    import resource
except ImportError:  # not on every system; there the limit of memory has no effect
    resource = None  # type: ignore[assignment]  # typeshed declares the module for every system


class LimitReached(Exception):
    """The argument says which: "states", "memory", "seconds"."""


def look(limits: Limits, started: float, states: int) -> None:
    """Raises LimitReached. `started`: the time (`monotonic`) from which seconds count; `states`: how many there are."""
    if limits.seconds is not None and monotonic() - started > limits.seconds:
        raise LimitReached("seconds")
    if limits.memory is not None and memory_taken() > limits.memory:
        raise LimitReached("memory")
    if limits.states is not None and states > limits.states:
        raise LimitReached("states")


def memory_taken() -> int:
    """The memory that the process has now, in bytes; where the system does not say it, the greatest that it has had.
    What an earlier search gave back (an editor's session, `--watch`) must not stop a later one."""
    resident = _pages(1)
    if resident is not None:
        return resident
    if resource is None:
        return 0
    # getrusage(2): kilobytes on Linux and the BSDs, bytes on macOS
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)


def address_space_left() -> int | None:
    """Bytes that the process may still set aside (`ulimit -v`), whether it uses them or not; None where nothing limits
    that, or nobody can say."""
    if resource is None:
        return None
    limit, _ = resource.getrlimit(resource.RLIMIT_AS)
    taken = _pages(0)
    return None if taken is None or limit == resource.RLIM_INFINITY else max(0, limit - taken)


def _pages(column: int) -> int | None:
    """Bytes of the pages that proc(5) counts in that column of /proc/self/statm: 0 set aside, 1 resident."""
    if resource is None:
        return None
    try:
        return int(Path("/proc/self/statm").read_text().split()[column]) * resource.getpagesize()
    except (OSError, ValueError, IndexError):
        return None


class Deadline:
    """Whether there is time for more. `ended`: why not everything was decided, "" as long as nothing is known."""

    def __init__(self, limits: Limits, started: float, ended: str) -> None:
        self._limits, self._started, self.ended = limits, started, ended

    def out(self) -> bool:
        """Whether nothing new is to be begun. A limit of states is one of each search, not of them all."""
        if not self.ended:
            try:
                look(self._limits, self._started, 0)
            except LimitReached as limit:
                self.ended = str(limit)
        return self.ended not in ("", "states")
