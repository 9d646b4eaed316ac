"""The routines, instructions and prologue of a microprogram, laid out in the order of the text."""

from collections.abc import Iterator, Sequence
from typing import Literal, NamedTuple

from ordain.language import tree
from ordain.machine.model import Machine, Store
from ordain.text.findings import Finding, Place, error
from ordain.text.source import Span
from ordain.text.spelling import nearest


class BodyPlan(NamedTuple):
    """A body before its words are made. `words` are those of all arms, in the order of the text; `first` is the index
    of the first of them in the program. `at`: the address asked for, or None. `patterns`: an instruction's; `others` is
    True for `instruction others`."""

    name: str
    kind: Literal["routine", "instruction", "prologue"]
    store: Store
    at: int | None
    align: int
    same_page: int
    body: tuple[tree.MicroLine, ...]
    words: tuple[tree.Micro, ...]
    first: int
    patterns: tuple[tree.OpcodePattern, ...]
    others: bool
    span: Span

    @property
    def end(self) -> int:
        return self.first + len(self.words)


def plan_bodies(machine: Machine, statements: Sequence[tree.MicroStatement]) -> tuple[list[BodyPlan], list[Finding]]:
    """All bodies that have a store, and findings about their headers."""
    findings: list[Finding] = []
    plans: list[BodyPlan] = []
    first = 0
    for statement in statements:
        if isinstance(statement, tree.Map | tree.Effects):
            continue
        store = _store(machine, statement, findings)
        if store is None:
            continue
        plan = _plan(machine, statement, store, first, findings)
        _check_arms(plan, findings)
        plans.append(plan)
        first = plan.end
    _check_twice(plans, findings)
    return plans, findings


def is_stepped(store: Store) -> bool:
    """Whether a store is addressed by instruction and step: then every word has its places from the start."""
    return store.instruction is not None and store.step is not None


def _plan(machine: Machine, statement: tree.Routine | tree.Instruction | tree.Prologue, store: Store, first: int,
          findings: list[Finding]) -> BodyPlan:
    words = tuple(words_of(statement.body))
    match statement:
        case tree.Routine():
            at, align, same_page = _constraint(machine, statement.constraint, statement.span, findings)
            return BodyPlan(statement.name.text, "routine", store, at, align, same_page, statement.body, words, first,
                            (),
                            False, statement.span)
        case tree.Instruction():
            at, align, same_page = _constraint(machine, statement.constraint, statement.span, findings)
            return BodyPlan(statement.title.text, "instruction", store, at, align, same_page, statement.body, words,
                            first,
                            statement.patterns, not statement.patterns, statement.span)
        case tree.Prologue():
            return BodyPlan("prologue", "prologue", store, None, 0, 0, statement.body, words, first, (), False,
                            statement.span)


def words_of(body: Sequence[tree.MicroLine]) -> Iterator[tree.Micro]:
    """The words of a body and of its arms. Recursion ends with the limit on arms."""
    for line in body:
        if isinstance(line, tree.Micro):
            yield line
        else:
            for arm in line.arms:
                yield from words_of(arm.body)


def _store(machine: Machine, statement: tree.Routine | tree.Instruction | tree.Prologue,
           findings: list[Finding]) -> Store | None:
    """The store of a body: the one that a routine names; for what belongs to an opcode the one that knows opcodes."""
    takers = [store for store in machine.stores.values() if store.fill == "microprogram"]
    if isinstance(statement, tree.Routine) and statement.store is not None:
        found = machine.stores.get(statement.store.text)
        if found in takers:
            return found
        close = nearest(statement.store.text, [store.name for store in takers])
        findings.append(error(
            "unknown-name" if found is None else "wrong-kind",
            f"`{statement.store.text}` is {'no store' if found is None else 'not filled with words of a microprogram'}",
            statement.store.span, "words cannot go there",
            help=f"did you mean `{close}`?" if close else "name a store that has fields"))
        return None
    if not takers:
        findings.append(error("no-store", "the machine has no store that takes microinstructions", statement.span,
                              "no place for this", help="give a store its `field` lines"))
        return None
    if isinstance(statement, tree.Routine):
        return takers[0]
    return next((store for store in takers if store.instruction is not None or store.starts_at is not None), takers[0])


def _constraint(machine: Machine, constraint: tree.PlaceConstraint, span: Span,
                findings: list[Finding]) -> tuple[int | None, int, int]:
    """The address, alignment and page of a header."""
    at = None
    match constraint.at:
        case tree.Number(value=value):
            at = value
        case tree.Word(text=text):
            at = machine.constants.get(text)
            if at is None:
                close = nearest(text, machine.constants)
                findings.append(error("unknown-name", f"there is no constant `{text}`", constraint.at.span, "unknown",
                                      help=f"did you mean `{close}`?" if close else "write `constant NAME = ...`"))
    for what, size in (("align", constraint.align), ("same page", constraint.same_page)):
        if size is not None and (size < 1 or size & (size - 1)):
            findings.append(error("bad-size", f"`{what} {size}`: pages and blocks have 1, 2, 4, 8 ... words", span,
                                  "not a power of two", help="take the next power of two"))
            return at, 0, 0
    return at, constraint.align or 0, constraint.same_page or 0


def _check_arms(plan: BodyPlan, findings: list[Finding]) -> None:
    """Arms and prologues make sense only where the address says at which step an instruction is."""
    if is_stepped(plan.store):
        if plan.kind == "instruction" and plan.at is not None:
            findings.append(error("placement-conflict", f"`{plan.name}` stands where its opcode and steps say",
                                  plan.span, "`at` contradicts that", help="leave `at` out"))
        return
    if plan.kind == "prologue":
        findings.append(error("no-steps", f"`{plan.store.name}` is not addressed by instruction and step", plan.span,
                              "a prologue has no place in it",
                              help="give its words to a routine, and jump to it at the end of every instruction"))
    arm = next((line for line in plan.body if isinstance(line, tree.When)), None)
    if arm is not None:
        findings.append(error(
            "no-steps", f"`{plan.store.name}` is not addressed by instruction and step", arm.span,
            "an address line cannot choose the word here",
            help="branch by an order instead; where inputs are address lines, `table(...)` names the words for their "
                 "values (docs/how/state-machine.md)"))


def _check_twice(plans: Sequence[BodyPlan], findings: list[Finding]) -> None:
    """Names of bodies are names of places: each of them once."""
    known: dict[str, BodyPlan] = {}
    others: BodyPlan | None = None
    for plan in plans:
        if plan.kind == "prologue":
            continue
        first = known.setdefault(plan.name, plan)
        if first is not plan:
            findings.append(error("defined-twice", f"`{plan.name}` is defined twice", plan.span, "the second",
                                  places=(Place(first.span, "the first"),), help="give one of them another name"))
        if plan.others and others is not None:
            findings.append(error("defined-twice", "`instruction others` stands twice", plan.span, "the second",
                                  places=(Place(others.span, "the first"),), help="leave one of them out"))
        elif plan.others:
            others = plan
