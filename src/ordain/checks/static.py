"""What is wrong with a word whatever the state: every question put to the control store alone, column by column.

No reachability is looked at, so this takes milliseconds and `build` can afford it. What is certain here is broken in
every cycle that presents the word; whether a sequence leads to it is for the exhaustive pass to say.
"""

from collections.abc import Iterable
from typing import NamedTuple

from bitarray import bitarray
from bitarray.util import zeros

from ordain.checks.allowances import excused
from ordain.checks.check import Check, Known
from ordain.checks.columns import Columns
from ordain.checks.wording import spot_at
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, Severity

ELECTRICAL = ("contention", "conflicting-enables")
"""Checks that matter for unused cells too: at power-up, before reset, control stands anywhere."""


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
        if question.kind != "bad" or not store or contents.machine.stores[store].fill != "microprogram":
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
    if check.narrow is None or question.monitors:
        return (question,)
    return check.narrow(contents, question, known) or (question,)


def static_findings(contents: Contents, found: Iterable[Certain]) -> list[Finding]:
    """For a build: placed words are errors; cells where nothing was placed are told together, as warnings."""
    result = []
    for one in found:
        sites = contents.sites.get(one.store, {})
        result += [tell_word(contents, one, address) for address in one.addresses if address in sites]
        loose = [address for address in one.addresses if address not in sites]
        if loose:
            more = f"; so do {len(loose) - 1} more unused cells" if len(loose) > 1 else ""
            finding = tell_word(contents, one, loose[0])
            result.append(finding._replace(
                severity=Severity.WARNING, message=finding.message + more,
                help="give unused cells a safe word with `unused` in the block of the store"))
    return result


def tell_word(contents: Contents, one: Certain, address: int) -> Finding:
    """The finding at one word; no sequence is shown, as none was looked for."""
    found = Break(address, 0, 0, None)
    verdict = Verdict(one.asked, "broken", (found,), None, None, 0, 0)
    finding = one.check.tell(contents, verdict, found)
    return finding._replace(notes=(*finding.notes, "the word alone decides this, whatever the state and the inputs"))


def tell_idle(contents: Contents, one: Certain, address: int) -> Finding:
    """A word that would be wrong if any sequence executed it; none does."""
    finding = tell_word(contents, one, address)
    where = spot_at(contents, one.store, address).phrase
    return finding._replace(severity=Severity.NOTE, notes=(f"no sequence executes the word {where}",))
