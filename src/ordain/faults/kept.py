"""What came of faults as JSON data and back, so that it can be kept from run to run.

Faults are known by what they are called, which tells them apart within one build; what is not decided is not kept.
"""

from collections.abc import Mapping
from typing import Any

from ordain.faults.model import CLASSES, FaultOutcome, Noticed


def outcomes_data(outcomes: Mapping[str, FaultOutcome]) -> dict[str, list[Any]]:
    """`outcomes`: by the names of the faults."""
    return {text: [one.kind, None if one.noticed is None else list(one.noticed), list(one.titles),
                   list(one.meanings)]
            for text, one in outcomes.items() if one.kind != "undecided"}


def outcomes_from(data: Any) -> dict[str, FaultOutcome]:
    """By the names of the faults; what is no outcome is passed over."""
    found = {}
    for text, said in data.items() if isinstance(data, dict) else ():
        outcome = _outcome(said)
        if outcome is not None:
            found[text] = outcome
    return found


def _outcome(said: Any) -> FaultOutcome | None:
    if not isinstance(said, list) or len(said) != 4:
        return None
    kind, noticed, titles, meanings = said
    if kind not in CLASSES or kind == "undecided" or (kind == "noticed") != (noticed is not None):
        return None
    for names in (titles, meanings):
        if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
            return None
    if noticed is None:
        return FaultOutcome(kind, titles=tuple(titles), meanings=tuple(meanings))
    if not isinstance(noticed, list) or len(noticed) != 3 or not all(isinstance(name, str) for name in noticed[:2]):
        return None
    if noticed[2] is not None and (type(noticed[2]) is not int or noticed[2] < 1):
        return None
    return FaultOutcome(kind, Noticed(*noticed), tuple(titles))
