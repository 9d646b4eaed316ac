"""What is wrong with a word whatever the state: every question put to the control store alone, column by column.

No reachability is looked at, so this takes milliseconds and `build` can afford it. What is certain here is broken in
every cycle that presents the word; whether a sequence leads to it is for the exhaustive pass to say.
"""

from collections.abc import Collection, Iterable, Mapping
from typing import NamedTuple

from bitarray import bitarray
from bitarray.util import zeros

from ordain.checks.allowances import excused
from ordain.checks.check import Check, Known
from ordain.checks.columns import Columns
from ordain.checks.rules import CHECKS as RULES
from ordain.checks.wording import spot_at
from ordain.control.system import build_system
from ordain.machine.expression import Const, Node, substitute
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, Severity

ELECTRICAL = ("contention", "conflicting-enables")
"""Checks that matter for unused cells too: at power-up, before reset, control stands anywhere."""


_MOST_STEPS = 64
"""Steps from reset that are followed for words executed for certain."""


class Certain(NamedTuple):
    """The question is broken in every cycle that presents one of `addresses` of `store`."""

    check: Check
    asked: Property
    store: str
    addresses: tuple[int, ...]


def certain(contents: Contents, asked: Iterable[tuple[Check, Property]],
            columns: dict[str, Columns]) -> list[Certain]:
    """Of the questions that tell words apart, those that are certainly broken somewhere, narrowed where that is
    possible. `columns` are kept between calls."""
    found: list[Certain] = []
    for check, question in asked:
        store = question.per_word
        if not store:
            continue
        if store not in columns:
            columns[store] = Columns(contents, store)
        looked_at = _cells(contents, store, question.check in ELECTRICAL)
        known = Known(frozenset((one.asked.check, one.asked.subject) for one in found), {})
        for part in _parts(contents, check, question, columns[store], looked_at, known):
            judged = excused(contents, part)
            if judged is not None:
                where = columns[store].certain(judged.node) & looked_at
                if where.any():
                    found.append(Certain(check, part, store, tuple(where.search(1))))
    return found


def _cells(contents: Contents, store: str, unused_too: bool) -> bitarray:
    size = len(contents.words[store])
    placed = zeros(size, "big")
    placed[list(contents.sites.get(store, {}))] = 1
    return placed | ~placed if unused_too else placed


def _parts(contents: Contents, check: Check, question: Property, columns: Columns, looked_at: bitarray,
           known: Known) -> tuple[Property, ...]:
    if not (columns.certain(question.node) & looked_at).any():
        return ()
    if check.narrow is None:
        return (question,)
    return check.narrow(contents, question, known) or (question,)


def static_findings(contents: Contents, found: Iterable[Certain]) -> list[Finding]:
    """For a build: words that are executed for certain are errors; for all other placed words a note, as it takes a
    search to know whether any sequence executes them. Cells where nothing was placed are told together, as warnings:
    whether to give them a safe word is no matter of sequences."""
    found = list(found)
    sure = executed_for_certain(contents) if found else {}
    result = []
    for one in found:
        sites, executed = contents.sites.get(one.store, {}), sure.get(one.store, frozenset())
        result += [tell_word(contents, one, address) for address in one.addresses
                   if address in sites and address in executed]
        loose = [address for address in one.addresses if address not in sites]
        if loose:
            more = f"; so do {len(loose) - 1} more unused cells" if len(loose) > 1 else ""
            finding = tell_word(contents, one, loose[0])
            result.append(finding._replace(
                severity=Severity.WARNING, message=finding.message + more,
                help="give unused cells a safe word with `unused` in the block of the store"))
    return result + unsearched(contents, found, sure, "whether one does is for the search to say: `ordain prove`")


def tell_word(contents: Contents, one: Certain, address: int) -> Finding:
    """The finding at one word that is executed; no sequence is shown, as none was looked for."""
    found = Break(address, cycles=0, states=0, trace=None)
    verdict = Verdict(one.asked, "broken", (found,), None, None, states=0, transitions=0)
    finding = one.check.tell(contents, verdict, found)
    return finding._replace(notes=(*finding.notes, "the word alone decides this, whatever the state and the inputs"))


def unsearched(contents: Contents, found: Iterable[Certain], executed: Mapping[str, Collection[int]],
               why: str) -> list[Finding]:
    """Notes about placed words outside `executed` that would be wrong if any sequence executed them: one for each
    question and line of the text. `why`: what is known about that."""
    alike: dict[object, list[tuple[Certain, int]]] = {}
    for one in found:
        sites, known = contents.sites.get(one.store, {}), executed.get(one.store, ())
        for address in one.addresses:
            if address in sites and address not in known:
                line = tell_word(contents, one, address).span
                alike.setdefault((one.asked.check, one.asked.subject, line), []).append((one, address))
    return [_would_be(contents, group, why) for group in alike.values()]


def _would_be(contents: Contents, group: list[tuple[Certain, int]], why: str) -> Finding:
    one, address = group[0]
    finding = tell_word(contents, one, address)
    asked, where = one.asked, spot_at(contents, one.store, address).phrase
    what = f'the rule "{asked.subject}"' if one.check in RULES else f"`{asked.check}` of `{asked.subject}`"
    count = len({other for _, other in group})
    those = f"the word {where}" if count == 1 else f"{count} words, one of them {where},"
    return finding._replace(
        severity=Severity.NOTE, message=f"{those} would break {what} in every state, if any sequence executed "
        f"{'it' if count == 1 else 'them'}", label="would break it", notes=(why,))


def executed_for_certain(contents: Contents) -> dict[str, frozenset[int]]:
    """Words that every run executes: those at reset, and those to which control goes from there whatever the inputs.
    None, where something is assumed, as then there need not be any run."""
    machine, system = contents.machine, build_system(contents)
    terms = system.terms
    seen: dict[str, set[int]] = {}
    states: dict[Node, Node] = {variable.leaf: terms.const(variable.reset, variable.leaf.width)
                                for variable in system.variables if variable.reset is not None}
    met: set[object] = set()
    while not machine.assumptions and (now := frozenset(states.items())) not in met and len(met) < _MOST_STEPS:
        met.add(now)
        known = dict(states)
        for name, node in system.addresses.items():
            (address,) = substitute(terms, (node,), known)
            if type(address) is Const:
                seen.setdefault(name, set()).add(address.value)
                store, word = machine.stores[name], contents.words[name][address.value]
                known[terms.leaf("word", name, store.bits)] = terms.const(word, store.bits)
                for field in [machine.fields[each] for each in store.fields]:
                    known[terms.leaf("field", field.name, field.width)] = terms.const(field.read(word), field.width)
        coming = substitute(terms, tuple([variable.next for variable in system.variables]), known)
        states = {variable.leaf: value for variable, value in zip(system.variables, coming) if type(value) is Const}
    return {store: frozenset(addresses) for store, addresses in seen.items()}
