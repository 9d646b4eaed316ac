"""All meanings of a machine held against its words, with what has to be asked of the prover on the way."""

from collections.abc import Callable
from typing import Literal

from ordain.checks.check import Report, Row
from ordain.machine.expression import Leaf
from ordain.machine.wording import number
from ordain.meaning.following import Following, Read
from ordain.meaning.guessing import Decide, under_guesses
from ordain.meaning.proof import Counterexample, Outcome, outcome
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, Place, error

NAME = "meaning"
MOST_SHOWN = 8
"""So many values that matter are shown, at most."""

def _never() -> bool:
    return False


def with_meanings(contents: Contents, decide: Decide, report: Report, out: Callable[[], bool] = _never) -> Report:
    """A report with what became of the meanings, if there are any. `out`: whether no other one is to be begun."""
    rows, findings = prove_meanings(contents, decide, out) if contents.meanings else ([], [])
    return report._replace(rows=(*report.rows, *rows), findings=(*report.findings, *findings))


def prove_meanings(contents: Contents, decide: Decide,
                   out: Callable[[], bool] = _never) -> tuple[list[Row], list[Finding]]:
    """A row for each instruction that is said to do something, in their order, and the findings."""
    found, following = outcomes(contents, decide, out)
    rows, findings = [], []
    for title, one in found.items():
        state: Literal["broken", "undecided", "proved"] = "proved"
        paths = "1 path" if one.paths == 1 else f"{one.paths} paths"
        up_to = "up to " if one.paths > 1 and one.cycles > 1 else ""
        cycles = "1 cycle" if one.cycles == 1 else f"{one.cycles} cycles"
        note = f"for all values, by {one.way}, {paths}, {up_to}{cycles}"
        if one.difference is not None:
            findings.append(_finding(following, title, one.difference))
            state, note = "broken", ""
        elif one.way is None:
            state, note = "undecided", f"because {one.why}"
        rows.append(Row(NAME, title, state, 0, 0, None, 0, None, note, contents.meanings[title].span))
    return rows, findings


def broken(contents: Contents, decide: Decide) -> tuple[tuple[str, ...], dict[str, Read]]:
    """The instructions that do something else than is said, in their order; and of each one what was read for it."""
    read: dict[str, Read] = {}

    def work(following: Following, title: str) -> Outcome:
        found = outcome(following, title, contents.meanings[title])
        read[title] = following.read
        return found

    found, unsure, _ = under_guesses(contents, decide, contents.meanings, work)
    return tuple(title for title, one in found.items() if one.difference is not None and title not in unsure), read


def outcomes(contents: Contents, decide: Decide,
             out: Callable[[], bool] = _never) -> tuple[dict[str, Outcome], Following]:
    """What came of each meaning, and a following that names its words."""

    def held(following: Following, title: str) -> Outcome:
        if out():
            return Outcome(title, None, "a limit was reached before its turn", None, 0, 0)
        return outcome(following, title, contents.meanings[title])

    found, unsure, following = under_guesses(contents, decide, contents.meanings, held)
    return {title: one._replace(difference=None, way=None, why="the prover did not come to an end")
            if title in unsure else one for title, one in found.items()}, following


# ---------------------------------------------------------------- findings


def _finding(following: Following, title: str, found: Counterexample) -> Finding:
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
    message = f"`{title}` leaves {what} at {came}, and {expected} is said"
    if found.name.startswith("whether "):
        message = f"`{title}` does not go round as is said: {found.name}"
        when = "on this way"
    return error(NAME, message, found.span, "says so",
                 places=places, notes=notes,
                 help=f"correct the words or the meaning; `ordain meaning \"{title}\"` prints what they do")


def _before(following: Following, found: Counterexample) -> str:
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


