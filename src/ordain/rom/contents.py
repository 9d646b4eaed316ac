"""What the chips hold, and whose words those are: the only bridge from the compiler to the prover."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from ordain.machine.model import Machine, Meaning
from ordain.text.source import Span

MANIFEST_FORMAT = "ordain build"
MANIFEST_VERSION = 1
"""By these a manifest is known; the version rises when an old reader could misunderstand a new manifest."""


class Site(NamedTuple):
    """One address of a store in which a word was placed, for showing it to people.

    `label` is "" where none stands there; `owner` the routine or instruction title; `text` the source's own words;
    `orders` the clauses one by one. `bits`: the word as it was compiled, whatever a chip with a fault gives back
    (`Contents.words`). `open`: the mask of its bits that no order of the word set and whose field is `idle any`: they
    may differ from build to build and mean nothing. `word`: the place of the microinstruction in the order of the text,
    the same at every address where a copy of it stands; -1 where that is not known. `following`: in a store addressed
    by instruction and step, the words (by the same numbers) that the text lets come after this one; None for words of
    routines and of other stores. `name`: what people call the word, the same in every command (`microprogram.naming`);
    "" in a mapping store. `strays`: (store, cycles, addresses, field) where an address that
    the word holds could, with what the hardware puts to it, lead so many cycles later to words that this one does not
    name; the field where the word sets no label in it, else ""."""

    store: str
    address: int
    label: str
    owner: str
    text: str
    orders: tuple[str, ...]
    span: Span | None
    bits: int
    open: int = 0
    word: int = -1
    following: tuple[int, ...] | None = None
    name: str = ""
    strays: tuple[tuple[str, int, frozenset[int], str], ...] = ()


class Contents(NamedTuple):
    """`words[store][address]` for every address 0 .. 2**address_width - 1 of the store, as it would be read from burned
    chips (unused words and erased cells alike). `sites[store][address]`: placed words only.
    `labels`: everything `at` can name -> (store, addresses); `routines`: everything `in` can name ->
    (store, addresses). `meanings`: what instructions are said to do, by title. `dispatches`: (store, by, cycles, wrong)
    where the start of an instruction could lead so many cycles later to words that are not its own; `by`: the mapping
    store that has it, or the store itself, which says where its instructions begin; `wrong`: such addresses by the
    address of that mapping store, or by opcode."""

    machine: Machine
    words: dict[str, tuple[int, ...]]
    sites: dict[str, dict[int, Site]]
    labels: dict[str, tuple[str, frozenset[int]]]
    routines: dict[str, tuple[str, frozenset[int]]]
    meanings: Mapping[str, Meaning] = MappingProxyType({})
    dispatches: tuple[tuple[str, str, int, Mapping[int, frozenset[int]]], ...] = ()


def word_name(contents: Contents, store: str, address: int) -> str:
    """What people call one word; "" where nothing was placed."""
    site = contents.sites.get(store, {}).get(address)
    return site.name if site is not None else ""


class Stored(NamedTuple):
    """What is to stand in one store: `words` by address, placed ones only; `unused` is the word of every other address,
    None where the erased cells show."""

    words: Mapping[int, int]
    unused: int | None


class Sums(NamedTuple):
    """`sha256` in hexadecimal; `sum8`, `sum16`, `sum32`: of all bytes; `word_sum`: of all 16-bit words, to 32 bits,
    None for devices of up to 8 bits."""

    sha256: str
    crc32: int
    sum8: int
    sum16: int
    sum32: int
    word_sum: int | None


class ImageFile(NamedTuple):
    """A file that a build writes for a chip: its format (`bin`, `hex`, `s19`, `mem`) and its name."""

    format: str
    name: str


class ChipRecord(NamedTuple):
    """What a build says of one chip."""

    name: str
    words: int
    bits: int
    erased: int
    technology: str
    sums: Sums
    files: tuple[ImageFile, ...]
