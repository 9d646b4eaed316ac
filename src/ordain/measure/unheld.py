"""What goes on while the clock is held and has a part in where control goes: a time-out that forces a jump. Cycles are
counted as if nothing ever held the clock, so what comes of that alone is in no count."""

from ordain.control.model import System
from ordain.machine.expression import Leaf, Node, leaves
from ordain.machine.model import Machine


def goes_on_while_held(held: Machine, system: System) -> tuple[str, ...]:
    """The states that count, or remember, in every phase, and on which an address hangs; in the order of the machine.
    `system`: the same machine with a clock that nothing holds."""
    free = system.contents.machine
    if held.clock is None or held.clock.held is None:
        return ()
    reached = _behind(system)
    return tuple(name for name, state in held.states.items()
                 if name in reached and state.next is free.states[name].next and name != held.clock.name
                 and _remembers(name, state.next))


def _remembers(name: str, following: Node) -> bool:
    """It was declared, becomes something that hangs on what it was, and waits for no clock of its own: what does may go
    on as often as it likes, held or not."""
    seen = {leaf.name for leaf in leaves((following,))}
    return " " not in name and not isinstance(following, Leaf) and name in seen and not any(
        one.endswith(".waits") for one in seen)


def _behind(system: System) -> frozenset[str]:
    """The names of all variables on which the addresses of the stores hang, over any number of cycles."""
    following = {variable.leaf: variable.next for variable in system.variables}
    found: set[str] = set()
    waiting: list[Node] = list(system.addresses.values())
    while waiting:
        for leaf in leaves((waiting.pop(),)):
            if leaf in following and leaf.name not in found:
                found.add(leaf.name)
                waiting.append(following[leaf])
    return frozenset(found)
