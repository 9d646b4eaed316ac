"""The final words: target fields, bits that do not matter, derived fields."""

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from ordain.machine.expression import Const, Join, Leaf, Node, Not, Parity, Slice, Terms, leaves, postorder, substitute
from ordain.machine.model import Machine
from ordain.microprogram.model import Microinstruction, Program, Target
from ordain.placement.demands import UNUSED, reach_of, target_words
from ordain.placement.mapped import Mapped, mapped

Addresses = Sequence[tuple[int, ...]]
"""For every word of the program its addresses."""


class Derived(NamedTuple):
    """How a derived field is computed: `value` from the whole stored word, into the bits from `low` on; `turned` is
    xor-ed in (active low)."""

    low: int
    turned: int
    value: Callable[[int], int]


def fill(machine: Machine, program: Program, addresses: Addresses, recorded: Mapping[str, Mapping[int, int]]
         ) -> tuple[dict[str, dict[int, int]], dict[str, int | None]]:
    """The stored words by store and address, and the unused words. Every field can hold its address.

    `recorded`: the words of the last build, which settle the bits that do not matter."""
    words: dict[str, dict[int, int]] = {name: {} for name in machine.stores}
    derived = {name: derived_fields(machine, name) for name in machine.stores}
    for index, word in enumerate(program.words):
        out = words[word.store]
        computed = derived[word.store]
        for address in addresses[index]:
            full = word.bits
            for name, target in word.targets:
                full |= _held(machine, program, word, name, target, index, address, addresses)
            full |= recorded.get(word.store, {}).get(address, 0) & word.open
            for field in computed:
                full |= (field.value(full) ^ field.turned) << field.low
            out[address] = full
    ways: dict[tuple[str, int], Mapped] = {}
    for entry in program.entries:
        first = program.labels[entry.target]
        key = entry.store, machine.stores[program.words[first].store].address_width
        if key not in ways:
            ways[key] = mapped(machine, *key)
        words[entry.store][entry.address] = next(
            value for address in addresses[first] if (value := ways[key].value(address)) is not None)
    for name, whole in program.computed.items():
        words[name] = dict(enumerate(whole))
    unused = {name: None if word is None else _unused(machine, program, word, addresses, derived[name])
              for name, word in program.unused.items()}
    return words, unused


def _unused(machine: Machine, program: Program, word: Microinstruction, addresses: Addresses,
            derived: Sequence[Derived]) -> int:
    bits = word.bits
    for name, target in word.targets:
        bits |= _held(machine, program, word, name, target, UNUSED, None, addresses)
    for field in derived:
        bits |= (field.value(bits) ^ field.turned) << field.low
    return bits


def _held(machine: Machine, program: Program, word: Microinstruction, name: str, target: Target, index: int,
          at: int | None, addresses: Addresses) -> int:
    """The stored bits of an address field of `word`, which is word `index` and stands at `at`, in their place in the
    word. None: it stands in every page."""
    field = machine.fields[name]
    _, low = field.address_bits
    base = _target_address(machine, program, word, target, index, at, addresses)
    return field.write(base >> low & (1 << field.width) - 1)


def _target_address(machine: Machine, program: Program, word: Microinstruction, target: Target, index: int,
                    at: int | None, addresses: Addresses) -> int:
    """Which of the target's addresses the word is to name: the first that it can, the same in all fields that name this
    target."""
    named = target_words(program, index, target)
    store = machine.stores[program.words[named[0]].store]
    reach = reach_of(machine.fields, word, target, store.address_width)
    for base in addresses[named[0]]:
        if base & reach.zeros or not (reach.page is None or at is None or base >> reach.page == at >> reach.page):
            continue
        if all(base + value in addresses[one] for value, one in enumerate(named)):
            return base
    raise AssertionError(f"no address of {named} suits `{word.text}`")


def derived_fields(machine: Machine, store: str) -> list[Derived]:
    """The derived fields of a store, in the order of the text: none reads its own bits or those of a later one."""
    fields = [machine.fields[name] for name in machine.stores[store].fields]
    return [Derived(field.low, (1 << field.width) - 1 if field.active_low else 0, _value(machine.terms, field.derived))
            for field in fields if field.derived is not None]


def _value(terms: Terms, node: Node) -> Callable[[int], int]:
    """A derived field as a function of the stored word. Parity over bits of the word is counted; anything else is
    worked out by substitution, once for each distinct combination of the bits that it reads."""
    flip, inner = (1, node.args[0]) if type(node) is Not else (0, node)
    mask = _word_bits(inner.args[0]) if type(inner) is Parity else None
    if mask is not None:
        return lambda word: ((word & mask).bit_count() & 1) ^ flip
    return _by_substitution(terms, node)


def _word_bits(node: Node) -> int | None:
    """The bits of the word that a term made of slices and joins puts side by side, None for any other term; a bit that
    stands there twice cancels out of a parity."""
    match node:
        case Slice() if type(node.args[0]) is Leaf:
            return ((1 << node.width) - 1) << node.low
        case Join():
            found = 0
            for part in node.args:
                bits = _word_bits(part)
                if bits is None:
                    return None
                found ^= bits
            return found
        case _:
            return None


def _by_substitution(terms: Terms, node: Node) -> Callable[[int], int]:
    known: dict[int, int] = {}
    words, reads = leaves((node,)), _read(node)

    def value(word: int) -> int:
        found = known.get(word & reads)
        if found is None:
            (result,) = substitute(terms, (node,), {leaf: terms.const(word, leaf.width) for leaf in words})
            assert type(result) is Const, "a derived field reads nothing but its word"
            found = known[word & reads] = result.value
        return found

    return value


def _read(derived: Node) -> int:
    """The bits of the stored word that a derived field depends on."""
    found = 0
    for node in postorder((derived,)):
        for word in node.args:
            if type(word) is Leaf:
                found |= ((1 << node.width) - 1) << node.low if type(node) is Slice else (1 << word.width) - 1
    return found
