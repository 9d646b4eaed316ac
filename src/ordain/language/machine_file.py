"""A machine file and its includes, read into one `tree.MachineFile`."""

import posixpath
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple, TypeAlias

import pyparsing as pp

from ordain.language import behaviour, bench, data, demands, storage, timing, tree, wires, wiring
from ordain.language.grammar import kw, line, listed, name, quoted
from ordain.language.statements import Faults, Form, Parsed, no_block, read_statement
from ordain.language.words import CARRY_MACHINE
from ordain.text.findings import Finding, Place, error
from ordain.text.lines import blocks, in_order, logical_lines
from ordain.text.reading import accept, read_beside
from ordain.text.source import Source, Span

Fetch: TypeAlias = Callable[[str, Span | None], tuple[Source | None, str, list[Finding]]]
"""Gets a file: its name, the place that names it -> source, SHA-256, findings."""

DEEPEST_INCLUDE = 30


class _Include(NamedTuple):
    file: tree.Text


@cache
def _machine() -> pp.ParserElement:
    return line(kw("machine") - name("a name for the machine") + pp.Opt(quoted()))


@cache
def _microprogram() -> pp.ParserElement:
    return line(kw("microprogram") - listed(quoted("a file name in quotes")))


@cache
def _include() -> pp.ParserElement:
    return line(kw("include") - quoted("a file name in quotes"))


def _build_machine(parsed: Parsed) -> tree.MachineHeader:
    no_block(parsed)
    return tree.MachineHeader(parsed.parts[0], parsed.parts[1] if len(parsed.parts) > 1 else None, parsed.span)


def _build_microprogram(parsed: Parsed) -> tree.Microprogram:
    no_block(parsed)
    return tree.Microprogram(tuple(parsed.parts), parsed.span)


def _build_include(parsed: Parsed) -> Any:
    no_block(parsed)
    return _Include(parsed.parts[0])


FORMS: dict[str, Form] = {
    "machine": Form('machine NAME ["title"]', _machine, _build_machine),
    "microprogram": Form('microprogram "FILE", "FILE"', _microprogram, _build_microprogram),
    "include": Form('include "FILE"', _include, _build_include),
    **storage.FORMS,
    **data.FORMS,
    **timing.FORMS,
    **behaviour.FORMS,
    **wiring.FORMS,
    **demands.FORMS,
    **wires.FORMS,
    **bench.FORMS,
}


def read_machine(path: Path) -> tuple[tree.MachineFile | None, list[Finding]]:
    """The machine file at `path`; names of other files are taken from its directory. None when it cannot be read."""
    directory = path.parent
    return _read_all(path.name, lambda shown, asked_by: read_beside(directory, shown, asked_by))


def parse_machine(sources: Mapping[str, str], main: str) -> tuple[tree.MachineFile | None, list[Finding]]:
    """The same from memory: texts by file name."""
    return _read_all(main, from_memory(sources))


def from_memory(sources: Mapping[str, str]) -> Fetch:
    """A `Fetch` over texts by name. There are no bytes, so there is no SHA-256."""

    def fetch(shown: str, asked_by: Span | None) -> tuple[Source | None, str, list[Finding]]:
        if shown not in sources:
            return None, "", [error("missing-file", f"there is no file `{shown}`", asked_by, "named here",
                                    help="check the spelling and the directory")]
        source, findings = accept(Source(shown, sources[shown]))
        return source, "", findings

    return fetch


def shown_name(file: tree.Text) -> tuple[str, list[Finding]]:
    """The name under which a file named in another file is read and shown, relative to the machine file's directory."""
    given = file.text.replace("\\", "/")
    if not given.strip() or given.startswith("/") or ":" in given or not given.isprintable():
        return "", [error("bad-file-name", f'"{file.text}" cannot be used as a file name', file.span, "this name",
                          help="name the file relative to the directory of the machine file")]
    return posixpath.normpath(given), []


def _read_all(main: str, fetch: Fetch) -> tuple[tree.MachineFile | None, list[Finding]]:
    reading = _Reading(fetch)
    reading.file(main, None, ())
    if not reading.sources:
        return None, reading.findings
    reading.check_header()
    made = tree.MachineFile(tuple(reading.statements), tuple(reading.sources), frozenset(reading.unread))
    return made, reading.findings


class _Reading:
    """What has been read so far. `included`: file name -> the place that names it (None: the main file)."""

    def __init__(self, fetch: Fetch) -> None:
        self.fetch = fetch
        self.statements: list[tree.MachineStatement] = []
        self.sources: list[tree.SourceFile] = []
        self.findings: list[Finding] = []
        self.included: dict[str, Span | None] = {}
        self.unread: set[str] = set()
        self.main: Source | None = None

    def file(self, shown: str, asked_by: Span | None, chain: tuple[str, ...]) -> None:
        """Reads a file in place. `chain`: the files that are being read, the main one first."""
        self.included[shown] = asked_by
        source, digest, findings = self.fetch(shown, asked_by)
        self.findings += findings
        if source is None:
            return
        self.main = self.main or source
        self.sources.append(tree.SourceFile(shown, digest))
        own = Faults()
        lines, findings = logical_lines(source, CARRY_MACHINE)
        own += findings
        roots, findings = blocks(source, lines)
        own += findings
        before = len(self.findings)
        for block in roots:
            _, node = read_statement(block, FORMS, "a machine file", own)
            if isinstance(node, _Include):
                self._include(node.file, (*chain, shown))
            elif node is not None:
                self.statements.append(node)
        self.findings[before:before] = in_order(own)
        self.unread |= own.unread

    def _include(self, file: tree.Text, chain: tuple[str, ...]) -> None:
        shown, findings = shown_name(file)
        self.findings += findings
        if not shown:
            return
        if shown in self.included:
            first = self.included[shown]
            places = (Place(first, "included here first"),) if first else ()
            if shown in chain:
                loop = " includes ".join(f"`{each}`" for each in (*chain[chain.index(shown):], shown))
                self.findings.append(error("include-cycle", f"a file includes itself: {loop}", file.span,
                                           "leads back", places=places, help="remove one of the `include` lines"))
            else:
                self.findings.append(error("included-twice", f"`{shown}` is included twice", file.span,
                                           "the second time", places=places,
                                           help="include it once; it is read in place"))
        elif len(chain) > DEEPEST_INCLUDE:
            self.findings.append(error("nested-too-deep", f"files included more than {DEEPEST_INCLUDE} deep",
                                       file.span, "this one goes too far",
                                       help="include the files from the machine file itself"))
        else:
            self.file(shown, file.span, chain)

    def check_header(self) -> None:
        """There is a `machine` line."""
        headers = [statement for statement in self.statements if isinstance(statement, tree.MachineHeader)]
        if not headers and not self._header_broken():
            self.findings.append(error("no-machine", "the file does not say which machine it describes",
                                       Span(self.main, 0, 0) if self.main else None, "first line expected here",
                                       help='begin it with `machine NAME "what it is"`; an included file is read '
                                            "with the one that includes it"))

    def _header_broken(self) -> bool:
        """Whether a line that was meant as the header has a finding already."""
        return any(finding.span is not None and finding.span.source.line_text(finding.span.line).startswith("machine")
                   for finding in self.findings)
