"""Checks that read the contents and the set of executed words, and ask no questions."""

from collections.abc import Callable

from ordain.checks import undefined_code, unreachable
from ordain.checks.allowances import addresses_of, excused_words
from ordain.machine.model import Allowance
from ordain.prover.model import Verdicts
from ordain.rom.contents import Contents
from ordain.text.findings import Finding

NAMES = (undefined_code.EXPLANATION.name, unreachable.EXPLANATION.name)


def of_words(contents: Contents, takes: Callable[[str], bool], executed: dict[str, frozenset[int]]) -> list[Finding]:
    """What placed words, and other cells that are executed, hold."""
    name = undefined_code.EXPLANATION.name
    if not takes(name):
        return []
    allowed = {field.name: excused_words(contents, name, field.store, field.name)
               for field in contents.machine.fields.values()}
    return list(undefined_code.examine(contents, executed, allowed))


def of_sequences(contents: Contents, takes: Callable[[str], bool], first: Verdicts) -> list[Finding]:
    """What no sequence executes; nothing can be said of it when the search was stopped."""
    name = unreachable.EXPLANATION.name
    if not takes(name) or first.stopped:
        return []
    allowed = {store: excused_words(contents, name, store) for store in contents.machine.stores}
    return list(unreachable.examine(contents, first.executed, allowed))


def needs(contents: Contents, allowance: Allowance, first: Verdicts) -> bool | None:
    """Whether one of the checks here would find something without the allowance."""
    machine = contents.machine
    found: dict[str, set[int]] = {store: set() for store in machine.stores}
    if allowance.check == undefined_code.EXPLANATION.name:
        for field in machine.fields.values():
            if allowance.on in ("", field.name):
                seen = contents.sites.get(field.store, {}).keys() | first.executed.get(field.store, frozenset())
                found[field.store] |= seen & set(undefined_code.undefined_at(contents, field))
    elif first.stopped:
        return None
    elif not allowance.on:      # words that are never executed are excused by their place alone
        for store in contents.sites:
            if machine.stores[store].fill == "microprogram":
                runs = unreachable.idle_runs(contents, store, first.executed.get(store, frozenset()))
                found[store] |= {site.address for sites, _ in runs for site in sites}
    if not allowance.at:
        return any(found.values())
    store, addresses = addresses_of(contents, allowance.at)
    return bool(found[store] & addresses)
