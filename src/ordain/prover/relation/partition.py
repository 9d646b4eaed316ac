"""The state taken apart: control, which is kept explicit, and its environment, of which whole sets are kept.

*Control*: what forms the addresses of the control store, what follows from it (counters, flags, the opcode, return
addresses). *Surroundings*: what moves by itself whatever the word says: agents, synchronisers, pending requests.

Control has two parts. The *explicit* bits say where control is: the *entrance*, which decides the words that are read,
and what a later entrance is computed from (an opcode, a return address). The rest is *carried* along (flags, monitors).
The *location* is the part of the entrance that moves on in most words (a micro-address, a step counter), as opposed to
what is mostly held. Address lines that are free in every cycle are *selectors*.

Where the lines are drawn changes no verdict, only speed.
"""

from typing import NamedTuple, TypeAlias

from ordain.control.model import Free, System, Variable
from ordain.logic.closures import Closures, Packing, Spot
from ordain.logic.narrowing import bits_read
from ordain.logic.putting import put_in
from ordain.logic.valuations import Domain
from ordain.machine.expression import And, Leaf, Node, Terms
from ordain.prover.relation.cone import cone, with_addresses
from ordain.prover.relation.residues import WordTable
from ordain.prover.relation.roles import computed_from, environment, gathered, is_agents, location_of, roles_of
from ordain.prover.relation.stores import Stores, find_stores, is_variable

Tables: TypeAlias = dict[tuple[str, ...], WordTable]
"""By the stores that are known at an entrance."""


class Partition(NamedTuple):
    """`control` stand packed in one integer, `shifts` by leaf; `selectors` above them. Masks over that integer:
    `state`, all of control, is `explicit` and `carried`; `location` is within `entrance`, which is within `explicit`
    and `selecting`, the selectors. `domain` is over the leaves of `environment`. `stores`: those whose words are known
    at an entrance, in order, with the offset of each in the packed words and its words. `needed`: the bits of each
    variable that matter. `known`: the leaves that control and words give a value. `table`: residues over those words.
    `idle`: monitors among control that stay 0 unless they are set running. `replaced`: what stands for leaves of stores
    that control does not address."""

    terms: Terms
    control: tuple[Variable, ...]
    shifts: dict[Node, int]
    environment: tuple[Variable, ...]
    domain: Domain
    selectors: tuple[Free, ...]
    free: dict[Node, int]
    stores: tuple[tuple[str, int, tuple[int, ...]], ...]
    addresses: dict[str, Node]
    packing: Packing
    closures: Closures
    assumptions: tuple[Node, ...]
    location: int
    entrance: int
    explicit: int
    carried: int
    state: int
    selecting: int
    needed: dict[Node, int]
    known: frozenset[Node]
    table: WordTable
    idle: frozenset[Node]
    replaced: dict[Node, Node]


class Question(NamedTuple):
    """What a search is to be able to answer: conditions by number, and the monitors that they need. `kept`: addresses
    of stores that have to stay in the model beside them. `idle`: monitors that no condition reads, but that may be set
    running later."""

    conditions: tuple[Node, ...]
    monitors: tuple[Variable, ...]
    kept: tuple[Node, ...] = ()
    idle: tuple[Variable, ...] = ()


class _Model(NamedTuple):
    """What is left of the machine for a question."""

    variables: tuple[Variable, ...]
    needed: dict[Node, int]
    conditions: tuple[Node, ...]
    assumptions: tuple[Node, ...]
    stores: Stores
    agents: frozenset[Node]


def split(system: System, question: Question, reduce: bool, explicit: frozenset[Node] = frozenset(),
          tables: Tables | None = None,
          scattered: frozenset[Node] = frozenset()) -> tuple[Partition, tuple[Node, ...]]:
    """The split, and the question's conditions over its leaves. `explicit`: leaves to be kept explicit in any case.
    `tables`: residues that earlier questions about the same system have left behind, and that this one adds to.
    `scattered`: leaves that are better kept as a set, because they begin with any value."""
    model = _model(system, question, reduce)
    stores = model.stores
    table = ({} if tables is None else tables).setdefault(stores.fixed, WordTable(system.terms, stores.spots))
    forming = {leaf for store in stores.fixed for leaf in bits_read([stores.addresses[store]])}
    known_to = bits_read([address for address, _ in stores.looked_up.values()])
    bound = {leaf for leaf in (*forming, *known_to, *explicit) if is_variable(leaf)}
    roles = roles_of(system, model.variables, stores, table)
    inside = environment(model.variables, roles, bound, model.agents)
    inside |= gathered(model.variables, roles, inside, scattered - bound)
    location = location_of(model.variables, roles, forming, inside)
    entrance = location | {leaf for leaf in forming if leaf in roles}
    shown = computed_from(roles, entrance | (explicit & roles.keys()), stores, inside) | explicit
    control = [variable for variable in model.variables if variable.leaf not in inside]
    control.sort(key=lambda variable: (variable.leaf not in location, variable.leaf not in entrance,
                                       variable.leaf not in shown))
    selectors = tuple(entry for entry in system.free if entry.leaf in forming)
    shifts, masks = _packed([*(variable.leaf for variable in control), *(entry.leaf for entry in selectors)])
    spots = {**stores.spots, **{leaf: Spot(False, shift, (1 << leaf.width) - 1, 0) for leaf, shift in shifts.items()}}
    packing = Packing(spots, stores.looked_up)
    selecting = sum(masks[entry.leaf] for entry in selectors)
    state = sum(masks.values()) - selecting
    visible = sum(masks[leaf] for leaf in shown if leaf in masks)
    outside = tuple(variable for variable in model.variables if variable.leaf in inside)
    domain = Domain(tuple(variable.leaf for variable in outside), tuple(variable.values for variable in outside))
    words = system.contents.words
    shape = Partition(system.terms, tuple(control), shifts, outside, domain, selectors,
                  {entry.leaf: entry.values for entry in system.free},
                  tuple((store, offset, words[store]) for store, offset in zip(stores.fixed, stores.offsets)),
                  stores.addresses, packing, Closures(packing), model.assumptions,
                  sum(masks[leaf] for leaf in location), sum(masks[leaf] for leaf in entrance) | selecting, visible,
                  state - visible, state, selecting, model.needed, frozenset((*spots, *stores.looked_up)), table,
                  frozenset(monitor.leaf for monitor in question.idle), stores.replaced)
    return shape, model.conditions


def searched(system: System, shape: Partition, nodes: tuple[Node, ...]) -> tuple[Node, ...]:
    """Further lowered nodes over the leaves of the split."""
    return put_in(shape.terms, with_addresses(system, nodes), shape.replaced)


def follows(shape: Partition, node: Node) -> bool:
    """Whether the search has everything that a node over the leaves of the split reads of states and words."""
    for leaf, bits in bits_read([node]).items():
        if is_variable(leaf):
            if bits & ~shape.needed.get(leaf, 0):
                return False
        elif leaf not in shape.known and leaf not in shape.free:
            return False
    return True


def _model(system: System, question: Question, reduce: bool) -> _Model:
    """The cone of the question, without `address` leaves and without stores that control does not address."""
    terms = system.terms
    conditions = with_addresses(system, question.conditions)
    kept = (*with_addresses(system, question.kept), *(monitor.leaf for monitor in question.idle))
    assumptions = _conjuncts(with_addresses(system, system.assumptions))
    variables = (*system.variables, *question.monitors, *question.idle)
    nexts = with_addresses(system, tuple(variable.next for variable in variables))
    variables = tuple(variable._replace(next=node) for variable, node in zip(variables, nexts))
    everything = () if reduce else (*nexts, *(variable.leaf for variable in variables))
    variables, needed = cone(system, variables, (*conditions, *kept, *everything, *assumptions))
    agents = frozenset(variable.leaf for variable in variables if is_agents(system, variable))
    roots = (*conditions, *kept, *assumptions, *(variable.next for variable in variables))
    asked = frozenset(leaf.name for leaf in question.kept if type(leaf) is Leaf)
    stores = find_stores(system, roots, asked, agents)
    nexts = put_in(terms, tuple(variable.next for variable in variables), stores.replaced)
    variables = tuple(variable._replace(next=node) for variable, node in zip(variables, nexts))
    return _Model(variables, needed, put_in(terms, conditions, stores.replaced),
                  put_in(terms, assumptions, stores.replaced), stores, agents)


def _conjuncts(conditions: tuple[Node, ...]) -> tuple[Node, ...]:
    return tuple(part for condition in conditions
                 for part in (condition.args if type(condition) is And else (condition,)))


def _packed(leaves: list[Node]) -> tuple[dict[Node, int], dict[Node, int]]:
    """The shift and the mask of each leaf, one above the other."""
    shifts, masks, top = {}, {}, 0
    for leaf in leaves:
        shifts[leaf] = top
        masks[leaf] = ((1 << leaf.width) - 1) << top
        top += leaf.width
    return shifts, masks
