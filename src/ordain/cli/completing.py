"""What the shell completes: names of checks, findings, chips, instructions and labels. Never an error: where the
machine cannot be built there is nothing to offer."""

import os
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.shell_completion import CompletionItem

if TYPE_CHECKING:
    from ordain.pipeline import Built

Complete = Callable[[click.Context, click.Parameter, str], list[CompletionItem]]


def _completing(names: Callable[[click.Context], Iterable[str]]) -> Complete:
    def complete(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        before, comma, begun = incomplete.rpartition(",") if param.name == "only" else ("", "", incomplete)
        try:
            return [CompletionItem(_quoted(before + comma + name)) for name in names(ctx) if name.startswith(begun)]
        except Exception:       # a shell that is completing has no room for complaints
            return []
    return complete


def _quoted(name: str) -> str:
    """Titles have spaces and brackets; bash takes what is offered as it stands, other shells quote by themselves."""
    if not os.environ.get("_ORDAIN_COMPLETE", "").startswith("bash"):
        return name
    return "".join(f"\\{sign}" if sign in " []()<>'\"&;|$*?#" else sign for sign in name)


def _built(ctx: click.Context) -> "Built | None":
    from ordain.cli.manner import NAMED, find_machine
    from ordain.pipeline import build_model

    given = ctx.meta.get(NAMED) or ctx.params.get("machine")
    path = find_machine(None if given is None else Path(given))
    return build_model(path, path.parent / "build")[0]


def _checks(ctx: click.Context) -> Iterable[str]:
    from ordain.checks.catalogue import provable

    return provable()


def _findings(ctx: click.Context) -> Iterable[str]:
    from ordain.checks.catalogue import names

    return names()


def _chips(ctx: click.Context) -> Iterable[str]:
    built = _built(ctx)
    return built.machine.chips if built is not None else ()


def _instructions(ctx: click.Context) -> Iterable[str]:
    built = _built(ctx)
    return dict.fromkeys([*built.contents.routines, *built.contents.labels]) if built is not None else ()


def _faulty(ctx: click.Context) -> Iterable[str]:
    from ordain.faults.model import KINDS

    built = _built(ctx)
    machine = None if built is None else built.machine
    return [*KINDS, *(() if machine is None or built is None else
                      (*machine.chips, *machine.stores, *machine.fields, *built.contents.routines))]


checks, findings, chips, instructions, faulty = (
    _completing(names) for names in (_checks, _findings, _chips, _instructions, _faulty))
