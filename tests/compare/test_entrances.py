"""Which entrances are paired, step by step: by what follows them, by titles, by addresses, by being the only ones."""

from ordain.compare.entrances import Entrance, Groups, _addresses, _matched, _parted, _released, _titles
from ordain.compare.graph import End
from ordain.compare.roots import Root


def place(title: str, node: int, at: int = -1) -> Root:
    return Root("wired", "", -1, 0, title, node, (node if at < 0 else at,))


def entrance(*roots: Root) -> Entrance:
    return Entrance(tuple(End("wired", f"to {root.node}", ()) for root in roots), roots)


def led(*entrances: Entrance) -> dict[int, list[End]]:
    return {root.node: [end] for each in entrances for end, root in zip(each.ends, each.roots)}


def titles(found: list[tuple[Entrance, Entrance]]) -> list[tuple[list[str], list[str]]]:
    return [([root.title for root in ours.roots], [root.title for root in theirs.roots]) for ours, theirs in found]


def test_what_is_in_one_block_is_paired_whatever_it_is_called() -> None:
    ours: Groups = {1: entrance(place("a", 1)), 2: entrance(place("b", 2))}
    theirs: Groups = {2: entrance(place("a", 7)), 1: entrance(place("b", 8))}
    pairs, left = _matched(ours, theirs, (_titles, _addresses))
    assert titles(pairs) == [(["a"], ["b"]), (["b"], ["a"])] and left == ([], [])


def test_what_is_left_is_paired_by_title_then_by_address_then_as_the_only_one() -> None:
    ours: Groups = {1: entrance(place("a", 1)), 2: entrance(place("b", 2)), 3: entrance(place("c", 3))}
    theirs: Groups = {4: entrance(place("d", 5)), 5: entrance(place("e", 2)), 6: entrance(place("a", 6))}
    pairs, left = _matched(ours, theirs, (_titles, _addresses))
    assert titles(pairs) == [(["a"], ["a"]), (["b"], ["e"]), (["c"], ["d"])] and left == ([], [])
    theirs[7] = entrance(place("f", 9))
    pairs, left = _matched(ours, theirs, (_titles, _addresses))
    assert titles(pairs) == [(["a"], ["a"]), (["b"], ["e"])]
    assert [[root.title for each in side for root in each.roots] for side in left] == [["c"], ["d", "f"]]


def test_what_looks_like_two_others_is_paired_with_neither() -> None:
    one, two = entrance(place("a", 1)), entrance(place("a", 2))
    for ours, theirs in (([one, two], [one]), ([one], [one, two])):
        pairs, left = _matched({("old", number): each for number, each in enumerate(ours)},
                               {("new", number): each for number, each in enumerate(theirs)}, (_titles,))
        assert pairs == [] and left == (ours, theirs)


def test_titles_and_addresses_are_those_of_all_places() -> None:
    both = entrance(place("b", 3), place("a", 2), place("b", 1, 3))
    assert (_titles(both), _addresses(both)) == (("a", "b"), ((2,), (3,)))


def test_places_that_stand_alone_on_the_other_side_leave_the_pair() -> None:
    """`b` does something else now, `d` has done until now; `x` is on one side alone and stays where it is."""
    ours, theirs = (entrance(*(place(title, node) for node, title in enumerate(names, base)))
                    for names, base in (("abx", 0), ("acd", 10)))
    elsewhere = ([entrance(place("d", 20))], [entrance(place("b", 21))])
    sides = (led(ours, *elsewhere[0]), led(theirs, *elsewhere[1]))
    left = (list(elsewhere[0]), list(elsewhere[1]))
    pair = _released((ours, theirs), left, sides)
    assert titles([pair]) == [(["a", "x"], ["a", "c"])]
    assert [end.store for end in pair[0].ends] == ["to 0", "to 2"] and [end.store for end in pair[1].ends] == [
        "to 10", "to 11"]
    assert [[root.title for each in side for root in each.roots] for side in left] == [["d", "b"], ["b", "d"]]
    again = _parted(left, sides)
    assert titles(again) == [(["d"], ["d"]), (["b"], ["b"])] and left == ([], [])
    assert [end.store for end in again[0][0].ends] == ["to 20"] and [end.store for end in again[0][1].ends] == ["to 12"]


def test_a_pair_of_which_all_have_other_names_stays_whole() -> None:
    ours, theirs = entrance(place("a", 1)), entrance(place("b", 2))
    left = ([entrance(place("b", 3))], [entrance(place("a", 4))])
    before = (list(left[0]), list(left[1]))
    assert _released((ours, theirs), left, (led(ours, *left[0]), led(theirs, *left[1]))) == (ours, theirs)
    assert left == before


def test_parts_with_titles_in_common_are_taken_out_of_what_is_left() -> None:
    """`a` and `b` of one place are `a` of one and `b` of another; `c` is at two places of one side."""
    ours = [entrance(place("a", 1), place("b", 2), place("x", 3)), entrance(place("c", 4))]
    theirs = [entrance(place("a", 11)), entrance(place("b", 12), place("c", 13)), entrance(place("c", 14))]
    left = (list(ours), list(theirs))
    found = _parted(left, (led(*ours), led(*theirs)))
    assert titles(found) == [(["a"], ["a"]), (["b"], ["b"])]
    assert [[root.title for root in each.roots] for each in left[0]] == [["x"], ["c"]]
    assert [[root.title for root in each.roots] for each in left[1]] == [["c"], ["c"]]
    assert [end.store for end in left[1][0].ends] == ["to 13"]
