"""Words that must share a page, gathered into groups."""

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from ordain.placement.clusters import Units
from ordain.placement.demands import Bond


class PageGroup(NamedTuple):
    """Words, each with a single place, that must all stand in one page of 2**page words. `forced`: the page's number
    where a fixed word settles it. `split`: two fixed words (address, word) in different pages: nothing is possible."""

    page: int
    words: tuple[int, ...]
    forced: int | None
    split: tuple[tuple[int, int], tuple[int, int]] | None


class Pages(NamedTuple):
    """`groups`, the numbers of the groups of each word, and the bonds of words that stand in several places (`late`:
    checked when all of those are placed)."""

    groups: tuple[PageGroup, ...]
    of_word: dict[int, tuple[int, ...]]
    late: tuple[Bond, ...]


def group(bonds: Sequence[Bond], units: Units) -> Pages:
    """Bonds become groups as far as every word has one place only."""
    if not bonds:
        return Pages((), {}, ())
    bonded = {word for bond in bonds for word in bond.words}
    places: dict[int, list[int | None]] = {word: [] for word in bonded}
    for address, word in units.fixed.items():
        if word in bonded:
            places[word].append(address)
    for unit in units.units:
        for word in unit.words:
            if word in bonded:
                places[word].append(None)
    late = tuple([bond for bond in bonds if any(len(places[word]) != 1 for word in bond.words)])
    parents: dict[tuple[int, int], tuple[int, int]] = {}
    for bond in bonds:
        if all(len(places[word]) == 1 for word in bond.words):
            first = _root(parents, (bond.page, bond.words[0]))
            for word in bond.words:
                other = _root(parents, (bond.page, word))
                if other != first:
                    parents[other] = first
    gathered: dict[tuple[int, int], list[int]] = {}
    for key in list(parents):
        gathered.setdefault(_root(parents, key), []).append(key[1])
    groups: list[PageGroup] = []
    of_word: dict[int, tuple[int, ...]] = {}
    for (page, _), words in gathered.items():
        for word in words:
            of_word[word] = (*of_word.get(word, ()), len(groups))
        groups.append(_group(page, sorted(words), places))
    return Pages(tuple(groups), of_word, late)


def _root(parents: dict[tuple[int, int], tuple[int, int]], key: tuple[int, int]) -> tuple[int, int]:
    """The representative of a word at one page size; paths are halved on the way."""
    while parents.setdefault(key, key) != key:
        parents[key] = parents[parents[key]]
        key = parents[key]
    return key


def _group(page: int, words: list[int], places: Mapping[int, list[int | None]]) -> PageGroup:
    settled = [(address, word) for word in words for address in places[word] if address is not None]
    split = next((other for other in settled if other[0] >> page != settled[0][0] >> page), None)
    return PageGroup(page, tuple(words), settled[0][0] >> page if settled else None,
                     (settled[0], split) if split else None)


def kept(bond: Bond, places: Mapping[int, Iterable[int]]) -> bool:
    """Whether a bond holds, every word standing at the given addresses."""
    if bond.each:
        source, target = bond.words
        suiting = {address >> bond.page for address in places[target] if not address & bond.zeros}
        return all(address >> bond.page in suiting for address in places[source])
    pages = [{address >> bond.page for address in places[word]} for word in bond.words]
    return bool(set.intersection(*pages))
