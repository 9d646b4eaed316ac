"""NAME=VALUE on a command line: values for inputs, states and registers, in all cycles or in some."""

import re
from collections.abc import Callable
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from ordain.machine.model import Machine


def settings(machine: "Machine", given: tuple[str, ...], option: str, sizes: dict[str, int]) -> dict[str, int]:
    """Values by name; VALUE is a number or a code's name, NAME alone means 1. `sizes`: what can be set, and how many
    values each has. Raises click.BadParameter."""
    values = {}
    for text in given:
        name, equals, value = text.partition("=")
        values[name] = value_of(machine, name, value if equals else "1", option, sizes)
    return values


def value_of(machine: "Machine", name: str, text: str, option: str, sizes: dict[str, int]) -> int:
    """The value that a text means for a name. Raises click.BadParameter with the nearest name, or the limits."""
    if name not in sizes:
        from ordain.text.spelling import nearest

        near = nearest(name, list(sizes))
        raise click.BadParameter(f"nothing that can be set so is called `{name}`."
                                 + (f" Did you mean `{near}`?" if near else f" There are: {', '.join(sizes)}"),
                                 param_hint=option)
    declared = machine.states.get(name) or machine.inputs.get(name)
    codes = declared.codes if declared is not None else ()
    if text in codes:
        return codes.index(text)
    try:
        value = int(text, 0)
    except ValueError:
        known = f"; it is one of {', '.join(codes)}" if codes else ""
        raise click.BadParameter(f"`{text}` is no value of `{name}`{known}", param_hint=option) from None
    if not 0 <= value < sizes[name]:
        raise click.BadParameter(f"`{name}` goes from 0 to {sizes[name] - 1}, so not {text}", param_hint=option)
    return value


def in_cycles(machine: "Machine", given: tuple[str, ...], sizes: dict[str, int]) -> Callable[[int], dict[str, int]]:
    """From `press=1@3`, `key=2@4-`, `zero` to the values of a cycle; a later option wins."""
    rows: list[tuple[str, int, int, int]] = []
    for text in given:
        setting, at, span = text.partition("@")
        match = re.fullmatch(r"(\d+)(-(\d*))?", span) if at else None
        if at and match is None:
            raise click.BadParameter(f"`{span}` names no cycles: write 3, 2-5 or 4-", param_hint="--with")
        first = int(match[1]) if match else 0
        last = first if match and match[2] is None else int(match[3]) if match and match[3] else 1 << 60
        for name, value in settings(machine, (setting,), "--with", sizes).items():
            rows.append((name, value, first, last))
    return lambda cycle: {name: value for name, value, first, last in rows if first <= cycle <= last}


def steady_from(given: tuple[str, ...]) -> int:
    """The cycle from which on settings with cycles change nothing any more. They have been read by `in_cycles`."""
    found = 0
    for text in given:
        first, dash, last = text.partition("@")[2].partition("-")
        found = max(found, int(last) + 1 if last else int(first) if dash else int(first or 0) + 1)
    return found
