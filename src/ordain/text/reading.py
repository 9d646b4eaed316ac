"""From bytes on disk to a `Source`, or to a finding that says why not. The only module that reads what users
wrote."""

import hashlib
import os
import re
import stat
from pathlib import Path

from ordain.text.findings import Finding, error
from ordain.text.source import Source, Span
from ordain.text.spelling import nearest

LONGEST_LINE = 10_000
"""Characters. No one writes such a line; generated junk and binary files do."""

LARGEST_FILE = 64_000_000
"""Bytes. About a hundred times the source of a store of 16,384 words."""

READ_FROM = "ORDAIN_READ_FROM"
"""Directories, listed as in PATH, in which machine files may name files."""

UNREADABLE = frozenset({"missing-file", "file-elsewhere", "not-a-file", "unreadable-file", "file-too-large"})
"""Findings that mean: the file could not be read at all (exit status 2, not 1)."""


def read_source(path: Path, shown: str, asked_by: Span | None = None) -> tuple[Source | None, str, list[Finding]]:
    """The file at `path` under the name `shown`, the SHA-256 of its bytes ("" when not read), and findings.

    `asked_by` is the place that names the file, for files named in another file.
    """
    try:
        shown.encode()
    except UnicodeEncodeError:
        return None, "", [error("bad-file-name", f"the name of `{shown}` is no UTF-8 text", asked_by, _named(asked_by),
                                help="rename the file: its name is written into the build")]
    data, findings = read_bytes(path, shown, asked_by)
    if data is None:
        return None, "", findings
    source, findings = decode(shown, data, asked_by)
    return source, hashlib.sha256(data).hexdigest(), findings


def read_bytes(path: Path, shown: str, asked_by: Span | None = None) -> tuple[bytes | None, list[Finding]]:
    """The bytes of a regular file. Pipes and devices are refused unread: they could block or never end."""
    try:
        mode = os.stat(path).st_mode
        if stat.S_ISDIR(mode):
            return None, [error("not-a-file", f"`{shown}` is a directory", asked_by, _named(asked_by),
                                help="name a file in it")]
        if not stat.S_ISREG(mode):
            return None, [error("not-a-file", f"`{shown}` is a device or a pipe, not a file", asked_by,
                                _named(asked_by), help="save its content to a file first")]
        with open(path, "rb") as file:
            data = file.read(LARGEST_FILE + 1)
    except (FileNotFoundError, NotADirectoryError):
        return None, [error("missing-file", f"there is no file `{shown}`", asked_by, _named(asked_by),
                            help=_nearest(path))]
    except (OSError, ValueError) as problem:
        reason = problem.strerror if isinstance(problem, OSError) else str(problem)
        return None, [error("unreadable-file", f"`{shown}` cannot be read: {(reason or 'unknown reason').lower()}",
                            asked_by, _named(asked_by), help="check the name and the file's permissions")]
    if len(data) > LARGEST_FILE:
        return None, [error("file-too-large", f"`{shown}` is larger than {LARGEST_FILE // 1_000_000} MB", asked_by,
                            _named(asked_by), help="this is hardly a source file; check the name")]
    return data, []


def read_beside(directory: Path, shown: str, asked_by: Span | None) -> tuple[Source | None, str, list[Finding]]:
    """As `read_source`, of a file that a machine file in `directory` names. A machine file that came from somebody else
    must not show what lies elsewhere on this computer: see `refused`."""
    findings = refused(directory, shown, asked_by)
    return (None, "", findings) if findings else read_source(directory / shown, shown, asked_by)


def refused(directory: Path, shown: str, asked_by: Span | None) -> list[Finding]:
    """A finding where a name leads, links followed, out of the directory, of the work tree (of git) that holds it, of
    where the user works (unless all of his own is below that) and of what the environment variable ORDAIN_READ_FROM
    lists."""
    home, real = os.path.realpath(directory), os.path.realpath(directory / shown)
    listed = [os.path.realpath(each) for each in os.environ.get(READ_FROM, "").split(os.pathsep) if each]
    here, own = os.getcwd(), os.path.realpath(os.path.expanduser("~"))
    listed += [] if os.path.commonpath((here, own)) == here else [here]
    tree = next((str(each) for each in (Path(home), *Path(home).parents) if (each / ".git").exists()), home)
    if any(os.path.commonpath((real, each)) == each for each in (home, tree, *listed)):
        return []
    return [error("file-elsewhere", f"`{shown}` lies outside of the machine's directory", asked_by, _named(asked_by),
                  help=f"where that is meant, say so: {READ_FROM}={os.path.relpath(os.path.dirname(real))}")]


def _nearest(path: Path) -> str:
    """Help for a missing file: a file beside it with almost the same name."""
    try:
        beside = sorted(os.listdir(path.parent))[:1000]
    except OSError:
        return "check the spelling and the directory"
    near = nearest(path.name[:100], (name for name in beside if name != path.name))
    return f"did you mean `{near}`?" if near else "check the spelling and the directory"


def decode(shown: str, data: bytes, asked_by: Span | None = None) -> tuple[Source | None, list[Finding]]:
    """Text from bytes. A byte order mark is dropped; CR LF and CR count as line ends and become LF."""
    if b"\0" in data:
        return None, [error("binary-file", f"`{shown}` is a binary file: it has a zero byte at offset "
                            f"{data.index(0)}", asked_by, _named(asked_by),
                            help="name the text file from which it was made; saved as UTF-16, save it as UTF-8")]
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        start = problem.start + (3 if data.startswith(b"\xef\xbb\xbf") else 0)
        line = data.count(b"\n", 0, start) + 1
        return None, [error("not-utf-8", f"`{shown}` is not UTF-8 text: byte 0x{data[start]:02X} in line {line}",
                            asked_by, _named(asked_by), help="save it as UTF-8 in the editor")]
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    return accept(Source(shown, text))


_UNSEEN = re.compile("[\0-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069]")
"""Control characters, and marks that turn the direction of writing or end a line: what they do to a terminal or an
editor is not what the text says (Unicode Technical Report 36, from memory)."""


def accept(source: Source) -> tuple[Source | None, list[Finding]]:
    """The source, unless it holds what nobody sees, or a line of it is so long that it cannot be meant."""
    unseen = None if source.text.isprintable() else _UNSEEN.search(source.text)
    if unseen is not None:
        return None, [error("control-character", f"the text holds the character U+{ord(unseen[0]):04X}, which is not "
                            "seen and acts on what shows it", Span(source, unseen.start(), unseen.end()), "here",
                            help="take it out; an editor that shows all characters finds it")]
    at = 0
    for row in source.text.split("\n") if len(source.text) > LONGEST_LINE else ():
        if len(row) > LONGEST_LINE:
            return None, [error("line-too-long", f"a line of {len(row):,} characters; the limit is {LONGEST_LINE:,}",
                                Span(source, at, at + 40), "this line",
                                help="break it after a comma, or check that this is a source file")]
        at += len(row) + 1
    return source, []


def _named(asked_by: Span | None) -> str:
    """What is said at the place that names the file, where there is one."""
    return "named here" if asked_by is not None else ""
