"""Microinstructions with their fields resolved and their addresses still open."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal, NamedTuple

from ordain.language import tree
from ordain.machine.model import Meaning
from ordain.text.source import Span


class Target(NamedTuple):
    """What an address field is to hold. `labels`: one for "label", 2**k for "pair" and "table" (value bits low to
    high), none for "following". `rest`: what the address bits have to be that the field does not hold."""

    kind: Literal["label", "pair", "table", "following"]
    labels: tuple[str, ...]
    rest: tree.Rest
    span: Span


class Microinstruction(NamedTuple):
    """One word of a store.

    `bits`: the stored word (active low already turned) with zeros where `any` or an address is still open; `open`: the
    mask of bits that do not matter (`idle any`). `targets`: address fields still to be filled, by field name.
    `derived` fields are filled by placement after everything else. `labels`: unqualified names as written; `owner`: the
    routine's name or the instruction's title; labels are addressed as `owner.label` or, where unique, `label`.
    `text` is the source's own words without the label, `orders` the same item by item.
    `succeeds`: number of words after this one in the same body that must stand at the next addresses (1 when the
    hardware can step to address + 1 from here, 0 when it cannot).
    `fixed`: all the addresses where the word must stand (slots of an instruction and step store, `at`); empty: free.
    `goes_on`: (n, m) where control may go on to the word m further, as it was understood, while this one is obeyed and
    the one n further is on its way (0: this one itself; 1 with a register between address and store).
    """

    store: str
    bits: int
    open: int
    targets: tuple[tuple[str, Target], ...]
    labels: tuple[str, ...]
    owner: str
    text: str
    span: Span
    called_from: Span | None
    succeeds: int
    fixed: tuple[int, ...]
    orders: tuple[str, ...] = ()
    goes_on: tuple[tuple[int, int], ...] = ()


class Unnamed(NamedTuple):
    """Addresses of a store, none of which the word names, that it can lead to so many cycles later by way of one of its
    address fields. `unset`: that field, where the word sets no label in it, else ""."""

    store: str
    cycles: int
    addresses: frozenset[int]
    unset: str = ""


class Dispatch(NamedTuple):
    """What can come of the start of an instruction: so many cycles after `by` had a value, addresses of a store that
    are none of its words. `by`: a mapping store, whose address is that value; or the store itself, whose opcode is."""

    store: str
    by: str
    cycles: int
    wrong: Mapping[int, frozenset[int]]


class Body(NamedTuple):
    """The words of a routine or instruction in the order of the text: `first` up to, not including, `end`, indexes into
    `Program.words`. `align` and `same_page` in words, 0 when not asked; they are about the first word and
    the whole body."""

    name: str
    kind: Literal["routine", "instruction", "prologue"]
    store: str
    first: int
    end: int
    align: int
    same_page: int
    span: Span


class MapCell(NamedTuple):
    """One cell of a mapping store: at `address` stands the address of label `target`."""

    store: str
    address: int
    target: str
    span: Span


class OpcodeUse(NamedTuple):
    """Which instruction an opcode has. `title` is that of the body; `others` True where it came from `others`."""

    opcode: int
    title: str
    others: bool


class Program(NamedTuple):
    """`labels`: every way to name a word (`label`, `owner`, `owner.label`, instruction titles) -> index into `words`.
    `unused`: per store the word for cells where nothing was placed (its targets are still open, as those of any word;
    it has no labels and no place of its own), None where the erased cells show.
    `computed`: whole words of computed stores, by store and address.
    `following`: for words of instructions and prologues in a store addressed by instruction and step, the words that
    the text lets follow them.
    `counting`: per microprogrammed store the number of low address bits in which "the next address" is counted, where
    those are not all: words that must follow each other never cross a multiple of 2**counting.
    `transfers`: the clauses of words that are transfers, by their text.
    `names`: what people call each word (`naming`).
    `meanings`: what instructions are said to do, by title."""

    words: tuple[Microinstruction, ...]
    bodies: tuple[Body, ...]
    labels: dict[str, int]
    entries: tuple[MapCell, ...]
    opcodes: tuple[OpcodeUse, ...]
    unused: dict[str, Microinstruction | None]
    computed: dict[str, tuple[int, ...]]
    counting: dict[str, int]
    following: dict[int, tuple[int, ...]]
    transfers: Mapping[str, tree.Transfer] = MappingProxyType({})
    names: tuple[str, ...] = ()
    meanings: Mapping[str, Meaning] = MappingProxyType({})
