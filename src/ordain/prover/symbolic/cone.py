"""Which variables, and which of their bits, the properties can depend on: the cone of influence.

Variables outside it are left out, bits outside it are held at 0. Both change no verdict: what is left behaves the same
whatever the rest does (Clarke, Grumberg, Peled, "Model Checking", 13.1). Assumptions belong to the roots, because they
say which inputs there are.
"""

from ordain.control.bits import store_of
from ordain.control.model import System, Variable
from ordain.logic.narrowing import bits_read, keep_bits
from ordain.machine.expression import Leaf, Node, Terms, substitute


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


def _narrowed(terms: Terms, variable: Variable, mask: int) -> Variable:
    reset = variable.reset if variable.reset is None else variable.reset & mask
    return variable._replace(next=keep_bits(terms, variable.next, mask), reset=reset)
