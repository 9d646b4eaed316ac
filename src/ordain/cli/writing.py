"""A file written whole or not at all."""

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO


def write_file(path: Path, data: bytes) -> None:
    """Put `data` in the place of the file `path`; a device or pipe is written to as it is. Raises OSError with the
    name; then what stood there is as it was."""
    beside = path.with_name(f".{path.name}.new-{os.getpid()}")
    try:
        if path.exists() and not path.is_file():
            path.write_bytes(data)
            return
        target = Path(os.path.realpath(path))           # a link stays one
        beside = target.with_name(beside.name)
        beside.write_bytes(data)
        os.replace(beside, target)
    except OSError as failure:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise OSError(failure.errno, failure.strerror or str(failure), str(path)) from failure


@contextlib.contextmanager
def file_in_pieces(path: Path) -> Iterator[TextIO]:
    """A text that is written as it comes about, and stands in the place of `path` when all is done; when something
    breaks off, what stood there is as it was. Raises OSError with the name."""
    try:
        if path.exists() and not path.is_file():
            with open(path, "w", encoding="utf-8", newline="\n") as device:
                yield device
            return
        target = Path(os.path.realpath(path))
        beside = target.with_name(f".{path.name}.new-{os.getpid()}")
        try:
            with open(beside, "w", encoding="utf-8", newline="\n") as text:
                yield text
            os.replace(beside, target)
        except BaseException:
            with contextlib.suppress(OSError):
                beside.unlink()
            raise
    except OSError as failure:
        raise OSError(failure.errno, failure.strerror or str(failure), str(path)) from failure
