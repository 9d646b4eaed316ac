"""Texts of an older revision, read with git; nothing of the work tree or the index is touched."""

import hashlib
import posixpath
import subprocess
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import NamedTuple

TIMEOUT = 30
"""Seconds for one question to git."""

MOST_REVISIONS = 500
"""How far back sources are looked for by their content."""


class GitFailed(Exception):
    """git is not there, this is no repository, or it knows no such revision; the text says which."""


class Revision(NamedTuple):
    """`commit`: the full name. `directory`: of the machine file, in the repository, "" for its root. `place`: where git
    is asked from."""

    given: str
    commit: str
    directory: str
    place: Path


def find_revision(given: str, directory: Path) -> Revision:
    """The revision that `given` names, as it is seen from the directory of a machine file. Raises GitFailed."""
    if given.startswith("-"):
        raise GitFailed(f"`{given}` is no revision")
    place = directory.resolve()
    prefix = _git(place, "rev-parse", "--show-prefix").decode("utf-8", "surrogateescape").strip("\n").rstrip("/")
    commit = _git(place, "rev-parse", "--verify", "--quiet", "--end-of-options", f"{given}^{{commit}}")
    return Revision(given, commit.decode().strip(), prefix, place)


def _git(place: Path, *arguments: str) -> bytes:
    command = ["git", "-C", str(place), "-c", "core.quotepath=off", *arguments]
    try:
        done = subprocess.run(command, capture_output=True, check=False, timeout=TIMEOUT, stdin=subprocess.DEVNULL)
    except FileNotFoundError:
        raise GitFailed("git is not installed here") from None
    except subprocess.TimeoutExpired:
        raise GitFailed(f"git gave no answer within {TIMEOUT} seconds") from None
    if done.returncode:
        told = done.stderr.decode("utf-8", "replace").strip().splitlines()
        raise GitFailed(told[0] if told else "git knows no such revision")
    return done.stdout


class RevisionFiles(Mapping[str, bytes]):
    """Files of a revision by names relative to the directory of the machine file, read when they are asked for."""

    def __init__(self, revision: Revision) -> None:
        self._revision = revision
        self._read: dict[str, bytes | None] = {}

    def _found(self, name: str) -> bytes | None:
        if name not in self._read:
            path = posixpath.normpath(posixpath.join(self._revision.directory, name))
            self._read[name] = None
            if not path.startswith(".."):
                try:
                    self._read[name] = _git(self._revision.place, "cat-file", "blob", f"{self._revision.commit}:{path}")
                except GitFailed:
                    self._read[name] = None
        return self._read[name]

    def __getitem__(self, name: str) -> bytes:
        found = self._found(name)
        if found is None:
            raise KeyError(name)
        return found

    def __contains__(self, name: object) -> bool:
        return isinstance(name, str) and self._found(name) is not None

    def __iter__(self) -> Iterator[str]:
        return iter([name for name, data in self._read.items() if data is not None])

    def __len__(self) -> int:
        return len(list(iter(self)))

    def machines(self) -> list[str]:
        """The names of the machine files in the directory."""
        where = f"{self._revision.commit}:{self._revision.directory}"
        names = _git(self._revision.place, "ls-tree", "-z", "--name-only", where).split(b"\0")
        found = [name.decode("utf-8", "surrogateescape") for name in names]
        return sorted(name for name in found if name.endswith(".machine"))


class Texts(Mapping[str, str]):
    """The same files as text."""

    def __init__(self, files: Mapping[str, bytes]) -> None:
        self._files = files

    def __getitem__(self, name: str) -> str:
        return self._files[name].decode("utf-8-sig", "replace")

    def __contains__(self, name: object) -> bool:
        return name in self._files

    def __iter__(self) -> Iterator[str]:
        return iter(self._files)

    def __len__(self) -> int:
        return len(self._files)


def revision_of(files: Mapping[str, str], directory: Path) -> Revision | None:
    """The newest revision in which every one of these files (name -> SHA-256 of its bytes) has just that content; None
    where there is none, or no git."""
    try:
        history = _git(directory.resolve(), "log", f"--max-count={MOST_REVISIONS}", "--format=%H", "--",
                       *(f"./{name}" for name in sorted(files)))
        for commit in history.decode().split():
            revision = find_revision(commit, directory)
            seen = RevisionFiles(revision)
            if all(name in seen and hashlib.sha256(seen[name]).hexdigest() == wanted for name, wanted in files.items()):
                return revision
    except GitFailed:
        return None
    return None
