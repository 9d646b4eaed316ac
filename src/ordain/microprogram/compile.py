"""Tree and machine become microinstructions: every pass in its order."""

from collections.abc import Collection, Container, Iterator, Mapping, Sequence
from itertools import chain

from ordain.language import tree
from ordain.machine.expression import leaves
from ordain.machine.model import Machine, Meaning, Store
from ordain.microprogram.beside import beside, never_past
from ordain.microprogram.bodies import BodyPlan, is_stepped, plan_bodies
from ordain.microprogram.ends import counted_on, runs_off
from ordain.microprogram.flow import following
from ordain.microprogram.gaps import own_faults
from ordain.microprogram.labels import Labels, check_machine_labels
from ordain.microprogram.layout import layout_of
from ordain.microprogram.mapping import computed_words, map_entries, start_entries
from ordain.microprogram.model import Body, Microinstruction, OpcodeUse, Program
from ordain.microprogram.naming import word_names
from ordain.microprogram.opcodes import Opcodes, assign_opcodes
from ordain.microprogram.slots import slots_of
from ordain.microprogram.stepping import Counter, counter_of, decides
from ordain.microprogram.tables import numbers, table
from ordain.microprogram.unread import counts_on, unread
from ordain.microprogram.words import Writer
from ordain.text.findings import Finding, Place, Severity, error, has_errors, warning
from ordain.text.source import Span


def compile_program(machine: Machine, microfile: tree.MicroFile, earlier: Sequence[Finding] = ()
                    ) -> tuple[Program | None, list[Finding]]:
    """The microinstructions of all stores with their addresses still open; None with an error among the findings.

    `earlier`: what was found in the files before; what may be missing because of it is not complained about again."""
    plans, findings = plan_bodies(machine, microfile.statements)
    labels = Labels(plans)
    findings += labels.findings
    findings += check_machine_labels(machine, labels, plans)
    opcodes, more = assign_opcodes(machine, plans)
    findings += more
    fixed = _fixed(machine, plans, opcodes, findings)
    words: list[Microinstruction] = []
    twofold = {name for name, number in machine.constants.items()
               if name in labels.doubtful or (name in labels.words and fixed.get(labels.words[name]) != (number,))}
    writers, counting = _writers(machine, labels, findings, twofold)
    for number, plan in enumerate(plans):
        words += writers[plan.store.name].body(number, plan, fixed)
    unused = {name: writers[name].unused() if name in writers else None for name in machine.stores}
    for name, writer in writers.items():
        findings += writer.finished()
        if writer.counter is not None:
            own = [plan for plan in plans if plan.store.name == name]
            findings += _off_the_end(machine, writer, writer.counter, own, words, fixed, labels.words)
    micro = frozenset(source.name for source in microfile.sources)
    known = not has_errors([one for one in earlier if one.span is None or one.span.source.name not in micro])
    if known and not has_errors(findings):      # else what counts may stand where nothing could be read
        findings += _anywhere(machine, writers, words, frozenset(plan.end - 1 for plan in plans))
    if known and not any(one.severity is Severity.ERROR or one.name == "counter-not-low" for one in findings):
        findings += _no_order(machine, writers)
    entries = start_entries(machine, plans, opcodes)
    rows, more = map_entries(machine, [item for item in microfile.statements if isinstance(item, tree.Map)], labels)
    findings += more
    meanings, more = _meanings(machine, microfile)
    findings += more
    computed = computed_words(machine.terms, list(machine.stores.values()))
    sound = not has_errors(findings)
    findings = own_faults(findings, earlier, micro, machine.broken)
    findings = _in_order(findings, microfile)
    if not sound:
        return None, findings
    uses = tuple([OpcodeUse(opcode, plans[number].name, opcode in opcodes.others)
                  for opcode, number in opcodes.plans.items()])
    bodies = tuple([Body(plan.name, plan.kind, plan.store.name, plan.first, plan.end, plan.align, plan.same_page,
                         plan.span) for plan in plans])
    after: dict[int, tuple[int, ...]] = {}
    for store in machine.stores.values():
        if store.fill == "microprogram" and is_stepped(store):
            after.update(following(store, plans))
    return Program(tuple(words), bodies, labels.words, (*entries, *rows), uses, unused, computed, counting, after,
                   _transfers(plans, machine), tuple(chain.from_iterable(map(word_names, plans))), meanings), findings


def _off_the_end(machine: Machine, writer: Writer, counter: Counter, own: Sequence[BodyPlan],
                 words: Sequence[Microinstruction], fixed: Mapping[int, tuple[int, ...]],
                 labels: Mapping[str, int]) -> list[Finding]:
    """Words of a store after which nothing comes. What flip-flops hold is asked where the words do not say it alone."""
    past = counted_on(machine, writer.layout, counter, writer.past, words, fixed, labels)
    found = list(runs_off(machine, past, counter, own, words, fixed))
    others = beside(machine, writer.layout, counter) if found else None
    if others is None:
        return found
    never = never_past(machine, writer.layout, counter, others, own, words, labels)
    past = [one for one in past if one.kept or one.word not in never]
    return list(runs_off(machine, past, counter, own, words, fixed, others.parts(machine)))


def _meanings(machine: Machine, microfile: tree.MicroFile) -> tuple[dict[str, Meaning], list[Finding]]:
    """What the instructions are said to do, by title. What is wrong with a text that many of them have is told once."""
    effects: dict[str, tree.Effects] = {}
    findings: list[Finding] = []
    for statement in microfile.statements:
        if isinstance(statement, tree.Effects):
            first = effects.setdefault(statement.name.text, statement)
            if first is not statement:
                findings.append(error("defined-twice", f"`{first.name.text}` is defined twice", statement.name.span,
                                      "the second", places=(Place(first.name.span, "the first"),),
                                      help="give one of them another name"))
    found: dict[str, Meaning] = {}
    told: set[tuple[str, Span | None]] = set()
    for statement in microfile.statements:
        if isinstance(statement, tree.Instruction) and statement.meaning is not None:
            made, more = machine.understand(statement.meaning, effects)
            findings += [one for one in more if (one.message, one.span) not in told]
            told |= {(one.message, one.span) for one in more}
            if made is not None:
                found[statement.title.text] = made
    return found, findings


def _no_order(machine: Machine, writers: Mapping[str, Writer]) -> list[Finding]:
    """Stores whose words decide where control goes, and of which nothing says that it goes on to the word below: no
    counter was found, no `step` is said, and a word names no other. Only the first such word is shown. Such words stand
    one behind the other as they are written."""
    findings = []
    for name, writer in writers.items():
        store = machine.stores[name]
        if writer.counter is not None or store.step is not None or not decides(machine, store):
            continue
        if writer.silent is not None:
            findings.append(warning(
                "no-order", f"nothing says that control goes on to the word below in `{name}`", writer.silent,
                "names no next word", places=(Place(store.span, "no state counts this address up"),),
                help="name the next word in each, with a field that is `idle following`; or write the counter as the "
                     "state that forms the address plus one, or as a state loaded with the next address plus one "
                     "(of two that move in different phases, the first takes the second plus one); where something "
                     "else steps, as a ring counter does, say `step` and that part of the address in the store's "
                     "block"))
    return findings


def _anywhere(machine: Machine, writers: Mapping[str, Writer], words: Sequence[Microinstruction],
              last: Container[int]) -> Iterator[Finding]:
    """The first word of each store that would stand anywhere, as it names a label, and from which the hardware may
    count on to the word below in a way that is not understood. `last`: the words below which none stands in the text;
    one that names no label may be obeyed while a jump is on its way."""
    for name, writer in writers.items():
        store = machine.stores[name]
        counting = None if store.step is not None else unread(machine, store, writer.layout, writer.counter)
        for index, word in enumerate(words) if counting is not None else ():
            assert counting is not None
            if word.store != name or word.succeeds or (index in last and not word.targets) or (
                    leaf := counts_on(machine, writer.layout, counting, word)) is None:
                continue
            yield error(
                "no-order", f"nothing says that control goes on to the word below in `{name}`", word.span,
                "the hardware may count on from here",
                places=(Place(store.span, f"it comes from `{leaf.name}`, which is made of itself, and is not what is "
                                          "presented"),),
                help="count up what is presented: of two that move in different phases, the first takes the second "
                     "plus one; present the state itself, not what stands on a bus; end each routine with an order "
                     "that names the next word")
            break


def _transfers(plans: Sequence[BodyPlan], machine: Machine) -> dict[str, tree.Transfer]:
    """The clauses that are transfers, by their text."""
    clauses = [clause for plan in plans for word in plan.words for clause in word.clauses]
    clauses += [clause for store in machine.stores.values() for clause in store.unused or ()]
    return {clause.text: clause.meaning for clause in clauses if isinstance(clause.meaning, tree.Transfer)}


def _writers(machine: Machine, labels: Labels, findings: list[Finding],
             twofold: Collection[str]) -> tuple[dict[str, Writer], dict[str, int]]:
    """One writer for each store that takes words, and how many address bits count where those are not all."""
    writers: dict[str, Writer] = {}
    counting: dict[str, int] = {}
    for store in machine.stores.values():
        if store.fill == "microprogram":
            layout = layout_of(machine, store)
            counter = None
            if not is_stepped(store):
                counter, more = counter_of(machine, store, layout)
                findings += more
            if counter is not None and counter.width < store.address_width:
                counting[store.name] = counter.width
            writers[store.name] = Writer(machine, layout, labels, counter, twofold)
    return writers, counting


def _fixed(machine: Machine, plans: Sequence[BodyPlan], opcodes: Opcodes,
           findings: list[Finding]) -> dict[int, tuple[int, ...]]:
    """The fixed addresses of words by index: `at`, wired starts of instructions, instruction and step."""
    fixed: dict[int, tuple[int, ...]] = {}
    for store in machine.stores.values():
        if store.fill == "microprogram" and is_stepped(store):
            slots = slots_of(machine, store, plans, opcodes)
            fixed.update(slots.addresses)
            findings += slots.findings
            if not slots.findings:
                findings += _never_chosen(store, plans, opcodes, slots.addresses)
    starts = _starts(machine, opcodes)
    for number, plan in enumerate(plans):
        if plan.words and not (is_stepped(plan.store) and plan.kind != "routine"):
            own = [plan.at] if plan.at is not None else []
            table_of = starts.get(plan.store.name)
            if table_of is not None:
                own += [table_of[opcode] for opcode in opcodes.of_plan.get(number, ())]
            if own:
                fixed[plan.first] = tuple(sorted(set(own)))
    return fixed


def _starts(machine: Machine, opcodes: Opcodes) -> dict[str, list[int]]:
    """For every store with wired starts the start address of each opcode."""
    found = {}
    for store in machine.stores.values():
        if store.starts_at is not None and opcodes.plans:
            (opcode,) = leaves((store.starts_at,))
            found[store.name] = numbers(table(opcode, store.starts_at), 1 << opcode.width)
    return found


def _never_chosen(store: Store, plans: Sequence[BodyPlan], opcodes: Opcodes,
                  addresses: Mapping[int, tuple[int, ...]]) -> list[Finding]:
    """Words of arms that no combination of address lines chooses."""
    findings = []
    for number, plan in enumerate(plans):
        if plan.store is store and (plan.kind == "prologue" or number in opcodes.of_plan):
            for index, word in enumerate(plan.words, plan.first):
                if not addresses.get(index):
                    findings.append(error(
                        "never-chosen", f"no address of `{plan.name}` leads to this word", word.span, "never obeyed",
                        help="the arms before it take every case: leave it out, or ask for less in those"))
    return findings


def _in_order(findings: Sequence[Finding], microfile: tree.MicroFile) -> list[Finding]:
    """Findings in the order of the text, those about the machine file first."""
    order = {source.name: number for number, source in enumerate(microfile.sources)}
    return sorted(findings, key=lambda finding: (-1, 0) if finding.span is None else (
        order.get(finding.span.source.name, -1), finding.span.start))
