"""The wire list as CSV (RFC 4180)."""

import csv
import io
from collections.abc import Iterable

from ordain.show.paint import printable

HEAD = ("chip", "pin", "number", "net", "what")


def wires_csv(joints: Iterable[tuple[str, str, int | None, str, str]]) -> str:
    """One row a pin: part, pin, number of the package, net, what it is."""
    made = io.StringIO()
    writer = csv.writer(made)
    writer.writerow(HEAD)
    for part, pin, number, net, what in joints:
        writer.writerow([part, pin, "" if number is None else number, printable(net), printable(what)])
    return made.getvalue()
