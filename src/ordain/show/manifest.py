"""The manifest of a build, `NAME.json`: what was built from what, chip by chip and word by word.

Its form is docs/manifest.schema.json. Numbers that may pass 53 bits are strings of hexadecimal digits. The text has one
line for each source, chip, instruction, label and word, so that two manifests can be compared with ordinary tools.
"""

import json
from collections.abc import Iterable, Sequence
from json.encoder import encode_basestring as quoted
from typing import Any, NamedTuple

from ordain import __version__
from ordain.language.tree import SourceFile
from ordain.machine.model import Store
from ordain.microprogram.model import Program
from ordain.placement.model import Placement
from ordain.rom.contents import MANIFEST_FORMAT, MANIFEST_VERSION, ChipRecord, Contents


class BuildData(NamedTuple):
    """All that the files for people and programs are made from. `keys`: for every word of the program the key under
    which it is recorded. `places`: store -> address -> `file:line` of the word's text."""

    contents: Contents
    program: Program
    placement: Placement
    sources: Sequence[SourceFile]
    chips: Sequence[ChipRecord]
    keys: dict[int, str]
    places: dict[str, dict[int, str]]


def build_data(contents: Contents, program: Program, placement: Placement, sources: Sequence[SourceFile],
               chips: Sequence[ChipRecord], keys: dict[int, str]) -> BuildData:
    """The same with the places worked out, once for all files."""
    places = {store: {address: f"{site.span.source.name}:{site.span.line}" for address, site in sites.items()
                      if site.span is not None} for store, sites in contents.sites.items()}
    return BuildData(contents, program, placement, sources, chips, keys, places)


def manifest_text(build: BuildData, files: Iterable[str]) -> str:
    """The manifest; `files` are the names of all files of the build, this one among them."""
    parts = []
    for key, value in _head(build, files).items():
        text = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
        if isinstance(value, list | dict):          # inside a string a quotation mark is written \", so this is in none
            for first in ("file", "name", "title"):
                text = text.replace(f'{{"{first}":', f'\n{{"{first}":')
        parts.append(f'"{key}":{text}')
    words = ",\n".join(f'{quoted(store)}:[{_words(build, store)}]' for store in build.contents.machine.stores)
    return "{" + ",\n".join(parts) + f',\n"words":{{{words}}}}}\n'


def _head(build: BuildData, files: Iterable[str]) -> dict[str, Any]:
    """All but the words, as data."""
    machine = build.contents.machine
    return {
        "format": MANIFEST_FORMAT,
        "version": MANIFEST_VERSION,
        "made_by": f"ordain {__version__}",
        "files": sorted(files),
        "machine": {"name": machine.name, "title": machine.title},
        "sources": [{"file": source.name, "sha256": source.sha256} for source in build.sources],
        "chips": [_chip(chip) for chip in build.chips],
        "stores": [_store(store, build) for store in machine.stores.values()],
        "instructions": _instructions(build),
        "labels": [{"name": name, "store": store, "addresses": sorted(addresses)}
                   for name, (store, addresses) in sorted(build.contents.labels.items())],
    }


def _chip(chip: ChipRecord) -> dict[str, Any]:
    sums = chip.sums
    data: dict[str, Any] = {
        "name": chip.name, "words": chip.words, "bits": chip.bits, "erased": chip.erased, "technology": chip.technology,
        "sha256": sums.sha256, "crc32": f"{sums.crc32:08x}", "sum8": f"{sums.sum8:02x}", "sum16": f"{sums.sum16:04x}",
        "sum32": f"{sums.sum32:08x}",
    }
    if sums.word_sum is not None:
        data["word_sum"] = f"{sums.word_sum:08x}"
    data["files"] = {file.format: file.name for file in chip.files}
    return data


def _store(store: Store, build: BuildData) -> dict[str, Any]:
    unused = build.placement.unused.get(store.name)
    return {
        "name": store.name, "words": store.words, "bits": store.bits, "address_bits": store.address_width,
        "holds": store.fill, "placed": len(build.placement.words.get(store.name, ())),
        "unused": None if unused is None else _hex(unused, store.bits),
    }


def _instructions(build: BuildData) -> list[dict[str, Any]]:
    """Every instruction once, in the order of the text, with its opcodes and where it begins."""
    opcodes: dict[str, list[int]] = {}
    for use in build.program.opcodes:
        opcodes.setdefault(use.title, []).append(use.opcode)
    found = []
    for body in build.program.bodies:
        if body.kind == "instruction":
            _, addresses = build.contents.labels.get(body.name, ("", frozenset()))
            found.append({"title": body.name, "opcodes": sorted(opcodes.get(body.name, ())), "store": body.store,
                          "starts": sorted(addresses), "words": body.end - body.first})
    return found


def _words(build: BuildData, store: str) -> str:
    """Every placed word by ascending address. `key` stands where a word of the microprogram does, `copy` says why it
    stands there again; cells of a mapping store name the word whose address they hold; computed words have no more than
    their value. Written directly: as data for `json` it would take three times as long."""
    bits = build.contents.machine.stores[store].bits
    digits = (bits + 3) // 4
    sites, places = build.contents.sites[store], build.places[store]
    copies = {(index, address): why for index, address, why in build.placement.copies}
    rows = []
    for address, word in sorted(build.placement.words.get(store, {}).items()):
        row = f'\n{{"at":{address},"word":"{word:0{digits}x}"'
        site = sites.get(address)
        if site is not None:
            if site.word >= 0:
                row += f',"key":{quoted(build.keys[site.word])},"owner":{quoted(site.owner)}'
                if (site.word, address) in copies:
                    row += f',"copy":{quoted(copies[site.word, address])}'
            if site.label:
                row += f',"label":{quoted(site.label)}'
            row += f',"orders":[{",".join(map(quoted, site.orders))}]'
            if site.open:
                row += f',"open":"{site.open:0{digits}x}"'
            if address in places:
                row += f',"place":{quoted(places[address])}'
        rows.append(row + "}")
    return ",".join(rows)


def _hex(value: int, bits: int) -> str:
    return f"{value:0{(bits + 3) // 4}x}"
