"""What instructions do, as lines for a microprogram and as data."""

from collections.abc import Mapping
from typing import Any

from ordain.meaning.model import Telling
from ordain.show.page import PLAIN, Page, columns

_BEGIN = "    means "
_NARROWEST = 60


def meaning_lines(told: Mapping[str, Telling], page: Page = PLAIN) -> list[str]:
    """For each instruction its title in a comment, and the `means` line."""
    lines: list[str] = []
    for title, one in told.items():
        lines += [""] if lines else []
        if one.why:
            lines.append(f'# "{title}": not told, because {one.why}')
            continue
        lines.append(f'# "{title}": {_count(one)}')
        if one.scratch:
            lines.append(f"# it depends on what is not visible: {', '.join(one.scratch)}")
        lines += _means(one.effects or ("nothing",), max(page.width, _NARROWEST) if page.folds else 120)
    return lines


def _count(one: Telling) -> str:
    cycles = f"{one.cycles} cycle{'s' if one.cycles != 1 else ''}"
    most = f"up to {cycles}" if one.cycles > 1 else cycles
    return f"{most}, {one.paths} paths" if one.paths > 1 else cycles


def _means(effects: tuple[str, ...], width: int) -> list[str]:
    """The effects behind each other, in several lines where they do not fit. One that is wider stays whole."""
    lines = [_BEGIN + effects[0]]
    for effect in effects[1:]:
        lines[-1] += ","
        if columns(lines[-1]) + columns(effect) + 2 <= width:
            lines[-1] += f" {effect}"
        else:
            lines.append(" " * len(_BEGIN) + effect)
    return lines


def meaning_data(told: Mapping[str, Telling]) -> list[dict[str, Any]]:
    """The same as JSON-ready data."""
    return [{"title": title, "effects": list(one.effects), "why": one.why or None, "paths": one.paths,
             "cycles": one.cycles, "scratch": list(one.scratch)} for title, one in told.items()]
