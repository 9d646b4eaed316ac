"""What a report should say, with allowances taken into account, beside what `ordain prove` says.

`docs/checks.md`: an allowance takes cycles out of a question; `on` names the bus or one of the parts that the fault is
about; for `stuck` the place is a way home; each allowance is asked about by itself.
"""

from ordain.checks.check import Report
from ordain.language import tree
from ordain.prover.model import Verdicts
from tests.judge.deciding import Answer, Where, lost_but_for
from tests.judge.judging import OF_LABELS, Judged, judged_verdicts, outcome
from tests.judge.questions import Part
from tests.judge.replaying import replayed
from tests.judge.tool import asked

OCCURRENCES = "what checks and rules take for granted"
WORST_FIRST = ("broken", "vacuous", "allowed", "proved")
BY_INSPECTION = ("undefined-code", "unreachable")
NOT_JUDGED = ("field-conflict", "opcode-gap", "opcode-clash", "over-assumed", "stale-allowance")
STOPPED_SHORT = ("stuck", "vacuous", "reach", "always-reach")
"""What may be missing only because assumptions run out."""


def report_disagreements(one: Judged, found: Report, first: Verdicts) -> list[str]:
    """Rows, allowances, what inspection finds, and the traces of the findings."""
    mine = rows(one)
    theirs = {(row.check, row.subject): (row.outcome, row.worst) for row in found.rows if row.check != "over-assumed"}
    wrong = [f"row {key}: {theirs.get(key)}; {mine.get(key)}" for key in sorted({*mine, *theirs})
             if mine.get(key) != theirs.get(key) and (key in theirs or mine[key][0] != "proved")
             and (key[0], theirs.get(key, ("", None))[0]) != OF_LABELS]
    if not one.description.allows:
        count = len(asked(one.built.contents))
        wrong += judged_verdicts(one, first._replace(verdicts=first.verdicts[:count]), True)
    if all(one.graph.edges):
        wrong += _allowances(one, found)
        counts = {name: sum(finding.name == name for finding in found.findings) for name in BY_INSPECTION}
        if counts["undefined-code"] != len(undefined(one)):
            wrong.append(f"undefined-code: {counts['undefined-code']} findings; {undefined(one)}")
        if bool(counts["unreachable"]) != bool(unreached(one)):
            wrong.append(f"unreachable: {counts['unreachable']} findings; {unreached(one)}")
    for finding in found.findings:
        if finding.trace is not None:
            answers = [answer for (check, _), answer in one.answers.items() if check == finding.name]
            said = [replayed(one.cycle, one.display, answer.question, finding.trace) for answer in answers]
            if said and not any(not wrongs for wrongs in said):
                wrong.append(f"trace of {finding.name}, {finding.message}: {said[0]}")
    return wrong


def rows(one: Judged) -> dict[tuple[str, str], tuple[str, int | None]]:
    found: dict[tuple[str, str], tuple[str, int | None]] = {}
    for (check, subject), answer in one.answers.items():
        said = row(one, answer)
        key = (check, OCCURRENCES if check == "vacuous" else subject)
        if check == "vacuous":
            said = "vacuous" if said == "broken" else said
            said = min(said, found.get(key, ("proved", None))[0], key=WORST_FIRST.index)
        found[key] = (said, answer.worst)
    return found


def row(one: Judged, answer: Answer) -> str:
    question = answer.question
    match question.kind:
        case "bad" if answer.faults:
            left = [fault for fault in answer.faults if not any(allows(one, allow, answer, *fault)
                                                                for allow in one.description.allows)]
            return "broken" if left else "allowed" if len(answer.met) >= question.needs or answer.faults else "vacuous"
        case "bad":
            return "vacuous" if len(answer.met) < question.needs else "proved"
        case "reach" if not answer.faults:
            return "allowed" if _matching(one, answer) else "broken"
        case "always" if answer.lost is not None:
            matching = _matching(one, answer)
            if not matching:
                return "broken"
            if any(allow.at is None for allow in matching):
                return "allowed"
            home = frozenset(place for allow in matching for place in _places(one, allow))
            return "broken" if lost_but_for(one.graph, question, home) is not None else "allowed"
    return outcome(answer)


def _matching(one: Judged, answer: Answer) -> list[tree.Allow]:
    return [allow for allow in one.description.allows if allow.check.text == answer.question.check
            and (allow.on is None or allow.on.text in answer.question.names)]


def allows(one: Judged, allow: tree.Allow, answer: Answer, part: Part, where: Where) -> bool:
    """The allowance is about this fault at this place."""
    if allow.check.text != answer.question.check:
        return False
    if allow.on is not None and allow.on.text not in (*answer.question.names, *part):
        return False
    return allow.at is None or any(where[store] == address for store, address in _places(one, allow))


def _places(one: Judged, allow: tree.Allow) -> list[tuple[int, int]]:
    """Number of the store and address: a label is its own word, a routine or instruction all of its words."""
    assert allow.at is not None
    contents, name = one.built.contents, allow.at.text
    store, addresses = contents.routines[name] if name in contents.routines else contents.labels[name]
    return [(list(one.description.stores).index(store), address) for address in addresses]


# ---------------------------------------------------------------- whether allowances are needed


def _allowances(one: Judged, found: Report) -> list[str]:
    wrong = []
    for allow, applied in zip(one.description.allows, found.allowances, strict=True):
        if allow.check.text not in NOT_JUDGED and applied.needed is not None and applied.needed != needed(one, allow):
            wrong.append(f"allowance {applied.allowance.check} on {applied.allowance.on!r} at "
                         f"{applied.allowance.at!r}: needed {applied.needed}; {needed(one, allow)}")
    return wrong


def needed(one: Judged, allow: tree.Allow) -> bool:
    if allow.check.text == "undefined-code":
        return any(_inspected(one, allow, store, address, field) for store, address, field in undefined(one, False))
    if allow.check.text == "unreachable":
        return any(_inspected(one, allow, store, address, "") for store, address in unreached(one, False))
    for (check, _), answer in one.answers.items():
        if check != allow.check.text:
            continue
        if answer.question.kind == "bad":
            if any(allows(one, allow, answer, *fault) for fault in answer.faults):
                return True
        elif allow in _matching(one, answer) and (not answer.faults if answer.question.kind == "reach"
                                                  else _lost_less(one, answer, allow)):
            return True
    return False


def _lost_less(one: Judged, answer: Answer, allow: tree.Allow) -> bool:
    """With this allowance alone control can get stuck in fewer states than with none."""
    if answer.lost is None or allow.at is None:
        return answer.lost is not None
    with_it = lost_but_for(one.graph, answer.question, frozenset(_places(one, allow)))
    return with_it is None or with_it[1] < answer.lost[1]


# ---------------------------------------------------------------- by inspection


def undefined(one: Judged, judged: bool = True) -> list[tuple[str, int, str]]:
    """Store, address and field of each placed word, and of each first unplaced cell that is presented, whose value has
    no name. `judged`: what an allowance names is left out."""
    found: list[tuple[str, int, str]] = []
    contents, machine = one.built.contents, one.description.machine
    for name, thing in one.description.things.items():
        if thing.kind != "field" or thing.codes is None or machine.fields[name].holds != "code":
            continue
        field = machine.fields[name]
        loose = []
        presented = _presented(one, field.store)
        for address, word in enumerate(contents.words[field.store]):
            value = word >> field.low & (1 << thing.width) - 1
            value ^= (1 << thing.width) - 1 if field.active_low else 0
            if value in thing.codes.values.values() or (judged and _excused(one, "undefined-code", field.store, address,
                                                                             name)):
                continue
            if address in contents.sites[field.store]:
                found.append((field.store, address, name))
            elif address in presented:
                loose.append((field.store, address, name))
        found += loose[:1] if judged else loose
    return found


def unreached(one: Judged, judged: bool = True) -> list[tuple[str, int]]:
    """Store and address of each placed word that no sequence executes at any of its addresses."""
    found = []
    for store, made in one.description.machine.stores.items():
        if made.fill != "microprogram":
            continue
        presented = _presented(one, store)
        words: dict[object, list[int]] = {}
        for address, site in one.built.contents.sites[store].items():
            words.setdefault((site.owner, site.word), []).append(address)
        for addresses in words.values():
            if not any(address in presented or (judged and _excused(one, "unreachable", store, address, ""))
                       for address in addresses):
                found += [(store, address) for address in addresses]
    return found


def _presented(one: Judged, store: str) -> frozenset[int]:
    number = list(one.description.stores).index(store)
    return frozenset(where[number] for where in one.graph.where)


def _excused(one: Judged, check: str, store: str, address: int, name: str) -> bool:
    return any(allow.check.text == check and _inspected(one, allow, store, address, name)
               for allow in one.description.allows)


def _inspected(one: Judged, allow: tree.Allow, store: str, address: int, name: str) -> bool:
    if allow.on is not None and allow.on.text != name:
        return False
    return allow.at is None or (list(one.description.stores).index(store), address) in _places(one, allow)
