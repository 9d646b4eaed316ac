"""What registers hold after a cycle, and which of them are followed.

A register is *followed*, thus a variable, when something other than a load's source reads it, or when a followed
register loads from it, through any number of registers. Sums of more than `WIDEST_SUM` bits over registers that only
loads read are where this ends: a program counter that is copied into an address register, one bit of which selects a
chip, would otherwise multiply everything by its 65,536 values. Such a sum may be anything.
"""

from collections.abc import Iterable

from ordain.control.model import Trace
from ordain.machine.expression import Add, Leaf, Node, Not, Sub, Terms, postorder, substitute
from ordain.machine.model import Machine, Register

WIDEST_SUM = 8
"""Bits of the widest sum or difference that is followed where nothing but loads reads the registers in it."""

_SUM = " loaded, sum "


def sums_taken(trace: Trace) -> tuple[str, ...]:
    """The registers that load a sum that is not followed, on the way of a trace, where its value makes a difference."""
    return tuple(sorted({name.partition(_SUM)[0] for cycle in trace.cycles for name in cycle.matters if _SUM in name}))


def registers_read(nodes: Iterable[Node]) -> set[str]:
    return {node.name for node in postorder(nodes) if type(node) is Leaf and node.kind == "register"}


def followed_registers(machine: Machine, read: Iterable[Node]) -> dict[str, Register]:
    """Those that are variables, with loads of which every source is followed as far as it goes, in the order of the
    text. `read`: every expression of the machine but for what registers load. A load's `when` counts as read."""
    direct = registers_read(read) & machine.registers.keys()
    found: dict[str, Register] = {}
    waiting = direct
    while waiting:
        new = {name: _without_wide_sums(machine.registers[name], direct, machine.terms) for name in waiting}
        found.update(new)
        sources = [load.source for register in new.values() for load in register.loads if load.source is not None]
        waiting = (registers_read(sources) & machine.registers.keys()) - found.keys()
    return {name: found[name] for name in machine.registers if name in found}


def _without_wide_sums(register: Register, direct: set[str], terms: Terms) -> Register:
    sources = [load.source for load in register.loads if load.source is not None]
    wide = [node for node in postorder(sources) if type(node) in (Add, Sub) and node.width > WIDEST_SUM
            and registers_read((node,)) - direct]
    anything = {node: terms.leaf("free", f"{register.name}{_SUM}{number}", node.width)
                for number, node in enumerate(wide, 1)}
    return register._replace(loads=tuple(
        load if load.source is None else load._replace(source=substitute(terms, (load.source,), anything)[0])
        for load in register.loads))


def after_loads(register: Register, held: Node, terms: Terms) -> Node:
    """What a register holds after a cycle before which it was `held`, over the machine's own leaves. A source that is
    not described is anything; so is what two different sources leave that are loaded at once."""
    anything = terms.leaf("free", f"{register.name} loaded", register.width)
    unknown = terms.leaf("free", f"{register.name} loaded twice", register.width)
    loads = [(anything if load.source is None else load.source, load.when) for load in register.loads]
    result = held
    for source, when in loads:
        result = terms.if_(when, source, result)
    for index, (source, when) in enumerate(loads):
        for other, at_once in loads[:index]:
            if other is not source and not _opposite(when, at_once):
                result = terms.if_(terms.and_((when, at_once)), unknown, result)
    return result


def _opposite(a: Node, b: Node) -> bool:
    return (type(a) is Not and a.args[0] is b) or (type(b) is Not and b.args[0] is a)
