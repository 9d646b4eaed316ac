"""A machine's terms made again in another table, under other names: then two machines name one thing by one node."""

from typing import Any, NamedTuple, cast

from ordain.machine.driving import put
from ordain.machine.expression import Const, Leaf, Node, Terms, postorder, substitute
from ordain.machine.model import Driver, Effect, Machine, Meaning
from ordain.machine.rewriting import Walked, terms_in, with_terms
from ordain.rom.contents import Contents


class Renames(NamedTuple):
    """Old name -> new name, only what differs. `names`: everything declared but fields (they share one name space).
    `parts`: the drivers and samplers that are nothing but names. `places`: labels, routines and titles, as `at` and
    `in` name them."""

    names: dict[str, str]
    parts: dict[str, str]
    places: dict[str, str]


SAME_NAMES = Renames({}, {}, {})


def translate(contents: Contents, terms: Terms, renames: Renames = SAME_NAMES) -> Contents:
    """The contents over `terms` and the new names. Fields keep their names, because words are read before terms are
    compared; signals and constants, which stand in terms already, are left out."""
    machine = _renamed(_less_said(contents.machine), renames)
    meanings = {renames.places.get(title, title): _meant(meaning, renames)
                for title, meaning in contents.meanings.items()}
    moved = _moved((machine, meanings), terms, renames)
    names = renames.names

    def places(found: dict[str, tuple[str, frozenset[int]]]) -> dict[str, tuple[str, frozenset[int]]]:
        return {renames.places.get(name, name): (names.get(store, store), at) for name, (store, at) in found.items()}

    return contents._replace(
        machine=with_terms(machine, moved.__getitem__)._replace(terms=terms),
        words={names.get(name, name): words for name, words in contents.words.items()},
        sites={names.get(name, name): sites for name, sites in contents.sites.items()},
        labels=places(contents.labels), routines=places(contents.routines),
        meanings=with_terms(meanings, moved.__getitem__))


def with_places(contents: Contents) -> Contents:
    """`at` and `in` as comparisons of an address, in everything that says what the hardware does."""
    machine, terms = contents.machine, contents.machine.terms
    hardware = machine._replace(rules=(), assumptions=(), keeps=(), exclusives=(), allowances=())
    values: dict[Node, Node] = {}
    for leaf in postorder(terms_in(hardware)):
        if type(leaf) is Leaf and leaf.kind in ("at", "in"):
            store, addresses = (contents.labels if leaf.kind == "at" else contents.routines)[leaf.name]
            values[leaf] = terms.among(machine.stores[store].address, addresses)
    if values:
        hardware = with_terms(hardware, lambda node: substitute(terms, (node,), values)[0])
    return contents._replace(machine=hardware)


def _less_said(machine: Machine) -> Machine:
    return machine._replace(
        signals={}, constants={}, orders=(), labels=(), chips={},
        buses={name: bus._replace(drivers=tuple(_putting(machine, driver, bus.width) for driver in bus.drivers))
               for name, bus in machine.buses.items()},
        stores={name: store._replace(unused=None) for name, store in machine.stores.items()})


def _putting(machine: Machine, driver: Driver, width: int) -> Driver:
    """The driver with what its name alone says: once it is called otherwise, that is another name's."""
    names_a_term = driver.name in machine.signals or driver.name in machine.constants or driver.name in machine.fields
    return driver._replace(value=put(machine, driver, width)) if names_a_term else driver


def _moved(said: tuple[Machine, dict[str, Meaning]], terms: Terms, renames: Renames) -> dict[Node, Node]:
    moved: dict[Node, Node] = {}
    for node in postorder(terms_in(said)):
        if type(node) is Leaf:
            known = renames.places if node.kind in ("at", "in") else {} if node.kind == "field" else renames.names
            moved[node] = terms.leaf(node.kind, known.get(node.name, node.name), node.width)
        elif type(node) is Const:
            moved[node] = terms.const(node.value, node.width)
        else:
            moved[node] = terms.rebuild(node, tuple(moved[arg] for arg in node.args))
    return moved


def _meant(meaning: Meaning, renames: Renames) -> Meaning:
    """The meaning with new names for what its effects change."""
    def named(effects: tuple[Effect, ...]) -> tuple[Effect, ...]:
        return tuple(effect._replace(name=renames.names.get(effect.name, effect.name)) for effect in effects)

    rounds = meaning.rounds
    return meaning._replace(effects=named(meaning.effects), rounds=None if rounds is None else rounds._replace(
        effects=named(rounds.effects), stopped=None if rounds.stopped is None else named(rounds.stopped)))


def _renamed(machine: Machine, renames: Renames) -> Machine:
    """The machine with new names wherever its model names something."""
    if renames == SAME_NAMES:
        return machine

    def of(name: str) -> str:
        return renames.names.get(name, name)

    def declared(table: dict[str, Walked]) -> dict[str, Walked]:
        items = cast(dict[str, Any], table)
        return {of(name): item._replace(name=of(name)) for name, item in items.items()}

    buses = {name: bus._replace(
        drivers=tuple(item._replace(name=joined_name(renames, item.name), follows=of(item.follows))
                      for item in bus.drivers),
        samplers=tuple(item._replace(name=joined_name(renames, item.name)) for item in bus.samplers))
        for name, bus in declared(machine.buses).items()}
    strobes = tuple(strobe._replace(name=of(strobe.name), needs=tuple(
        need._replace(bus=of(need.bus)) for need in strobe.needs)) for strobe in machine.strobes)
    clock = None if machine.clock is None else machine.clock._replace(name=of(machine.clock.name))
    return machine._replace(
        clock=clock, visible=tuple(of(name) for name in machine.visible),
        stores=declared(machine.stores), states=declared(machine.states), registers=declared(machine.registers),
        inputs=declared(machine.inputs), conditions=declared(machine.conditions), agents=declared(machine.agents),
        memories=declared(dict(machine.memories)),
        fields={name: field._replace(store=of(field.store)) for name, field in machine.fields.items()},
        buses=buses, strobes=strobes,
        keeps=tuple(keep._replace(names=tuple(of(name) for name in keep.names)) for keep in machine.keeps),
        exclusives=tuple(one._replace(names=tuple(of(name) for name in one.names)) for one in machine.exclusives),
        allowances=tuple(one._replace(on=joined_name(renames, one.on), at=renames.places.get(one.at, one.at))
                         for one in machine.allowances))


def joined_name(renames: Renames, name: str) -> str:
    """The present name of anything that can be told about."""
    return renames.names.get(name) or renames.parts.get(name, name)
