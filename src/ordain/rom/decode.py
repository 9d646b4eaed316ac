"""Chip images, or what was read from real chips, back to words and microinstructions, and how they differ from a build.

Chips that were not read are taken as the build has them; what was assumed so is said.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from ordain.machine.model import Chip, Machine, Store
from ordain.rom.contents import Contents, Stored
from ordain.rom.formats import device_of, read_image, recognise
from ordain.rom.readback import Conflict, banks_of, device_cells, unpack
from ordain.rom.suspect import Suspicion, device_words, suspicions
from ordain.rom.uncompile import StoreVocabulary, read_word, vocabulary
from ordain.text.findings import Finding, error
from ordain.text.reading import read_bytes


class PinDifference(NamedTuple):
    """Where a word reads other than built: at device address `cell` of `chip` data line `pin` reads `read`."""

    chip: str
    cell: int
    pin: int
    read: int


class DecodedWord(NamedTuple):
    """One address of a store as it was read. `orders`: the microinstruction in the source's symbols; `label`: what the
    build calls the place. `built`: the word of the build, None where it placed none, `built_text` its source. `pins`:
    where the two differ; a word that differs only in bits that mean nothing does not. `values`: (field, value in its
    asserted sense). `explained`: all that differs is on chips with a whole-chip fault, which explains it."""

    store: str
    address: int
    word: int
    orders: tuple[str, ...]
    label: str
    built: int | None
    built_text: str
    pins: tuple[PinDifference, ...]
    values: tuple[tuple[str, int], ...]
    explained: bool = False


class Stray(NamedTuple):
    """Cells of `chip` that differ from its image and are no part of a word that was placed: `unused` of them were to
    get the word of unused places, `others` are free cells or lines that carry no bit. `first`: where the first is."""

    chip: str
    unused: int
    others: int
    first: int


class Decoded(NamedTuple):
    """`words`: the placed words of the build, and others that do not read as unused, store by store by address.
    `assumed`: chips that were not read. `conflicts`: copies of a word within what was read that disagree.
    `suspicions`: what may have happened to whole chips, chip by chip, the best guess of each first. `strays`: what
    differs where no word was placed."""

    words: tuple[DecodedWord, ...]
    assumed: tuple[str, ...]
    conflicts: tuple[Conflict, ...]
    suspicions: tuple[Suspicion, ...]
    strays: tuple[Stray, ...] = ()

    @property
    def differing(self) -> tuple[DecodedWord, ...]:
        """The placed words that are not as built."""
        return tuple(word for word in self.words if word.pins and word.built is not None)

    @property
    def guesses(self) -> tuple[Suspicion, ...]:
        """The best one of each chip."""
        best: dict[str, Suspicion] = {}
        for suspicion in self.suspicions:
            best.setdefault(suspicion.chip, suspicion)
        return tuple(best.values())


# ---------------------------------------------------------------- files


def read_dumps(named: Sequence[tuple[str, Path]], machine: Machine) -> tuple[dict[str, bytes], list[Finding]]:
    """The images of the given files by chip. `named`: (chip, file); with chip "" the file's name says which it is."""
    dumps: dict[str, bytes] = {}
    findings: list[Finding] = []
    by_name = {name.casefold(): chip for name, chip in machine.chips.items()}
    for given, path in named:
        chip = by_name.get((given or path.stem).casefold())
        if chip is None and not path.exists():
            findings += read_bytes(path, str(path))[1]
        elif chip is None:
            findings.append(error(
                "unknown-chip", f"`{given or path.name}` is no chip of `{machine.name}`", None,
                help=f"its chips are {', '.join(machine.chips)}; say which with CHIP={path.name}"))
        elif chip.name in dumps:
            findings.append(error("chip-given-twice", f"chip `{chip.name}` is given twice, now by `{path.name}`", None,
                                  help="leave one of the two files out"))
        else:
            image, more = read_dump(path, chip)
            findings += more
            if image is not None:
                dumps[chip.name] = image
    return dumps, findings


def read_dump(path: Path, chip: Chip) -> tuple[bytes | None, list[Finding]]:
    """One file: raw, Intel HEX, S-records or `$readmemh` text, told apart by content. Bits that the device lacks are
    dropped: programmers fill them differently."""
    content, findings = read_bytes(path, path.name)
    if content is None:
        return None, findings
    device = device_of(chip)
    image, findings = read_image(recognise(content, path.name, device.size), content, path.name, device)
    if image is None or not chip.bits % 8:
        return image, findings
    width = (chip.bits + 7) // 8
    return b"".join([word.to_bytes(width, "little") for word in device_words(image, chip)]), findings


# ---------------------------------------------------------------- words


def decode(contents: Contents, stored: Mapping[str, Stored], images: Mapping[str, bytes],
           dumps: Mapping[str, bytes]) -> Decoded:
    """What the chips hold when `dumps` stand in place of the build's `images`."""
    machine = contents.machine
    read = unpack(machine, {**images, **dumps})
    words: list[DecodedWord] = []
    touched = {bank.store for name in dumps for bank in machine.chips[name].banks}
    for store in machine.stores.values():
        if store.name in touched:
            words += _store_words(contents, store, stored[store.name], read.words[store.name], dumps)
    # Erased cells of unlike devices disagree in the build, too.
    as_built = frozenset(unpack(machine, images).conflicts if read.conflicts else ())
    conflicts = tuple(conflict for conflict in read.conflicts if conflict not in as_built)
    suspected = tuple(suspicions(machine, stored, images, dumps))
    whole = {suspicion.chip for suspicion in suspected}
    return Decoded(tuple([word._replace(explained=bool(word.pins) and all(pin.chip in whole for pin in word.pins))
                          for word in words]),
                   tuple(name for name in machine.chips if name not in dumps), conflicts, suspected,
                   tuple([stray for name, dump in dumps.items()
                          if (stray := _strays(machine, machine.chips[name], stored, images[name], dump)) is not None]))


def _strays(machine: Machine, chip: Chip, stored: Mapping[str, Stored], image: bytes, dump: bytes) -> Stray | None:
    """What of a chip differs that is no part of a placed word; copies count too."""
    built, seen = device_words(image, chip), device_words(dump, chip)
    if built == seen:
        return None
    meant: dict[int, int] = {}                          # cell -> the lines that carry bits of placed words
    filled: dict[int, int] = {}                         # the same for words of unused places
    for bank in chip.banks:
        lines = sum(1 << line for line, pin in enumerate(reversed(bank.pins)) if pin.bit is not None)
        offsets, copies = device_cells(machine.stores[bank.store].address_width, bank.address)
        words, unused = stored[bank.store].words, stored[bank.store].unused
        for address in range(len(offsets)) if unused is not None else words:
            of = meant if address in words else filled
            for copy in copies:
                of[offsets[address] + copy] = of.get(offsets[address] + copy, 0) | lines
    fills, others, first = 0, 0, -1
    for cell, (want, read) in enumerate(zip(built, seen)):
        wrong = (want ^ read) & ~meant.get(cell, 0)
        if wrong:
            first = cell if first < 0 else first
            if wrong & filled.get(cell, 0):
                fills += 1
            else:
                others += 1
    return Stray(chip.name, fills, others, first) if fills or others else None


def _store_words(contents: Contents, store: Store, stored: Stored, read: Sequence[int],
                 dumps: Mapping[str, bytes]) -> list[DecodedWord]:
    every = {name: _labels(contents, name) for name in contents.machine.stores}
    labels = every[store.name]
    as_built = contents.words[store.name]
    sites = contents.sites[store.name]

    def label_at(of: str, address: int, at: int) -> str:
        """A label of the same routine by itself, others in full; in quotes where it is no plain name."""
        there, here = contents.sites[of].get(address), sites.get(at)
        if there is not None and here is not None and there.label and (of, there.owner) == (store.name, here.owner):
            return there.label
        name = every[of].get(address, "")
        return name if name.replace(".", "_").isidentifier() else f'"{name}"' if name else ""

    known = vocabulary(contents.machine, store.name, label_at, contents.labels)
    pins = _pins(contents.machine, store, dumps)
    found = []
    for address, word in enumerate(read):
        placed = address in stored.words
        if not placed and word == as_built[address]:
            continue
        site = sites.get(address)
        means_nothing = site.open if site is not None and not (word ^ as_built[address]) & ~site.open else 0
        wrong = (word ^ as_built[address]) & ~means_nothing
        found.append(DecodedWord(
            store.name, address, word, _orders(contents, store, word, address, known, means_nothing),
            labels.get(address, ""), stored.words.get(address), site.text if site is not None else "",
            tuple(PinDifference(chip, cells[address], pin, (word >> bit & 1) ^ inverted)
                  for chip, cells, pin, bit, inverted in pins if wrong >> bit & 1),
            tuple((field.name, field.read(word)) for field in known.fields)))
    return found


def _orders(contents: Contents, store: Store, word: int, address: int, known: StoreVocabulary,
            means_nothing: int) -> tuple[str, ...]:
    """Microinstructions in symbols; in a mapping store the name of the word at the address that it holds."""
    if store.fill == "microprogram":
        return tuple(read_word(word, address, known, means_nothing))
    if store.fill == "computed":
        return ()
    names = sorted(name for name, (_, addresses) in contents.labels.items() if word in addresses)
    wanted = contents.sites[store.name].get(address)
    return (wanted.text if wanted is not None and wanted.text in names else names[0] if names else f"0x{word:X}",)


def _labels(contents: Contents, store: str) -> dict[int, str]:
    """A name for every address that has one: plain names before titles, then the shortest."""
    names: dict[int, str] = {}
    for name, (of, addresses) in sorted(contents.labels.items(), key=lambda item: (
            not item[0].replace(".", "_").isidentifier(), len(item[0]), item[0])):
        if of == store:
            for address in addresses:
                names.setdefault(address, name)
    return names


def _pins(machine: Machine, store: Store, dumps: Mapping[str, bytes]) -> list[tuple[str, list[int], int, int, int]]:
    """(chip, device address by store address, data line, bit of the word, inverted) of every pin of the chips that were
    read."""
    found = []
    for chip, bank in banks_of(machine, store.name):
        if chip.name in dumps:
            cells, _ = device_cells(store.address_width, bank.address)
            for line, pin in enumerate(reversed(bank.pins)):
                if pin.bit is not None and not bank.repeats:
                    found.append((chip.name, cells, line, pin.bit, int(pin.inverted)))
    return found
