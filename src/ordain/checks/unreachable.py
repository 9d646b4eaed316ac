"""A placed word that no sequence executes."""

from collections.abc import Iterator, Sequence
from itertools import groupby

from ordain.checks.check import Explanation
from ordain.checks.wording import hexadecimal
from ordain.rom.contents import Contents, Site, word_name
from ordain.text.findings import Finding, warning

EXPLANATION = Explanation(
    name="unreachable",
    fault="a placed word that no sequence executes",
    about="""\
No input, however timed, brings control to this microinstruction. It takes up room, nothing that is proved about
the machine says anything about it, and often it is the half of a repair that was forgotten: the branch to it is
missing. A word that stands at several addresses counts as executed when one of them is. Reported once for a
routine of which nothing is executed, else for each run of such words.""",
    example="""\
routine hold
        release
  wait: grant, loop while requested, then wait      # was meant: then back
  back: release                                     # nobody comes here any more
        goto fetch""",
    repair="""\
Correct the branch that should lead here, or remove the words. A spare routine that is kept on purpose is an
allowance: `allow unreachable at NAME "reason"`.""",
)


def examine(contents: Contents, executed: dict[str, frozenset[int]],
            allowed: dict[str, frozenset[int]]) -> Iterator[Finding]:
    """Findings about every store that holds a microprogram; `executed` and `allowed` are addresses of each store."""
    for store in contents.machine.stores.values():
        if store.fill == "microprogram":
            for run in idle_runs(contents, store.name, executed.get(store.name, frozenset()), allowed[store.name]):
                yield _finding(contents, run)


def idle_runs(contents: Contents, store: str, executed: frozenset[int],
              allowed: frozenset[int] = frozenset()) -> list[tuple[Sequence[Site], bool]]:
    """Runs of words that are never executed, in the order of the text; True where the run is a whole body."""
    runs: list[tuple[Sequence[Site], bool]] = []
    bodies: dict[str, list[tuple[Site, bool]]] = {}
    for places in words_placed(contents, store):
        idle = not any(place.address in executed or place.address in allowed for place in places)
        bodies.setdefault(places[0].owner, []).append((places[0], idle))
    for members in bodies.values():
        if all(idle for _, idle in members):
            runs.append(([site for site, _ in members], True))
        else:
            runs += [([site for site, _ in group], False) for idle, group in groupby(members, lambda member: member[1])
                     if idle]
    return runs


def words_placed(contents: Contents, store: str) -> list[list[Site]]:
    """Every word in the order of the text, with all places where it stands."""
    words: dict[tuple[object, ...], list[Site]] = {}
    for site in sorted(contents.sites.get(store, {}).values(), key=lambda site: (site.word, site.address)):
        words.setdefault(_identity(site), []).append(site)
    return [*words.values()]


def _identity(site: Site) -> tuple[object, ...]:
    """What is the same for the copies of one word."""
    return (site.owner, site.word) if site.word >= 0 else (site.owner, site.address)


def _finding(contents: Contents, run: tuple[Sequence[Site], bool]) -> Finding:
    sites, whole = run
    first = sites[0]
    width = contents.machine.stores[first.store].address_width
    number = hexadecimal(first.address, width)
    count = len(sites)
    if whole:
        words = "its only word" if count == 1 else f"none of its {count} words"
        message = f"`{first.owner}` is never executed: {words} can be reached" if count > 1 else \
            f"`{first.owner}` is never executed: {words} cannot be reached"
        label = "no sequence leads here"
    else:
        after = "" if count == 1 else f" and {count - 1} more after it"
        message = f"no sequence executes `{word_name(contents, first.store, first.address)}` at {number}{after}"
        label = "never executed"
    return warning("unreachable", message, first.span, label,
                   help="correct the branch that should lead here, remove the words, or allow it with a reason")
