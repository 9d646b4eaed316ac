"""All meanings of a machine held against its words, with what has to be asked of the prover on the way."""

from collections.abc import Callable, Iterable

from ordain.checks.check import Row
from ordain.machine.expression import Leaf, Node
from ordain.machine.wording import number
from ordain.meaning.follow import Following, Guess, Key
from ordain.meaning.proof import Difference, Outcome, outcome
from ordain.prover.model import Property, Verdicts
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, Place, error

NAME = "meaning"
MOST_SHOWN = 8
"""So many values that matter are shown, at most."""

Decide = Callable[[tuple[Property, ...]], Verdicts]


def prove_meanings(contents: Contents, decide: Decide) -> tuple[list[Row], list[Finding]]:
    """A row for each instruction that is said to do something, in their order, and the findings."""
    following, found = settled(contents, decide, contents.meanings)
    rows, findings = [], []
    for title, meaning in contents.meanings.items():
        one = found[title]
        if one.difference is not None:
            findings.append(_finding(following, title, one.difference))
        state = "broken" if one.difference is not None else "undecided" if one.why else "proved"
        paths = "1 path" if one.paths == 1 else f"{one.paths} paths"
        note = f"not decided, because {one.why}" if one.why else "" if one.way is None else \
            f"for all values, by {one.way}, {paths}, up to {one.cycles} cycles"
        rows.append(Row(NAME, title, state, 0, 0, None, 0, None, note, meaning.span))  # type: ignore[arg-type]
    return rows, findings


def settled(contents: Contents, decide: Decide,
            titles: Iterable[str]) -> tuple[Following, dict[str, Outcome]]:
    """The outcome for each instruction under guesses that are proved. A guess that does not hold is not made again."""
    refused: frozenset[Guess] = frozenset()
    unproved: frozenset[Guess] = frozenset()
    held: set[Guess] = set()
    found: dict[str, Outcome] = {}
    waiting = list(titles)
    while True:
        following = Following(contents, refused)
        for title in waiting:
            found[title] = outcome(following, title, contents.meanings[title])
        open_ = [guess for guess in following.guesses if guess not in held and guess not in unproved]
        if not open_:
            break
        holding, wrong, unknown = _asked(contents, decide, open_)
        held |= holding
        unproved |= unknown
        if not wrong:
            break
        refused |= wrong
        waiting = [title for title in waiting if found[title].guesses & wrong]
    for title, one in found.items():
        if one.guesses & unproved:
            found[title] = one._replace(difference=None, way=None, why="the prover did not come to an end")
    return following, found


def _asked(contents: Contents, decide: Decide,
           guesses: list[Guess]) -> tuple[set[Guess], frozenset[Guess], frozenset[Guess]]:
    """Which guesses hold, which do not, and of which it is not known: by condition first, then one by one."""
    groups: dict[Node, list[Guess]] = {}
    for guess in guesses:
        groups.setdefault(guess.when, []).append(guess)
    verdicts = decide(tuple(_property(contents, when, [one.key for one in group]) for when, group in groups.items()))
    held: set[Guess] = set()
    rest: list[Guess] = []
    for verdict, group in zip(verdicts.verdicts, groups.values()):
        if verdict.outcome == "proved":
            held.update(group)
        else:
            rest += group
    if not rest:
        return held, frozenset(), frozenset()
    alone = decide(tuple(_property(contents, one.when, [one.key]) for one in rest)).verdicts
    held.update(one for one, verdict in zip(rest, alone) if verdict.outcome == "proved")
    return (held, frozenset(one for one, verdict in zip(rest, alone) if verdict.outcome == "broken"),
            frozenset(one for one, verdict in zip(rest, alone) if verdict.outcome not in ("proved", "broken")))


def _property(contents: Contents, when: Node, keys: list[Key]) -> Property:
    """That the condition never holds in cycles with these keys."""
    machine, terms = contents.machine, contents.machine.terms
    following = Following(contents)
    lines: list[Node] = [terms.leaf("address", store.name, store.address_width) for store in following.stores]
    lines += [] if following.phase is None else [following.phase]
    if len(lines) == 1:
        there = terms.among(lines[0], frozenset(key[0] for key in keys))
    else:
        there = terms.or_(terms.and_(terms.among(line, frozenset((part,))) for line, part in zip(lines, key))
                          for key in keys)
    return Property(NAME, f"{machine.name}: what an instruction takes for granted", "bad", terms.and_((there, when)))


# ---------------------------------------------------------------- findings


def _finding(following: Following, title: str, found: Difference) -> Finding:
    width = found.width
    what = f"`{found.name}`" if found.address is None else \
        f"`{found.name}[{_address(following, found.name, found.address)}]`"
    expected, came = number(found.expected, width), number(found.came, width)
    places: tuple[Place, ...] = ()
    if found.key:
        store = following.stores[0].name
        site = following.contents.sites[store].get(found.key[0])
        if site is not None and site.span is not None:
            places = (Place(site.span, f"loaded in cycle {found.cycle}" if found.address is None
                            else f"written in cycle {found.cycle}"),)
    when = f"it comes in cycle {found.cycle}, at `{found.word}`" if found.cycle else "nothing changes it on this path"
    before = _before(following, found)
    notes = ((f"before: {before}",) if before else ()) + (f"{when}; the words: {', '.join(found.path)}",)
    return error(NAME, f"`{title}` leaves {what} at {came}, and {expected} is said", found.span, "says so",
                 places=places, notes=notes,
                 help="correct the words or the meaning")


def _before(following: Following, found: Difference) -> str:
    """The values that matter: of what is visible first."""
    visible = [*following.machine.visible]
    shown = [f"{_name(leaf)}={number(value, leaf.width)}" for leaf, value in sorted(
        found.before.leaves.items(), key=lambda one: visible.index(one[0].name) if one[0].name in visible else 999)
        if not leaf.name.startswith("a place in ")]
    shown += [f"{memory}[{_address(following, memory, address)}]="
              f"{number(value, following.machine.memories[memory].bits)}"
              for (memory, address), value in found.before.words.items() if memory in following.machine.memories]
    more = f" and {len(shown) - MOST_SHOWN} more" if len(shown) > MOST_SHOWN else ""
    return ", ".join(shown[:MOST_SHOWN]) + more


def _name(leaf: Leaf) -> str:
    return leaf.name.removesuffix(" held")


def _address(following: Following, memory: str, address: int) -> str:
    return number(address, following.machine.memories[memory].address.width)


