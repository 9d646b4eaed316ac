"""Compiled and placed words become what the stores are to hold, and what is known about every address."""

from collections.abc import Mapping
from types import MappingProxyType

from ordain.machine.model import Machine, Store
from ordain.microprogram.model import Body, Dispatch, Program, Unnamed
from ordain.placement.model import Placement, Recorded
from ordain.rom.contents import Contents, Site, Stored
from ordain.rom.readback import read_as_compiled, words_expected


def stored_words(machine: Machine, placement: Placement) -> dict[str, Stored]:
    """The words of every store, and its word for unused addresses."""
    return {name: Stored(placement.words.get(name, {}), placement.unused.get(name)) for name in machine.stores}


def make_contents(machine: Machine, program: Program, placement: Placement, stored: Mapping[str, Stored],
                  images: Mapping[str, bytes],
                  strays: Mapping[tuple[int, int], tuple[Unnamed, ...]] = MappingProxyType({}),
                  dispatches: tuple[Dispatch, ...] = ()) -> Contents:
    """What the chips with these images give back, with the names and places of the words. `strays`: by word and
    address, see `microprogram.strays`; `dispatches`: see `microprogram.dispatching`.

    Raises ReadbackFault where that is not what was compiled."""
    read = read_as_compiled(machine, stored, images)
    words = {}
    for store in machine.stores.values():
        known = read.known[store.name]
        seen = read.words[store.name]
        if known != (1 << store.bits) - 1:          # bits without a chip are as compiled
            compiled = words_expected(machine, store, stored[store.name])
            seen = tuple(there & known | word & ~known for there, word in zip(seen, compiled))
        words[store.name] = seen
    labels = {name: (program.words[index].store, frozenset(placement.addresses[index]))
              for name, index in program.labels.items()}
    routines = {body.name: (body.store, frozenset(address for index in range(body.first, body.end)
                                                  for address in placement.addresses[index]))
                for body in program.bodies}
    labels.update((body.name, (body.store, first_words(machine.stores[body.store], body, placement)))
                  for body in program.bodies if body.kind == "instruction" and body.first < body.end)
    sites = {store.name: _sites(store, program, placement, strays) for store in machine.stores.values()}
    return Contents(machine, words, sites, labels, routines, program.meanings, dispatches)


def first_words(store: Store, body: Body, placement: Placement) -> frozenset[int]:
    """Where an instruction begins. In a store addressed by instruction and step these are all its words at the first
    step that it has, thus every arm that stands there."""
    if store.step is None:
        return frozenset(placement.addresses[body.first])
    high, low = store.step
    order = {number: place for place, number in enumerate(store.steps)}
    steps = {address: order[address >> low & (1 << high - low + 1) - 1]
             for index in range(body.first, body.end) for address in placement.addresses[index]}
    return frozenset(address for address, step in steps.items() if step == min(steps.values()))


def _sites(store: Store, program: Program, placement: Placement,
           strays: Mapping[tuple[int, int], tuple[Unnamed, ...]]) -> dict[int, Site]:
    """The placed words of a store by ascending address; in a mapping store, the names of the words whose addresses it
    holds."""
    sites: dict[int, Site] = {}
    placed = placement.words.get(store.name, {})
    for entry in program.entries:
        if entry.store == store.name:
            sites[entry.address] = Site(store.name, entry.address, "", "", entry.target, (entry.target,), entry.span,
                                        placed[entry.address])
    copied = {(index, address) for index, address, _ in placement.copies}
    for index, (word, addresses) in enumerate(zip(program.words, placement.addresses)):
        if word.store != store.name:
            continue
        for address in addresses:
            label = word.labels[0] if word.labels and (index, address) not in copied else ""
            sites[address] = Site(store.name, address, label, word.owner, word.text, word.orders or (word.text,),
                                  word.span, placed[address], word.open, index, program.following.get(index),
                                  program.names[index], strays.get((index, address), ()))
    return dict(sorted(sites.items()))


def word_keys(program: Program) -> dict[int, str]:
    """For every word the key under which a build records it: its body's name and its position there."""
    return {index: f"{body.name}/{index - body.first}" for body in program.bodies
            for index in range(body.first, body.end)}


def record(program: Program, placement: Placement) -> Recorded:
    """What the next build has to know of this one."""
    addresses: dict[str, dict[str, tuple[int, ...]]] = {}
    for index, key in word_keys(program).items():
        addresses.setdefault(program.words[index].store, {})[key] = placement.addresses[index]
    return Recorded(addresses, {store: dict(words) for store, words in placement.words.items()})


