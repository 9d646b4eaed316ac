"""Contents made by hand: a machine's text, and words as fields by address. Shares no code with the compiler."""

from collections.abc import Mapping
from functools import cache
from typing import NamedTuple

from ordain.language.machine_file import parse_machine
from ordain.machine.model import Field, Machine
from ordain.machine.resolve import resolve
from ordain.rom.contents import Contents, Site
from ordain.text.findings import Severity


class Word(NamedTuple):
    """One word: `owner` is the routine or instruction, `label` its label in it, `fields` code names or numbers;
    "@name" stands for the address of the first word of an owner, or of "owner.label"."""

    owner: str
    fields: Mapping[str, int | str]
    label: str = ""
    open: tuple[str, ...] = ()


@cache
def resolved(text: str) -> Machine:
    """The machine of a text in which nothing is wrong."""
    tree, unreadable = parse_machine({"bench.machine": text}, "bench.machine")
    assert tree is not None and not unreadable, [(str(found.span), found.message) for found in unreadable]
    machine, findings = resolve(tree)
    wrong = [(str(found.span), found.message) for found in findings if found.severity is Severity.ERROR]
    assert machine is not None and not wrong, wrong
    return machine


def burned(machine: Machine, placed: Mapping[int, Word], store: str = "control",
          tables: Mapping[str, Mapping[int, int | str]] | None = None,
          unused: Mapping[str, int | str] | None = None) -> Contents:
    """What chips hold in which the words stand at these addresses. `tables`: mapping stores by address."""
    starts: dict[str, int] = {}
    for address, word in sorted(placed.items()):
        starts.setdefault(word.owner, address)
        if word.label:
            starts.setdefault(f"{word.owner}.{word.label}", address)
    words = {name: [0] * (1 << item.address_width) for name, item in machine.stores.items()}
    filler = assembled(machine, store, unused or {}, starts)
    words[store] = [filler] * len(words[store])
    sites: dict[str, dict[int, Site]] = {name: {} for name in machine.stores}
    routines: dict[str, set[int]] = {}
    for address, word in placed.items():
        words[store][address] = assembled(machine, store, word.fields, starts)
        text = ", ".join(f"{name} {value}" for name, value in word.fields.items())
        mask = sum(((1 << machine.fields[name].width) - 1) << machine.fields[name].low for name in word.open)
        sites[store][address] = Site(store, address, word.label, word.owner, text, (text,), None,
                                     words[store][address], mask,
                                     name=f"{word.owner}.{word.label}" if word.label else word.owner)
        routines.setdefault(word.owner, set()).add(address)
    for name, rows in (tables or {}).items():
        for address, value in rows.items():
            words[name][address] = starts[value.removeprefix("@")] if isinstance(value, str) else value
    labels = {name: (store, frozenset({address})) for name, address in starts.items()}
    return Contents(machine, {name: tuple(row) for name, row in words.items()}, sites, labels,
                    {name: (store, frozenset(addresses)) for name, addresses in routines.items()})


def assembled(machine: Machine, store: str, fields: Mapping[str, int | str], starts: Mapping[str, int]) -> int:
    """The stored word; fields that are not given take their idle code, 0 where they have none."""
    word = 0
    for name in machine.stores[store].fields:
        field = machine.fields[name]
        value = _value(field, fields[name], starts) if name in fields else _idle(field)
        stored = value ^ ((1 << field.width) - 1) if field.active_low else value
        word |= stored << field.low
    return word


def _value(field: Field, value: int | str, starts: Mapping[str, int]) -> int:
    if isinstance(value, int):
        return value
    if value.startswith("@"):
        return starts[value[1:]]
    return next(code.value for code in field.codes if code.name == value)


def _idle(field: Field) -> int:
    return field.idle if isinstance(field.idle, int) else 0
