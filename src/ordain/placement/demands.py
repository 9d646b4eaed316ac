"""What a program demands of addresses, as data.

A *demand* is a set of words in fixed places relative to each other: the words of `pair(a, b)` in an aligned block, a
run of words that the hardware counts through, a label that a short field must be able to hold. Every demand gets a
place; two demands that name the same word share it where they can stand so that both are met, else the word stands
twice. That is the only way in which a copy comes about. A *bond* says that words share a page; it never makes a copy.
"""

from collections.abc import Mapping
from typing import NamedTuple

from ordain.machine.expression import Leaf
from ordain.machine.model import Field, Machine
from ordain.microprogram.model import Microinstruction, Program, Target
from ordain.placement.mapped import Mapped, mapped
from ordain.text.findings import Finding, Place, error, note
from ordain.text.source import Span

_SHORT = "a short reference"

UNUSED = -1
"""Instead of its number, of a word that fills unused addresses: nothing follows it."""


class Demand(NamedTuple):
    """`cells`: (offset, index of the word), the demand's base having offset 0. The address of the base has a 0 in each
    of the bits `zeros` and a 1 in each of the bits `ones`. `why` completes "stands here again ..."."""

    cells: tuple[tuple[int, int], ...]
    zeros: int
    why: str
    span: Span
    ones: int = 0


class Bond(NamedTuple):
    """Words that share a page of 2**page words. `each`: wherever words[0] stands, words[1] stands in that page too, at
    an address with a 0 in each of the bits `zeros`; otherwise: there is one page in which all of the words stand."""

    words: tuple[int, ...]
    page: int
    each: bool
    zeros: int
    span: Span


class Task(NamedTuple):
    """All demands on one store. `fixed`: address -> word, the words that must follow a fixed word among them.
    `runs`: (first word, length) of what must stand in a row, in the order of the text, single words too, and also
    where other demands or `fixed` cover a part or all of it. `counting`: see `Program.counting`; the address width
    where all bits count. `words`: how many distinct words the store has to take. `heads`: the first words of bodies."""

    program: Program
    store: str
    size: int
    width: int
    counting: int
    words: int
    fixed: dict[int, int]
    demands: tuple[Demand, ...]
    runs: tuple[tuple[int, int], ...]
    bonds: tuple[Bond, ...]
    heads: frozenset[int]


class AddressReach(NamedTuple):
    """What the address fields of a word that name one target ask of its address: bits that must be 0, and the size (as
    a power of two) of the page that source and target must share, None when it may be anywhere. `block`: words of the
    block."""

    zeros: int
    page: int | None
    block: int


def reach_of(fields: Mapping[str, Field], word: Microinstruction, target: Target, width: int) -> AddressReach:
    """What `word` asks by all its fields that name this target: what one of them does not hold may be in another, as
    where a far jump has one field for the page and one for the place in it. `width` is that of the address of the store
    in which the target stands."""
    count = len(target.labels) if target.kind in ("pair", "table") else 1
    if target.rest == "part":
        return AddressReach(count - 1, None, count)
    held = 0
    for name, other in word.targets:
        if (other.kind, other.labels, other.rest) == (target.kind, target.labels, target.rest):
            high, low = fields[name].address_bits
            held |= (1 << high + 1) - (1 << low)
    top = held.bit_length()
    below = (1 << top) - 1 & ~held | count - 1
    if target.rest == "page":
        return AddressReach(below, top if top < width else None, count)
    return AddressReach(below | (1 << width) - (1 << min(top, width)), None, count)


def ends_of_runs(words: tuple[Microinstruction, ...]) -> list[int]:
    """For every word the index after the last word that must stand in a row with it, itself included."""
    ends = [len(words)] * len(words)
    for at in reversed(range(len(words))):
        ends[at] = max(ends[at + 1:at + words[at].succeeds + 1], default=at + 1)
    return ends


def everyone(program: Program) -> list[tuple[int, Microinstruction]]:
    """Every word that is stored somewhere, by its number, and those that fill unused addresses."""
    return [*enumerate(program.words), *((UNUSED, word) for word in program.unused.values() if word is not None)]


def target_words(program: Program, index: int, target: Target) -> tuple[int, ...]:
    """The words that a target of word `index` names."""
    if target.kind == "following":
        return (index + 1,)
    return tuple([program.labels[label] for label in target.labels])


def collect(machine: Machine, program: Program) -> tuple[list[Task], list[Finding]]:
    """The demands on every store that takes words, and findings where they contradict each other outright."""
    words = program.words
    ends = ends_of_runs(words)
    demands: dict[str, dict[object, Demand]] = {}
    bonds: dict[str, list[Bond]] = {}
    findings: list[Finding] = []
    _from_targets(machine, program, ends, demands, bonds, findings)
    _from_mapping(machine, program, ends, demands, findings)
    _from_bodies(machine, program, ends, demands, bonds, findings)
    runs: dict[str, list[tuple[int, int]]] = {}
    counts: dict[str, int] = {}
    start = 0
    while start < len(words):
        end, store = ends[start], words[start].store
        runs.setdefault(store, []).append((start, end - start))
        counts[store] = counts.get(store, 0) + end - start
        start = end
    tasks = []
    heads = frozenset([body.first for body in program.bodies])
    for name in runs:
        at = machine.stores[name]
        fixed = _fixed(machine, program, name, ends, findings)
        tasks.append(Task(program, name, at.words, at.address_width,
                          program.counting.get(name, at.address_width), counts[name], fixed,
                          tuple(demands.get(name, {}).values()), tuple(runs[name]), tuple(bonds.get(name, ())), heads))
    return tasks, findings


def _run(first: int, ends: list[int], offset: int = 0) -> list[tuple[int, int]]:
    """The cells of a word and of what must stand in a row with it."""
    return [(offset + word - first, word) for word in range(first, ends[first])]


def _from_targets(machine: Machine, program: Program, ends: list[int], demands: dict[str, dict[object, Demand]],
                  bonds: dict[str, list[Bond]], findings: list[Finding]) -> None:
    """Blocks, labels that a field can hold only in some places, and pages."""
    words, fields, stores = program.words, machine.fields, machine.stores
    refused: set[tuple[int, ...]] = set()
    for index, word in everyone(program):
        for _, target in word.targets:
            named = target_words(program, index, target)
            store = words[named[0]].store
            if any(words[other].store != store for other in named):
                if named not in refused:
                    findings.append(error("block-conflict", "the words of a block stand in different stores",
                                          target.span, "these labels are in different stores",
                                          help="name labels of one store"))
                refused.add(named)
                continue
            reach = reach_of(fields, word, target, stores[store].address_width)
            if reach.zeros and named not in refused and (wrong := _demand(
                    demands.setdefault(store, {}), named, reach.zeros, ends, target, program)):
                refused.add(named)      # several fields of a word, or several words, may ask for the same
                findings.append(wrong)
            if reach.page is not None and index != UNUSED:
                if store != word.store:
                    findings.append(error("page-conflict", "a page is shared only inside one store", target.span,
                                          f"this label stands in `{store}`", help="leave `page` out"))
                else:
                    bonds.setdefault(store, []).append(
                        Bond((index, named[0]), reach.page, True, reach.zeros, target.span))


def _demand(known: dict[object, Demand], named: tuple[int, ...], zeros: int, ends: list[int], target: Target,
            program: Program) -> Finding | None:
    """One demand for each distinct set of words in a block, however often it is asked for; or what is wrong with it."""
    if (named, zeros) in known:
        return None
    held: dict[int, int] = {}
    cells: list[tuple[int, int]] = []
    for value, first in enumerate(named):
        for offset, word in _run(first, ends, value):
            if held.setdefault(offset, word) != word:
                follower, other = program.words[word], program.words[held[offset]]
                return error(
                    "block-conflict", f"{_said(target)} can stand nowhere: two words would need one address",
                    target.span, "asked for here", places=(
                        Place(follower.span, f"this word must stand {offset} after the first of the block"),
                        Place(other.span, "and so must this one")),
                    help="let the words of the block name their successors instead of counting on")
            cells.append((offset, word))
    known[named, zeros] = Demand(tuple(sorted(set(cells))), zeros, f"for {_said(target)}", target.span)
    return None


def _said(target: Target) -> str:
    if target.kind in ("pair", "table"):
        return f"`{target.kind}({', '.join(target.labels)})`"
    return f"{_SHORT} to `{target.labels[0]}`" if target.labels else f"{_SHORT} to the following word"


def is_short(demand: Demand) -> bool:
    """Whether it comes from a field that holds some bits of an address only."""
    return demand.why.startswith(f"for {_SHORT}")


def _from_mapping(machine: Machine, program: Program, ends: list[int],
                  demands: dict[str, dict[object, Demand]], findings: list[Finding]) -> None:
    """The cells of a mapping store that are narrower than the address they lead to."""
    known: dict[tuple[str, int], Mapped] = {}
    for entry in program.entries:
        word = program.labels[entry.target]
        store = machine.stores[program.words[word].store]
        key = entry.store, store.address_width
        if key not in known:
            known[key] = mapped(machine, *key)
            if not known[key].said:
                findings.append(note(
                    "start-unclear", f"nothing says how the {known[key].bits} bits of `{entry.store}` stand in an "
                    f"address of {store.address_width}", machine.stores[entry.store].span,
                    "taken as its low bits, the others as 0",
                    help=f"where the address is formed, join what is wired beside it, as in `{{0b0, {entry.store}}}`"))
        bits, _, zeros, ones, _ = known[key]
        if zeros | ones:
            demands.setdefault(store.name, {}).setdefault(
                ((word,), zeros, ones),
                Demand(tuple(_run(word, ends)), zeros, f"for the {bits} bits of `{entry.store}`", entry.span, ones))


def _from_bodies(machine: Machine, program: Program, ends: list[int], demands: dict[str, dict[object, Demand]],
                 bonds: dict[str, list[Bond]], findings: list[Finding]) -> None:
    """`align` and `same page`."""
    for body in program.bodies:
        if body.first == body.end:
            continue
        if body.align:
            first = program.words[body.first]
            for address in first.fixed:
                if address % body.align:
                    findings.append(error(
                        "placement-conflict",
                        f"`{body.name}` is to stand at 0x{address:X}, no multiple of {body.align}", body.span,
                        f"`at` and `align {body.align}` contradict each other", help="leave one out"))
            zeros = body.align - 1
            demands.setdefault(body.store, {}).setdefault(((body.first,), zeros), Demand(
                tuple(_run(body.first, ends)), zeros, f"for `align {body.align}`", body.span))
        if body.same_page:
            bonds.setdefault(body.store, []).append(
                Bond(tuple(range(body.first, body.end)), body.same_page.bit_length() - 1, False, 0, body.span))


def _fixed(machine: Machine, program: Program, store: str, ends: list[int], findings: list[Finding]) -> dict[int, int]:
    """Address -> word for fixed words and what must follow them."""
    words, size = program.words, machine.stores[store].words
    counting = program.counting.get(store, machine.stores[store].address_width)
    fixed: dict[int, int] = {}
    origin: dict[int, tuple[int, int]] = {}
    told: set[tuple[int, int]] = set()
    outside: dict[int, int] = {}
    for index, word in enumerate(words):
        if word.store != store:
            continue
        length = ends[index] - index
        for address in word.fixed:
            if address + length > size or address >> counting != (address + length - 1) >> counting:
                if address >= size:
                    outside.setdefault(index, address)
                else:
                    findings.append(_cut_off(program, index, address, length, size, counting))
                continue
            for step in range(length):
                other = fixed.setdefault(address + step, index + step)
                if other == index + step:
                    origin.setdefault(address + step, (index, address))
                    continue
                pair = origin[address + step][0], index
                if pair not in told:
                    told.add(pair)
                    findings.append(_overrun(machine, program, store, (index, address), origin[address + step], ends))
                break
    if outside:
        findings.append(_outside(program, outside, size))
    return fixed


def _outside(program: Program, outside: dict[int, int], size: int) -> Finding:
    """One finding for all words (index -> address) beyond the end of their store."""
    (index, address), *more = outside.items()
    word = program.words[index]
    return error("out-of-store", f"`{word.owner}` is to stand at 0x{address:X}, but `{word.store}` ends at "
                 f"0x{size - 1:X}", word.span, "this word has no address", places=tuple(
                     [Place(program.words[other].span, f"nor has this one: 0x{at:X}") for other, at in more[:3]]),
                 notes=(f"and {_many(len(more) - 3)} more",) if more[3:] else (),
                 help="choose addresses inside the store, or give the store more words")


def _cut_off(program: Program, index: int, address: int, length: int, size: int, counting: int) -> Finding:
    """A row at a fixed address that the end of the store, or of the counter's lap, cuts off."""
    word = program.words[index]
    end = min(size, ((address >> counting) + 1) << counting)
    return error("over-full", f"from 0x{address:X} on there is room for {_many(end - address)}, but "
                 f"{_many(length)} must stand in a row", word.span, "the row begins here",
                 help=f"break the row with a jump, or begin it {length - end + address} lower")


def _overrun(machine: Machine, program: Program, store: str, one: tuple[int, int], two: tuple[int, int],
             ends: list[int]) -> Finding:
    """Two fixed words that need one address; each is (word, its fixed address)."""
    (first, low), (second, high) = sorted((one, two), key=lambda item: (item[1], item[0]))
    earlier, later = program.words[first], program.words[second]
    if low == high:
        return error("placement-conflict", f"two words are to stand at 0x{low:X} of `{store}`", later.span,
                     f"`{later.owner}` claims 0x{low:X}", places=(Place(earlier.span, f"`{earlier.owner}` does too"),),
                     help=_apart(machine, program, store, earlier.owner, later.owner))
    needs = ends[first] - first
    return error("over-full", f"{_slot(machine, program, store, earlier.owner, low)} holds {_many(high - low)}, needs "
                 f"{needs}", earlier.span, f"{_many(needs)} must stand in a row from 0x{low:X} on",
                 places=(Place(later.span, f"`{later.owner}` stands at 0x{high:X}"),),
                 help=f"jump out of the slot after at most {_many(high - low)}")


def _apart(machine: Machine, program: Program, store: str, one: str, other: str) -> str:
    """How two words of two bodies get addresses of their own."""
    opcode = machine.stores[store].opcode
    kinds = {body.name: body.kind for body in program.bodies}
    if opcode is None or one == other or kinds.get(one) != "instruction" or kinds.get(other) != "instruction":
        return "move one of them"
    if isinstance(opcode, Leaf):
        return (f"`starts at` sends their opcodes, of {opcode.width} bits, to one address: if only some bits of "
                f"`{opcode.name}` are the opcode, say which, such as `instruction {opcode.name}[7:4]`")
    return "`starts at` sends their opcodes to one address: give it all bits that the `instruction` line names"


def _slot(machine: Machine, program: Program, store: str, owner: str, address: int) -> str:
    """How people call the room at `address`: the slot of an opcode where the hardware gives one."""
    starts = machine.stores[store].starts_at
    if starts is None or all(body.name != owner or body.kind != "instruction" for body in program.bodies):
        return f"the room of `{owner}` at 0x{address:X}"
    own = [use.opcode for use in program.opcodes if use.title == owner]
    return f"the slot of opcode {', '.join(f'0x{opcode:X}' for opcode in own[:3])}{' ...' if own[3:] else ''}"


def _many(count: int) -> str:
    return f"{count} word" if count == 1 else f"{count} words"
