"""A comparison as plain data for JSON. Addresses are numbers."""

from typing import Any

from ordain.compare.behaviour import Behaviour, ComparedUnit
from ordain.compare.comparison import Comparison, is_expected
from ordain.compare.difference import Difference, Passage
from ordain.compare.places import Addresses
from ordain.compare.reach import ReachedWords
from ordain.compare.roots import Titles
from ordain.show.findings_json import place_data


def comparison_data(found: Comparison) -> dict[str, Any]:
    """Everything; parts that were not looked at are null."""
    return {
        "old": found.old,
        "new": found.new,
        "behaviour": None if found.behaviour is None else _behaviour(found, found.behaviour),
        "reach": None if found.reach is None else _reach(found.reach),
        "verdicts": None if found.verdicts is None else {
            "moved": [moved._asdict() for moved in found.verdicts.moved], "same": found.verdicts.same,
            "stale_allowances": list(found.verdicts.stale), "needed_allowances": list(found.verdicts.needed),
            "complete": found.verdicts.comparable},
        "cycles": None if found.cycles is None else [
            {"title": change.title, "old": _span(change.old, change.rings[0]),
             "new": _span(change.new, change.rings[1])} for change in found.cycles],
        "chips": None if found.chips is None else [
            {**change._asdict(), "steps": [step._asdict() for step in change.steps]} for change in found.chips],
        "remarks": list(found.remarks),
    }


def _span(span: tuple[int | None, int | None] | None, rings: int) -> dict[str, int | None]:
    least, most = span or (None, None)
    return {"least": least, "most": most, "waits": rings}


def _behaviour(found: Comparison, behaviour: Behaviour) -> dict[str, Any]:
    return {"units": [_unit(found, behaviour, unit) for unit in behaviour.units],
            "machine": list(behaviour.machine), "correspondence": list(behaviour.said)}


def _unit(found: Comparison, behaviour: Behaviour, unit: ComparedUnit) -> dict[str, Any]:
    data: dict[str, Any] = {
        "kind": unit.kind, "title": unit.title, "status": unit.status, "store": unit.store,
        "opcodes": list(unit.opcodes), "differing_opcodes": list(unit.differing), "was": unit.was, "note": unit.note,
        "expected": unit.status != "same" and is_expected(unit, found.expected),
    }
    if unit.difference is not None:
        data["first_difference"] = _difference(behaviour, unit.difference)
    return data


def _difference(behaviour: Behaviour, one: Difference) -> dict[str, Any]:
    return {
        "cycle": one.cycle, "way": [_passage(behaviour, passage) for passage in one.way],
        "when": [str(literal) for literal in one.when],
        "old": _words(behaviour, 0, one.old) or one.old_end, "new": _words(behaviour, 1, one.new) or one.new_end,
        "changes": [change._asdict() for change in one.changes],
    }


def _passage(behaviour: Behaviour, passage: Passage) -> dict[str, Any]:
    return {"old": _words(behaviour, 0, passage.old), "new": _words(behaviour, 1, passage.new),
            "when": [str(literal) for literal in passage.when]}


def _words(behaviour: Behaviour, side: int, addresses: Addresses) -> list[dict[str, Any]]:
    contents = behaviour.joint.common.sides[side].contents
    titles = Titles(behaviour.joint.common.sides[side])
    words = []
    for store, address in addresses:
        site = contents.sites.get(store, {}).get(address)
        data: dict[str, Any] = {"store": store, "address": address, "title": titles.at(store, address),
                                "orders": [] if site is None else list(site.orders)}
        if site is not None and site.span is not None:
            data["place"] = place_data(site.span)
        words.append(data)
    return words


def _reach(reach: ReachedWords) -> dict[str, Any]:
    return {"words": [{"title": word.title, "old": _addresses(word.old), "new": _addresses(word.new),
                       "executed_by": [{"kind": via.kind, "title": via.title, "way": list(via.way),
                                        "cycles": via.cycles} for via in word.executed_by]}
                      for word in reach.words], "more": reach.more}


def _addresses(addresses: Addresses) -> list[dict[str, Any]]:
    return [{"store": store, "address": address} for store, address in addresses]
