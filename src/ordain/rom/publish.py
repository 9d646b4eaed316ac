"""The files of a build appear together or not at all: when the disk is full, the process killed, two builds at once.

Everything is written into a new directory beside the one that is asked for, flushed to the disk, read back there
and checked; then the two directories change places in one step (Linux: `renameat2`; elsewhere two renames, and a run
that was killed between them is mended by the next one). Whoever looks sees the whole old build or the whole new one.

What stands in the directory already:
- nothing: it is created, with its parents;
- an earlier build of the same machine: its files go, also those of chips that are no more; files and directories that
  no build wrote (a report, a note) are carried over;
- a build of another machine, or anything else: refused, nothing is touched.

One build at a time writes beside a directory: the parent directory is locked (`flock`) where the system has that.
"""

import contextlib
import ctypes
import errno
import os
import stat
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

try:
    import fcntl
except ImportError:                                 # not on Windows: there two builds at once are not kept apart
    fcntl = None  # type: ignore[assignment]  # typeshed declares the module for every system

WAIT_SECONDS = 10.0
"""How long to wait for another build before giving up."""

_EXCHANGE = 2
"""RENAME_EXCHANGE of renameat2(2)."""

_AT_FDCWD = -100


class PublishRefused(OSError):
    """The directory may not be replaced; `strerror` says why and what to do, `filename` which."""


def publish(directory: Path, files: Mapping[str, bytes], earlier: Callable[[Path], frozenset[str] | None],
            check: Callable[[Path], None]) -> None:
    """Put `files` (name -> content) into `directory`, in place of an earlier build.

    `earlier(path)`: the names that an earlier build of this machine wrote there, None when there is no such build;
    it may raise PublishRefused. `check(path)` is called with the directory in which the new files stand, before anybody
    can see them; what it raises goes up and nothing is published.
    Raises OSError with file name and reason when it cannot be written; then everything is as before.
    """
    place = Path(os.path.realpath(directory))
    _refuse_unless_directory(place, directory)
    os.makedirs(place.parent, exist_ok=True)
    with _locked(place.parent, directory):
        _mend(place)
        ours = _replaceable(place, directory, earlier)
        fresh = place.parent / f".{place.name}.new-{os.getpid()}"
        _make_directory(fresh, directory)
        made = os.stat(fresh).st_ino
        try:
            for name, content in files.items():
                _write(fresh / name, content, directory / name)
            check(fresh)
            kept = _carry_over(place, fresh, ours, files)
            _flush_directory(fresh)
            _take_place(fresh, place, directory)
        except BaseException:
            with contextlib.suppress(OSError):
                if os.stat(fresh).st_ino == made:   # else the places have changed already: that is the old one
                    _clear(fresh)
            raise
        _flush_directory(place.parent)
        _remove_old(fresh, place, ours | kept)


# ---------------------------------------------------------------- may it be replaced


def _refuse_unless_directory(place: Path, shown: Path) -> None:
    if place.exists() and not place.is_dir():
        raise PublishRefused(errno.ENOTDIR, "is a file, not a directory; name another place with --out", str(shown))


def _replaceable(place: Path, shown: Path, earlier: Callable[[Path], frozenset[str] | None]) -> frozenset[str]:
    """The names in the directory that are ours to remove; PublishRefused when it is not ours at all."""
    if not place.exists() or not os.listdir(place):
        ours: frozenset[str] | None = frozenset()
    else:
        ours = earlier(place)
    if ours is None:
        raise PublishRefused(errno.EEXIST, "holds files and no earlier build, so nothing was written there; name "
                             "another place with --out, or empty it yourself", str(shown))
    if Path(os.path.realpath(".")).is_relative_to(place):
        raise PublishRefused(errno.EBUSY, "is where you are, and a build replaces its directory; go one up", str(shown))
    return ours


def _carry_over(place: Path, fresh: Path, ours: frozenset[str], files: Mapping[str, bytes]) -> frozenset[str]:
    """Links in the new directory to the files of the old one that no build wrote; their names. (Directories follow when
    the places have changed: they cannot be linked.)"""
    if not place.exists():
        return frozenset()
    kept = set()
    with os.scandir(place) as entries:
        foreign = [entry for entry in entries if entry.name not in ours or entry.is_dir(follow_symlinks=False)]
    for entry in foreign:
        if entry.name in files:
            raise PublishRefused(errno.EEXIST, "was not written by an earlier build, and a file of that name would "
                                 "have to go there; move it away", str(place / entry.name))
        if not entry.is_dir(follow_symlinks=False):
            _link(Path(entry.path), fresh / entry.name)
            kept.add(entry.name)
    os.chmod(fresh, stat.S_IMODE(os.stat(place).st_mode))
    return frozenset(kept)


def _link(old: Path, new: Path) -> None:
    """The same file under a second name; a copy where the file system has no links."""
    try:
        os.link(old, new, follow_symlinks=False)
    except OSError:
        if old.is_symlink():
            os.symlink(os.readlink(old), new)
        else:
            new.write_bytes(old.read_bytes())
            os.utime(new, ns=(old.stat().st_atime_ns, old.stat().st_mtime_ns))


# ---------------------------------------------------------------- writing


def _make_directory(path: Path, shown: Path) -> None:
    try:
        os.mkdir(path)
    except OSError as failure:
        raise OSError(failure.errno, failure.strerror, str(shown)) from failure


def _write(path: Path, content: bytes, shown: Path) -> None:
    try:
        with open(path, "xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
    except OSError as failure:
        raise OSError(failure.errno, failure.strerror, str(shown)) from failure


def _flush_directory(path: Path) -> None:
    """So that a power cut finds the names as well as the contents. Not every system opens directories."""
    with contextlib.suppress(OSError):
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _take_place(fresh: Path, place: Path, shown: Path) -> None:
    """The new directory stands at the place; the old one, if there was one, where the new one was."""
    try:
        if not place.exists():
            os.rename(fresh, place)
        elif not _exchanged(fresh, place):
            _exchange_in_two_steps(fresh, place)
    except OSError as failure:
        raise OSError(failure.errno, f"cannot be replaced: {failure.strerror}", str(shown)) from failure


def _exchange_in_two_steps(fresh: Path, place: Path) -> None:
    aside = _aside(place)
    os.rename(place, aside)
    try:
        os.rename(fresh, place)
    except OSError:
        os.rename(aside, place)
        raise
    os.rename(aside, fresh)


def _exchanged(one: Path, other: Path) -> bool:
    """True when the two directories have changed places in one step; False where the system cannot."""
    try:
        call = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, TypeError, AttributeError):
        return False
    if call(_AT_FDCWD, os.fsencode(one), _AT_FDCWD, os.fsencode(other), _EXCHANGE) == 0:
        return True
    reason = ctypes.get_errno()
    if reason in (errno.ENOSYS, errno.EINVAL):
        return False
    raise OSError(reason, os.strerror(reason), str(other))


def _aside(place: Path) -> Path:
    return place.parent / f".{place.name}.old"


def _remove_old(old: Path, place: Path, known: frozenset[str]) -> None:
    """Remove the directory that was replaced. Names in `known` go; what else is in it moves to the new one:
    directories, and files that came while we were at work."""
    if not old.exists():
        return
    with os.scandir(old) as entries:
        found = [(entry.name, entry.is_dir(follow_symlinks=False)) for entry in entries]
    for name, is_directory in found:
        if name in known and not is_directory:
            os.unlink(old / name)
        elif not os.path.lexists(place / name):
            os.rename(old / name, place / name)
    with contextlib.suppress(OSError):
        os.rmdir(old)


def _clear(directory: Path) -> None:
    """Remove a directory with everything in it, as far as that goes."""
    for path, directories, names in os.walk(directory, topdown=False):
        for name in [*names, *directories]:
            entry = os.path.join(path, name)
            with contextlib.suppress(OSError):
                os.rmdir(entry) if name in directories and not os.path.islink(entry) else os.unlink(entry)
    with contextlib.suppress(OSError):
        os.rmdir(directory)


# ---------------------------------------------------------------- two at once, and the remains of a killed run


@contextlib.contextmanager
def _locked(parent: Path, shown: Path) -> Iterator[None]:
    """Hold the lock on the parent directory, so that nothing is left behind that would have to be removed."""
    if fcntl is None:
        yield
        return
    handle = os.open(parent, os.O_RDONLY)
    try:
        give_up = time.monotonic() + WAIT_SECONDS
        while not _lock(handle):
            if time.monotonic() > give_up:
                raise PublishRefused(errno.EAGAIN, "another build has been writing here for "
                                     f"{WAIT_SECONDS:.0f} seconds; try again when it is done", str(shown))
            time.sleep(0.01)
        yield
    finally:
        os.close(handle)


def _lock(handle: int) -> bool:
    """False while another holds the lock. Some network file systems lock no directories: then there is no guard."""
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return True
    return True


def _mend(place: Path) -> None:
    """Clear away what killed runs left: we hold the lock, so nobody is at work on it."""
    aside = _aside(place)
    if aside.exists() and not place.exists():       # killed between the two renames
        os.rename(aside, place)
    prefix = f".{place.name}.new-"
    remains = [place.parent / name for name in os.listdir(place.parent) if name.startswith(prefix)]
    for path in [*remains, aside]:
        if not path.is_dir() or (fcntl is None and time.time() - path.stat().st_mtime < 3600):
            continue
        with os.scandir(path) as entries:           # directories are never ours, and were on their way to the new place
            for entry in [entry for entry in entries if entry.is_dir(follow_symlinks=False)]:
                if place.exists() and not os.path.lexists(place / entry.name):
                    os.rename(entry.path, place / entry.name)
        _clear(path)
