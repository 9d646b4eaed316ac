"""Control goes over from one arm of an instruction into the middle of another.

In a store that is addressed by instruction and step a *column* is what stands at one value of all other address lines:
the cells 0, 1, 2 ... of the step. Words are written for columns. Where a line changes in the middle of an instruction,
control goes on at the next step of another column, and what stands there need not be what the text lets follow.

It makes no difference when both columns have held equal words since a step at which control could have gone over, so
that nothing could tell them apart; nor when they hold equal words from here on until they reach such a step. Bits
that `idle any` leaves open in the words that are not executed may differ; a bit that those set has to be as they set it
in what is executed. Words are taken as they were compiled: a wrong bit in a chip sends control nowhere else.
"""

from collections.abc import Iterator
from typing import NamedTuple

from ordain.checks.check import About, Check, Explanation
from ordain.checks.succession import comes_wrongly
from ordain.checks.wording import fault, spot
from ordain.machine.expression import Join, Leaf, Node, Slice
from ordain.machine.model import Store
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents, Site
from ordain.text.findings import Finding, Place

EXPLANATION = Explanation(
    name="torn",
    fault="control goes over from one arm of an instruction into the middle of another",
    about="""\
In a store that is addressed by instruction and step, address lines choose between the arms of an instruction in
every cycle anew. When such a line changes while an arm is under way (a flag that one of its words sets, an input
that is not sampled), the next word comes out of another arm: the first half of one and the second half of the
other are executed. Told is a step to a word that the text does not let follow, within an instruction, its
prologue, or between them; also into words behind the arms when those are not equally long. Where both ways have
equal words so far, or from there on, nothing is torn, and to choose anew at the first word of an arm is what arms
are for. A new opcode in the middle of an instruction is a dispatch, and is not judged.""",
    example="""\
instruction 0x38 "take n, if carry"
        when carry
                mar <- pc
                acc <- memory, read, last
        otherwise
                compare, set carry            # from here control can go on with the second word above
                count pc, last""",
    repair="""\
Set the flag in the last word of the arm, or later. Let the address have a copy of the flag that is loaded only
before the arms; sample an input in a state before it reaches the address. Or make the arms alike from that step
on.""",
)


PROLOGUE = "prologue"
"""The owner of the words that every instruction begins with."""


class _Cells(NamedTuple):
    """A store by columns. `profiles`: the sites of each kind of column, step by step, None where no word of an
    instruction or prologue stands; `columns`: per profile its columns, as addresses with step 0. Columns of one kind
    hold the same words and the same bits."""

    store: Store
    low: int
    steps: tuple[int, ...]
    profiles: list[tuple[Site | None, ...]]
    columns: list[tuple[int, ...]]


def ask(contents: Contents) -> Iterator[Property]:
    """One question for each store that is addressed by instruction and step and has arms that can be torn."""
    terms = contents.machine.terms
    for store in contents.machine.stores.values():
        if store.step is None:
            continue
        wrong: dict[int, frozenset[int]] = {}
        for cells, others in _out_of_order(_cells(contents, store)):
            wrong.update({cell: wrong.get(cell, frozenset()) | others for cell in cells})
        if wrong:
            address = terms.leaf("address", store.name, store.address_width)
            yield Property(EXPLANATION.name, store.name, "bad", comes_wrongly(terms, address, address, 1, wrong),
                           per_word=store.name, data=About((store.name,), store.span))


def _cells(contents: Contents, store: Store) -> _Cells:
    assert store.step is not None
    high, low = store.step
    steps, mask = store.steps, ((1 << high - low + 1) - 1) << low
    sites = {address: site for address, site in contents.sites.get(store.name, {}).items()
             if site.following is not None}
    found: dict[tuple[tuple[int, int] | None, ...], list[int]] = {}
    for column in range(1 << store.address_width):
        if not column & mask:
            words = tuple((sites[cell].word, sites[cell].bits) if cell in sites else None
                          for cell in (column | step << low for step in steps))
            found.setdefault(words, []).append(column)
    profiles = [tuple(sites.get(columns[0] | step << low) for step in steps) for columns in found.values()]
    return _Cells(store, low, steps, profiles, [tuple(columns) for columns in found.values()])


def _out_of_order(cells: _Cells) -> Iterator[tuple[list[int], frozenset[int]]]:
    """Cells, with all those that must not come after them, at the next step or at the same one."""
    order = _Order(cells)
    owners: dict[str, list[int]] = {}
    for number, profile in enumerate(cells.profiles):
        for owner in {site.owner for site in profile if site is not None}:
            owners.setdefault(owner, []).append(number)
    for here, profile in enumerate(cells.profiles):
        for step, site in enumerate(profile):
            if site is None:
                continue
            wrong: list[int] = []
            of_one_body = (range(len(cells.profiles)) if site.owner == PROLOGUE else
                           dict.fromkeys((*owners[site.owner], *owners.get(PROLOGUE, ()))))
            for there in of_one_body:
                for at in (step, step + 1):
                    coming = cells.profiles[there][at] if at < len(cells.steps) else None
                    if coming is not None and _in_one_body(site, coming) and not order.holds(here, there, at):
                        wrong += [column | cells.steps[at] << cells.low for column in cells.columns[there]]
            if wrong:
                own = cells.steps[step] << cells.low
                yield [column | own for column in cells.columns[here]], frozenset(wrong)


def _in_one_body(a: Site, b: Site) -> bool:
    return a.owner == b.owner or PROLOGUE in (a.owner, b.owner)


class _Order:
    """Whether control may go over from one column to another.

    Two columns *join* at a step when both hold the same word there, or when that of the other is one that the text lets
    follow what this one holds at the step before; at the first step, where any arm may be chosen; and when there is no
    step any more. Going over at some step is as good as going over where they join, as long as both hold equal words
    between the two steps."""

    def __init__(self, cells: _Cells) -> None:
        self._words = [[None if site is None else site.word for site in profile] for profile in cells.profiles]
        self._following: dict[int | None, tuple[int, ...]] = {
            site.word: site.following or () for profile in cells.profiles for site in profile if site is not None}
        self._held = [[None if site is None else (site.bits, site.open) for site in profile]
                      for profile in cells.profiles]

    def holds(self, here: int, there: int, at: int) -> bool:
        """The cell at a step of `there` may be next, where else that at the same step of `here` would be."""
        step = at
        while not self._join(here, there, step):
            step -= 1
            if not self._serves(here, there, step):
                break
        else:
            return True
        while self._serves(there, here, at):
            at += 1
            if self._join(here, there, at):
                return True
        return False

    def _serves(self, taken: int, other: int, step: int) -> bool:
        """What stands at a step of the one is as good as what stands there in the other: the same bits, but for those
        that the other leaves open."""
        one, two = self._held[taken][step], self._held[other][step]
        return one is two if one is None or two is None else not (one[0] ^ two[0]) & ~two[1]

    def _join(self, here: int, there: int, step: int) -> bool:
        if step in (0, len(self._words[here])):
            return True
        own, other = self._words[here][step], self._words[there][step]
        if own is None or other is None:
            return False
        return own == other or other in self._following.get(self._words[here][step - 1], ())


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    asked = verdict.property
    store = contents.machine.stores[asked.subject]
    at, before = (spot(contents, found, back, store.name) for back in (0, 1))
    changed = _changed(store, found)
    said = ", because " + " and ".join(changed) if changed else ""
    coming = before.phrase.removeprefix("at ") or "another arm"
    return fault(asked, f"control goes over from {coming} to {at.phrase.removeprefix('at ')}, "
                        f"which does not follow it in the text", before if before.span is not None else at,
                 f"the next word comes out of another arm{said}", found,
                 places=() if at.span is None else (Place(at.span, "here control goes on"),),
                 help="let the lines that choose an arm stay as they are until it is over: set a flag in the last "
                      "word, or load a copy of it before the arms")


def _changed(store: Store, found: Break | None) -> list[str]:
    """The parts of the address that are not as in the cycle before, but for the step."""
    assert store.step is not None
    if found is None or found.trace is None:
        return []
    was, now = (cycle.addresses[store.name] for cycle in found.trace.cycles[-2:])
    said = []
    top = store.address_width
    for part in store.address.args if isinstance(store.address, Join) else (store.address,):
        top -= part.width
        if top > store.step[0] or top + part.width <= store.step[1]:
            ones = (1 << part.width) - 1
            old, new = was >> top & ones, now >> top & ones
            if old != new:
                said.append(f"{_line(part)} went from {old} to {new}")
    return said


def _line(part: Node) -> str:
    match part:
        case Leaf(name=name):
            return f"`{name}`"
        case Slice(high=high, low=low) if isinstance(part.args[0], Leaf):
            return f"`{part.args[0].name}[{high}:{low}]`" if high != low else f"`{part.args[0].name}[{high}]`"
        case _:
            return "an address line"


CHECK = Check(EXPLANATION, ask, tell)
