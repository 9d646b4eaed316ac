"""Clauses become microinstructions.

What a clause means depends on its text alone, so it is worked out once for each distinct text; a word is then a few
look-ups and ors. Thousands of words go through `Writer.body`: it is written for that.
"""

import re
from collections.abc import Collection, Mapping, Sequence

from ordain.language import tree
from ordain.machine.model import Machine
from ordain.microprogram.bodies import BodyPlan, is_stepped
from ordain.microprogram.ends import Past
from ordain.microprogram.labels import Labels
from ordain.microprogram.layout import Layout
from ordain.microprogram.meaning import BROKEN, Aim, Assign, ClauseBits, Need, at_clause, meaning_of, said
from ordain.microprogram.model import Microinstruction, Target
from ordain.microprogram.phrases import Misuse, understand, vocabulary_of
from ordain.microprogram.stepping import NO_STEPS, Counter, Steps, rows, steps_of
from ordain.microprogram.transfers import allows, transfer
from ordain.text.findings import Finding, Place, error
from ordain.text.source import Span

_MOST_PLACES = 3
"""How many further places of one fault are shown."""

_NAME = re.compile(r"[A-Za-z_][\w.]*")

Targets = tuple[tuple[str, Target], ...]


class Writer:
    """Makes the words of one store. `known`: meanings by clause text. `stepped`: what may follow a word, by the bits
    that decide it. `possible`: whether a word allows
    what a transfer needs, by need and bits. `again`: by clause text, label or
    fields, the finding's number and the places where the fault recurs. `past`: words from which the hardware can go on
    past the end of their bodies. `silent`: the first word above another of its body that names no next one, by a label
    or a number."""

    __slots__ = ("again", "counter", "findings", "known", "labels", "layout", "machine", "past", "possible", "silent",
                 "stepped", "vocabulary")

    def __init__(self, machine: Machine, layout: Layout, labels: Labels, counter: Counter | None,
                 twofold: Collection[str]) -> None:
        self.machine, self.layout, self.labels, self.counter = machine, layout, labels, counter
        self.vocabulary = vocabulary_of(machine, layout, twofold)
        self.known: dict[str, ClauseBits] = {}
        self.stepped: dict[object, tuple[Steps, int]] = {}
        self.possible: dict[object, bool] = {}
        self.past: list[Past] = []
        self.silent: Span | None = None
        self.findings: list[Finding] = []
        self.again: dict[tuple[str, str], tuple[int, list[Span]]] = {}

    def body(self, number: int, plan: BodyPlan, fixed: Mapping[int, tuple[int, ...]]) -> list[Microinstruction]:
        """The words of a body. `fixed`: their fixed addresses by index, where they have any."""
        known, layout, counter, stepped = self.known, self.layout, self.counter, self.stepped
        rest, must, matters_not, follows = layout.rest, layout.must, layout.matters_not, layout.follows
        deciding = counter.bits if counter is not None else 0
        at_once = counter is not None and counter.delay == 0
        as_written = counter is None and not is_stepped(layout.store)
        naming = sum(field.mask for field in layout.fields.values() if field.holds == "address")
        store, owner, end, index = layout.store.name, plan.name, plan.end, plan.first
        new = tuple.__new__                     # a named tuple's own constructor takes twice as long
        made: list[Microinstruction] = []
        all_steps: list[Steps] = []
        backward: list[tuple[int, int]] = []
        for word in plan.words:
            used = bits = 0
            targets: Targets = ()
            on: tuple[tuple[int, int], ...] = ()
            needs: tuple[Need, ...] = ()
            broken = False
            label, clauses, span, called_from = word
            for clause in clauses:
                meaning = known.get(clause[0])
                if meaning is None:
                    meaning = self._understand(clause)
                elif meaning.broken:
                    self._recurs("clause", clause.text, clause.source_span)
                mask, more, _, aims, wanted, wrong = meaning
                if used & mask:
                    more &= ~used
                    aims = self._agree(word, clause, meaning)
                if aims:
                    targets += self._targets(number, aims, clause.source_span, index + 1 < end)
                used |= mask
                bits |= more
                if wanted:
                    needs += wanted
                broken = broken or wrong
            bits |= rest & ~used
            open_bits = matters_not & ~used
            if must & ~used and not broken:
                self._unset(word, must & ~used)
            for mask, name in follows:
                if not used & mask and not broken:
                    targets += self._targets(number, ((name, _FOLLOWING),), span, index + 1 < end)
            if needs and not broken:
                self._check(needs, used, bits, open_bits, targets, span)
            texts = tuple([clause[0] for clause in clauses])
            reach = int(as_written and not targets and not used & naming and index + 1 < end)
            if reach and self.silent is None:
                self.silent = span
            if counter is not None:
                key: object = bits & deciding
                if open_bits & deciding:
                    key = bits & deciding, open_bits & deciding
                found = stepped.get(key)
                if found is None:
                    found = self._steps(counter, key, bits, open_bits)
                if at_once:
                    steps, reach = found
                    on = _on(steps, 0)
                    if steps.back and not broken:
                        backward.append((index, max(steps.back)))
                    if index + reach >= end and not broken:
                        kept = index + max(steps.on, default=0) < end
                        self.past.append(Past(plan, index, index + reach - end + 1, kept))
                        reach = end - 1 - index
                else:
                    all_steps.append(found[0] if not broken else NO_STEPS)
            made.append(new(Microinstruction, (
                store, bits, open_bits, targets, (label.text,) if label is not None else (), owner, ", ".join(texts),
                span, called_from, reach, fixed.get(index, ()), texts, on)))
            index += 1
        for index, by in backward:
            made = self._reached_back(plan, made, index - plan.first, by)
        if all_steps and counter is not None:
            return self._in_rows(plan, made, all_steps, counter.delay)
        return made

    def unused(self) -> Microinstruction | None:
        """The word for addresses where nothing stands."""
        clauses = self.layout.store.unused
        if clauses is None:
            return None
        span = clauses[0].source_span if clauses else self.layout.store.span
        plan = BodyPlan("unused", "routine", self.layout.store, None, 0, 0, (),
                        (tree.Micro(None, clauses, span, None),), 0,
                        (), False, span)
        counter, self.counter = self.counter, None
        (word,) = self.body(-1, plan, {})
        self.counter = counter
        return word

    def _reached_back(self, plan: BodyPlan, made: list[Microinstruction], at: int,
                      by: int) -> list[Microinstruction]:
        """The words with those in a row over which one goes back by a distance: so many lines above in its body."""
        if by > at:
            self.findings.append(error(
                "runs-off", f"from here the hardware can go back by {by} words, before the first of `{plan.name}`",
                made[at].span, f"{by - at} {'word is' if by - at == 1 else 'words are'} missing",
                help="a distance back is that many lines above in the same body: correct it, or name the word by a "
                     "field that holds its address"))
            return made
        first = made[at - by]
        return [*made[:at - by], first._replace(succeeds=max(first.succeeds, by)), *made[at - by + 1:]]

    def _in_rows(self, plan: BodyPlan, made: list[Microinstruction], steps: Sequence[Steps],
                 delay: int) -> list[Microinstruction]:
        """The words with what must follow them, where a register delays the address."""
        entries = [at for at, word in enumerate(plan.words) if not at or word.label is not None]
        reach, past = rows(steps, delay, entries)
        if past:
            _, on = rows([each._replace(kept=()) for each in steps], delay, entries)
            self.past += [Past(plan, plan.first + at, over, at not in on) for at, over in past.items()]
        if any(each.back for each in steps):     # to a line above, counted from what is on its way then
            reach[0] = max(reach[0], len(made) - 1)
        begins = frozenset(entries)
        return [word._replace(succeeds=ahead, goes_on=_on(steps[at], delay) if at in begins else ())
                for at, (word, ahead) in enumerate(zip(made, reach))]

    # ------------------------------------------------------------ clauses

    def _understand(self, clause: tree.Clause) -> ClauseBits:
        """The meaning of a clause whose text is new here."""
        found = BROKEN
        try:
            match clause.meaning:
                case tree.Transfer():
                    found = meaning_of(*transfer(self.machine, self.layout, clause.meaning))
                case tree.Phrase(parts=parts):
                    found = meaning_of(understand(self.vocabulary, parts))
        except Misuse as misuse:
            if misuse.fault is not None and self.machine.broken.isdisjoint(_NAME.findall(clause.text)):
                self.again["clause", clause.text] = len(self.findings), []
                self.findings.append(at_clause(misuse.fault, clause.text, clause.source_span))
        self.known[clause.text] = found
        return found

    def _recurs(self, kind: str, text: str, span: Span) -> None:
        found = self.again.get((kind, text))
        if found is not None:
            found[1].append(span)

    def _agree(self, word: tree.Micro, clause: tree.Clause, meaning: ClauseBits) -> tuple[tuple[str, Aim], ...]:
        """Reports fields that an earlier clause set to something else; the aims of fields that none set before."""
        before: dict[str, tuple[Assign, tree.Clause]] = {}
        for earlier in word.clauses:
            if earlier is clause:
                break
            for assign in self.known[earlier.text].assigns:
                before.setdefault(assign.field.name, (assign, earlier))
        for assign in meaning.assigns:
            first = before.get(assign.field.name)
            if first is not None and first[0] != assign:
                name = assign.field.name
                self.findings.append(error(
                    "field-conflict", f"`{first[1].text}` sets `{name}` to {_told(first[0])}, `{clause.text}` to "
                    f"{_told(assign)}", clause.source_span, f"`{name}` {_told(assign)}",
                    places=(Place(first[1].source_span, f"`{name}` {_told(first[0])}"),),
                    help="put them into two words, or leave one out"))
        return tuple([aim for aim in meaning.aims if aim[0] not in before])

    def _unset(self, word: tree.Micro, bits: int) -> None:
        fields = [field for field in self.layout.fields.values() if bits & field.mask]
        names = ", ".join(f"`{field.name}`" for field in fields)
        if ("unset", names) in self.again:
            self._recurs("unset", names, word.span)
            return
        self.again["unset", names] = len(self.findings), []
        self.findings.append(error(
            "field-not-set", f"this word does not set {names}", word.span,
            "no order sets it, and it has no idle code" if len(fields) == 1 else "they have no idle codes",
            places=tuple([Place(field.span, f"`{field.name}` is declared here") for field in fields[:_MOST_PLACES]]),
            help="set it here, or mark one of its codes `idle`" if all(field.codes for field in fields) else
            "set it here, or write behind the field what it holds where no order sets it, `, idle 0`"))

    def _check(self, needs: Sequence[Need], used: int, bits: int, open_bits: int, targets: Targets,
               span: Span) -> None:
        """Reports transfers that the finished word makes impossible, or between whose ways it does not choose."""
        unknown = open_bits
        for name, _ in targets:
            unknown |= self.layout.fields[name].mask
        for need in needs:
            key = id(need), used, bits, unknown
            if key not in self.possible:
                read = [asked.field for asked in need.survey.asked]
                known = {field.name: field.read(bits) for field in read if not field.mask & unknown}
                self.possible[key] = allows(need, known, {field.name for field in read if field.mask & used})
            if not self.possible[key]:
                chosen = len(need.choices) > 1
                self.findings.append(error(
                    need.name, f"nothing in this word allows {need.what}", span,
                    "not in this word", places=(Place(need.span, "the condition"),),
                    help=f"add one of: {'; '.join(need.choices[:6])}" if chosen else
                    f"the condition needs {need.choices[0]}"))

    # ------------------------------------------------------------ addresses

    def _targets(self, number: int, aims: Sequence[tuple[str, Aim]], span: Span, has_next: bool) -> Targets:
        """Aims with their labels' full names. `number` is that of the body, -1 for the unused word."""
        local = self.labels.local[number] if number >= 0 else {}
        words = self.labels.words
        found = []
        for field, (kind, names, rest) in aims:
            full = []
            for name in names:
                own = local.get(name, name)
                if own in words:
                    full.append(own)
                elif ("label", name) in self.again:
                    self._recurs("label", name, span)
                else:
                    self.again["label", name] = len(self.findings), []
                    self.findings.append(self.labels.unknown(name, span))
            if kind == "following" and not has_next:
                self.findings.append(error(
                    "runs-off", f"`{field}` is to name the following word, and none follows", span,
                    "the last word of its body" if number >= 0 else "an `unused` word has none",
                    help="end with an order that names the next word; where the hardware does not look at "
                         f"`{field}` then, that order sets it too, to a number or a label" if number >= 0 else
                    f"say where it leads: `{field}` and a label, or a number"))
            elif len(full) == len(names):
                found.append((field, Target(kind, tuple(full), rest, span)))
        return tuple(found)

    def _steps(self, counter: Counter, key: object, bits: int, open_bits: int) -> tuple[Steps, int]:
        steps = steps_of(self.machine.terms, self.layout, counter, bits, open_bits)
        self.stepped[key] = steps, max((*steps.on, *steps.kept), default=0)
        return self.stepped[key]

    def finished(self) -> list[Finding]:
        """The findings, each with the further places of the same fault."""
        for number, spans in self.again.values():
            found = self.findings[number]
            elsewhere = [span for span in dict.fromkeys(spans) if span != found.span]
            if elsewhere:
                shown = tuple([Place(span, "here too") for span in elsewhere[:_MOST_PLACES]])
                more = len(elsewhere) - len(shown)
                notes = (f"the same in {more} more places",) if more > 0 else ()
                self.findings[number] = found._replace(places=(*found.places, *shown), notes=(*found.notes, *notes))
        return self.findings


def _on(steps: Steps, delay: int) -> tuple[tuple[int, int], ...]:
    return tuple([(delay, delay + ahead) for ahead in steps.on]) if steps.on else ()


_FOLLOWING = Aim("following", (), "zeros")


def _told(assign: Assign) -> str:
    if assign.value is not None:
        return said(assign.value, assign.field)
    assert assign.aim is not None
    return ", ".join(f"`{label}`" for label in assign.aim.labels) or "`following`"
