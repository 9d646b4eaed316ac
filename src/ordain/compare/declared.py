"""What the machine file declares beside what words bring about: how the hardware starts, and what is demanded of it.

Everything that is demanded is brought to one form, a `Requirement`, of which it can be said that another is at least as
strong. What is promised (by `assume`, by `steady while`) and what is allowed is compared the other way round: who
promises more lets a proof look at less. What cannot be shown to be at least as strong counts as weaker.
"""

from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from typing import Literal, NamedTuple

from ordain.compare.correspondence import Correspondence
from ordain.compare.orders import Pairing
from ordain.compare.translation import Renames, translate
from ordain.logic.diagrams import TRUE, Functions, TooLarge
from ordain.machine.expression import Node, Terms, leaves, substitute
from ordain.machine.model import AfterNever, Allowance, BetweenNever, Machine, Never, Reach, Rule, WhenThen
from ordain.machine.rewriting import terms_in, with_terms, without_tables
from ordain.rom.contents import Contents

Kind = Literal["weaker", "stronger", "changed", "promised", "allows"]


class Requirement(NamedTuple):
    """`check`, `subject`: as its row in a report has them. `form`: one demand can only stand for another of its form.
    `more`: terms that demand more where they hold more often; `less`: the other way round. `among`, `figures`: the more
    of them and the higher they are, the more is demanded; lengths of time are in cycles."""

    check: str
    subject: str
    form: str
    more: tuple[Node, ...] = ()
    less: tuple[Node, ...] = ()
    among: frozenset[Node | str] = frozenset()
    figures: tuple[Fraction, ...] = ()


class Redefined(NamedTuple):
    """Something under one title is demanded less or more ("weaker", "stronger") or is another demand ("changed"),
    or is promised or allowed in addition."""

    kind: Kind
    check: str
    subject: str


class Demands(NamedTuple):
    """`redefined`: what a proof says no longer, or in addition, under the same title. `met`: (check, subject) of an old
    demand -> that of a new one which is at least as strong, and of a meaning -> that of the instruction by its present
    title. `renames`: old names -> new ones. `remarks`: for people, what is spoken of by the same name and is another
    place."""

    redefined: tuple[Redefined, ...]
    met: dict[tuple[str, str], tuple[str, str]]
    renames: Renames
    remarks: tuple[str, ...] = ()


Restated = Callable[[Contents, Contents], Iterable[tuple[Literal["weaker", "stronger", "changed"], str]]]
"""Of both sides over the same terms, under common names: the instructions that are said to do less, more or something
else."""


def demands(old: Contents, new: Contents, correspondence: Correspondence, restated: Restated) -> Demands:
    """Compare everything that is demanded of both sides. A demand that nothing stands for is no matter of this: its row
    is missing in the new report."""
    terms, renames = Terms(), correspondence.renames
    sides = translate(old, terms, renames), translate(new, terms)
    fields = in_new_codes(sides[0].machine, new.machine, correspondence.pairing, terms)
    plain = [without_tables(side.machine, side.machine, terms) for side in sides]
    machines = (with_terms(plain[0], lambda node: substitute(terms, (node,), fields)[0]), plain[1])
    implied = Implied(terms)
    asked, offered = list(_asked(machines[0])), list(_asked(machines[1]))
    redefined: list[Redefined] = []
    met: dict[tuple[str, str], tuple[str, str]] = {}
    for mine, its_own in zip(asked, _asked(old.machine), strict=True):
        key = (mine.check, mine.subject)
        titled = [one for one in offered if (one.check, one.subject) == key]
        found = next((one for one in (*titled, *offered) if implied.at_least(one, mine)), None)
        if found is not None:
            met[its_own.check, its_own.subject] = (found.check, found.subject)
        if titled and found not in titled:
            redefined.append(Redefined("weaker", *key))
        elif any(not any(implied.at_least(its, one) for its in asked if (its.check, its.subject) == key)
                 for one in titled):
            redefined.append(Redefined("stronger", *key))
    met |= {("meaning", title): ("meaning", renames.places.get(title, title)) for title in old.meanings}
    redefined += [Redefined(kind, "meaning", title) for kind, title in restated(*sides)]
    redefined += [Redefined("promised", *about) for about in _promised(*machines, implied)]
    redefined += [Redefined("allows", one.check, one.reason) for one in machines[1].allowances
                  if not any(_covers(other, one) for other in machines[0].allowances)]
    return Demands(tuple(dict.fromkeys(redefined)), met, renames, tuple(_elsewhere(new.machine, correspondence.moved)))


def _elsewhere(machine: Machine, moved: Iterable[str]) -> Iterator[str]:
    spoken_of = {leaf.name for leaf in leaves(terms_in(machine)) if leaf.kind == "at"}
    spoken_of |= {allowance.at for allowance in machine.allowances}
    for name in moved:
        if name in spoken_of:
            yield f"label `{name}` stands at another word than before: what names it speaks of another place"


def _covers(wide: Allowance, narrow: Allowance) -> bool:
    return (wide.check == narrow.check and wide.on in ("", narrow.on) and wide.at in ("", narrow.at))


class Implied:
    """Whether one condition holds wherever another does."""

    def __init__(self, terms: Terms) -> None:
        self._terms, self._functions = terms, Functions(())

    def _meaning(self, part: Node | str) -> object:
        try:
            return part if isinstance(part, str) else self._functions.bits(part)
        except TooLarge:
            return part

    def __call__(self, condition: Node, other: Node) -> bool:
        """True when it is sure that `other` holds wherever `condition` does."""
        if condition is other:
            return True
        try:
            (one,), (two,) = self._functions.bits(condition), self._functions.bits(other)
            return self._functions.either(self._functions.negation(one), two) == TRUE
        except TooLarge:
            return False

    def at_least(self, one: Requirement, other: Requirement) -> bool:
        """True when `one` surely demands at least what `other` does."""
        return (one.form == other.form
                and {self._meaning(part) for part in one.among} >= {self._meaning(part) for part in other.among}
                and all(mine >= its for mine, its in zip(one.figures, other.figures, strict=True))
                and all(self(its, mine) for mine, its in zip(one.more, other.more, strict=True))
                and all(self(mine, its) for mine, its in zip(one.less, other.less, strict=True)))


# ---------------------------------------------------------------- what is demanded


def _asked(machine: Machine) -> Iterator[Requirement]:
    """Everything that a machine file demands by lines of its own, in a fixed order."""
    if machine.home is not None:
        yield Requirement("stuck", "home", "home", less=(machine.home,))
    for strobe in machine.strobes:
        for need in strobe.needs:
            for part, steps in (("before", need.before), ("during", 0), ("after", need.after)):
                yield Requirement("missing-hold", f"{need.bus} {part} {strobe.name}",
                                  f"{need.bus} {part} {strobe.name}",
                                  figures=(Fraction(steps, machine.steps),))
    for keep in machine.keeps:
        yield Requirement("lost-state", f"{', '.join(keep.names)} while {keep.text}", "keep", (keep.condition,),
                          among=frozenset(keep.names))
    for line in machine.exclusives:
        yield Requirement("conflicting-enables", ", ".join(line.names), "exclusive", among=frozenset(line.signals))
    for bus in machine.buses.values():
        yield Requirement("turnaround", bus.name, f"turnaround {bus.name}",
                          figures=(Fraction(bus.turnaround, machine.steps),))
    for rule in machine.rules:
        yield _rule(machine, rule)


def _rule(machine: Machine, rule: Rule) -> Requirement:
    match rule.form:
        case Never(condition):
            return Requirement("never", rule.text, "never", (condition,))
        case Reach(condition, always):
            name = "always-reach" if always else "reach"
            return Requirement(name, rule.text, name, less=(condition,))
        case WhenThen(trigger, response, within, unless):
            held = None if machine.clock is None else machine.clock.held
            return Requirement("when-then", rule.text, "when", (trigger,),
                               (response, unless, machine.terms.const(0, 1) if held is None else held),
                               figures=(Fraction(-within, machine.steps),))
        case BetweenNever(start, end, forbidden, after):
            return Requirement("between-never", rule.text, "between", (start, forbidden, after), (end,))
        case AfterNever(start, forbidden, until):
            return Requirement("after-never", rule.text, "after", (start, forbidden), (until,))


def _promised(old: Machine, new: Machine, implied: Implied) -> Iterator[tuple[str, str]]:
    """What the new side promises and the old one does not: (check, subject)."""
    terms = new.terms
    before = terms.and_((terms.const(1, 1), *(one.condition for one in old.assumptions)))
    yield from (("assume", one.text) for one in new.assumptions if not implied(before, one.condition))
    steady = {(bus.name, item.name): item.steady for bus in old.buses.values() for item in bus.drivers}
    for bus in new.buses.values():
        for item in bus.drivers:
            mine, its = item.steady, steady.get((bus.name, item.name))
            if mine is not None and (bus.name, item.name) in steady and (its is None or not implied(mine, its)):
                yield "steady", f"{item.name} on {bus.name}"


def in_new_codes(machine: Machine, other: Machine, pairing: Pairing, terms: Terms) -> dict[Node, Node]:
    """The fields of the old machine that have another name or other codes in the new one, as terms over the new one's;
    what has no counterpart is unlike all of them."""
    values: dict[Node, Node] = {}
    for name, (new_name, numbers) in pairing.values.items():
        ours, theirs = machine.fields[name], other.fields[new_name]
        if name == new_name and numbers is None:
            continue
        field = terms.leaf("field", new_name, theirs.width)
        back = {after: before for before, after in (numbers or {}).items()}
        value: Node = terms.leaf("free", f"{name} of the old machine", ours.width)
        if numbers is None:
            value = field
        for after, before in back.items():
            value = terms.if_(terms.among(field, frozenset((after,))), terms.const(before, ours.width), value)
        values[terms.leaf("field", name, ours.width)] = value
    return values
