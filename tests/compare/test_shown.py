"""What a store shows at an address of which some lines are known: word by word, against the words themselves."""

from itertools import product
from random import Random

import pytest

from ordain.compare import shown
from ordain.compare.equal_terms import EqualTerms
from ordain.compare.shown import Numbers, Shown, read_alike
from ordain.compare.side import Side, make_side
from ordain.logic.diagrams import Functions
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Leaf, Node, Terms
from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.test_effects import CELLAR, cellar
from tests.compare.test_rare_sequencers import SKIFF

LINES = 6


def contents_with(words: list[int]) -> Contents:
    return burned(resolved(SKIFF.replace("SENSE", ", active low")), {0: Word("fetch", {"go": "dispatch"})},
                  tables={"decode": dict(enumerate(words))})


def showing(side: Side, terms: Terms, mark: str = "here", alike: bool = False, numbers: Numbers | None = None,
            equal_terms: EqualTerms | None = None) -> Shown:
    return Shown(side, terms, equal_terms or EqualTerms(terms, Functions(())), frozenset(("decode",) if alike else ()),
                 mark, {} if numbers is None else numbers)


def leaves_of(terms: Terms) -> dict[str, Leaf]:
    made = {name: terms.leaf(kind, name, width) for kind, name, width in (
        ("word", "decode", 6), ("field", "begin", 4), ("field", "quiet", 1))}
    return {name: leaf for name, leaf in made.items() if type(leaf) is Leaf}


def of_word(name: str, word: int) -> int:
    """By docs/language.md: `begin`, active low, left of `quiet`."""
    return {"decode": word, "begin": word >> 1 & 15 ^ 15, "quiet": word & 1}[name]


@pytest.mark.parametrize("alike", [False, True])
@pytest.mark.parametrize("seed", range(8))
def test_every_word_where_it_stands(seed: int, alike: bool) -> None:
    """Lines by chance: tied, turned, the same one twice."""
    rng, terms = Random(seed), Terms()
    words = [rng.getrandbits(6) for _ in range(1 << LINES)]
    side = make_side(contents_with(words), terms)
    found = showing(side, terms, alike=alike)
    inputs: list[Node] = [terms.leaf("input", f"i{number}", 1) for number in range(4)]
    choices = [*inputs, *[terms.not_(line) for line in inputs], terms.const(0, 1), terms.const(1, 1)]
    lines = [rng.choice(choices) for _ in range(LINES)]
    address = terms.join(lines)
    for name, leaf in leaves_of(terms).items():
        term = found.at(leaf, address)
        assert found.at(leaf, address) is term
        for levels in product((0, 1), repeat=4):
            values = dict(zip(inputs, levels))
            assert evaluate(term, values) == of_word(name, words[evaluate(address, values)]), (name, levels)


def test_other_words_in_the_store() -> None:
    terms = Terms()
    side = make_side(contents_with([0] * 64), terms)
    leaf, at = leaves_of(terms)["quiet"], terms.const(5, LINES)
    first = showing(side, terms, alike=True)
    assert first.at(leaf, at) is terms.const(0, 1)
    other = first.holding(make_side(contents_with([1] * 64), terms).contents, "decode")
    assert (other.at(leaf, at), first.at(leaf, at)) == (terms.const(1, 1), terms.const(0, 1))


def test_beyond_the_limits_only_one_address_shows_one_thing(monkeypatch: pytest.MonkeyPatch) -> None:
    """A store that reads alike on both sides shows equal words at equal addresses; any other nothing that is known."""
    terms = Terms()
    equal_terms, numbers = EqualTerms(terms, Functions(())), Numbers()
    side = make_side(contents_with(list(range(64))), terms)
    leaf = leaves_of(terms)["begin"]
    a, b = terms.leaf("input", "a", LINES), terms.leaf("input", "b", LINES)
    again = terms.sub(terms.add(a, b), b)                                               # another word for `a`
    for alike, limit in ((True, "WRITTEN_OUT"), (False, "WIDEST_TABLE")):
        ours, theirs = (showing(side, terms, mark, alike, numbers, equal_terms) for mark in ("before", "after"))
        monkeypatch.setattr(shown, limit, LINES)
        written = ours.at(leaf, a)
        assert written is theirs.at(leaf, a) and type(written) is not Leaf
        monkeypatch.setattr(shown, limit, LINES - 1)
        ours, theirs = (showing(side, terms, mark, alike, numbers, equal_terms) for mark in ("before", "after"))
        assert type(ours.at(leaf, a)) is Leaf and ours.at(leaf, a).width == leaf.width
        assert (ours.at(leaf, a) is theirs.at(leaf, a)) == (ours.at(leaf, a) is theirs.at(leaf, again)) == alike
        assert ours.at(leaf, a) is not theirs.at(leaf, b)
        assert ours.at(leaf, terms.const(3, LINES)) is terms.const(of_word("begin", 3), 4)


GAUGE = "field mark 2 bits\n    low  0 idle\n    full 3"


@pytest.mark.parametrize(("edits", "other_words", "same"), [
    ((), False, True), ((), True, False), (((GAUGE, "field mark 1 bit\nfield half 1 bit"),), False, False),
    (((GAUGE, GAUGE.replace("bits", "bits, active low")),), False, False),
    (((GAUGE, GAUGE.replace("mark", "sign")),), False, False), ((("store gauge", "store meter"),), False, False)])
def test_stores_that_read_alike_on_both_sides(
        edits: tuple[tuple[str, str], ...], other_words: bool, same: bool) -> None:
    """Other words, other fields or levels for the same words, and a store that one side has not got, are unlike."""
    terms, old = Terms(), cellar()
    text = CELLAR
    for before, after in edits:
        assert text.count(before) == 1
        text = text.replace(before, after)
    words = old.words if "meter" not in text else {
        "meter" if name == "gauge" else name: row for name, row in old.words.items()}
    new = Contents(resolved(text), words, {}, {}, {})
    if other_words:
        new = new._replace(words={**words, "gauge": (3, 0, 0, 0)})
    one, two = make_side(old, terms), make_side(new, terms)
    for found in (read_alike(one, two), read_alike(two, one)):
        assert found == ({"press", "gauge"} if same else {"press"})
