"""A machine's terms made again in another table, under other names: then two machines name one thing by one node."""

from typing import NamedTuple

from ordain.machine.expression import Const, Leaf, Node, Terms, postorder
from ordain.machine.model import Bus, Condition, Driver, Load, Machine, Register, Sampler, State, Store, Strobe
from ordain.rom.contents import Contents


class Renames(NamedTuple):
    """Old name -> new name, only what differs. `names`: everything declared but fields (they share one name space).
    `parts`: the drivers and samplers that are nothing but names."""

    names: dict[str, str]
    parts: dict[str, str]


SAME_NAMES = Renames({}, {})


def translate(contents: Contents, terms: Terms, renames: Renames = SAME_NAMES) -> Contents:
    """The contents over `terms` and the new names. Rules, assumptions and allowances, which say nothing about what the
    hardware does, are left out; fields keep their names, because words are read before terms are compared."""
    machine = contents.machine
    moved = _move(machine, terms, renames)
    names = renames.names
    stores = {_of(names, name): store for name, store in machine.stores.items()}
    translated = machine._replace(
        stores={name: _store(name, store, moved) for name, store in stores.items()},
        fields={name: field._replace(store=_of(names, field.store), derived=None)
                for name, field in machine.fields.items()},
        states={_of(names, name): _state(_of(names, name), state, moved) for name, state in machine.states.items()},
        registers={_of(names, name): _register(_of(names, name), register, moved)
                   for name, register in machine.registers.items()},
        inputs={_of(names, name): item._replace(name=_of(names, name)) for name, item in machine.inputs.items()},
        conditions={_of(names, name): _condition(_of(names, name), condition, moved)
                    for name, condition in machine.conditions.items()},
        buses={_of(names, name): _bus(_of(names, name), bus, moved, renames) for name, bus in machine.buses.items()},
        strobes=tuple(_strobe(strobe, moved, names) for strobe in machine.strobes),
        home=None if machine.home is None else moved[machine.home],
        signals={}, assumptions=(), keeps=(), exclusives=(), rules=(), allowances=(), terms=terms)
    return contents._replace(
        machine=translated,
        words={_of(names, name): words for name, words in contents.words.items()},
        sites={_of(names, name): sites for name, sites in contents.sites.items()},
        labels={label: (_of(names, store), places) for label, (store, places) in contents.labels.items()},
        routines={label: (_of(names, store), places) for label, (store, places) in contents.routines.items()})


def _of(names: dict[str, str], name: str) -> str:
    return names.get(name, name)


def _roots(machine: Machine) -> list[Node]:
    """Every term that says what the hardware does."""
    roots: list[Node | None] = [machine.home]
    for store in machine.stores.values():
        roots += [store.address, store.computed, store.starts_at]
    roots += [state.next for state in machine.states.values()]
    for register in machine.registers.values():
        for load in register.loads:
            roots += [load.source, load.when]
    roots += [condition.value for condition in machine.conditions.values()]
    for bus in machine.buses.values():
        roots += [driver.when for driver in bus.drivers]
        roots += [driver.steady for driver in bus.drivers]
        roots += [sampler.when for sampler in bus.samplers]
    roots += [strobe.active for strobe in machine.strobes]
    return [root for root in roots if root is not None]


def _move(machine: Machine, terms: Terms, renames: Renames) -> dict[Node, Node]:
    moved: dict[Node, Node] = {}
    for node in postorder(_roots(machine)):
        if type(node) is Leaf:
            renamed = node.name if node.kind in ("field", "at", "in") else _of(renames.names, node.name)
            moved[node] = terms.leaf(node.kind, renamed, node.width)
        elif type(node) is Const:
            moved[node] = terms.const(node.value, node.width)
        else:
            moved[node] = terms.rebuild(node, tuple(moved[arg] for arg in node.args))
    return moved


def _store(name: str, store: Store, moved: dict[Node, Node]) -> Store:
    return store._replace(name=name, address=moved[store.address],
                          computed=None if store.computed is None else moved[store.computed],
                          starts_at=None if store.starts_at is None else moved[store.starts_at])


def _state(name: str, state: State, moved: dict[Node, Node]) -> State:
    return state._replace(name=name, next=moved[state.next])


def _register(name: str, register: Register, moved: dict[Node, Node]) -> Register:
    loads = tuple(Load(None if load.source is None else moved[load.source], moved[load.when])
                  for load in register.loads)
    return register._replace(name=name, loads=loads)


def _condition(name: str, condition: Condition, moved: dict[Node, Node]) -> Condition:
    return condition._replace(name=name, value=None if condition.value is None else moved[condition.value])


def _bus(name: str, bus: Bus, moved: dict[Node, Node], renames: Renames) -> Bus:
    def part(item: Driver | Sampler) -> str:
        declared = renames.names.get(item.name)
        return renames.parts.get(item.name, item.name) if declared is None else declared

    drivers = tuple(driver._replace(name=part(driver), when=moved[driver.when],
                                    follows=_of(renames.names, driver.follows),
                                    steady=None if driver.steady is None else moved[driver.steady])
                    for driver in bus.drivers)
    samplers = tuple(sampler._replace(name=part(sampler), when=moved[sampler.when]) for sampler in bus.samplers)
    return bus._replace(name=name, drivers=drivers, samplers=samplers)


def _strobe(strobe: Strobe, moved: dict[Node, Node], names: dict[str, str]) -> Strobe:
    return strobe._replace(name=_of(names, strobe.name), active=moved[strobe.active],
                           needs=tuple(need._replace(bus=_of(names, need.bus)) for need in strobe.needs))
