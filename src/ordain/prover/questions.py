"""From a property as written to one over the leaves of the system; what it asks, as a list of terms."""

from ordain.control.model import System, Variable
from ordain.control.system import prior_leaves, prior_variable
from ordain.machine.expression import Node, postorder, substitute
from ordain.prover.model import Property


def lower_properties(system: System, properties: tuple[Property, ...]) -> tuple[Property, ...]:
    """The same properties over the system's leaves; the variables that remember `Prior` are added to their monitors."""
    terms = system.terms
    asked = [nodes_of(prop) for prop in properties]
    every = tuple(node for nodes in asked for node in nodes)
    remembered = prior_leaves(every, terms, "prior in a property", system.lowering)
    lowering = {**system.lowering, **dict(remembered)}
    priors = [prior_variable(prior, leaf, terms) for prior, leaf in remembered]
    priors = [prior._replace(next=node) for prior, node in
              zip(priors, substitute(terms, tuple(prior.next for prior in priors), lowering))]
    result = []
    for prop, nodes in zip(properties, asked):
        lowered = iter(substitute(terms, nodes, lowering))
        monitors = [monitor._replace(next=next(lowered)) for monitor in prop.monitors]
        node, trigger, unless, vacuity = (None if old is None else next(lowered) for old in
                                          (prop.node, prop.trigger, prop.unless, prop.vacuity))
        assert node is not None
        used = [entry for entry in (node, trigger, unless, vacuity) if entry is not None]
        monitors += _needed(priors, [*used, *(monitor.next for monitor in monitors)])
        result.append(prop._replace(node=node, trigger=trigger, unless=unless, vacuity=vacuity,
                                    monitors=tuple(monitors)))
    return tuple(result)


def nodes_of(prop: Property) -> tuple[Node, ...]:
    """The next values of its monitors, then its conditions."""
    conditions = (prop.node, prop.trigger, prop.unless, prop.vacuity)
    return (*(monitor.next for monitor in prop.monitors), *(node for node in conditions if node is not None))


def _needed(variables: list[Variable], roots: list[Node]) -> list[Variable]:
    """Those variables that the roots read, through one another too."""
    by_leaf = {variable.leaf: variable for variable in variables}
    found: set[Node] = set()
    pending = roots
    while pending:
        new = [node for node in postorder(pending) if node in by_leaf and node not in found]
        found.update(new)
        pending = [by_leaf[node].next for node in new]
    return [variable for variable in variables if variable.leaf in found]
