"""Single faults and who notices them, as text and as data."""

from collections.abc import Sequence
from typing import Any

from ordain.faults.model import CLASSES, Kind, Tried
from ordain.faults.summary import Counts, Offered, counts, instructions, noticing, silent
from ordain.show.page import Page, fold, table
from ordain.show.paint import printable

KIND_NAMES: dict[Kind, tuple[str, str]] = {
    "bit": ("single-bit fault", "single-bit faults"), "erased": ("erased word", "erased words"),
    "pin": ("stuck pin", "stuck pins"), "bridge": ("bridge between pins", "bridges between pins"),
    "chip": ("missing chip", "missing chips"), "exchange": ("exchange of chips", "exchanges of chips"),
    "driver": ("stuck driver", "stuck drivers"),
    "synchroniser": ("synchroniser left out", "synchronisers left out"),
}
SHOWN = 12
"""Rows of a list that are shown without --all."""
TITLES = 4


def report_lines(machine: str, tried: Sequence[Tried], offered: Sequence[Offered], passed_over: Sequence[str],
                 broken: Sequence[tuple[str, str]], everything: bool, page: Page) -> list[str]:
    """`passed_over`: chips whose pins were not tried. `broken`: what is broken without any fault, too."""
    lines: list[str] = []
    for kind, of_kind in counts(tried).items():
        lines += fold(f"{machine}: {answer(kind, of_kind)}", page)
    if not lines:
        return [f"{machine}: nothing to try: no word, pin or driver fits (of several --only each has to)"]
    if passed_over:
        lines += fold(f"pins of {', '.join(passed_over)} were not tried: too many words", page)
    if broken:
        some = broken if everything else broken[:SHOWN]
        said = ", ".join(printable(" ".join(key)) for key in some)
        more = f", and {len(broken) - len(some)} more" if len(some) < len(broken) else ""
        lines += fold(f"broken without any fault, so they notice none (see `ordain prove`): {said}{more}", page)
    lines += _noticing_lines(tried, everything, page)
    lines += _changed_lines(tried, everything, page)
    lines += _silent_lines(tried, offered, everything, page)
    undecided = [one for one in tried if one.outcome.kind == "undecided"]
    if undecided:
        lines += ["", f"undecided: {undecided[0].outcome.why}"]
        lines += _listed([printable(one.fault.text) for one in undecided], everything, page)
    return lines


def answer(kind: Kind, of_kind: Counts) -> str:
    """`of 128 single-bit faults 45 % are noticed by a check or rule, 41 % are harmless, proved, 19 are silent`"""
    total = sum(of_kind.values())
    one, more = KIND_NAMES[kind]
    if total == 1:
        name = next(name for name, count in of_kind.items() if count)
        said = {"changed": "shows only as a changed instruction"}.get(name, f"is {CLASSES[name]}")
        return f"the only {one} {said}"
    parts = [f"{_share(count, total)} {'' if name == 'changed' else 'are '}{CLASSES[name]}"
             for name, count in of_kind.items() if count and name not in ("silent", "undecided")]
    parts.append(f"{of_kind['silent']:,} are silent" if of_kind["silent"] != 1 else "1 is silent")
    if of_kind["undecided"]:
        parts.append(f"{of_kind['undecided']:,} undecided")
    return f"of {total:,} {more} {'; '.join(parts)}"


def _share(count: int, total: int) -> str:
    if count == total:
        return "all"
    percent = 100 * count / total
    return f"{percent:.0f} %" if 10 <= percent <= 99 else f"{percent:.1f} %" if percent >= 0.05 else f"{count}"


def _noticing_lines(tried: Sequence[Tried], everything: bool, page: Page) -> list[str]:
    found = noticing(tried)
    if not found:
        return []
    rows = [(f"{row.faults:,}", row.check, printable(row.subject), _cycles(row.least, row.most))
            for row in (found if everything else found[:SHOWN])]
    lines = ["", "who notices first, and in which cycle at the earliest:",
             *table(rows, page, heads=("faults", "check", "about", "cycle"), indent=2)]
    return lines + _more(len(found) - len(rows), "more notice some")


def _cycles(least: int | None, most: int | None) -> str:
    return "" if least is None else str(least) if least == most else f"{least} to {most}"


def _changed_lines(tried: Sequence[Tried], everything: bool, page: Page) -> list[str]:
    found = instructions(tried)
    if not found:
        return []
    meant = any(one.meant_otherwise for one in found)
    rows = [(f"{one.faults:,}", *([f"{one.meant_otherwise:,}"] if meant else []), printable(one.title))
            for one in (found if everything else found[:SHOWN])]
    heads = ("faults", *(["meaning broken"] if meant else []), "instruction")
    return ["", "changed, and no check or rule speaks of it:", *table(rows, page, heads=heads, indent=2),
            *_more(len(found) - len(rows), "more instructions")]


def _silent_lines(tried: Sequence[Tried], offered: Sequence[Offered], everything: bool, page: Page) -> list[str]:
    found, rules = silent(tried), {(one.line, one.titles): one for one in offered}
    if not found:
        return []
    lines = ["", "silent: something behaves otherwise, no instruction of its own, and nothing speaks of it"]
    alone: dict[tuple[str, ...], list[str]] = {}
    groups = []
    for group in found:
        if [one.fault.text for one in group.faults] == [group.line]:
            alone.setdefault(group.titles, []).append(printable(group.line))
        else:
            groups.append(group)
    for group in groups if everything else groups[:SHOWN]:
        lines += fold(f"  {len(group.faults):,} of {printable(group.line)}: {_others(group.titles)}", page, 4)
        texts = [printable(one.fault.text) for one in group.faults]
        for text in texts if everything else texts[:1]:
            lines += fold(f"      {text}", page, 4)
        rule = rules.get((group.line, group.titles))
        if rule is not None:
            lines += fold(f"      a rule that notices {rule.notices:,} of them: {printable(rule.rule)}", page, 4)
    lines += _more(0 if everything else len(groups) - SHOWN, "more groups, see --all")
    for titles, texts in alone.items():
        which = "itself" if len(texts) == 1 else "themselves"
        lines += fold(f"  {len(texts):,} by {which}: {_others(titles)}", page, 4)
        shown = texts if everything else texts[:SHOWN]
        more = f", and {len(texts) - len(shown)} more" if len(shown) < len(texts) else ""
        lines += fold(f"      {', '.join(shown)}{more}", page, 6)
    return lines


def _others(all_titles: Sequence[str]) -> str:
    titles = [printable(title) for title in all_titles]
    more = f" and {len(titles) - TITLES} more" if len(titles) > TITLES else ""
    return f"{', '.join(titles[:TITLES])}{more} {'is' if len(titles) == 1 else 'are'} otherwise"


def _listed(texts: list[str], everything: bool, page: Page) -> list[str]:
    shown = texts if everything else texts[:SHOWN]
    lines = [line for text in shown for line in fold(f"  {text}", page)]
    return lines + _more(len(texts) - len(shown), "more, see --all")


def _more(count: int, what: str) -> list[str]:
    return [f"  and {count:,} {what}"] if count > 0 else []


# ---------------------------------------------------------------- as data


def report_data(machine: str, tried: Sequence[Tried], offered: Sequence[Offered],
                passed_over: Sequence[str], broken: Sequence[tuple[str, str]]) -> dict[str, Any]:
    """Everything, fault by fault."""
    return {"machine": machine, "counts": counts(tried), "passed_over": list(passed_over),
            "broken": [{"check": check, "subject": subject} for check, subject in broken],
            "rules": [{"line": one.line, "changed": list(one.titles), "rule": one.rule, "notices": one.notices,
                       "of": one.of} for one in offered],
            "faults": [_fault_data(one) for one in tried]}


def _fault_data(one: Tried) -> dict[str, Any]:
    fault, outcome = one
    place = {} if not fault.store else {"store": fault.store, "address": fault.address,
                                        **({} if fault.bit < 0 else {"bit": fault.bit})}
    noticed = None if outcome.noticed is None else outcome.noticed._asdict()
    return {"kind": fault.kind, "text": fault.text, **place, "class": outcome.kind, "noticed": noticed,
            "changed": list(outcome.titles), "meanings": list(outcome.meanings), "why": outcome.why}
