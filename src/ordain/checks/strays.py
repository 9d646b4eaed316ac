"""Control goes, by way of an address that a word holds or of its own, to a word that it does not name."""

from collections.abc import Iterator, Mapping

from ordain.checks.check import About, Check, Explanation
from ordain.checks.succession import comes_wrongly
from ordain.checks.wording import fault, spot
from ordain.control.registers import after_loads
from ordain.logic.narrowing import bits_read
from ordain.machine.expression import Node, Terms, leaves, substitute
from ordain.machine.model import Machine, Store
from ordain.machine.rewriting import with_latches_open, without_tables
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, Place

EXPLANATION = Explanation(
    name="strays",
    fault="control goes by way of an address that a word holds, or of its own, to a word that it does not name",
    about="""\
Where hardware puts something to an address that a word holds (a condition in its lowest bit, digits of the
opcode, a page register), one label in the text can lead to several words. What the word names are the labels in
its address fields: with `pair` and `table` all of them. Told is a step to any other word, which then is executed
as if it were meant. Words that were put where they stand on purpose are meant by everybody: the first of a
routine `at` an address or with `align`, behind a label in such a routine the words that stand right below it, and
the first of an instruction where `starts at` says where it stands. A word that jumps and sets no label (it was
forgotten, or is a number) goes where the idle code of the field leads: that word has to be there on purpose, too,
and where the field is `idle any` nothing is. Where the next address is made of the
word's own, by gates that are no sum, the word so many addresses further has to be the one so many lines below.
The same where an instruction is begun: a start PROM, a row of a map and `starts at` mean the first word of the
instruction, and those that control is sure to go on to from there; with what the hardware puts to it, it can lead
to others. What none of these has a part in, as a return, is not judged.""",
    example="""\
        branch if_zero, target again          # the hardware puts `zero` in the lowest bit: with it, control
                                              # goes on with whatever stands beside `again`""",
    repair="""\
Name all words to which the field can lead, with `pair(a, b)` or `table(...)`. Load the page register before the
jump, or use the order that does not look at the condition. Put the word to which all others go back `at` the idle
code of the field.""",
)


def ask(contents: Contents) -> Iterator[Property]:
    """One question for each store to which a word could lead control so."""
    machine = contents.machine
    for store in machine.stores.values():
        # By the store of the word and how many cycles later: where each word could lead, by several fields perhaps.
        wrong: dict[tuple[str, int], dict[int, frozenset[int]]] = {}
        for name, sites in contents.sites.items():
            for address, site in sites.items():
                for there, cycles, others, _ in site.strays:
                    if there == store.name:
                        led = wrong.setdefault((name, cycles), {})
                        led[address] = led.get(address, frozenset()) | others
        terms = machine.terms
        to = terms.leaf("address", store.name, store.address_width)
        faults = [comes_wrongly(terms, _address(machine, name), to, cycles, led)
                  for (name, cycles), led in wrong.items()]
        for there, by, cycles, starts in contents.dispatches:
            if there == store.name:
                faults.append(terms.and_((_begun(machine, store, by, cycles),
                                          comes_wrongly(terms, _start(machine, store, by), to, cycles, starts))))
        if faults:
            yield Property(EXPLANATION.name, store.name, "bad", terms.or_(faults), per_word=store.name,
                           data=About((store.name,), store.span))


def _address(machine: Machine, store: str) -> Node:
    return machine.terms.leaf("address", store, machine.stores[store].address_width)


def _start(machine: Machine, store: Store, by: str) -> Node:
    """What an instruction is begun with: the opcode, or the address of the store that leads to its first word."""
    if by != store.name:
        return _address(machine, by)
    assert store.opcode is not None
    return store.opcode


def _begun(machine: Machine, store: Store, by: str, cycles: int) -> Node:
    """That in this cycle an instruction is begun with what was there so many cycles before: the address would be
    another one if all its lines had been the other way round."""
    terms = machine.terms
    if by != store.name:
        word = terms.leaf("word", by, machine.stores[by].bits)
        turned: dict[Node, Node] = {word: terms.not_(word)}
    else:
        turned = _turned(terms, _start(machine, store, by))
    return terms.not_(terms.equal(_address(machine, store.name),
                                  _otherwise(machine, store.address, turned, cycles)))


def _turned(terms: Terms, node: Node) -> dict[Node, Node]:
    """The leaves of which a term is put together, with those of their lines turned that are in it."""
    return {leaf: terms.xor(leaf, terms.const(lines, leaf.width)) for leaf, lines in bits_read((node,)).items()}


def _otherwise(machine: Machine, node: Node, turned: Mapping[Node, Node], cycles: int) -> Node:
    """What a term would be, had some leaves had other values so many cycles before."""
    node = with_latches_open(without_tables(node, machine, machine.terms), machine, machine.terms)
    if cycles == 0:
        return substitute(machine.terms, (node,), turned)[0]
    later: dict[Node, Node] = {}
    for leaf in leaves((node,)):
        if leaf.kind == "state":
            after = machine.states[leaf.name].next
        elif leaf.kind == "register":
            after = after_loads(machine.registers[leaf.name], leaf, machine.terms)
        else:
            continue
        other = _otherwise(machine, after, turned, cycles - 1)
        if other is not _otherwise(machine, after, {}, 0):
            later[leaf] = machine.terms.prior(other)
    return substitute(machine.terms, (node,), later)[0]


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    asked = verdict.property
    at = spot(contents, found, store=asked.subject)
    there = () if at.span is None else (Place(at.span, "here control goes on"),)
    coming = _from(contents, asked.subject, found)
    if coming is None:
        return _begun_wrongly(contents, asked, found)
    name, cycles, field = coming
    before = spot(contents, found, cycles, name)
    word = before.phrase.removeprefix("at ") or "a word"
    return fault(asked, f"control goes on from {word} to {at.phrase.removeprefix('at ')}, which it does not name",
                 before if before.span is not None else at,
                 "the hardware makes another address of the one that this word holds, or of the word's own" if not field
                 else f"this word sets no label in `{field}`, and goes where that leads then", found,
                 places=there, help=_UNSET if field else _PUT_TO_IT)


def _begun_wrongly(contents: Contents, asked: Property, found: Break | None) -> Finding:
    """An instruction that begins at a word that is not its own."""
    at, store = spot(contents, found, store=asked.subject), contents.machine.stores[asked.subject]
    last = found.trace.cycles if found is not None and found.trace is not None else ()
    by = next((by for there, by, cycles, wrong in contents.dispatches
               if there == store.name and cycles < len(last) and by != store.name
               and last[-1].addresses[there] in wrong.get(last[-1 - cycles].addresses[by], ())), "")
    cycles = next((cycles for there, other, cycles, _ in contents.dispatches if (there, other) == (store.name, by)), 0)
    if by:
        cell = spot(contents, found, cycles, by)
        to = f"`{by}` sends control to `{cell.site.text}`" if cell.site is not None else f"`{by}` begins an instruction"
    else:
        cell, to = at, "an instruction is begun"
    return fault(asked, f"{to}, and it comes to {at.phrase.removeprefix('at ')}", at if by == "" else cell,
                 "the hardware makes another address of this" if by else "this is no word of it", found,
                 places=() if at.span is None or not by else (Place(at.span, "here control goes on"),),
                 help=_STARTED)


_PUT_TO_IT = ("name every word to which the field can lead, with `pair(a, b)` or `table(...)`, or put it there on "
              "purpose, with `at`; write what counts as a sum, `upc + 2`; else see to it that what the hardware puts "
              "to the field is right")
_STARTED = ("see to it that what the hardware puts to the start is right; or put the other word there on purpose, with "
            "`at`; an instruction goes on to its own words below where the hardware counts")
_UNSET = ("name the word to which control is to go, or put it on purpose where the field leads without a label, with "
          "`at`; where every word names its successor, write `idle following` behind the field")


def _from(contents: Contents, store: str, found: Break | None) -> tuple[str, int, str] | None:
    """In which store stands the word that control strays from, how many cycles it is back, and which field it has left
    as it is, if that is why. None where it is the start of an instruction."""
    ways = dict.fromkeys((name, cycles) for name, sites in contents.sites.items() for site in sites.values()
                         for there, cycles, _, _ in site.strays if there == store)
    if found is not None and found.trace is not None:
        last = found.trace.cycles
        for name, cycles in ways:
            site = contents.sites[name].get(last[-1 - cycles].addresses[name]) if cycles < len(last) else None
            for there, back, others, field in site.strays if site is not None else ():
                if there == store and back == cycles and last[-1].addresses[store] in others:
                    return name, cycles, field
    starts = any(there == store for there, _, _, _ in contents.dispatches)
    return None if starts or not ways else (*next(iter(ways)), "")


CHECK = Check(EXPLANATION, ask, tell)
