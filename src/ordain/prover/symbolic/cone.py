"""Which variables, and which of their bits, the properties can depend on: the cone of influence.

Variables outside it are left out, bits outside it are held at 0. Both change no verdict: what is left behaves the same
whatever the rest does (Clarke, Grumberg, Peled, "Model Checking", 13.1). Assumptions belong to the roots, because they
say which inputs there are.
"""

from ordain.control.bits import store_of
from ordain.control.model import Free, System, Variable
from ordain.logic.narrowing import bits_read, keep_bits
from ordain.machine.expression import Leaf, Node, Terms, substitute
from ordain.prover.model import Limits, Property
from ordain.prover.questions import nodes_of


def with_addresses(system: System, roots: tuple[Node, ...]) -> tuple[Node, ...]:
    """The roots with every `address` leaf replaced by what forms that address."""
    values: dict[Node, Node] = {}
    for store, address in system.addresses.items():
        leaf = system.terms.leaf("address", store, address.width)
        (values[leaf],) = substitute(system.terms, (address,), values)
    return substitute(system.terms, roots, values)


def cone(system: System, variables: tuple[Variable, ...],
         roots: tuple[Node, ...]) -> tuple[tuple[Variable, ...], dict[Node, int]]:
    """Those of `variables` on which the roots depend, with `next` cut down to the bits that matter; and the mask of
    these bits by leaf."""
    by_leaf = {variable.leaf: variable for variable in variables}
    needed: dict[Node, int] = {}
    stores: set[str] = set()
    pending: list[Node] = list(roots)
    while pending:
        read = bits_read(pending)
        pending = []
        for leaf, mask in read.items():
            store = store_of(system, leaf) if type(leaf) is Leaf else None
            if store and store not in stores:
                stores.add(store)
                pending += with_addresses(system, (system.addresses[store],))
            variable = by_leaf.get(leaf)
            if variable is None:
                continue
            known = needed.get(leaf, 0)
            wanted = known | mask
            if wanted != known:
                needed[leaf] = wanted
                pending.append(keep_bits(system.terms, variable.next, wanted))
    kept = tuple(_narrowed(system.terms, variable, needed[variable.leaf])
                 for variable in variables if variable.leaf in needed)
    return kept, needed


def needs(system: System, properties: tuple[Property, ...],
          limits: Limits) -> tuple[tuple[Variable, ...], dict[Node, int], list[Free]]:
    """What some questions depend on: variables and monitors, which of their bits, and what is free."""
    monitors = tuple({monitor.leaf: monitor for prop in properties for monitor in prop.monitors}.values())
    asked = tuple(node for prop in properties for node in nodes_of(prop))
    # With its address in it a question may be simpler, and no longer read what will be looked up as it stands there.
    roots = (*asked, *with_addresses(system, (*asked, *system.assumptions, *asked_anyway(system),
                                    *(() if limits.reduce else (variable.leaf for variable in system.variables)))))
    variables = tuple(variable._replace(next=node) for variable, node in zip(
        (*system.variables, *monitors),
        with_addresses(system, tuple(variable.next for variable in (*system.variables, *monitors)))))
    kept, needed = cone(system, variables, roots)
    addresses = with_addresses(system, tuple(system.addresses.values()))
    read = bits_read((*roots, *addresses, *(variable.next for variable in kept))).keys()
    return kept, needed, [one for one in system.free if one.leaf in read]


def asked_anyway(system: System) -> list[Node]:
    """The addresses of which it is asked which of them are presented; and which of many machines it is."""
    stores = system.contents.machine.stores
    found = [address for store, address in system.addresses.items() if stores[store].fill == "microprogram"]
    return found if system.versions is None else [*found, system.versions.leaf]


def within_cone(system: System, properties: tuple[Property, ...]) -> tuple[bool, ...]:
    """Which properties can be asked without anything being followed that those that are not `aside` do not need.
    `properties`: lowered."""
    firm = tuple(prop for prop in properties if not prop.aside)
    if len(firm) == len(properties):
        return (True,) * len(properties)
    limits = Limits()
    followed = needs(system, firm, limits)[1]
    fits = {number: not prop.monitors for number, prop in enumerate(properties) if prop.aside}
    fitting = tuple(properties[number] for number, fit in fits.items() if fit)
    if needs(system, (*firm, *fitting), limits)[1] != followed:
        fits.update((number, needs(system, (*firm, properties[number]), limits)[1] == followed)
                    for number, fit in fits.items() if fit)
    return tuple(fits.get(number, True) for number in range(len(properties)))


def _narrowed(terms: Terms, variable: Variable, mask: int) -> Variable:
    reset = variable.reset if variable.reset is None else variable.reset & mask
    return variable._replace(next=keep_bits(terms, variable.next, mask), reset=reset)
