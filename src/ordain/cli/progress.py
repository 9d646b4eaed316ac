"""What is being done, and how far it is, on a terminal's standard error: for what takes over half a second."""

import shutil
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ordain.prover.model import Progress

PATIENCE = 0.5
"""Seconds before anything is said."""
BUILDING = "the sources are read, and a place is found for every word"


@contextmanager
def waiting(quiet: bool, what: str) -> Iterator[None]:
    """Says it as long as the block takes: for what has nobody who tells how far it is."""
    line = ProgressLine(quiet)
    if not line.on:
        yield
        return
    from threading import Timer

    timer = Timer(PATIENCE, line.begin, (what,))
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()
        timer.join()
        line.clear()


def time_left(start: float, done: int, left: int) -> str:
    """How long it takes until the rest is done if that goes on as what was done since the start: "" while nothing was,
    or where it is not worth a word."""
    minutes = (time.monotonic() - start) / 60 * left / done if done > 0 else 0
    if minutes < 1:
        return ""
    return f", some {minutes:.0f} min left" if minutes < 90 else f", some {minutes / 60:.0f} h left"


class ProgressLine:
    """One line that is written over; only on a terminal and only for what takes over half a second."""

    def __init__(self, quiet: bool) -> None:
        self.start = time.monotonic()
        self.on = sys.stderr.isatty() and not quiet
        self.shown = False

    def __call__(self, progress: "Progress") -> None:
        states = f"{progress.states:,}" if progress.states < 10**12 else f"{progress.states:.1e}"
        decided = f"; {progress.decided} of {progress.asked} questions decided" if progress.decided else ""
        self.say(f"proof: {states} states, cycle {progress.level}{decided}")

    def say(self, figures: str) -> None:
        if time.monotonic() - self.start > PATIENCE:
            self.begin(figures)

    def begin(self, what: str) -> None:
        """Said at once: what begins may take long, and nothing more be said until it ends."""
        if self.on:
            figures = what[:shutil.get_terminal_size().columns - 1]
            sys.stderr.write(f"\r\x1b[K{figures}")
            sys.stderr.flush()
            self.shown = True

    def clear(self) -> None:
        if self.shown:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()
