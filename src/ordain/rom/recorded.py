"""The manifest of an earlier build, read back: for placement, for comparison, and to know a directory as a build.

A manifest is data that somebody may have edited or a disk may have eaten. A damaged one is a warning: the build goes
on as if there were none.
"""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

from ordain.placement.model import Recorded
from ordain.rom.contents import MANIFEST_FORMAT, MANIFEST_VERSION, ChipRecord, ImageFile, Site, Sums
from ordain.text.findings import Finding, warning

Value = TypeVar("Value")

MOST = 1 << 24
"""No address is as high as this."""


class EarlierBuild(NamedTuple):
    """What a manifest says. `sites` have no spans, `places` say `file:line` instead, by store and address."""

    machine: str
    files: frozenset[str]
    sources: dict[str, str]
    chips: dict[str, ChipRecord]
    placed: Recorded
    labels: dict[str, tuple[str, frozenset[int]]]
    sites: dict[str, dict[int, Site]]
    places: dict[str, dict[int, str]]


def read_recorded(path: Path) -> tuple[Recorded | None, list[Finding]]:
    """Where the words of the earlier build stand; None when there is none, or a damaged one (a warning)."""
    build, findings = read_manifest(path)
    return (None if build is None else build.placed), findings


def read_manifest(path: Path) -> tuple[EarlierBuild | None, list[Finding]]:
    """The build that the manifest at `path` describes; None when there is none, or a damaged one (a warning)."""
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        return None, []
    except OSError as failure:
        return None, [_damaged(path, failure.strerror or "it cannot be read")]
    try:
        return _build(json.loads(content.decode("utf-8"))), []
    except RecursionError:
        return None, [_damaged(path, "it is nested too deeply")]
    except ValueError as fault:                     # also of json and of the decoding
        return None, [_damaged(path, str(fault))]


def _damaged(path: Path, why: str) -> Finding:
    return warning("damaged-record", f"`{path.name}` is not the record of a build: {why}", None,
                   help="words are placed afresh and may move, so more chips than needed may change; if an older copy "
                   "of this file exists, put it back before building")


# ---------------------------------------------------------------- from JSON, trusting nothing


def _build(data: Any) -> EarlierBuild:
    root = _object(data, "the manifest")
    if root.get("format") != MANIFEST_FORMAT:
        raise ValueError(f"`format` is not \"{MANIFEST_FORMAT}\"")
    if root.get("version") != MANIFEST_VERSION:
        raise ValueError(f"version {root.get('version')} of its form is not known")
    stores = {store: _words(store, rows) for store, rows in _object(_get(root, "words"), "`words`").items()}
    chips = [_chip(each) for each in _list(_get(root, "chips"), "`chips`", _object)]
    labels = {_text(_get(each, "name"), "`name`"): (
        _text(_get(each, "store"), "`store`"), frozenset(_list(_get(each, "addresses"), "`addresses`", _address)))
        for each in _list(_get(root, "labels"), "`labels`", _object)}
    sources = {_text(_get(each, "file"), "`file`"): _text(_get(each, "sha256"), "`sha256`")
               for each in _list(_get(root, "sources"), "`sources`", _object)}
    placed = Recorded({store: words.addresses for store, words in stores.items() if words.addresses},
                      {store: words.stored for store, words in stores.items()})
    return EarlierBuild(
        _text(_get(_object(_get(root, "machine"), "`machine`"), "name"), "`name`"),
        frozenset(_list(_get(root, "files"), "`files`", _file_name)), sources, {chip.name: chip for chip in chips},
        placed, labels, {store: words.sites for store, words in stores.items()},
        {store: words.places for store, words in stores.items()})


class _Words(NamedTuple):
    addresses: dict[str, tuple[int, ...]]
    stored: dict[int, int]
    sites: dict[int, Site]
    places: dict[int, str]


def _words(store: str, rows: Any) -> _Words:
    found = _Words({}, {}, {}, {})
    own: dict[str, list[int]] = {}
    copies: dict[str, list[int]] = {}
    for row in _list(rows, "the words of a store", _object):
        at = _address(_get(row, "at"), "`at`")
        found.stored[at] = _digits(_get(row, "word"), "`word`")
        key = _text(row.get("key", ""), "`key`")
        if key:
            (copies if "copy" in row else own).setdefault(key, []).append(at)
        orders = tuple(_list(row.get("orders", []), "`orders`", _text))
        if orders:
            found.sites[at] = Site(store, at, _text(row.get("label", ""), "`label`"),
                                   _text(row.get("owner", ""), "`owner`"), ", ".join(orders), orders, None,
                                   found.stored[at], _digits(row.get("open", "0"), "`open`"))
        found.places[at] = _text(row.get("place", ""), "`place`")
    for key in {**own, **copies}:                   # where the label stands comes first
        found.addresses[key] = (*own.get(key, ()), *copies.get(key, ()))
    return found


def _chip(data: dict[str, Any]) -> ChipRecord:
    crc32, sum8, sum16, sum32 = (_digits(_get(data, name), f"`{name}`") for name in ("crc32", "sum8", "sum16", "sum32"))
    sums = Sums(_text(_get(data, "sha256"), "`sha256`"), crc32, sum8, sum16, sum32,
                _digits(data["word_sum"], "`word_sum`") if "word_sum" in data else None)
    files = tuple(ImageFile(form, _file_name(name, "`files`"))
                  for form, name in _object(_get(data, "files"), "`files`").items())
    return ChipRecord(_text(_get(data, "name"), "`name`"), _number(_get(data, "words"), "`words`"),
                      _number(_get(data, "bits"), "`bits`"), _number(_get(data, "erased"), "`erased`"),
                      _text(_get(data, "technology"), "`technology`"), sums, files)


def _get(data: dict[str, Any], key: str) -> Any:
    if key not in data:
        raise ValueError(f"`{key}` is missing")
    return data[key]


def _object(value: Any, name: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise ValueError(f"{name} is not an object")
    return value


def _list(value: Any, name: str, item: Callable[[Any, str], Value]) -> list[Value]:
    if not isinstance(value, list):
        raise ValueError(f"{name} is not a list")
    return [item(each, name) for each in value]


def _text(value: Any, name: str) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{name} is not a text")
    return value


def _file_name(value: Any, name: str) -> str:
    text = _text(value, name)
    if not text or text in (".", "..") or "/" in text or "\\" in text or "\0" in text:
        raise ValueError(f"{name} has `{text}`, which is no file name")
    return text


def _number(value: Any, name: str) -> int:
    if type(value) is not int or value < 0:
        raise ValueError(f"{name} is not a number from 0 up")
    return value


def _address(value: Any, name: str) -> int:
    if _number(value, name) >= MOST:
        raise ValueError(f"{name} has {value}, and no address is that high")
    return int(value)


def _digits(value: Any, name: str) -> int:
    text = _text(value, name)
    if not text or text.strip("0123456789abcdef"):
        raise ValueError(f"{name} is not a hexadecimal number")
    return int(text, 16)


# ---------------------------------------------------------------- is this directory a build


def earlier_files(directory: Path, machine: str) -> frozenset[str] | None:
    """The names that an earlier build of this machine wrote into the directory; None when there is no such build.

    The list of files stands at the beginning of a manifest, so it is found in one that is cut off, too.
    """
    name = f"{machine}.json"
    try:
        text = (directory / name).read_bytes()[:1_000_000].decode("utf-8", "replace")
    except OSError:
        return None
    head = re.match(r'\{"format":"' + MANIFEST_FORMAT + r'",\s*"version":\d+,\s*"made_by":"[^"]*",\s*'
                    r'"files":(\[[^\[\]]*\]),\s*"machine":\s*\{"name":"' + re.escape(machine) + '"', text)
    try:
        return None if head is None else frozenset(_list(json.loads(head[1]), "`files`", _file_name)) | {name}
    except ValueError:
        return None
