"""Guesses about what the surroundings do while an instruction runs, and the prover's word on each of them."""

from collections.abc import Callable, Iterable
from typing import TypeVar

from ordain.machine.expression import Node
from ordain.meaning.following import Following, Guess, Key
from ordain.prover.model import Property, Verdicts
from ordain.rom.contents import Contents

Decide = Callable[[tuple[Property, ...]], Verdicts]
Result = TypeVar("Result")


def under_guesses(contents: Contents, decide: Decide, titles: Iterable[str],
                  work: Callable[[Following, str], Result]) -> tuple[dict[str, Result], frozenset[str], Following]:
    """What `work` makes of each instruction under guesses that are proved; one that does not hold is not made again.
    And the instructions of which that is not known, since the prover did not come to an end."""
    refused: frozenset[Guess] = frozenset()
    unproved: set[Guess] = set()
    held: set[Guess] = set()
    found: dict[str, Result] = {}
    made: dict[str, frozenset[Guess]] = {}
    waiting = list(titles)
    while True:
        following = Following(contents, refused)
        for title in waiting:
            following.visited.clear()
            found[title] = work(following, title)
            made[title] = frozenset(following.guesses)
        asked = list(dict.fromkeys(guess for title in waiting for guess in made[title]
                                   if guess not in held and guess not in unproved))
        if asked:
            holding, wrong, unknown = _asked(following, decide, asked)
            held |= holding
            unproved |= unknown
            refused |= wrong
        waiting = [title for title in waiting if made[title] & refused]
        if not waiting:
            return found, frozenset(title for title in found if made[title] & unproved), following


def _asked(following: Following, decide: Decide, guesses: list[Guess]) -> tuple[set[Guess], set[Guess], set[Guess]]:
    """Which guesses hold, which do not, and of which it is not known: by condition first, then one by one."""
    groups: dict[Node, list[Guess]] = {}
    for guess in guesses:
        groups.setdefault(guess.when, []).append(guess)
    verdicts = decide(tuple(_property(following, when, [one.key for one in group]) for when, group in groups.items()))
    held: set[Guess] = set()
    rest: list[Guess] = []
    for verdict, group in zip(verdicts.verdicts, groups.values()):
        if verdict.outcome == "proved":
            held.update(group)
        else:
            rest += group
    if not rest:
        return held, set(), set()
    alone = decide(tuple(_property(following, one.when, [one.key]) for one in rest)).verdicts
    held |= {one for one, verdict in zip(rest, alone) if verdict.outcome == "proved"}
    wrong = {one for one, verdict in zip(rest, alone) if verdict.outcome == "broken"}
    return held, wrong, set(rest) - held - wrong


def _property(following: Following, when: Node, keys: list[Key]) -> Property:
    """That the condition never holds in cycles with these keys."""
    terms = following.terms
    lines: list[Node] = [terms.leaf("address", store.name, store.address_width) for store in following.stores]
    lines += [] if following.phase is None else [following.phase]
    if len(lines) == 1:
        there = terms.among(lines[0], frozenset(key[0] for key in keys))
    else:
        there = terms.or_(terms.and_(terms.among(line, frozenset((part,))) for line, part in zip(lines, key))
                          for key in keys)
    return Property("meaning", "what instructions take for granted", "bad", terms.and_((there, when)))
