"""A file written whole or not at all."""

import contextlib
import os
from pathlib import Path


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
