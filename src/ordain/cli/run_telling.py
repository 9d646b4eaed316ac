"""What a run tells: on the way a dump and a line of progress, at the end what happened."""

import time
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

from ordain.cli.manner import Manner, glyphs, page_of, print_json, say, show, tell_findings
from ordain.cli.progress import ProgressLine
from ordain.data.model import Listener

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from types import TracebackType

    from ordain.cli.run_asked import MemoryDump
    from ordain.cli.run_put import Held
    from ordain.data.datapath import Datapath
    from ordain.data.model import Record
    from ordain.data.partial import Ternary
    from ordain.rom.contents import Contents
    from ordain.text.findings import Finding

BETWEEN = 0.1
"""Seconds between two lines of progress."""


class Watching:
    """While a run lasts: the dump that was asked for, and on a terminal how far it is."""

    def __init__(self, path: "Datapath", vcd: Path | None, quiet: bool, most: int) -> None:
        self._path, self._vcd, self._most = path, vcd, most
        self._line, self._began, self._told = ProgressLine(quiet), time.monotonic(), 0.0
        self._open = ExitStack()
        self.listeners: list[Listener] = []

    def __enter__(self) -> "Watching":
        if self._vcd is not None:
            from ordain.cli.writing import file_in_pieces
            from ordain.show.run_vcd import RunDump

            dump = RunDump(self._path, self._open.enter_context(file_in_pieces(self._vcd)))
            self._open.callback(dump.end)
            self.listeners.append(Listener(dump.nodes, dump.heard))
        if self._line.on:
            self.listeners.append(Listener((), self._heard))
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None,
                 trace: "TracebackType | None") -> None:
        self._line.clear()
        self._open.__exit__(kind, fault, trace)

    def _heard(self, cycle: int, seen: "Sequence[Ternary]", given: "Mapping[str, int]") -> None:
        now = time.monotonic()
        if now - self._told > BETWEEN:
            self._told = now
            self._line.say(f"cycle {cycle:,} of at most {self._most:,}, {cycle / (now - self._began):,.0f} cycles/s")


def tell(manner: Manner, path: Path, contents: "Contents", made: "Record", held: "Sequence[Held]", each: str,
         faults: "list[Finding]", dumps: "Sequence[MemoryDump]") -> None:
    """The lines that were asked for, findings with the last cycles before them, how it ended, what was taken for so,
    memory."""
    from ordain.show.page import fold
    from ordain.show.run_lines import dump_lines, end_lines, run_lines, sent_lines

    page = page_of(manner)
    if each in ("instruction", "cycle"):
        show(manner, run_lines(contents, made, page, each == "cycle"))
    elif each == "sent":
        show(manner, sent_lines(made, page))
    if made.last and faults:
        from ordain.show.diagram import diagram_lines
        from ordain.show.run_trace import trace_of

        print(*diagram_lines(contents, trace_of(contents, made.last, levels=True), page, glyphs(), made.last[0][0]),
              sep="\n")
    tell_findings(faults, manner, beside=path)
    show(manner, end_lines(contents, made, page))
    if held:
        show(manner, fold(f"assumed at power-up: {', '.join(map(str, held))}", page))
    for dump in dumps:
        memory, cells = contents.machine.memories[dump.memory], made.memories[dump.memory]
        if dump.file is None:
            show(manner, dump_lines(memory, cells, dump.first, dump.last))
        elif not any(fault.name == "unknown-word" and f"`{dump.file}`" in fault.message for fault in faults):
            count = dump.last + 1 - dump.first
            say(manner, f"wrote {dump.file}: {count} word{'' if count == 1 else 's'} of {dump.memory}")


def tell_missed(colour: str, missed: "Sequence[tuple[str, Ternary, Ternary]]") -> None:
    from ordain.show.run_lines import digits

    for name, value, found in missed:
        width = value.known.bit_length()
        say(Manner("text", False, colour), f"expected {name}={digits(value, width)}, found {digits(found, width)}")


def tell_json(contents: "Contents", made: "Record", held: "Sequence[Held]", status: int,
              missed: "Sequence[tuple[str, Ternary, Ternary]]", findings: "Sequence[Finding]") -> None:
    from ordain.show.findings_json import finding_data
    from ordain.show.run_lines import digits, record_data

    print_json({"command": "run", "status": status, **record_data(contents, made),
                "assumed": {one.name: str(one).partition("=")[2] for one in held},
                "missed": [{"name": name, "expected": digits(value, value.known.bit_length()),
                            "found": digits(found, value.known.bit_length())} for name, value, found in missed],
                "findings": [finding_data(finding) for finding in findings]})
