"""Stores: how they are addressed, and which parts of the address have a role."""

from typing import Literal, NamedTuple

from ordain.language import tree
from ordain.machine import model
from ordain.machine.context import bits, short
from ordain.machine.control import hardware
from ordain.machine.declare import StoreText
from ordain.machine.expression import Leaf, Node, Not, Slice, Terms, leaves
from ordain.machine.lines import address_lines, computed_by_lines, gates_as_choices, over
from ordain.machine.lowering import Lowering
from ordain.text.findings import Place, error

MOST_ADDRESS_BITS = 24


class Addressed(NamedTuple):
    """A store whose address is settled; `address` None: broken."""

    text: StoreText
    address: Node | None


def address_of(text: StoreText, lowering: Lowering) -> Addressed:
    """Lower the address and hold it against the number of words."""
    store = text.store
    if store.address is None:
        lowering.findings.append(error(
            "no-address", f"nothing says how `{store.name.text}` is addressed", store.span, "no `address` line",
            help="add a line `address ...` below it, such as `address upc`"))
        return Addressed(text, None)
    node = hardware(lowering.node(store.address), store.address.span, lowering)
    if node is None or lowering.scope.entries[store.name.text].broken:
        return Addressed(text, None)
    if node.width > MOST_ADDRESS_BITS:
        lowering.findings.append(error(
            "bad-size", f"an address of {bits(node.width)}: the limit is {MOST_ADDRESS_BITS}", store.address.span,
            "too many address lines", help="name only the lines that reach the chips"))
        return Addressed(text, None)
    if store.words.value > 1 << node.width:
        lowering.findings.append(error(
            "width-mismatch", f"an address of {bits(node.width)} reaches {1 << node.width} words, and "
            f"`{store.name.text}` has {store.words.value}", store.address.span, bits(node.width),
            help=f"correct the number of words, or address it with {bits((store.words.value - 1).bit_length())}"))
        return Addressed(text, None)
    return Addressed(text, node)


def store_model(stored: Addressed, fields: tuple[str, ...], word_bits: int, lowering: Lowering) -> model.Store:
    """The store with its roles. A broken address is stood in for by a free one, so that later stages can go on."""
    store, terms = stored.text.store, lowering.terms
    entry = lowering.scope.entries[store.name.text]
    words = 1 if entry.broken else store.words.value
    needed = max(1, (words - 1).bit_length())
    address = stored.address
    sound = address is not None
    if address is None:
        address = terms.leaf("free", f"address of {entry.name}", needed)
    fill = _fill(store, bool(fields) or bool(stored.text.broken), lowering)
    wired = store.starts_at is not None  # then the opcode reaches the address by that, and not as lines of its own
    instruction = None if wired else _role(store.instruction, "instruction", address, sound, lowering)
    step = _role(store.step, "step", address, sound, lowering)
    opcode_width, opcode, starts_at = 0, None, None
    if store.starts_at is not None:
        opcode, starts_at = _starts_at(store, store.starts_at, address.width if sound else None, lowering)
        opcode_width = opcode.width if opcode is not None else 0
    elif instruction is not None:
        opcode_width = instruction[0] - instruction[1] + 1
    elif fill == "start":
        instruction, opcode_width = (address.width - 1, 0), address.width
        if sound and store.address is not None:
            _opcode_as_it_is(store.name.text, store.address, address, lowering)
    computed = _computed(store, address, word_bits, sound, lowering) if fill == "computed" else None
    if store.word is None:          # the roles are parts of the address as it is said
        address = gates_as_choices(terms, address)
    return model.Store(entry.name, words, word_bits, address, address.width, fill, computed, instruction, step,
                       opcode_width, opcode, starts_at, store.unused, fields, store.span,
                       () if step is None else _steps(store, step, instruction, lowering))


def _fill(store: tree.Store, has_fields: bool,
          lowering: Lowering) -> Literal["microprogram", "start", "computed", "map"]:
    if isinstance(store.word, tree.StartOfInstruction):
        return "start"
    if store.word is not None:
        return "computed"
    if has_fields:
        return "microprogram"
    microprogrammed = store.step or store.starts_at or store.unused is not None
    if microprogrammed:
        lowering.findings.append(error(
            "no-fields", f"the word of `{store.name.text}` is not described", store.span, "no field below this line",
            help="add `field` lines, before the next `store`: they belong to the one above them; for a store filled by "
                 "a `map` leave `step`, `starts at` and `unused` out"))
        return "microprogram"
    return "map"


# ---------------------------------------------------------------- address lines


def _computed(store: tree.Store, address: Node, word_bits: int, sound: bool, lowering: Lowering) -> Node | None:
    assert store.word is not None and not isinstance(store.word, tree.StartOfInstruction)
    node = lowering.node(store.word, word_bits)
    if node is None or not sound:
        return None
    _, missing = computed_by_lines(lowering.terms, store.name.text, address, node)
    if missing:
        names = ", ".join(f"`{leaf.name}`" for leaf in missing)
        lowering.findings.append(error(
            "not-in-address", f"the word of `{store.name.text}` depends on {names}, and its address does not carry "
            "all of that", store.word.span, "a chip knows nothing but its address",
            help="add the missing lines to the address, or leave them out of the word"))
        return None
    return node


def _role(part: tree.Expr | None, role: str, address: Node, sound: bool, lowering: Lowering) -> tuple[int, int] | None:
    """(high, low) of the address bits that carry the lines of `part`, as many of them as the address has."""
    if part is None:
        return None
    node = hardware(lowering.node(part), part.span, lowering)
    if node is None or not sound:
        return None
    lines = address_lines(lowering.terms, address)
    carried = [(bit, lines[line]) for bit in range(node.width)
               if (line := lowering.terms.slice(node, bit, bit)) in lines]
    turned = next((line for bit in reversed(range(node.width)) if (line := lowering.terms.slice(node, bit, bit))
                   not in lines and lowering.terms.not_(line) in lines), None)
    steps = {place - bit for bit, place in carried}
    if turned is None and len(steps) == 1 and carried[-1][0] - carried[0][0] == len(carried) - 1:
        return carried[-1][1], carried[0][1]
    lowering.findings.append(error(
        "not-in-address", f"`{short(part.span)}` has the role `{role}`, and its lines do not stand side by side "
        "in the address", part.span, "none of its lines" if not carried else "its lines are scattered"
        if turned is None else f"`{said_line(turned)}` is turned there",
        help="name a part of the address; order its lines in the `address` line and swap or turn them in the chip's"))
    return None


def _opcode_as_it_is(store: str, said: tree.Expr, address: Node, lowering: Lowering) -> None:
    """Refuses a whole address as the opcode where its lines are another number than what they come from: turned, or
    those of one register in another order. Nobody could say which of the two numbers an instruction is called by."""
    lines = [lowering.terms.slice(address, bit, bit) for bit in reversed(range(address.width))]
    before: dict[Node, int] = {}
    for line in lines:
        turned = isinstance(line, Not) and isinstance(line.args[0], Leaf | Slice)
        plain = line.args[0] if turned else line
        whole, bit = (plain.args[0], plain.low) if isinstance(plain, Slice) else (plain, 0)
        if turned or (isinstance(whole, Leaf) and before.get(whole, bit + 1) <= bit):
            lowering.findings.append(error(
                "not-in-address", f"the opcode is the address of `{store}`, and `{said_line(plain)}` reaches it "
                f"{'turned' if turned else 'in another order'}", said.span,
                "is an instruction called by these lines, or by what they come from?",
                help="write the opcode as the machine has it, the highest bit first, and swap or turn lines in the "
                     "chips' `address` lines"))
            return
        before[whole] = bit


def said_line(line: Node) -> str:
    """One line of something, as the file calls it."""
    if isinstance(line, Slice) and isinstance(line.args[0], Leaf):
        return f"{line.args[0].name}[{line.low}]"
    return line.name if isinstance(line, Leaf) else "a line"


def _steps(store: tree.Store, step: tuple[int, int], instruction: tuple[int, int] | None,
           lowering: Lowering) -> tuple[int, ...]:
    """The numbers that the step goes through: those that are said, else all of them, upwards."""
    count = 1 << step[0] - step[1] + 1
    first: dict[int, tree.Number] = {}
    for number in store.steps:
        if number.value >= count:
            lowering.findings.append(error(
                "too-wide", f"step {number.value} needs {bits(number.value.bit_length())}, and the steps of "
                f"`{store.name.text}` have {bits(step[0] - step[1] + 1)}", number.span, f"more than {count - 1}",
                help="correct the number"))
        elif first.setdefault(number.value, number) is not number:
            lowering.findings.append(error(
                "said-twice", f"step {number.value} is said twice", number.span, "the second time",
                places=(Place(first[number.value].span, "the first time"),),
                help="each number once: a step that comes again is no other place in the store"))
    if first and instruction is None:
        lowering.findings.append(error(
            "no-steps", f"the words of `{store.name.text}` do not stand at steps", store.steps[0].span,
            "no instruction has them", help="say `instruction` and that part of the address as well; without opcodes, "
            "put each word `at` its address"))
        return ()
    return tuple(first) or tuple(range(count))


def _starts_at(store: tree.Store, expr: tree.Expr, want: int | None,
               lowering: Lowering) -> tuple[Node | None, Node | None]:
    """What holds the opcode, and the start address over an `opcode` leaf of that width; None where there is a fault.

    The opcode is what the store's `instruction` line says, else the one thing that the start address depends on."""
    terms = lowering.terms
    node = hardware(lowering.node(expr, want), expr.span, lowering)
    said = store.instruction
    held = hardware(lowering.node(said), said.span, lowering) if said is not None else None
    if node is None or (said is not None and held is None):
        return None, None
    sources: list[Leaf] = leaves([node])
    if said is None and len(sources) == 1:
        held = sources[0]
    if held is None or not _holds(terms, held):
        found = ", ".join(f"`{leaf.name}`" for leaf in sources) or "nothing"
        lowering.findings.append(error(
            "wrong-kind", f"`starts at` must depend on the opcode alone, and it depends on {found}" if said is None else
            f"`{short(said.span)}` holds no opcode", (said or expr).span,
            "one register or state is wanted here, or bits of one",
            help="name what holds the opcode, and nothing else; where the opcode is a part of it, say so in a line of "
                 "its own, such as `instruction ir[7:4]`"))
        return None, None
    opcode = terms.leaf("opcode", held.name if isinstance(held, Leaf) else store.name.text, held.width)
    wired, missing = over(terms, opcode, held, node)
    if wired is None or not leaves([wired]):
        other = ", ".join(f"bits of `{leaf.name}`" for leaf in missing) or "nothing"
        lowering.findings.append(error(
            "wrong-kind", f"`starts at` must depend on the opcode alone, and it depends on {other}", expr.span,
            "not a part of the opcode", help="name the same bits in both lines"))
        return None, None
    return held, wired


def _holds(terms: Terms, node: Node) -> bool:
    """Whether a term is lines of something that may hold an opcode, none of them twice."""
    lines = [terms.slice(node, bit, bit) for bit in range(node.width)]
    return len(set(lines)) == len(lines) and all(
        isinstance(line, Leaf | Slice) and {leaf.kind for leaf in leaves([line])} <= {"state", "register"}
        for line in lines)
