"""Reports kept from earlier runs, found again by what they are about and by nothing else.

The key is a SHA-256 over everything that a verdict depends on: this program's own text, the bytes of every source, what
stands in every store and where, and what was asked. Time, paths and names of directories are not in it. Only a report
of a search that came to its end is kept, so limits need no place in the key. `text.entries` keeps the files.
"""

import hashlib
import json
import sys
from collections.abc import Iterable
from pathlib import Path

from ordain import __version__
from ordain.checks.check import Report
from ordain.checks.kept import report_data, report_from
from ordain.checks.run import Selection
from ordain.rom.contents import Contents
from ordain.text.entries import data_kept, keep_data, own_text

DAMAGED = (ValueError, KeyError, IndexError, TypeError, AttributeError, RecursionError)
"""What reading raises of a report that is none."""


def key_of(contents: Contents, sources: Iterable[tuple[str, str]], selection: Selection) -> str:
    """The key of a proof. `sources`: name and SHA-256 of every file that the contents were compiled from, all of
    them: a file may matter without any place in it being known to the model. They say everything about a word but
    where it was placed, and which of its copies has its label."""
    about = hashlib.sha256(f"{__version__} {sys.version} {own_text()}".encode())
    for name, digest in sources:
        about.update(f"{len(name)} {name} {digest}\n".encode("utf-8", "surrogateescape"))
    for store, words in contents.words.items():
        about.update(f"{store} {words}\n".encode())
        for address, site in sorted(contents.sites.get(store, {}).items()):
            about.update(f"{address} {site.word} {site.label}\n".encode())
    about.update(repr((sorted(selection.only), selection.rule)).encode("utf-8", "surrogateescape"))
    return about.hexdigest()


def load(directory: Path, key: str, contents: Contents) -> Report | None:
    """The report kept under the key; None when there is none, or none that is whole."""
    try:
        return report_from(contents, data_kept(directory, key))
    except DAMAGED:
        return None


def store(directory: Path, key: str, contents: Contents, report: Report) -> None:
    """Keep a report, unless a search was cut short or it would not come back as it is."""
    if report.stopped or any(row.outcome == "undecided" for row in report.rows):
        return
    try:
        data = report_data(contents, report)
        if report_from(contents, json.loads(json.dumps(data))) != report:
            return
    except (ValueError, KeyError, TypeError):
        return
    keep_data(directory, key, data)
