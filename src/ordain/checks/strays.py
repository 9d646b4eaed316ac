"""Control goes, by way of an address that a word holds or of its own, to a word that it does not name."""

from collections.abc import Iterator

from ordain.checks.check import About, Check, Explanation
from ordain.checks.succession import comes_wrongly
from ordain.checks.wording import fault, spot
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
What neither has a part in, as a dispatch or a return, is not judged.""",
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
        # By the store of the word and how many cycles later: for the same addresses, the words that could lead there.
        wrong: dict[tuple[str, int], dict[frozenset[int], list[int]]] = {}
        for name, sites in contents.sites.items():
            for address, site in sites.items():
                for there, cycles, others, _ in site.strays:
                    if there == store.name:
                        wrong.setdefault((name, cycles), {}).setdefault(others, []).append(address)
        if wrong:
            terms = machine.terms
            to = terms.leaf("address", store.name, store.address_width)
            yield Property(EXPLANATION.name, store.name, "bad", terms.or_(
                comes_wrongly(terms, terms.leaf("address", name, machine.stores[name].address_width), to, cycles, cells)
                for (name, cycles), cells in wrong.items()), per_word=store.name,
                data=About((store.name,), store.span))


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    asked = verdict.property
    name, cycles, field = _from(contents, asked.subject, found)
    at, before = spot(contents, found, store=asked.subject), spot(contents, found, cycles, name)
    coming = before.phrase.removeprefix("at ") or "a word"
    return fault(asked, f"control goes on from {coming} to {at.phrase.removeprefix('at ')}, which it does not name",
                 before if before.span is not None else at,
                 "the hardware makes another address of the one that this word holds, or of the word's own" if not field
                 else f"this word sets no label in `{field}`, and goes where that leads then", found,
                 places=() if at.span is None else (Place(at.span, "here control goes on"),),
                 help=_UNSET if field else _PUT_TO_IT)


_PUT_TO_IT = ("name every word to which the field can lead, with `pair(a, b)` or `table(...)`, or put it there on "
              "purpose, with `at`; write what counts as a sum, `upc + 2`; else see to it that what the hardware puts "
              "to the field is right")
_UNSET = ("name the word to which control is to go, or put it on purpose where the field leads without a label, with "
          "`at`; where every word names its successor, write `idle following` behind the field")


def _from(contents: Contents, store: str, found: Break | None) -> tuple[str, int, str]:
    """In which store stands the word that control strays from, how many cycles it is back, and which field it has left
    as it is, if that is why."""
    ways = dict.fromkeys((name, cycles) for name, sites in contents.sites.items() for site in sites.values()
                         for there, cycles, _, _ in site.strays if there == store)
    if found is not None and found.trace is not None:
        last = found.trace.cycles
        for name, cycles in ways:
            site = contents.sites[name].get(last[-1 - cycles].addresses[name]) if cycles < len(last) else None
            for there, back, others, field in site.strays if site is not None else ():
                if there == store and back == cycles and last[-1].addresses[store] in others:
                    return name, cycles, field
    return *next(iter(ways)), ""


CHECK = Check(EXPLANATION, ask, tell)
