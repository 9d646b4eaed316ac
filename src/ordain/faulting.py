"""The checks, the prover and the comparison met for machines with one fault each.

Like `pipeline`, this stands above the packages. There are two ways to the class of a fault, which come to the same:
`Campaign.plainly` proves and compares the faulty machine as a whole; `Campaign.of` looks at many faulty machines in one
search (`prover.family`), and at those that it cannot take together plainly.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cached_property

from oxidd.util import DDMemoryError

from ordain.asking import asked_of, coded, idle_words, key_of, undefined_codes
from ordain.checks import inspection, over_assumed, vacuous
from ordain.checks.allowances import COMPILE_TIME, excused_words
from ordain.checks.run import prove
from ordain.checks.undefined_code import EXPLANATION as UNDEFINED
from ordain.checks.undefined_code import is_undefined
from ordain.checks.unreachable import words_placed
from ordain.compare.behaviour import behaviour
from ordain.compare.joint import join
from ordain.compare.variants import Variants
from ordain.control.system import build_system
from ordain.faults.classes import Key, Spoken, compared, noticed_by, presented, ranks_of, undecided
from ordain.faults.model import Fault, FaultOutcome, Noticed, Tried, with_changes
from ordain.faults.offers import offers
from ordain.machine.expression import Node, substitute
from ordain.machine.model import Field
from ordain.machine.rewriting import with_terms
from ordain.misdoing import OneOfMany, SaidOfSound
from ordain.prover.decide import ProofRounds
from ordain.prover.family import MachineFamily
from ordain.prover.ground import Ground, TooMany, Words
from ordain.prover.model import Limits, Property, Verdict, Verdicts
from ordain.prover.questions import lower_properties
from ordain.prover.swapping import Swapped, swapped
from ordain.rom.contents import Contents

TOGETHER = 1024
"""So many faulty machines are looked at in one search, at most."""

TOLD_BY_ADDRESS = ("unreachable", "stale-allowance", UNDEFINED.name)


def with_fault(contents: Contents, fault: Fault) -> Contents:
    """What the faulty machine is, and what its chips hold."""
    contents, board = with_changes(contents, fault.changes), fault.board
    if board is None:
        return contents
    machine, terms = contents.machine, contents.machine.terms
    if board.inside:
        values = dict(board.inside)
        machine = with_terms(machine, lambda node: substitute(terms, (node,), values)[0])
    if board.bus:
        bus = machine.buses[board.bus]
        drivers = list(bus.drivers)
        drivers[board.driver] = drivers[board.driver]._replace(when=terms.const(board.level, 1))
        machine = machine._replace(buses={**machine.buses, bus.name: bus._replace(drivers=tuple(drivers))})
    return contents._replace(machine=machine)


# ---------------------------------------------------------------- the campaign


class Campaign:
    """Of one sound machine. `limits`: of each search. `told`: what is being done, before whatever may take long.
    `looked_at`: so many faults of those that are looked at together are done, or being done, then."""

    def __init__(self, contents: Contents, limits: Limits | None = None,
                 told: Callable[[str], None] = lambda _: None) -> None:
        self._told = told
        told("the sound machine is proved")
        self.contents = contents._replace(meanings={})
        self._limits = (limits or Limits())._replace(traces=0)
        self.sound, self.executed = self._spoken(self.contents, None)
        self._asked = asked_of(self.contents, self.sound.undefined)
        self._system = build_system(self.contents)
        self._rounds = ProofRounds(self._system)
        self._said = SaidOfSound(contents, self._rounds, self._limits)
        self._variants: Variants | None = None
        self._placed: dict[tuple[object, ...], FaultOutcome] = {}
        self.looked_at = 0

    def _spoken(self, contents: Contents, sound: Spoken | None) -> tuple[Spoken, dict[str, frozenset[int]]]:
        """What the checks say of a machine, by a whole proof; and the addresses that it presents."""
        system = build_system(contents)
        rounds = ProofRounds(system)

        def decide(asked: tuple[Property, ...]) -> Verdicts:
            return rounds.decide(asked, self._limits)

        report = prove(contents, decide)
        if report.ended == "interrupted":
            raise KeyboardInterrupt
        ranks = ranks_of(report.rows)
        idle = frozenset[tuple[str, int]]() if report.stopped else idle_words(contents, report.executed)
        stale = frozenset(number for number, one in enumerate(report.allowances) if one.needed is False)
        cycles: dict[Key, tuple[bool, int]] = {}
        if sound is not None:
            every = self._asked if contents.machine is self.contents.machine else asked_of(contents, sound.undefined)
            asked = [made.judged for made in every.plans if made.judged is not None and made.judged.kind == "bad"
                     and ranks[key_of(made.asked)] == 2]
            asked += [every.properties[number] for number in every.undefined]
            remembering = [bool(one.monitors) for one in lower_properties(system, tuple(asked))]
            for verdict, remembers in zip(decide(tuple(asked)).verdicts, remembering):
                if verdict.outcome == "broken":
                    key, found = key_of(verdict.property), (remembers, min(one.cycles for one in verdict.breaks))
                    cycles[key] = min(found, cycles.get(key, found))
        executed = {} if report.stopped else report.executed  # else it is not all that is presented
        return Spoken(ranks, undefined_codes(contents, report.executed), idle, stale, cycles), executed

    def plainly(self, fault: Fault) -> FaultOutcome:
        """The class of a fault by a whole proof and a whole comparison."""
        if fault.board is None and not presented(fault.changes, self.executed):
            return FaultOutcome("harmless")
        faulty = with_fault(self.contents, fault)
        spoken, _ = self._spoken(faulty, self.sound)
        noticed = noticed_by(self.sound, spoken, self._instant)
        if noticed is not None:
            return FaultOutcome("noticed", noticed)
        if undecided(self.sound, spoken):
            return FaultOutcome("undecided", why="a question was not decided within the limits")
        return self._compared(faulty)

    @property
    def _instant(self) -> frozenset[Key]:
        """The questions that one cycle answers."""
        return frozenset(self._asked.key(number) for number, prop in enumerate(self._asked.properties)
                         if prop.kind == "bad")

    def _compared(self, faulty: Contents) -> FaultOutcome:
        found = behaviour(join(self.contents, faulty))
        return self._said.otherwise(compared(found.units, found.machine), faulty, {}, None)

    @cached_property
    def _ground(self) -> Ground:
        """Raises TooMany."""
        self._told("what the sound machine reaches, and by which words")
        return Ground(self._system, self._asked.properties, TOGETHER, self._limits, self._occurs())

    def _occurs(self) -> dict[Node, Words | None]:
        """Of what is asked whether it occurs: the words on some way of the sound machine to it, or None."""
        asked = [prop._replace(kind="reach", node=node, trigger=None, unless=None, vacuity=None, per_word="")
                 for prop in self._asked.properties for node in (prop.node, prop.vacuity)
                 if node is not None and (prop.kind in ("bad", "reach") or node is prop.vacuity)]
        asked = [prop._replace(shown=True) for prop in asked]
        found: dict[Node, Words | None] = {}
        lowered = lower_properties(self._system, tuple(asked))
        for one, verdict in zip(lowered, self._rounds.decide(tuple(asked), self._limits).verdicts):
            if verdict.outcome == "broken":
                found[one.node] = None
            elif verdict.witness is not None:
                found[one.node] = frozenset((store, address) for cycle in verdict.witness.cycles
                                            for store, address in cycle.addresses.items())
        return found

    # ------------------------------------------------------------ many at once

    def of(self, faults: Sequence[Fault]) -> Iterator[Tried]:
        """The class of every fault, in their order."""
        alike: dict[object, FaultOutcome] = {}
        for start in range(0, len(faults), TOGETHER):
            some = faults[start:start + TOGETHER]
            self.looked_at = 0
            waiting: dict[object, Fault] = {}
            for fault in some:
                key = _content(fault)
                if key in alike or key in waiting:
                    continue
                if fault.board is not None:
                    self._told(f"proved and compared: {fault.text}")
                    alike[key] = self.plainly(fault)
                elif presented(fault.changes, self.executed):
                    waiting[key] = fault
                else:
                    alike[key] = FaultOutcome("harmless")
            together = self._together if self.executed and not undecided(self.sound) else self.each
            for key, outcome in zip(waiting, together(list(waiting.values()))):
                alike[key] = outcome
            for fault in some:
                yield Tried(fault, alike[_content(fault)])

    def each(self, faults: Sequence[Fault]) -> list[FaultOutcome]:
        found = []
        for fault in faults:
            self._told(f"proved and compared: {fault.text}")
            found.append(self.plainly(fault))
        return found

    def _together(self, faults: list[Fault]) -> list[FaultOutcome]:
        """Of faults that are one if opcodes are swapped which nothing tells apart the first is looked at; the others,
        too, where it is not noticed, or where it is told at which address."""
        places = [next((place for one in self._swapped
                        if (place := one.place_of(fault.changes, self.contents.words)) is not None), (fault.text,))
                  for fault in faults]
        first = {place: number for number, place in reversed([*enumerate(places)]) if place not in self._placed}
        found = dict(zip(first.values(), self._searched([faults[number] for number in first.values()])))
        self._placed.update((place, found[number]) for place, number in first.items() if len(place) > 1
                            and (noticed := found[number].noticed) and noticed.check not in TOLD_BY_ADDRESS)
        left = [number for number in range(len(faults)) if number not in found and places[number] not in self._placed]
        found.update(zip(left, self._searched([faults[number] for number in left])))
        return [found[number] if number in found else self._placed[place] for number, place in enumerate(places)]

    @cached_property
    def _swapped(self) -> tuple[Swapped, ...]:
        return tuple(swapped(self._system, lower_properties(self._system, self._asked.properties)))

    def _searched(self, faults: list[Fault]) -> list[FaultOutcome]:
        if not faults:
            return []
        try:
            noticed, family = self._noticed(faults)
            self.looked_at += len(noticed)
            return [FaultOutcome("noticed", noticed[number]) if number in noticed else
                    self._beside(fault, OneOfMany(family, number)) for number, fault in enumerate(faults)]
        except (TooMany, DDMemoryError):
            if len(faults) == 1:
                return self.each(faults)
            half = len(faults) // 2
            return [*self._searched(faults[:half]), *self._searched(faults[half:])]

    def _beside(self, fault: Fault, one: OneOfMany) -> FaultOutcome:
        """The class of a fault that nobody notices. May raise TooMany."""
        self.looked_at += 1
        self._told(f"compared: {fault.text}")
        if self._variants is None:
            self._variants = Variants(self.contents)
        faulty = with_changes(self.contents, fault.changes)
        found = self._variants.of(fault.changes, faulty)
        return self._said.otherwise(compared(found.units, found.machine), faulty, fault.changes, one)

    def _noticed(self, faults: list[Fault]) -> tuple[dict[int, Noticed], MachineFamily]:
        """Who notices each of some faults, by their numbers; those that nobody notices are left out. And the machines
        as they were searched. Raises TooMany."""
        asked, ranks = self._asked, self.sound.ranks
        stopping = [number for number in (*asked.judged, *asked.undefined) if number is not None
                    and asked.properties[number].kind == "bad" and 0 <= ranks.get(asked.key(number), 0) < 2]
        ground = self._ground
        self._told(f"{len(faults):,} faulty machines in one search")
        family = MachineFamily(ground, [fault.changes for fault in faults], stopping)
        order = {key: place for place, key in enumerate(asked.rows)}
        found = {}
        for number, breaks in family.first.items():
            keys = [(order.get(asked.key(one.question), len(order)), asked.key(one.question)) for one in breaks]
            found[number] = Noticed(*min(keys)[1], breaks[0].cycles)
        found.update(self._placed_undefined(faults, family.left))
        family.restrict(family.left - found.keys())
        if family.left and not self._simple:
            raise TooMany("allowances of what takes more than a cycle")
        for key in (*asked.rows, (over_assumed.EXPLANATION.name, "assumptions")):
            if family.left:
                self._told(f"asked of {len(family.left):,} faulty machines: {key[0]}: {key[1]}")
            for number in self._worse(family, key) & family.left:
                found[number] = Noticed(*key, None)
            family.restrict(family.left - found.keys())
        found.update(self._missing(faults, family))
        return found, family

    def offered(self, faults: Sequence[Fault]) -> tuple[str, tuple[int, ...]] | None:
        """The rule `never A and B` that notices most of some faults in one field, and which of them it does, by their
        numbers: proved of the sound machine, and broken in each of those."""
        if undecided(self.sound):
            return None
        rounds = ProofRounds(self._system)
        for offer in offers(self.contents, self.executed, faults):
            rule = Property("never", offer.rule, "bad", offer.condition)
            if rounds.decide((rule,), self._limits).verdicts[0].outcome != "proved":
                continue
            found: list[int] = []
            for start in range(0, len(offer.expected), TOGETHER):
                some = [faults[number] for number in offer.expected[start:start + TOGETHER]]
                try:
                    family = MachineFamily(Ground(self._system, (rule,), len(some), self._limits),
                                           [fault.changes for fault in some], (0,))
                except (TooMany, DDMemoryError):
                    continue
                found += [offer.expected[start + number] for number in sorted(family.first)]
            if found:
                return offer.rule, tuple(found)
        return None

    def _placed_undefined(self, faults: list[Fault], left: frozenset[int]) -> dict[int, Noticed]:
        """Codes without a name in stores that hold no microprogram: a matter of each placed word by itself, so only of
        those that are others."""
        found = {}
        for number in left:
            fresh = [field.name for field, placed in self._placed_codes
                     for address, word in faults[number].changes.get(field.store, {}).items()
                     if address in placed and is_undefined(field, word)]
            if fresh:
                found[number] = Noticed(UNDEFINED.name, min(fresh), None)
        return found

    @cached_property
    def _placed_codes(self) -> list[tuple[Field, frozenset[int]]]:
        """The fields with codes of stores that hold no microprogram, each with the addresses of placed words in which a
        code without a name would be something new."""
        known = self.sound.undefined
        return [(field, frozenset(self.contents.sites.get(field.store, {}))
                 - excused_words(self.contents, UNDEFINED.name, field.store, field.name)
                 - {address for name, address in known if name == field.name})
                for field in coded(self.contents) if field.store not in self.executed]

    @property
    def _simple(self) -> bool:
        """Whether allowances are only of what one cycle shows."""
        return all(made.bare is None and all(probe.kind == "bad" for _, probe in made.probes)
                   for made in self._asked.plans)

    def _worse(self, family: MachineFamily, key: Key) -> frozenset[int]:
        """The machines that are left in which the row of a report is worse than of the sound machine."""
        asked, before = self._asked, self.sound.ranks.get(key, 0)
        if key[0] == over_assumed.EXPLANATION.name:
            return family.dead() if before == 0 else frozenset()
        if before not in (0, 1):
            return frozenset()
        broken, empty, allowed = set[int](), set[int](), set[int]()
        for number in asked.rows[key]:
            judged, probes = asked.judged[number], asked.probes[number]
            if judged is not None:
                if asked.properties[judged].kind != "bad":
                    broken |= family.broken(judged)
                if before == 0:
                    empty |= family.vacuous(judged)
            if before == 0:
                needed = frozenset[int]().union(*(family.broken(probe) for probe in probes))
                allowed |= needed
                if judged is None:
                    empty |= frozenset[int]().union(*(family.vacuous(probe) for probe in probes)) - needed
        if key[0] == vacuous.EXPLANATION.name:
            return frozenset(broken | empty) if before == 0 else frozenset()
        if before == 0:
            for part in asked.parts:
                if asked.properties[part].subject == key[1] and asked.plans[asked.rows[key][0]].check.explanation.name \
                        == key[0]:
                    empty |= family.broken(part) - allowed
        return frozenset(broken | empty)

    def _missing(self, faults: list[Fault], family: MachineFamily) -> dict[int, Noticed]:
        """Words that are never executed any more, allowances that nothing needs any more."""
        if not family.left:
            return {}
        found = {}
        apart = {store: family.presented(store) for store in self.executed}
        needs = self._needs(family)
        for number in sorted(family.left):
            other = {store: places[number] for store, places in apart.items() if number in places}
            idle = self._executed_no_more(other)
            if idle:
                store, address = min(idle)
                found[number] = Noticed("unreachable", f"{store} {address:X}", None)
                continue
            if not self.contents.machine.allowances:
                continue
            executed = {**self.executed, **{store: self.executed[store] - lacks | more
                                            for store, (lacks, more) in other.items()}}
            stale = self._stale(with_changes(self.contents, faults[number].changes), executed, number, needs)
            if stale - self.sound.stale:
                found[number] = Noticed("stale-allowance", str(min(stale - self.sound.stale) + 1), None)
        return found

    def _executed_no_more(self, other: Mapping[str, tuple[frozenset[int], frozenset[int]]]) -> set[tuple[str, int]]:
        """Store and first address of every word that the sound machine executes and another does not. `other`: the
        addresses that only the sound one presents, and those that only the other does. A word counts as executed where
        it stands at one address that is."""
        return {(store, first) for store, (lacks, more) in other.items() for address in lacks
                for first, places in [self._copies.get((store, address), (0, None))]
                if places is not None and not places & more and places & self.executed[store] <= lacks}

    @cached_property
    def _copies(self) -> dict[tuple[str, int], tuple[int, frozenset[int]]]:
        """Per placed word, by store and address, the first address and all at which it stands; without those of which
        it is allowed that they are not executed."""
        found: dict[tuple[str, int], tuple[int, frozenset[int]]] = {}
        for store in self.executed.keys() & self.contents.sites.keys():
            allowed = excused_words(self.contents, "unreachable", store)
            for sites in words_placed(self.contents, store):
                places = frozenset(site.address for site in sites)
                if places.isdisjoint(allowed):
                    found.update(((store, address), (sites[0].address, places)) for address in places)
        return found

    def _needs(self, family: MachineFamily) -> dict[int, frozenset[int]]:
        """Per allowance, by its number, the machines that are left in which what it allows happens."""
        found: dict[int, frozenset[int]] = {}
        for made, probes in zip(self._asked.plans, self._asked.probes):
            for (allowance, _), probe in zip(made.probes, probes):
                found[allowance] = found.get(allowance, frozenset()) | family.broken(probe)
        return found

    def _stale(self, faulty: Contents, executed: dict[str, frozenset[int]], number: int,
               needs: dict[int, frozenset[int]]) -> frozenset[int]:
        found = set()
        for place, allowance in enumerate(faulty.machine.allowances):
            if allowance.check in COMPILE_TIME:
                continue
            if allowance.check in inspection.NAMES:
                nobody = Property("", "", "bad", faulty.machine.terms.const(0, 1))
                over = Verdict(nobody, "proved", (), None, None, 0, 0)
                if inspection.needs(faulty, allowance, Verdicts((), over, executed, 0, 0, 0, "", "")) is False:
                    found.add(place)
            elif number not in needs.get(place, frozenset()):
                found.add(place)
        return frozenset(found)


def _content(fault: Fault) -> object:
    return fault.board, frozenset((store, address, word) for store, words in fault.changes.items()
                                  for address, word in words.items())
