"""The images that were burned, kept beside the ledger under the SHA-256 of their bytes.

A file appears whole or not at all, is never changed, and is held against its name whenever it is read: an old set of
chips can be compared and burned again after years, or the loss is told.
"""

import contextlib
import hashlib
import os
import time
from pathlib import Path

from ordain.rom.ledger import flush_directory
from ordain.text.findings import Finding, error

STALE_SECONDS = 3600
"""After so long an unfinished file is the remains of a run that was killed."""


def keep_image(directory: Path, image: bytes) -> str:
    """Keep an image; its SHA-256. What stands there damaged is replaced. Raises OSError."""
    name = hashlib.sha256(image).hexdigest()
    place = directory / f"{name}.bin"
    if _read(place) == image:
        return name
    directory.mkdir(exist_ok=True)
    _clear_remains(directory)
    fresh = directory / f".{name}.new-{os.getpid()}"
    try:
        with open(fresh, "wb") as file:
            file.write(image)
            file.flush()
            os.fsync(file.fileno())
        os.replace(fresh, place)
    except BaseException as failure:
        with contextlib.suppress(OSError):
            os.unlink(fresh)
        if isinstance(failure, OSError):
            raise OSError(failure.errno, failure.strerror, str(place)) from failure
        raise
    flush_directory(directory)
    flush_directory(directory.parent)
    return name


def kept_image(directory: Path, sha256: str, what: str) -> tuple[bytes | None, list[Finding]]:
    """The image of that SHA-256; None with a finding when it is not there or not itself any more. `what`: whose image
    it is, for the message. Raises OSError when it cannot be read."""
    place = directory / f"{sha256}.bin"
    shown = f"{directory.name}/{place.name}"
    image = _read(place)
    if image is None:
        return None, [_lost(f"the image of {what} is not in the store any more: there is no `{shown}`")]
    if hashlib.sha256(image).hexdigest() != sha256:
        return None, [_lost(f"the kept image of {what} is damaged: `{shown}` has not the SHA-256 that is its name")]
    return image, []


def _lost(message: str) -> Finding:
    return error("lost-image", message, None, help="put the file back from a copy of the store; else check out the "
                 "revision that the ledger names and build it again, or read the chip itself")


def _read(place: Path) -> bytes | None:
    try:
        return place.read_bytes()
    except FileNotFoundError:
        return None


def _clear_remains(directory: Path) -> None:
    for name in os.listdir(directory):
        if name.startswith(".") and ".new-" in name:
            with contextlib.suppress(OSError):
                if time.time() - os.stat(directory / name).st_mtime > STALE_SECONDS:
                    os.unlink(directory / name)
