"""Control can arrive at an address in which nothing was placed."""

from collections.abc import Iterator, Sequence

from ordain.checks.allowances import excused
from ordain.checks.check import About, Check, Explanation, Known
from ordain.checks.dependence import store_leaves, takings
from ordain.checks.owners import main_store
from ordain.checks.wording import fault, hexadecimal, spot
from ordain.machine.expression import Leaf, Node
from ordain.machine.leads import value_leaves
from ordain.machine.model import Machine, Store
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding

EXPLANATION = Explanation(
    name="nowhere",
    fault="control can arrive at an address in which nothing was placed",
    about="""\
An address without a microinstruction still holds something: the `unused` word, or the level of erased cells,
which in most chips asserts half of the control lines. Control arrives there by running past the end of a
routine, by a dispatch on an opcode without an instruction, or by a wrong target. For a mapping store the cell
must also be used: a next state, a load, a sampling, an enable or a strobe depends on its word in that cycle.
The first step out of the placed words is reported; where control goes from there is not.""",
    example="""\
routine tail at 0x3FE
        step                                  # 0x3FE: goes on to the next address
        step                                  # 0x3FF: and from here to 0x000""",
    repair="""\
End the sequence with a jump, give the opcode an instruction (`instruction others` for all that are left), or
place a safe word there with `unused` and a `home` that it leads to.""",
)


def ask(contents: Contents) -> Iterator[Property]:
    """One question for each store that the compiler fills, unless it is full."""
    machine = contents.machine
    for store in machine.stores.values():
        if store.fill != "microprogram" and not contents.sites.get(store.name):
            continue                                    # what is computed has a word everywhere
        where = store.name if store.fill == "microprogram" else main_store(machine)
        yield Property(EXPLANATION.name, store.name, "bad", _outside(contents, store), per_word=where,
                       data=About((store.name,), store.span))


def _outside(contents: Contents, store: Store) -> Node:
    terms, placed = contents.machine.terms, frozenset(contents.sites.get(store.name, {}))
    address = terms.leaf("address", store.name, store.address_width)
    outside = terms.not_(terms.among(address, placed))
    if store.fill == "microprogram":
        return outside
    return terms.and_((outside, _used(contents.machine, store)))


def _used(machine: Machine, store: Store) -> Node:
    """In this cycle something takes the word of the mapping store."""
    terms = machine.terms
    shown = dict.fromkeys(store_leaves(machine, store), terms.const(1, 1))
    return terms.or_((terms.const(0, 1), *(taking.when for taking in takings(machine, shown))))


def narrow(contents: Contents, asked: Property, known: Known) -> tuple[Property, ...]:
    """Only the steps out of the placed words: what follows them has the same cause, in whatever store they stand.
    A step by way of an empty cell of a mapping store is told as that, where it is not allowed."""
    machine, terms = contents.machine, contents.machine.terms
    if machine.stores[asked.subject].fill != "microprogram":
        return ()
    told = [excused(contents, other) for other in ask(contents) if (other.check, other.subject) in known.broken]
    causes = [asked.node, *(other.node for other in told if other is not None)]
    before = terms.prior(terms.or_(causes))
    return (asked._replace(node=terms.and_((asked.node, terms.not_(before)))),)


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    asked = verdict.property
    store = contents.machine.stores[asked.subject]
    number = _address(store, found)
    if store.fill != "microprogram":
        at = spot(contents, found)
        cell = f"cell {number}" if number.startswith("0x") else "a cell"
        return fault(asked, f"{cell} of mapping store `{store.name}` is used {at.phrase}, but nothing was placed in it",
                     at, f"`{store.name}` gives where to go on from here", found,
                     help="give this opcode an instruction, or all that are left with `instruction others`")
    before = spot(contents, found, cycles_back=1, store=store.name)
    coming = f" from {before.phrase.removeprefix('at ')}" if before.phrase else ""
    return fault(asked, f"control arrives at {number}{coming}, and nothing was placed there", before,
                 f"from here control goes on to {number}" if before.phrase else "control arrives there", found,
                 help=_from_data(contents.machine, store, found) or
                 "end the sequence with a jump to somewhere, or place a microinstruction there",
                 notes=(f"the cell holds {_cell(contents, store, found)}",) if found is not None else ())


def _from_data(machine: Machine, store: Store, found: Break | None) -> str:
    """What to do where the address is one that came from a bus, a memory or from outside; "" where it did not."""
    if found is None or found.trace is None:
        return ""
    now, *before = reversed(found.trace.cycles[-2:])
    shown = value_leaves(store.address)
    came = [(leaf, now) for leaf in shown]
    came += [(leaf, cycle) for cycle in before for node in _next(machine, shown) for leaf in value_leaves(node)]
    for leaf, cycle in came:
        if leaf.name in cycle.matters:
            if leaf.kind == "bus":
                return (f"what stands on `{leaf.name}` is data, and may be anything: write what is taken from there, "
                        "as in `target if jump else upc + 1`; that one driver is on at a time is asked of the bus all "
                        "the same")
            if leaf.kind == "free" and leaf.name in machine.memories:
                return (f"what stands in `{leaf.name}` is data, and may be anything: write each of its words as a "
                        "state or register, and which of them is taken")
            if leaf.kind == "input":
                return f"`{leaf.name}` may be anything: say with `assume` what does not come, or place words there"
    return ""


def _next(machine: Machine, shown: Sequence[Leaf]) -> Iterator[Node]:
    """What the states and registers of an address may take in a cycle."""
    for leaf in shown:
        if leaf.kind == "state":
            yield machine.states[leaf.name].next
        elif leaf.kind == "register":
            yield from (load.source for load in machine.registers[leaf.name].loads if load.source is not None)


def _address(store: Store, found: Break | None) -> str:
    """The address that the last cycle presents to the store."""
    if found is None:
        return "an address"
    if found.trace is not None and store.name in found.trace.cycles[-1].addresses:
        return hexadecimal(found.trace.cycles[-1].addresses[store.name], store.address_width)
    if store.fill == "microprogram" and found.address is not None:
        return hexadecimal(found.address, store.address_width)
    return "an address"


def _cell(contents: Contents, store: Store, found: Break) -> str:
    if found.address is None:
        return "whatever erased cells hold"
    return hexadecimal(contents.words[store.name][found.address], store.bits)


CHECK = Check(EXPLANATION, ask, tell, narrow)
