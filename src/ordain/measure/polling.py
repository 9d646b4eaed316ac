"""Whether an instruction looks at a request in time.

What a request is and how long it may wait is taken from the rules: `when REQUEST then ANSWER within N cycles`, where
the request is one of states and inputs alone. A word looks at it when where control goes from there depends on it, or
on what follows from it (a synchroniser, a latch). An instruction gets advice when no way from its first word comes to
such a word within N cycles, its own or one after it. A rule whose request no word looks at by a branch (the hardware
answers by itself) is left out, and so is one whose trigger speaks of places, orders or opcodes.
"""

from collections.abc import Iterable

from ordain.control.ending import ends_of
from ordain.control.model import System
from ordain.control.phases import length
from ordain.control.sequencing import Sequencing, sequencing
from ordain.control.system import released
from ordain.logic.narrowing import bits_read
from ordain.machine.expression import Leaf, Node, leaves, substitute
from ordain.machine.model import Rule, WhenThen
from ordain.measure.advice import Piece
from ordain.measure.cycle_counts import Control, Journey, JourneyEnds, soonest
from ordain.measure.cycles import steering_nexts
from ordain.text.findings import Place, note


def unpolled(system: System, titles: Iterable[str]) -> list[Piece]:
    """A piece of advice for each rule and instruction that has no way to look in time."""
    system = released(system)
    machine, terms = system.contents.machine, system.terms
    found = sequencing(machine, terms)
    listed = [title for title in titles if title in system.contents.labels]
    if not found.control or not listed:
        return []
    store = found.control[0]
    line = terms.leaf("address", store, machine.stores[store].address_width)
    _, broken_off = ends_of(machine, found, terms)
    never = terms.const(0, 1)
    asked = _asked_by_words(system, found, store)
    rules: list[tuple[Rule, int, frozenset[int]]] = []
    for rule in machine.rules:
        if isinstance(rule.form, WhenThen):
            request = _follows(system, found, rule.form.trigger)
            looking = frozenset(address for address, names in asked.items() if names & request)
            if looking:
                rules.append((rule, rule.form.cycles, looking))
    starts = [terms.among(machine.terms.leaf("address", where, machine.stores[where].address_width), addresses)
              for where, addresses in (system.contents.labels[title] for title in listed)]
    courses, journeys = [], []
    for number, (_, _, looking) in enumerate(rules):
        courses.append(JourneyEnds(terms.among(line, looking), never, broken_off, never, False, never))
        journeys += [Journey(start, None, number) for start in starts]
    if not journeys:
        return []
    counts = iter(soonest(system, Control(store, 0, ()), courses, journeys))
    return [_piece(system, rule, within, title, least) for rule, within, _ in rules
            for title, least in zip(listed, counts) if least is None or least > within]


def _piece(system: System, rule: Rule, within: int, title: str, least: int | None) -> Piece:
    store, addresses = system.contents.labels[title]
    site = system.contents.sites.get(store, {}).get(min(addresses))
    machine = system.contents.machine
    when = "on no way" if least is None else f"after {length(machine, least)} at the earliest"
    finding = note(
        "unpolled", f"`{title}` looks at the request of \"{rule.text}\" {when}; the rule allows "
        f"{length(machine, within)}",
        None if site is None else site.span, "no look in time", places=(Place(rule.span, "the rule"),),
        help="ask about the request on the way, and go on where it is answered")
    return Piece(finding, frozenset(), frozenset({title}))


def _follows(system: System, found: Sequencing, trigger: Node) -> frozenset[str]:
    """The states and inputs of a request and the states that follow from them; nothing when it is not of such alone."""
    wanted = leaves((trigger,))
    if any(leaf.kind not in ("state", "input") or leaf in found.pointers or leaf in found.opcodes for leaf in wanted):
        return frozenset()
    names = {leaf.name for leaf in wanted}
    steering = {leaf.name for leaf in (*found.pointers, *found.opcodes)}
    grown = True
    while grown:
        more = {state.name for state in system.contents.machine.states.values()
                if state.name not in names and state.name not in steering
                and any(leaf.name in names and leaf.kind in ("state", "input") for leaf in leaves((state.next,)))}
        grown = bool(more)
        names |= more
    return frozenset(names)


def _asked_by_words(system: System, found: Sequencing, store: str) -> dict[int, frozenset[str]]:
    """Per address of a placed word the names of states and inputs about which it asks."""
    machine, terms, contents = system.contents.machine, system.terms, system.contents
    nexts = steering_nexts(system, found)
    memo: dict[int, frozenset[str]] = {}
    result = {}
    for address in contents.sites.get(store, {}):
        word = contents.words[store][address]
        if word not in memo:
            known: dict[Node, Node] = {terms.leaf("word", store, machine.stores[store].bits):
                                       terms.const(word, machine.stores[store].bits)}
            for name in machine.stores[store].fields:
                field = machine.fields[name]
                known[terms.leaf("field", name, field.width)] = terms.const(field.read(word), field.width)
            memo[word] = frozenset(leaf.name for leaf in bits_read(substitute(terms, nexts, known))
                                   if type(leaf) is Leaf and leaf.kind in ("state", "input"))
        result[address] = memo[word]
    return result
