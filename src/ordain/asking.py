"""What is asked of a faulty machine, and what is told of it by the address alone.

Like `faulting`, of which it is a part, this stands above the packages: checks, faults and the prover's questions
meet here.
"""

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from ordain.checks import vacuous
from ordain.checks.allowances import Plan, excused_words, plan
from ordain.checks.check import About
from ordain.checks.run import EVERYTHING, parts_of_rules, questions
from ordain.checks.undefined_code import EXPLANATION as UNDEFINED
from ordain.checks.undefined_code import undefined_at
from ordain.checks.unreachable import idle_runs
from ordain.faults.classes import Key
from ordain.machine.model import Field
from ordain.prover.model import Property
from ordain.rom.contents import Contents


class AskedOfEach(NamedTuple):
    """`rows`: per question of a report, in its order, the plans that answer it. `judged[plan]`, `probes[plan]`,
    `parts`, `undefined`: numbers in `properties`."""

    properties: tuple[Property, ...]
    plans: tuple[Plan, ...]
    rows: dict[Key, list[int]]
    judged: tuple[int | None, ...]
    probes: tuple[tuple[int, ...], ...]
    parts: tuple[int, ...]
    undefined: tuple[int, ...]

    def key(self, number: int) -> Key:
        prop = self.properties[number]
        return key_of(prop)


def key_of(asked: Property) -> Key:
    if asked.check == vacuous.EXPLANATION.name:
        return asked.check, "what checks and rules take for granted"
    return asked.check, asked.subject


def asked_of(contents: Contents, known: frozenset[tuple[str, int]]) -> AskedOfEach:
    """`known`: codes without a name that the sound machine presents."""
    every = questions(contents, EVERYTHING)
    plans = [made for check, question in every for made in plan(contents, check, question)]
    properties: list[Property] = []
    rows: dict[Key, list[int]] = {}
    judged: list[int | None] = []
    probes: list[tuple[int, ...]] = []

    def added(prop: Property) -> int:
        properties.append(prop)
        return len(properties) - 1

    for number, made in enumerate(plans):
        rows.setdefault(key_of(made.asked), []).append(number)
        judged.append(None if made.judged is None else added(made.judged))
        probes.append(tuple(added(probe) for _, probe in made.probes))
    parts = tuple(map(added, parts_of_rules(contents, every)))
    undefined = tuple(map(added, _undefined_questions(contents, known)))
    return AskedOfEach(tuple(properties), tuple(plans), rows, tuple(judged), tuple(probes), parts, undefined)


def coded(contents: Contents) -> Iterator[Field]:
    """The fields in which some value has no name."""
    return (field for field in contents.machine.fields.values()
            if field.holds == "code" and field.codes and len(field.codes) < 1 << field.width)


def _undefined_questions(contents: Contents, known: frozenset[tuple[str, int]]) -> Iterator[Property]:
    """Whether a sequence presents a code without a name, of each field of a microprogram."""
    machine, terms = contents.machine, contents.machine.terms
    for field in coded(contents):
        store = machine.stores[field.store]
        if store.fill == "microprogram":
            where = frozenset(range(1 << store.address_width)) - excused_words(
                contents, UNDEFINED.name, store.name, field.name) - {at for name, at in known if name == field.name}
            named = terms.among(terms.leaf("field", field.name, field.width),
                                frozenset(code.value for code in field.codes))
            yield Property(UNDEFINED.name, field.name, "bad", terms.and_((terms.not_(named), terms.among(
                terms.leaf("address", store.name, store.address_width), where))), data=About((), field.span))


def undefined_codes(contents: Contents, executed: Mapping[str, frozenset[int]]) -> frozenset[tuple[str, int]]:
    """Field and address of every code without a name that is presented; in stores that hold no microprogram, of every
    one that is placed."""
    return frozenset(
        (field.name, address) for field in coded(contents)
        for address in {*undefined_at(contents, field)} & {*executed.get(
            field.store, contents.sites.get(field.store, {}).keys())}
        - excused_words(contents, UNDEFINED.name, field.store, field.name))


def idle_words(contents: Contents, executed: Mapping[str, frozenset[int]]) -> frozenset[tuple[str, int]]:
    """Store and first address of every placed word that no sequence executes."""
    return frozenset(
        (store, site.address) for store in contents.sites if contents.machine.stores[store].fill == "microprogram"
        for sites, _ in idle_runs(contents, store, executed.get(store, frozenset()),
                                  excused_words(contents, "unreachable", store)) for site in sites)
