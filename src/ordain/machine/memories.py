"""Memories, and what of the machine a programmer can see."""

from ordain.language import tree
from ordain.machine import model
from ordain.machine.context import bits
from ordain.machine.control import hardware
from ordain.machine.expression import Node
from ordain.machine.lowering import Lowering
from ordain.machine.names import ARTICLE, unknown
from ordain.text.findings import Place, error

MOST_ADDRESS_BITS = 32
_SEEN = ("register", "state", "memory")


def memory_model(memory: tree.Memory, lowering: Lowering) -> model.Memory | None:
    """The memory; None where its size or its address is broken, which has been reported."""
    entry = lowering.scope.entries[memory.name.text]
    address = _address(memory, lowering)
    want, writes = None if entry.broken else entry.width, []
    for write in memory.writes:
        source = hardware(lowering.node(write.source, want), write.source.span, lowering)
        when = hardware(lowering.condition(write.when), write.when.span, lowering)
        if source is not None and when is not None:
            writes.append(model.Write(source, when))
    offset = memory.offset.value if memory.offset is not None else 0
    if memory.offset is not None and offset >= memory.words.value:
        lowering.findings.append(error(
            "too-wide", f"`{entry.name}` has {memory.words.value} words", memory.offset.span, "beyond the last of them",
            help="correct the address at which the file begins"))
    if address is None or entry.broken:
        return None
    return model.Memory(entry.name, memory.words.value, entry.width, address, tuple(writes), memory.holds or "", offset,
                        memory.span)


def _address(memory: tree.Memory, lowering: Lowering) -> Node | None:
    name = memory.name.text
    if memory.address is None:
        lowering.findings.append(error(
            "no-address", f"nothing says how `{name}` is addressed", memory.span, "no `address` line",
            help="add a line `address ...` below it, such as `address address[10:0]`"))
        return None
    node = hardware(lowering.node(memory.address), memory.address.span, lowering)
    if node is None:
        return None
    if node.width > MOST_ADDRESS_BITS:
        lowering.findings.append(error(
            "bad-size", f"an address of {bits(node.width)}: the limit is {MOST_ADDRESS_BITS}", memory.address.span,
            "too many address lines", help="name only the lines that reach the chips"))
        return None
    if memory.words.value > 1 << node.width:
        lowering.findings.append(error(
            "width-mismatch", f"an address of {bits(node.width)} reaches {1 << node.width} words, and `{name}` has "
            f"{memory.words.value}", memory.address.span, bits(node.width),
            help=f"correct the number of words, or address it with {bits((memory.words.value - 1).bit_length())}"))
        return None
    return node


def visible_names(statements: list[tree.Visible], lowering: Lowering) -> tuple[str, ...]:
    """What the `visible` lines name, in their order."""
    found: dict[str, tree.Word] = {}
    for word in (word for statement in statements for word in statement.names):
        entry = lowering.scope.entries.get(word.text)
        if entry is None:
            lowering.findings.append(unknown(
                word.text, [name for name, other in lowering.scope.entries.items() if other.kind in _SEEN], word.span,
                "register, state or memory"))
        elif entry.kind not in _SEEN:
            lowering.findings.append(error(
                "wrong-kind", f"`{word.text}` is {ARTICLE[entry.kind]}, and a programmer sees what is stored",
                word.span, "stores nothing", places=(Place(entry.span, "declared here"),),
                help="name a register, a latch, a state or a memory"))
        elif word.text in found:
            lowering.findings.append(error(
                "said-twice", f"`{word.text}` is named twice", word.span, "the second time",
                places=(Place(found[word.text].span, "the first"),), help="keep one of them"))
        found.setdefault(word.text, word)
    return tuple(name for name in found if name in lowering.scope.entries)

