"""The nearest known word, against a search that tries every single change."""

from hypothesis import given
from hypothesis import strategies as st

from ordain.text.spelling import changes, nearest

LETTERS = "abc"
WORDS = st.text(LETTERS, max_size=6)


def one_change(word: str) -> set[str]:
    """Every word one letter put in, taken out, replaced or exchanged with its neighbour away."""
    inside = {word[:i] + c + word[i:] for i in range(len(word) + 1) for c in LETTERS}
    outside = {word[:i] + word[i + 1:] for i in range(len(word))}
    other = {word[:i] + c + word[i + 1:] for i in range(len(word)) for c in LETTERS}
    swapped = {word[:i] + word[i + 1] + word[i] + word[i + 2:] for i in range(len(word) - 1)}
    return inside | outside | other | swapped | {word}


@given(WORDS, WORDS)
def test_one_change_is_counted_as_one(a: str, b: str) -> None:
    assert (changes(a, b) <= 1) == (b in one_change(a))
    assert changes(a, b) == changes(b, a) and (changes(a, b) == 0) == (a == b)


def test_the_nearest_word_is_near() -> None:
    known = ("routine", "instruction", "sequence", "map")
    assert nearest("rutine", known) == "routine" and nearest("instrution", known) == "instruction"
    assert nearest("mpa", known) == "map" and nearest("foo", known) is None and nearest("Map", known) == "map"
