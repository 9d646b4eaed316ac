"""Which label of the new text is which of the old: by its word, then by its address, then by what follows it."""

import pytest

from ordain.compare.labels import moved_labels, pair_places
from ordain.rom.contents import Contents
from tests.compare.test_how_it_is_told import hoist
from tests.workshop import contents_of

STORES = {"control": "control", "entry": "entry"}
FIRST = "routine wait at 0\n        branch go\n"
LAST = 'instruction others "lower"\n        down, branch jump, target wait\n'


def text(*bodies: str) -> Contents:
    """Bodies as "NAME: LABEL> WORD / LABEL> WORD"; the label with its `>` may be left out."""
    lines = []
    for body in bodies:
        name, _, words = body.partition(": ")
        lines.append(f"routine {name}\n")
        for word in words.split(" / "):
            label, _, said = word.rpartition("> ")
            lines.append(f"  {label}: {said}\n" if label else f"        {said}\n")
    return contents_of(hoist()[0], FIRST + "".join(lines) + LAST)


HOME = "branch jump, target wait"


@pytest.mark.parametrize(("old", "new", "pairs"), [
    ((f"r at 4: a> up / {HOME}",), (f"r at 8: b> up / {HOME}", f"s at 4: c> down / {HOME}"),
     {"r.a": "r.b", "a": "b"}),                                         # at its word, whatever stands where it stood
    ((f"r at 4: up / a> {HOME}",), (f"r at 4: up / down / b> {HOME}",), {"r.a": "r.b", "a": "b"}),  # before the same
    ((f"r at 4: up / a> {HOME}",), (f"t at 4: up / b> {HOME}",), {"r": "t", "r.a": "t.b", "a": "b"}),
    ((f"r at 4: up / a> {HOME}",), (f"t at 6: up / b> {HOME}",), {"r": "t", "r.a": "t.b", "a": "b"}),
    ((f"r at 4: up / a> {HOME}",), (f"t at 6: down / b> up, {HOME}",), {}),
    ((f"r at 4: up / a> {HOME}",), (f"t at 6: up / b> {HOME}", f"u at 8: up / c> {HOME}"), {}),     # which of two?
    ((f"t at 6: up / b> {HOME}", f"u at 8: up / c> {HOME}"), (f"r at 4: up / a> {HOME}",), {}),
    # its word was written anew; words of other bodies count for nothing
    ((f"r at 4: a> up / {HOME}",), (f"r at 8: b> down / {HOME}",), {"r.a": "r.b", "a": "b"}),
    ((f"q at 9: up / {HOME}", f"r at 4: a> up / {HOME}"),
     (f"q at 9: up / up / {HOME}", f"r at 4: b> down / down / {HOME}"), {"r.a": "r.b", "a": "b"}),
    # what was found by its word is not looked for by its address
    ((f"r at 4: a> up / {HOME}",), (f"r at 8: b> up / {HOME}", f"s at 4: c> up / {HOME}"), {"r.a": "r.b", "a": "b"}),
    ((f"r at 4: a> up / {HOME}", f"q at 8: d> up / {HOME}"), (f"r at 8: b> up / {HOME}",), {"r.a": "r.b", "a": "b"}),
    ((f"r at 4: a> up / {HOME}",), (f"r at 8: b> down / {HOME}", f"s at 4: c> up / {HOME}"), {"r.a": "r.b", "a": "b"}),
    # at another word, while its own is still there; then the one at its own
    ((f"r at 4: up / a> down / {HOME}",), (f"r at 4: up / b> note bell / down / {HOME}",), {}),
    ((f"r at 4: up / a> down / {HOME}",), (f"r at 4: up / b> note bell / c> down / {HOME}",), {"r.a": "r.c", "a": "c"}),
    # at its address, where something else stands
    ((f"r at 4: up / a> {HOME}",), (f"t at 4: down / b> up, {HOME}",), {}),
    ((f"r at 4: up / a> {HOME}",), (f"t at 4: up / b> up, {HOME}",), {"r": "t"}),
    ((f"r at 4: up / a> {HOME}",), (f"t at 4: down / b> {HOME}",), {"r.a": "t.b", "a": "b"}),
    ((f"r at 4: up / a> {HOME}",), (f"r at 6: up / a> {HOME}",), {}),                               # they have not gone
])
def test_labels_that_have_gone_and_come(old: tuple[str, ...], new: tuple[str, ...], pairs: dict[str, str]) -> None:
    assert pair_places(text(*old), text(*new), STORES) == pairs


def test_a_store_of_another_name() -> None:
    old, new = text(f"r at 4: up / a> {HOME}"), text(f"t at 4: up / b> {HOME}")
    machine = hoist()[0].replace("store control 16", "store microwords 16")
    other = contents_of(machine, f"{FIRST}routine t at 4\n        up\n  b: {HOME}\n{LAST}")
    assert pair_places(old, other, {"control": "microwords"}) == pair_places(old, new, STORES) != {}
    assert pair_places(old, other, STORES) == {}


def test_labels_of_which_nothing_is_known() -> None:
    """Of words whose place in the text is not known, and labels that stand nowhere."""
    old, new = text(f"r at 4: up / a> down / {HOME}"), text(f"r at 4: up / down / a> {HOME}")
    blind = [each._replace(sites={store: {at: site._replace(word=-1) for at, site in sites.items()}
                                  for store, sites in each.sites.items()}) for each in (old, new)]
    for one, other in ((blind[0], blind[1]), (old, blind[1]), (blind[0], new)):
        assert moved_labels(one, other, STORES) == ()
    assert moved_labels(old, new, STORES) == ("r.a", "a")
    assert moved_labels(blind[0], text(f"r at 4: a> up / down / {HOME}"), STORES) == ()
    away = [each._replace(labels={**each.labels, "a": ("control", frozenset({8}))}) for each in blind]
    assert moved_labels(blind[0], away[1], STORES) == ()
    nowhere = [each._replace(labels={name: (store, frozenset[int]()) for name, (store, _) in each.labels.items()})
               for each in (old, text(f"r at 4: up / b> down / {HOME}"))]
    assert pair_places(nowhere[0], nowhere[1], STORES) == {} and moved_labels(nowhere[0], nowhere[0], STORES) == ()
    bare = [each._replace(sites={}) for each in (old, text(f"r at 4: up / b> down / {HOME}"))]
    assert pair_places(bare[0], bare[1], STORES) == {} and moved_labels(bare[0], bare[0], STORES) == ()


def test_labels_of_a_store_that_is_gone_are_gone() -> None:
    old, new = text(f"r at 4: up / a> {HOME}"), text(f"t at 4: up / b> {HOME}")
    assert pair_places(old, new, {"entry": "entry"}) == {}


@pytest.mark.parametrize(("old", "new", "moved"), [
    (f"r at 4: up / a> down / {HOME}", f"r at 4: up / down / a> {HOME}", ("r.a", "a")),
    (f"r at 4: up / a> down / {HOME}", f"r at 8: up / a> down / {HOME}", ()),
    (f"r at 4: up / a> down / {HOME}", f"r at 4: down, up / up / a> down / {HOME}", ()),      # its word moved with it
    (f"r at 4: up / a> down / {HOME}", f"r at 4: up / a> note bell / {HOME}", ()),           # its word was written anew
    (f"r at 4: up / a> down / {HOME}", f"r at 4: up / a> note bell / down / {HOME}", ("r.a", "a")),
    (f"r at 4: a> up / up / {HOME}", f"r at 4: up / a> up / {HOME}", ("r.a", "a")),          # which says as much
    (f"r at 4: a> up / {HOME}", f"r at 4: a> up / down / up / {HOME}", ()),                  # before it came two
    (f"r at 4: up / {HOME}", f"r at 4: down / up / {HOME}", ()),                             # a routine begins anew
    (f"r at 4: up / a> down, {HOME}", f"a at 4: up / {HOME}", ("a",)),
    (f"a at 4: up / {HOME}", f"r at 4: up / a> down, {HOME}", ("a",)),
])
def test_labels_that_stand_at_another_word(old: str, new: str, moved: tuple[str, ...]) -> None:
    before, after = text(old), text(new)
    assert sorted(moved_labels(before, after, STORES)) == sorted(moved)
    assert moved_labels(before, after, {"entry": "entry"}) == ()


def test_a_label_at_the_first_word_of_the_text() -> None:
    first, second = (contents_of(hoist()[0], f"routine wait at 0\n{words}{LAST}") for words in (
        "  a:    note bell\n        branch go\n", "        note bell\n  a:    branch go\n"))
    for old, new in ((first, second), (second, first)):
        assert moved_labels(old, new, STORES) == ("wait.a", "a")


def test_a_long_body_of_a_few_orders() -> None:
    """What is said often is a word of the body like any other."""
    made = text(f"r at 4: up / {HOME}")
    site = made.sites["control"][4]
    rows = {at: site._replace(address=at, word=at, orders=("up",) if at % 3 else ("down",)) for at in range(300)}
    first = {0: site._replace(address=0, word=0, orders=("note bell",))}
    later = {at + 1: row._replace(address=at + 1, word=at + 1) for at, row in rows.items()}
    old, same, other = (made._replace(sites={"control": each}, routines={}, labels={"a": ("control", frozenset({at}))})
                        for each, at in ((rows, 150), (first | later, 151), (first | later, 150)))
    assert moved_labels(old, same, STORES) == () and moved_labels(old, other, STORES) == ("a",)
