"""States, registers, inputs and conditions: what remembers, and what comes from outside."""

from collections.abc import Set

from ordain.language import tree
from ordain.machine import model
from ordain.machine.context import ANY_WIDTH, bits
from ordain.machine.expression import Among, Const, If, Leaf, Node, Prior, leaves, postorder
from ordain.machine.lines import gates_as_choices
from ordain.machine.lowering import Lowering
from ordain.machine.names import ANY_CODES, Codes
from ordain.text.findings import Place, error
from ordain.text.source import Span
from ordain.text.spelling import nearest


def hardware(node: Node | None, span: Span, lowering: Lowering, labels: bool = False) -> Node | None:
    """`node` if hardware can compute it: it looks back no cycle and knows no labels (unless `labels` allows them)."""
    for part in postorder([node]) if node is not None else ():
        if isinstance(part, Prior):
            _report_prior(span, lowering)
            return None
        if isinstance(part, Leaf) and part.kind in ("at", "in") and not labels:
            lowering.findings.append(error(
                "label-in-hardware", f"hardware knows no labels, and this would depend on `{part.kind} {part.name}`",
                span, "`at` and `in` are for rules, `keep`, `assume`, `strobe`, `steady` and `exclusive`",
                help="set a field in those words and read that, or compare the state that forms the address"))
            return None
    return node


def _report_prior(span: Span, lowering: Lowering) -> None:
    lowering.findings.append(error(
        "prior-in-hardware", "`prior` looks one cycle back, and hardware remembers only what it stores", span,
        "`prior` is for rules, `keep`, `assume`, `strobe` and `exclusive`",
        help="declare a `state` that takes the value as its `next`, and read that"))


def state_model(state: tree.State, agent: str, lowering: Lowering) -> model.State:
    """The state with its next value. A broken one is stood in for by a free value."""
    name = f"{agent}.{state.name.text}" if agent else state.name.text
    entry = lowering.scope.entries[name]
    next_node: Node | None = None
    if state.next is None:
        lowering.findings.append(error(
            "no-next", f"nothing says what becomes of `{name}` at the end of a cycle", state.span, "no `next` line",
            help=f"add a line `next ...` below it; `next {state.name.text}` if it never changes"))
    elif entry.broken:
        lowering.node(state.next, ANY_WIDTH, ANY_CODES, agent)
    else:
        next_node = hardware(lowering.node(state.next, entry.width, entry.codes, agent), state.next.span, lowering)
        if next_node is not None and next_node.width > 1:       # what one flip-flop takes is no choice between values
            next_node = gates_as_choices(lowering.terms, next_node)
        if next_node is not None and entry.codes is not None:
            _check_closed(next_node, entry.codes, name, state.next.span, lowering)
    if next_node is None:
        next_node = lowering.terms.leaf("free", f"next {name}", entry.width)
    return model.State(name, entry.width, tuple(entry.codes.values) if entry.codes else (),
                       _reset(state.reset, name, entry.width, entry.codes, lowering), next_node, agent, state.span)


def _check_closed(node: Node, codes: Codes, name: str, span: Span, lowering: Lowering) -> None:
    """Report a next value that could be none of the codes."""
    count = len(codes.values)
    if count == 1 << codes.width:
        return
    stack, seen = [node], set()
    while stack:
        part = stack.pop()
        if part in seen:
            continue
        seen.add(part)
        if isinstance(part, If):
            stack.extend(part.args[1:] if not _guarded(part, count) else part.args[2:])
        elif not (isinstance(part, Const) and part.value < count) and not _is_coded(part, count, lowering):
            lowering.findings.append(error(
                "not-a-code", f"`{name}` could become a value that is none of its codes", span,
                f"its {count} codes do not use up {bits(codes.width)}",
                help="choose among the names of its codes"))
            return


def _guarded(node: If, count: int) -> bool:
    """`x if x in (codes) else ...`, the form that `choose` makes for codes that nobody defined."""
    condition, yes, _ = node.args
    return isinstance(condition, Among) and condition.args[0] is yes and max(condition.values) < count


def _is_coded(node: Node, count: int, lowering: Lowering) -> bool:
    """A state or input with at most as many codes, none of whose other values ever occur."""
    entry = lowering.scope.entries.get(node.name.removesuffix(" kept")) if isinstance(node, Leaf) else None
    return (entry is not None and isinstance(node, Leaf) and node.kind in ("state", "input")
            and entry.codes is not None and entry.codes.closed and len(entry.codes.values) <= count)


def _reset(reset: tree.Number | tree.Word | None, name: str, width: int, codes: Codes | None,
           lowering: Lowering) -> int | None:
    if reset is None:
        return None
    entry = lowering.scope.entries.get(name)
    broken = entry is None or entry.broken
    if isinstance(reset, tree.Number):
        value: int | None = reset.value
    elif codes is not None and reset.text in codes.values:
        value = codes.values[reset.text]
    else:
        constant = lowering.scope.entries.get(reset.text)
        value = constant.number if constant is not None and constant.kind == "constant" else None
        if constant is not None and constant.broken:
            return None
        if constant is None or constant.kind != "constant":
            close = nearest(reset.text, codes.values if codes else ())
            if not broken:
                lowering.findings.append(error(
                    "unknown-code", f"`{name}` has no code `{reset.text}` to start from", reset.span, "unknown",
                    help=f"did you mean `{close}`?" if close else "write a number, one of its codes, or `any`"))
    if value is None or broken:
        return None
    if value >> width or (codes is not None and codes.closed and value >= len(codes.values)):
        limit = len(codes.values) - 1 if codes is not None and codes.closed else (1 << width) - 1
        lowering.findings.append(error(
            "too-wide", f"`{name}` cannot start from {value}", reset.span, f"more than {limit}",
            help="correct the number, or widen the state"))
        return None
    return value


def register_model(register: tree.Register, lowering: Lowering) -> model.Register:
    """The register or latch with its loads. A broken condition is left out; a broken source is unspecified."""
    name = register.name.text
    entry = lowering.scope.entries[name]
    want = ANY_WIDTH if entry.broken else entry.width
    loads = []
    for load in register.loads:
        source = None if load.source is None else hardware(lowering.node(load.source, want), load.source.span, lowering)
        when = hardware(lowering.condition(load.when), load.when.span, lowering)
        if when is not None:
            loads.append(model.Load(source and gates_as_choices(lowering.terms, source), when))
    return model.Register(name, entry.width, tuple(loads), _reset(register.reset, name, entry.width, None, lowering),
                          register.transparent, register.span)


def input_model(declared: tree.Declared, agent: str, lowering: Lowering) -> model.Input:
    name = f"{agent}.{declared.name.text}" if agent else declared.name.text
    entry = lowering.scope.entries[name]
    return model.Input(name, entry.width, tuple(entry.codes.values) if entry.codes else (), agent, declared.span)


def condition_model(condition: tree.Condition, lowering: Lowering) -> model.Condition:
    name = condition.name.text
    entry = lowering.scope.entries[name]
    value = None
    if condition.value is not None:
        want = ANY_WIDTH if entry.broken else entry.width
        value = hardware(lowering.node(condition.value, want), condition.value.span, lowering)
    return model.Condition(name, entry.width, value, condition.span)


# ---------------------------------------------------------------- circles through stores, conditions and latches


def find_loops(addresses: dict[str, Node | None], conditions: dict[str, model.Condition],
               registers: dict[str, model.Register], fields: dict[str, model.Field], lowering: Lowering) -> set[str]:
    """Report each circle through the address of a store or the value of a condition, open latches on the way; ->
    stores on circles.

    Circles among signals alone have been found while they were lowered; a latch that feeds itself past every store is
    a race, which is told with the sequence that opens it."""
    values = {name: [] if one.value is None else [one.value] for name, one in conditions.items()}
    formed = {name: [] if node is None else [node] for name, node in addresses.items()}
    latches = {name: [node for load in one.loads for node in (load.when, load.source) if node is not None]
               for name, one in registers.items() if one.transparent}
    known = formed.keys() | values.keys()
    below = {name: _feeds(nodes, known, fields) for name, nodes in values.items()}
    below.update((name, _feeds(nodes, known | latches.keys(), fields)) for name, nodes in (formed | latches).items())
    looping: set[str] = set()
    for name in (*formed, *values):
        loop = _way_back(name, below)
        if loop and looping.isdisjoint(loop):
            _report_loop(loop, below, lowering)
        looping.update(loop)
    return looping & addresses.keys()


def find_memory_loops(memories: dict[str, model.Memory], stores: dict[str, model.Store],
                      conditions: dict[str, model.Condition], fields: dict[str, model.Field],
                      lowering: Lowering) -> set[str]:
    """Report each circle on which the word of a memory is a part of its own address, other memories, stores and
    conditions on the way; -> memories on circles."""
    nodes: dict[str, Node | None] = {name: memory.address for name, memory in memories.items()}
    nodes.update((name, store.address) for name, store in stores.items())
    nodes.update((name, condition.value) for name, condition in conditions.items())
    below = {name: _feeds([] if node is None else [node], nodes.keys(), fields) for name, node in nodes.items()}
    looping: set[str] = set()
    for name in memories:
        loop = _way_back(name, below)
        if loop and looping.isdisjoint(loop):
            _report_loop(loop, below, lowering)
        looping.update(loop)
    return looping & memories.keys()


def _way_back(start: str, below: dict[str, dict[str, str]]) -> list[str]:
    """A shortest circle from a name back to it; empty when there is none."""
    paths = {start: [start]}
    for name in (waiting := [start]):  # the list grows behind its reader: breadth first
        for following in below[name]:
            if following == start:
                return paths[name]
            if following not in paths:
                paths[following] = [*paths[name], following]
                waiting.append(following)
    return []


def _feeds(nodes: list[Node], known: Set[str], fields: dict[str, model.Field]) -> dict[str, str]:
    """Stores, memories, conditions and latches that the values depend on in the same cycle -> what is read of them."""
    feeds: dict[str, str] = {}
    for leaf in leaves(nodes):
        if leaf.kind == "field" and leaf.name in fields:
            feeds.setdefault(fields[leaf.name].store, leaf.name)
        elif leaf.kind in ("word", "free", "condition", "register") and leaf.name in known:
            feeds.setdefault(leaf.name, leaf.name)
    return feeds


def _report_loop(loop: list[str], below: dict[str, dict[str, str]], lowering: Lowering) -> None:
    entries = lowering.scope.entries
    latches = [name for name in loop if entries[name].kind == "register"]
    steps = []
    for name, following in zip(loop, [*loop[1:], loop[0]]):
        read = below[name][following]
        what = f"the address of `{name}`" if entries[name].kind in ("store", "memory") else f"`{name}`"
        steps.append(f"{what} reads `{read}`" + (f" of `{following}`" if read != following else ""))
    lowering.findings.append(error(
        "combinational-loop", f"a circle without a flip-flop: {', '.join(steps)}", entries[loop[0]].span,
        "the circle begins and ends here",
        places=tuple(Place(entries[name].span, "on the circle") for name in loop[1:]),
        help="put a `state` between the word and the address that it forms" if not latches else
        f"where `{latches[0]}` is closed while the others are open, write it as a `register` or `state` that takes its "
        "value when they close: what it shows while it is open is that"))


