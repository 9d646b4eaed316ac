"""A proof in a process of its own, so that it can be given up at any moment, whatever it is at."""

import json
import os
import select
import signal
import sys
from typing import TYPE_CHECKING

from ordain.checks.kept import report_data, report_from
from ordain.checks.run import EVERYTHING
from ordain.cli.proving import prove_built
from ordain.prover.model import Limits

if TYPE_CHECKING:
    from ordain.checks.check import Report
    from ordain.pipeline import Built


class ProofAside:
    """A proof of everything about a build. The report comes back through a pipe, as data.

    Where the system cannot duplicate a process, the proof runs at once and cannot be given up.
    """

    def __init__(self, built: "Built", *, quiet: bool, keep: bool) -> None:
        self._built = built
        self._told = b""
        self._child = 0
        if not hasattr(os, "fork"):
            self._told = _told(built, quiet, keep)
            return
        self._pipe, write = os.pipe()
        sys.stdout.flush()
        sys.stderr.flush()
        self._child = os.fork()
        if self._child == 0:
            os.close(self._pipe)
            _carry_out(built, quiet, keep, write)
        os.close(write)

    def done(self, seconds: float) -> bool:
        """Waits so long at most; True when the report is there, or the proof has failed."""
        if not self._child:
            return True
        while select.select((self._pipe,), (), (), seconds)[0]:
            part = os.read(self._pipe, 1 << 16)
            if not part:
                return True
            self._told += part
        return False

    def report(self) -> "Report":
        """After `done`. Raises RuntimeError when the other process has failed; it has said why."""
        if not self._told.endswith(b"\n"):
            raise RuntimeError("the process that proves has ended without a report")
        return report_from(self._built.contents, json.loads(self._told))

    def end(self) -> None:
        """Whatever the state: the other process is no more, and neither is its progress line."""
        if self._child:
            os.kill(self._child, signal.SIGKILL)
            os.waitpid(self._child, 0)
            os.close(self._pipe)
            self._child = 0
            if sys.stderr.isatty():
                sys.stderr.write("\r\x1b[K")
                sys.stderr.flush()


def _told(built: "Built", quiet: bool, keep: bool) -> bytes:
    report = prove_built(built, EVERYTHING, Limits(), quiet=quiet, keep=keep)
    return json.dumps(report_data(built.contents, report)).encode() + b"\n"


def _carry_out(built: "Built", quiet: bool, keep: bool, write: int) -> None:
    """In the other process; does not come back. The last byte is written last: a report that lacks it is none."""
    status = 70
    try:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        told = _told(built, quiet, keep)
        with os.fdopen(write, "wb") as pipe:
            pipe.write(told)
        status = 0
    except Exception as fault:              # whatever it is, the watching process must hear of it and go on
        from ordain.cli.main import own_fault

        own_fault(fault)
        sys.stderr.flush()
    finally:
        os._exit(status)
