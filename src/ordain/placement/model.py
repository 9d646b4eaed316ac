"""Where every word stands."""

from typing import NamedTuple


class Placement(NamedTuple):
    """`addresses[i]`: the addresses of `Program.words[i]`, more than one where it was copied or fills several slots;
    the first is where its label stands. `words`: per store, address -> the final stored word, placed words only
    (targets, derived fields and `any` bits filled). `copies`: (word index, address, reason) for words that had to
    stand twice."""

    addresses: tuple[tuple[int, ...], ...]
    words: dict[str, dict[int, int]]
    copies: tuple[tuple[int, int, str], ...]
    unused: dict[str, int | None]


class Recorded(NamedTuple):
    """The last recorded build, as far as placement cares: per store, stable word key -> addresses, and address -> word.

    The key of a word is `owner` + "/" + position in its body, a body being known by its name."""

    addresses: dict[str, dict[str, tuple[int, ...]]]
    words: dict[str, dict[int, int]]
