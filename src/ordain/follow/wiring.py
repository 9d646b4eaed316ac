"""Single faults of the board beside its chips: of inputs, of synchronisers, and of the clips that look at it.

An input may be stuck, or come inverted, where the machine takes it; a clip at the input itself sees what it is. A state
that does nothing but delay a line by one cycle may be missing, so that the machine sees the line at once. A clip may be
off, two may be exchanged: then the board is sound, and other lines were seen than is said.
"""

from collections.abc import Iterator, Sequence

from ordain.control.model import System
from ordain.follow.model import Fault, with_bit
from ordain.machine.expression import Leaf, Node, Slice


def wiring_faults(system: System) -> Iterator[Fault]:
    """Every bit of the machine's own inputs stuck or inverted, and every synchroniser left out."""
    machine, terms = system.contents.machine, system.terms
    for one in machine.inputs.values():
        if one.agent:
            continue
        leaf = terms.leaf("input", one.name, one.width)
        for bit in range(one.width):
            name = f"{one.name}[{bit}]" if one.width > 1 else one.name
            for level in (0, 1):
                yield Fault("input", f"{name} stays at {level}",
                            inside=((leaf, with_bit(terms, leaf, bit, terms.const(level, 1))),))
            turned = terms.not_(terms.slice(leaf, bit, bit))
            yield Fault("input", f"{name} comes inverted", inside=((leaf, with_bit(terms, leaf, bit, turned)),))
    for variable in system.variables:
        if variable.name in machine.states and not machine.states[variable.name].agent and _delays(variable.next):
            yield Fault("synchroniser", f"{variable.name} left out, {_told(variable.next)} passes at once",
                        inside=((variable.leaf, variable.next),))


def clip_faults(names: Sequence[str]) -> Iterator[Fault]:
    """Every clip off, and every two exchanged. `names`: of the lines, in their order."""
    for line, name in enumerate(names):
        yield Fault("clip", f"the clip at {name} sees something else", clips=((line, None),))
    for line, name in enumerate(names):
        for other in range(line + 1, len(names)):
            yield Fault("clip", f"the clips at {name} and {names[other]} are exchanged",
                        clips=((line, other), (other, line)))


def _delays(node: Node) -> bool:
    """A line of one bit that comes from outside, or from another flip-flop."""
    inner = node.args[0] if isinstance(node, Slice) else node
    return node.width == 1 and isinstance(inner, Leaf) and inner.kind in ("input", "state")


def _told(node: Node) -> str:
    if isinstance(node, Slice):
        return f"{_told(node.args[0])}[{node.low}]"
    assert isinstance(node, Leaf)
    return node.name
