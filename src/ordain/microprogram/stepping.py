"""Which words must follow each other in the store, read from the machine's own expressions.

No machine is a special case: the next value of every state and register is worked out as far as a word's own bits
decide it, and where "the present address plus k" is still there, the k following words must stand in a row with it.
"""

from collections.abc import Collection, Iterable, Sequence
from typing import NamedTuple

from ordain.machine.expression import (
    Add,
    Const,
    If,
    Leaf,
    Node,
    Terms,
    leaves,
    postorder,
    substitute,
)
from ordain.machine.leads import choices
from ordain.machine.model import Machine, Store
from ordain.microprogram.bused import over_a_bus
from ordain.microprogram.carry import counted_width
from ordain.microprogram.formed import formed
from ordain.microprogram.layout import Layout
from ordain.microprogram.model import Microinstruction
from ordain.microprogram.sums import address_parts, carriers, counted, offsets, sum_widths, sums, sums_back
from ordain.microprogram.survey import written_in_fields
from ordain.text.findings import Finding, Severity, error

_MOST_LATER = 8
"""What is added to a kept address before it is presented. More is that of a register that counts on and on."""


class Counter(NamedTuple):
    """How a store's address counts. `following`: the expressions of the state that decides the next address (after
    `delay` cycles it is presented); `others`: all other expressions in which the address plus something may be kept.
    `place`: what counts up. `bits`: the word's bits that matter for them. `width`: low address bits that count.
    `fields`: the field leaves to be replaced."""

    delay: int
    following: tuple[Node, ...]
    others: tuple[Node, ...]
    place: tuple[Node, ...]
    bits: int
    width: int
    fields: tuple[Leaf, ...]


class Steps(NamedTuple):
    """By how much the address may be counted up from a word: on the way to the next word, and to be kept (the return
    address of a call). `back`: by how much it may be counted down on the way to the next one."""

    on: tuple[int, ...]
    kept: tuple[int, ...]
    back: tuple[int, ...] = ()


NO_STEPS = Steps((), ())


def counter_of(machine: Machine, store: Store, layout: Layout) -> tuple[Counter | None, list[Finding]]:
    """How a store counts; None where nothing ever counts its address up."""
    terms = machine.terms
    presented = carriers(store.address)
    if (bused := over_a_bus(machine, store, presented)) is not None:
        return None, [bused]
    ahead = running_ahead(machine, presented)
    delay = 0
    place: tuple[Node, ...] = presented

    def in_fields(nodes: Iterable[Node], at: Sequence[Node]) -> list[Node]:
        """What counts, as far as words decide about it by the bits of the whole word, computed fields or decoders."""
        return [written_in_fields(machine, layout.fields, node) if counted(terms, (node,), at) else node
                for node in nodes]

    def becomes(decide: Sequence[Leaf]) -> list[Node]:
        return in_fields(_deciding(machine, decide, ahead), decide)

    chosen = formed(machine, store.address, presented)
    if chosen is None:
        deciding = becomes(presented)
    else:
        place = (chosen.place,)
        deciding = in_fields((chosen.following,), place)
    while not counted(terms, deciding, place) and delay < len(machine.states):
        before = _only_source(deciding, place if machine.steps == 1 else ())    # held, and not in another phase
        if before is None or before in place:
            break
        delay, place, chosen = delay + 1, (before,), None
        deciding = becomes(place)
    if not counted(terms, deciding, place):
        delay, place, deciding, chosen = 0, presented, becomes(presented), None
    roots = [store.address, *_deciding(machine, presented, {})] if chosen is None else [chosen.following]
    later = _counted_later(machine, roots, {*presented, *place, *ahead}, {} if chosen is None else chosen.known)
    everything = [*_everything(machine, ahead), *later]
    if chosen is not None:
        everything = list(substitute(terms, tuple([each for each in everything if each not in chosen.spoken_for]),
                                     chosen.known))
        everything += [terms.not_(each) for each in everything if chosen.turned]
    others = tuple([node for node in in_fields(everything, place)
                    if node not in deciding and counted(terms, (node,), place)])
    if not counted(terms, deciding, place) and not others:
        doubtful = _counts_elsewhere(machine, store, presented)     # it may be meant, so this is no error
        return None, [_not_low(store)._replace(severity=Severity.WARNING)] if doubtful else []
    low = _low_width(terms, store.address, presented) if chosen is None else chosen.place.width
    widths = [low, *sum_widths(terms, deciding, place)]
    lowest = place[0]
    if (len(place) == 1 and type(lowest) is Leaf and min(widths) == lowest.width
            and sums(terms, deciding, place) == (1,)):
        widths = [counted_width(machine, layout.fields, _later(machine, store.address, delay), lowest)]
    width = min([*widths, *sum_widths(terms, others, place)])
    if width == 0:
        return None, [_not_low(store)]
    fields = tuple([leaf for leaf in leaves((*deciding, *others)) if leaf.kind == "field"
                    and leaf.name in layout.fields and layout.fields[leaf.name].holds != "address"])
    bits = 0
    for leaf in fields:
        bits |= layout.fields[leaf.name].mask
    return Counter(delay, tuple(deciding), others, tuple(place), bits, width, fields), []


def _later(machine: Machine, node: Node, cycles: int) -> Node:
    """A term so many cycles later, over the states now."""
    for _ in range(cycles):
        states: dict[Node, Node] = {leaf: machine.states[leaf.name].next for leaf in leaves((node,))
                                    if leaf.kind == "state"}
        (node,) = substitute(machine.terms, (node,), states)
    return node


def _not_low(store: Store) -> Finding:
    return error(
        "counter-not-low", f"the address of `{store.name}` is counted up, but not in its lowest bits", store.span,
        "words that follow each other would not stand side by side",
        help="write what counts as the last part of the address, and swap the lines in the chips' addresses")


def decides(machine: Machine, store: Store) -> bool:
    """Whether the words of a store decide, by way of states and registers, at which address the next one stands."""
    waiting = [leaf for leaf in leaves((store.address,)) if leaf.kind in ("state", "register")]
    seen: set[Leaf] = set()
    while waiting:
        leaf = waiting.pop()
        if leaf in seen:
            continue
        seen.add(leaf)
        for read in leaves(_deciding(machine, (leaf,), {})):
            if read.kind == "field" and (field := machine.fields.get(read.name)) and field.store == store.name:
                return True     # a field of a store that is declared twice is none of the machine's
            if read.kind == "word" and read.name == store.name:
                return True
            if read.kind in ("state", "register"):
                waiting.append(read)
    return False


def _counts_elsewhere(machine: Machine, store: Store, presented: Sequence[Leaf]) -> bool:
    """Whether another part of the address than its lowest is counted up."""
    return any(by % (1 << low) == 0 for leaf, low in address_parts(store.address) if leaf not in presented
               for by in sums(machine.terms, _deciding(machine, (leaf,), {}), (leaf,)))


def running_ahead(machine: Machine, presented: Sequence[Leaf]) -> dict[Node, Node]:
    """States that always hold what is presented plus a constant, each with that sum: such as the counter of a sequencer
    that is loaded with the next address plus one.

    It is so from reset on and after every cycle: with the sum put in the place of the state, what it becomes is what
    the presented one becomes, plus the constant."""
    terms = machine.terms
    found: dict[Node, Node] = {}
    for leaf in presented:
        if leaf.kind != "state":
            continue
        place = machine.states[leaf.name]
        for state in machine.states.values():
            if state is place or state.width != place.width or state.reset is None or place.reset is None:
                continue
            step = terms.const((state.reset - place.reset) % (1 << state.width), state.width)
            sum_of = terms.add(leaf, step)
            own = terms.leaf("state", state.name, state.width)
            becomes, here = substitute(terms, (state.next, place.next), {own: sum_of})
            if type(sum_of) is Add and _with_sum(terms, becomes, None) is _with_sum(terms, here, step):
                found[own] = sum_of
    return found


def _with_sum(terms: Terms, node: Node, step: Node | None) -> Node:
    """The term plus a constant (None: as it is), with sums inside its `if`s: equal sums are then equal terms."""
    added: dict[tuple[Node, Node | None], Node] = {}
    todo: list[tuple[Node, Node | None]] = [(node, step)]
    while todo:
        part, more = todo[-1]
        if (part, more) in added:
            todo.pop()
            continue
        if type(part) is If:
            below: list[tuple[Node, Node | None]] = [(part.args[1], more), (part.args[2], more)]
        elif type(part) is Add and type(part.args[1]) is Const and not (more is None and type(part.args[0]) is Leaf):
            extra = part.args[1] if more is None else terms.add(part.args[1], more)
            below = [(part.args[0], extra)]
        else:
            below = []
        missing = [one for one in below if one not in added]
        if missing:
            todo += missing
            continue
        todo.pop()
        if type(part) is If:
            added[part, more] = terms.if_(part.args[0], *(added[one] for one in below))
        elif below:
            added[part, more] = added[below[0]]
        else:
            added[part, more] = part if more is None else terms.add(part, more)
    return added[node, step]


def steps_of(terms: Terms, layout: Layout, counter: Counter, bits: int, open_bits: int) -> Steps:
    """By how much the address may be counted up under the bits of a word; `open_bits` may be anything."""
    known: dict[Node, Node] = {}
    for leaf in counter.fields:
        field = layout.fields[leaf.name]
        if not open_bits & field.mask:
            known[leaf] = terms.const(field.read(bits), leaf.width)
    found = substitute(terms, (*counter.following, *counter.others), known)
    count = len(counter.following)
    return Steps(sums(terms, found[:count], counter.place), sums(terms, found[count:], counter.place),
                 sums_back(terms, found[:count], counter.place))


def sums_at(machine: Machine, layout: Layout, counter: Counter, word: Microinstruction,
            address: int) -> tuple[int, ...]:
    """By how much a word counts on where it stands: of choices that ask for the address only the way that is taken. A
    number that is the next address counts as well, however the hardware comes by it."""
    terms, place = machine.terms, counter.place[0]
    known: dict[Node, Node] = {leaf: terms.const(layout.fields[leaf.name].read(word.bits), leaf.width)
                               for leaf in counter.fields if not word.open & layout.fields[leaf.name].mask}
    here: dict[Node, Node] = {place: terms.const(address & (1 << place.width) - 1, place.width)}
    found = substitute(terms, counter.following, known)
    before = sums(terms, found, counter.place)
    while True:
        taken: dict[Node, Node] = {}
        for part in postorder(found):
            if isinstance(part, If) and type(asked := substitute(terms, part.args[:1], here)[0]) is Const:
                taken[part] = part.args[1 if asked.value else 2]
        if not taken:
            numbers = {way.value for node in substitute(terms, found, here) for way in choices(node)
                       if type(way) is Const}
            still = sums(terms, found, counter.place)
            return tuple([by for by in before if by in still or address + by & (1 << place.width) - 1 in numbers])
        found = substitute(terms, found, taken)


def rows(steps: Sequence[Steps], delay: int, entries: Sequence[int]) -> tuple[list[int], dict[int, int]]:
    """For every word of a body how many of the following ones must stand in a row with it, and the words from which the
    hardware can go on past the end of the body, each with how many words further at most.

    `entries`: the words that can be reached from elsewhere. With a delay of d cycles (one at least), the d words after
    an entry are already on their way when it is obeyed; each word then decides about the one d + 1 further on."""
    count = len(steps)
    reach = [0] * count
    past: dict[int, int] = {}
    seen: set[tuple[int | None, ...]] = set()
    todo: list[tuple[int | None, ...]] = [tuple(range(at, at + delay + 1)) for at in reversed(entries)]
    while todo:
        pending = todo.pop()
        word, coming, last = pending[0], pending[1], pending[-1]
        if pending in seen or word is None:
            continue
        seen.add(pending)
        if word >= count:
            continue
        if coming is not None:
            if coming >= count:
                past[word] = max(past.get(word, 0), coming - count + 1)
            else:
                reach[word] = max(reach[word], coming - word)
        if last is not None:
            for ahead in steps[word].kept:
                if last + ahead >= count:
                    past[word] = max(past.get(word, 0), last + ahead - count + 1)
                else:
                    reach[word] = max(reach[word], last + ahead - word)
                    todo.append(tuple(range(last + ahead, last + ahead + delay + 1)))
            todo.extend((*pending[1:], last + ahead) for ahead in steps[word].on)
        todo.append((*pending[1:], None))
    return reach, dict(sorted(past.items()))


# ---------------------------------------------------------------- reading expressions


def _only_source(nodes: Sequence[Node], place: Collection[Node]) -> Leaf | None:
    """The state that is passed on unchanged whatever happens, constants aside, and that the place may stay as it is:
    then the address is only delayed."""
    found: set[Node] = set()
    todo = list(nodes)
    while todo:
        part = todo.pop()
        if type(part) is If:
            todo += part.args[1:]
        elif type(part) is not Const and part not in place:
            found.add(part)
    only = found.pop() if len(found) == 1 else None
    return only if type(only) is Leaf and only.kind in ("state", "register") else None


def _deciding(machine: Machine, carriers: Sequence[Leaf], ahead: dict[Node, Node]) -> list[Node]:
    """What these states and registers may become, over the presented ones where others run `ahead` of them."""
    found: list[Node] = []
    for leaf in carriers:
        if leaf.kind == "state":
            found.append(machine.states[leaf.name].next)
        else:
            found += _loads(machine, leaf.name)
    return list(substitute(machine.terms, tuple(found), ahead)) if ahead else found


def becomes(machine: Machine, leaf: Leaf) -> Node:
    """What a state or register holds in the next cycle. Two loads at once are a fault of their own."""
    if leaf.kind == "state":
        return machine.states[leaf.name].next
    node: Node = leaf
    for number, load in enumerate(machine.registers[leaf.name].loads):
        source = load.source
        if source is None:
            source = machine.terms.leaf("free", f"{leaf.name} changes {number}", leaf.width)
        node = machine.terms.if_(load.when, source, node)
    return node


def _loads(machine: Machine, register: str) -> list[Node]:
    """What a register may load, each as "the source when it is loaded, else 0", so that a load that a word rules out
    vanishes with its condition."""
    terms = machine.terms
    return [terms.if_(load.when, load.source, terms.const(0, load.source.width))
            for load in machine.registers[register].loads if load.source is not None]


def _everything(machine: Machine, ahead: dict[Node, Node]) -> list[Node]:
    """What all states and registers may become, but for those that run ahead: they keep nothing."""
    found = [state.next for state in machine.states.values()
             if machine.terms.leaf("state", state.name, state.width) not in ahead]
    for register in machine.registers:
        found += _loads(machine, register)
    return list(dict.fromkeys(substitute(machine.terms, tuple(found), ahead) if ahead else found))


def _counted_later(machine: Machine, roots: Sequence[Node], moving: Collection[Node],
                   known: dict[Node, Node]) -> list[Node]:
    """What is kept and only counted up on its way back to the address, as by a return to "the call's own address plus
    one": what is kept, each with what comes to it later. Where it is counted up in a ring, from one level of a stack to
    the next and back, once round is meant. `roots`: the address, and what it becomes. `moving`: what holds it on its
    way, and keeps nothing. `known`: what is to be put into every term."""
    terms = machine.terms
    found: dict[tuple[Leaf, int], None] = {}
    todo: list[tuple[tuple[Node, ...], Node, int]] = [((), root, 0) for root in roots]
    while todo:
        way, node, later = todo.pop()
        for leaf in leaves((node,)):
            if leaf in moving or leaf in way[-1:] or way.count(leaf) > 1 or leaf.width != roots[0].width \
                    or leaf.kind not in ("state", "register"):
                continue
            becomes = substitute(terms, tuple(_deciding(machine, (leaf,), {})), known)
            if leaf.kind == "state" and not any(0 in offsets(terms, one, leaf) for one in becomes):
                continue                            # made anew in every cycle
            for ahead in sorted(offsets(terms, node, leaf)):
                held = leaf, (later + ahead) % (1 << leaf.width)
                if held not in found and held[1] <= _MOST_LATER:
                    found[held] = None
                    todo += [((*way, leaf), one, held[1]) for one in becomes]
    return [terms.add(one, terms.const(later, leaf.width)) for leaf, later in found
            if later for one in substitute(terms, tuple(_deciding(machine, (leaf,), {})), known)]


def _low_width(terms: Terms, address: Node, presented: Sequence[Leaf]) -> int:
    """How many of the lowest address bits are, in their order, the lowest bits of a state that is presented."""
    best = 0
    todo = [address]
    while todo:
        part = todo.pop()
        if type(part) is If:
            todo += part.args[1:]
            continue
        for leaf in presented:
            width = 0
            limit = min(part.width, leaf.width)
            while width < limit and terms.slice(part, width, width) is terms.slice(leaf, width, width):
                width += 1
            best = max(best, width)
    return best
