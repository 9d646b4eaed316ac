"""One cycle of the whole machine by plain evaluation: what follows from states and inputs, and who is enabled.

No reduction of the search is known here; it is what traces are replayed with, and what `ordain step` plays.
"""

from ordain.control.model import Cycle, System, Variable
from ordain.control.system import remembered
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Node, Prior, postorder, substitute


class Running:
    """The machine of a system. `priors`: what has to be remembered from one cycle to the next, and from what."""

    def __init__(self, system: System, monitors: tuple[Variable, ...] = ()) -> None:
        self.system = system
        self.variables = (*system.variables, *monitors)
        self._show = _Shown(system)
        self.priors: dict[Node, Node] = {node: remembered(node, node, system.terms)
                                         for node in postorder(self._show.nodes) if type(node) is Prior}

    def before_reset(self) -> dict[Node, int]:
        """What is remembered in the first cycle: nothing has been."""
        return dict.fromkeys(self.priors, 0)

    def remembered(self, known: dict[Node, int]) -> dict[Node, int]:
        """What the next cycle remembers of one whose values are `known`."""
        return {prior: evaluate(arg, known) for prior, arg in self.priors.items()}

    def next(self, values: dict[Node, int]) -> dict[Node, int]:
        """The states after a cycle, by leaf."""
        memo: dict[Node, int] = {}
        return {variable.leaf: evaluate(variable.next, values, memo) for variable in self.variables}

    def values(self, values: dict[Node, int]) -> dict[Node, int]:
        """The same with addresses, words and fields, store after store."""
        contents, terms = self.system.contents, self.system.terms
        for store, node in self.system.addresses.items():
            declared = contents.machine.stores[store]
            address = evaluate(node, values)
            word = contents.words[store][address]
            values[terms.leaf("address", store, declared.address_width)] = address
            values[terms.leaf("word", store, declared.bits)] = word
            for name in declared.fields:
                field = contents.machine.fields[name]
                values[terms.leaf("field", name, field.width)] = field.read(word)
        return values

    def shown(self, values: dict[Node, int], matters: frozenset[str], remembered: dict[Node, int], names: list[str],
               events: dict[str, Node]) -> Cycle:
        known = {**values, **remembered}
        memo: dict[Node, int] = {}
        contents, terms = self.system.contents, self.system.terms
        stores = contents.machine.stores
        addresses = {store: values[terms.leaf("address", store, stores[store].address_width)]
                     for store in self.system.addresses}
        show = self._show

        def enabled(parts: list[tuple[str, Node]]) -> tuple[str, ...]:
            return tuple(name for name, node in parts if evaluate(node, known, memo))

        return Cycle(
            {variable.name: values[variable.leaf] for variable in self.variables if variable.origin != "monitor"},
            {variable.name: values[variable.leaf] for variable in self.variables if variable.name in names},
            {entry.name: values[entry.leaf] for entry in self.system.free}, matters,
            addresses, {store: contents.words[store][address] for store, address in addresses.items()},
            {bus: enabled(parts) for bus, parts in show.drivers.items()},
            {bus: enabled(parts) for bus, parts in show.samplers.items()},
            enabled(show.strobes), frozenset(enabled(list(events.items()))))


class _Shown:
    """What a cycle shows beside its values: who is enabled where, lowered but for `Prior`."""

    def __init__(self, system: System) -> None:
        machine = system.contents.machine
        raw: list[Node] = []
        for bus in machine.buses.values():
            raw += [driver.when for driver in bus.drivers] + [sampler.when for sampler in bus.samplers]
        raw += [strobe.active for strobe in machine.strobes]
        self.nodes = substitute(system.terms, tuple(raw), system.lowering)
        lowered = iter(self.nodes)
        self.drivers: dict[str, list[tuple[str, Node]]] = {}
        self.samplers: dict[str, list[tuple[str, Node]]] = {}
        for bus in machine.buses.values():
            self.drivers[bus.name] = [(driver.name, next(lowered)) for driver in bus.drivers]
            self.samplers[bus.name] = [(sampler.name, next(lowered)) for sampler in bus.samplers]
        self.strobes = [(strobe.name, next(lowered)) for strobe in machine.strobes]
