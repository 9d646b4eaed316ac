"""What `ordain prove` said when everything was proved, said again while nothing that it follows from has changed.

`checks.cache` knows verdicts by what the sources were compiled to. Here nothing is compiled: the key is what was asked,
of which files, beside which records of builds (they decide where words are placed), and the entry has the SHA-256 of
every source. These are read again as a build reads them; where one differs there is no answer, and the verdict is found
the long way.
"""

import hashlib
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple, TypeGuard

from ordain import __version__
from ordain.show.page import Page
from ordain.show.paint import without_colour
from ordain.text.entries import data_kept, keep_data, own_text
from ordain.text.reading import read_beside, read_bytes


class ProofAsked(NamedTuple):
    """`machine`: the machine file; `build`: the directory of the build beside it; `records`: name and SHA-256 of what
    may be the record of a build there; `page`: on what the answer is written; the others as the command's options."""

    machine: Path
    build: Path
    records: tuple[tuple[str, str], ...]
    only: frozenset[str]
    rule: str
    everything: bool
    page: Page


def asked_of(machine: Path, build: Path, only: Sequence[str], rule: str, everything: bool, page: Page) -> ProofAsked:
    """The question, with the records as they are now: to be asked before anything is built."""
    return ProofAsked(machine, build, _records(build), frozenset(only), rule, everything, page)


def answer_to(directory: Path, question: ProofAsked) -> list[str] | None:
    """The lines that answered the question, when they still do; else None."""
    data = data_kept(directory, _key(question))
    if not isinstance(data, dict):
        return None
    lines, sources = data.get("lines"), data.get("sources")
    if not _texts(lines):
        return None
    if not all((without_colour(line) if question.page.paint.on else line).isprintable() for line in lines):
        return None
    if not isinstance(sources, list) or not all(_texts(each) and len(each) == 2 for each in sources):
        return None
    return lines if _unchanged(question, sources) else None


def keep_answer(directory: Path, question: ProofAsked, sources: Sequence[tuple[str, str]], lines: list[str]) -> None:
    """Keep the lines. `sources`: name and SHA-256 of every file that was read. Kept is only what a second look finds as
    it was when the question was asked: meanwhile somebody may have built."""
    if _unchanged(question, sources) and _records(question.build) == question.records:
        keep_data(directory, _key(question), {"lines": lines, "sources": sources})


def _key(question: ProofAsked) -> str:
    where = str(question.machine.absolute()), str(question.build.absolute()), str(Path.cwd())
    about = [__version__, sys.version, own_text(), where, question.records, sorted(question.only), question.rule,
             question.everything, question.page]
    return hashlib.sha256(repr(about).encode("utf-8", "surrogateescape")).hexdigest()


def _unchanged(question: ProofAsked, sources: Sequence[Sequence[str]]) -> bool:
    """Whether every file is read now as it was then; one that cannot be read has "" for its SHA-256."""
    return bool(sources) and all(digest and read_beside(question.machine.parent, name, None)[1] == digest
                                 for name, digest in sources)


def _records(build: Path) -> tuple[tuple[str, str], ...]:
    found = []
    for path in sorted(build.glob("*.json")):
        content, findings = read_bytes(path, path.name)
        said = findings[0].message.encode() if content is None else content
        found.append((path.name, hashlib.sha256(said).hexdigest()))
    return tuple(found)


def _texts(value: Any) -> TypeGuard[list[str]]:
    return isinstance(value, list) and bool(value) and all(isinstance(each, str) for each in value)
