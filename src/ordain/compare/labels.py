"""Which place of the new text is which of the old one: labels, routines and titles, as `at` and `in` name them."""

from collections.abc import Hashable
from difflib import SequenceMatcher

from ordain.rom.contents import Contents, Site


def pair_places(old: Contents, new: Contents, stores: dict[str, str]) -> dict[str, str]:
    """Labels, routines and titles that have gone -> those that have come, where rules may speak of them: at the same
    word of the same body, at the same addresses, or before the same words."""
    found: dict[str, str] = {}
    for ours, theirs in ((old.labels, new.labels), (old.routines, new.routines)):
        for look in (_by_word, _by_text, _by_bits, _by_orders):
            rows: list[dict[Hashable, list[str]]] = [{}, {}]
            for side, (contents, mine, others) in enumerate(((old, ours, theirs), (new, theirs, ours))):
                for name, (store, addresses) in mine.items():
                    if name in others or name in found or name in found.values():
                        continue
                    site = contents.sites.get(store, {}).get(min(addresses)) if addresses else None
                    if site is not None:
                        seen = (store if side else stores.get(store), "." in name, look(contents, site, addresses))
                        rows[side].setdefault(seen, []).append(name)
            pairs = [(names[0], rows[1][seen][0]) for seen, names in rows[0].items()
                     if len(names) == 1 and len(rows[1].get(seen, ())) == 1]
            found.update({name: other for name, other in pairs
                          if not _stands_elsewhere(old, new, _at(old, *ours[name]), _at(new, *theirs[other]))})
    return found


def _by_word(contents: Contents, site: Site, addresses: frozenset[int]) -> Hashable:
    return site.owner, site.word - min(body.word for body in _body(contents, site))


def _by_text(contents: Contents, site: Site, addresses: frozenset[int]) -> Hashable:
    """At the same addresses some other body may stand now."""
    return addresses, site.orders


def _by_bits(contents: Contents, site: Site, addresses: frozenset[int]) -> Hashable:
    """What an order names may have got another name, too."""
    return addresses, site.bits & ~site.open


def _by_orders(contents: Contents, site: Site, addresses: frozenset[int]) -> Hashable:
    return tuple(body.orders for body in _body(contents, site) if body.word >= site.word)


def moved_labels(old: Contents, new: Contents, stores: dict[str, str]) -> tuple[str, ...]:
    """Labels of one name that stand at another word, while the word that had it is still in its body, or that a routine
    has on one side. Routines and instructions begin where they begin; a word that was written anew keeps its label."""
    found: list[str] = []
    for name, (store, addresses) in old.labels.items():
        if name not in new.labels:
            continue
        now, others = new.labels[name]
        begins = (name in old.routines) + (name in new.routines)
        if stores.get(store) == now and (begins == 1 or (begins == 0 and _stands_elsewhere(
                old, new, _at(old, store, addresses), _at(new, now, others)))):
            found.append(name)
    return tuple(found)


def _stands_elsewhere(old: Contents, new: Contents, site: Site | None, its: Site | None) -> bool:
    """Whether a place is at another word, while the word at which it was is still in its body."""
    if site is None or its is None:
        return False
    ours, theirs = _body(old, site), _body(new, its._replace(owner=site.owner))
    same = [one.orders for one in ours] == [one.orders for one in theirs]
    kept = _kept_words(ours, theirs).get(site.word)
    return kept is not None and (its.owner, its.word) != (site.owner, kept) and (same or site.orders != its.orders)


def _at(contents: Contents, store: str, addresses: frozenset[int]) -> Site | None:
    """The word at a place, if it is known which word of the text that is."""
    site = contents.sites.get(store, {}).get(min(addresses)) if addresses else None
    return site if site is not None and site.word >= 0 else None


def _kept_words(ours: list[Site], theirs: list[Site]) -> dict[int, int]:
    """Words of one body, by their numbers -> the same words of the other."""
    blocks = SequenceMatcher(None, [one.orders for one in ours], [one.orders for one in theirs], False)
    return {ours[block.a + at].word: theirs[block.b + at].word
            for block in blocks.get_matching_blocks() for at in range(block.size)}


def _body(contents: Contents, site: Site) -> list[Site]:
    """The words of a site's routine or instruction, in the order of the text."""
    body = {other.word: other for other in contents.sites[site.store].values() if other.owner == site.owner}
    return [body[word] for word in sorted(body)]
