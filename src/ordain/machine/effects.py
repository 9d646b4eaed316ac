"""Meanings of instructions: their text becomes terms over what registers, states and memories held before."""

from collections.abc import Mapping, Sequence
from typing import Literal

from ordain.language import tree
from ordain.machine import model
from ordain.machine.context import short
from ordain.machine.expression import Leaf, Node, Prior, postorder
from ordain.machine.lowering import Lowering
from ordain.machine.names import ARTICLE, DeclaredName, Scope, unknown
from ordain.text.findings import Finding, Place, error

MOST_EFFECTS = 10_000
_STORED = ("register", "state", "memory")


def understanding(visible: Sequence[tree.Visible], memories: Mapping[str, model.Memory],
                  lowering: Lowering) -> model.Understand:
    """`Machine.understand`: the machine's names and terms are those of `lowering`."""
    def understand(text: tree.Meaning,
                   named: Mapping[str, tree.Effects]) -> tuple[model.Meaning | None, list[Finding]]:
        reading = _Reading(lowering, memories, named)
        if not visible:
            reading.lowering.findings.append(error(
                "no-visible", "nothing says what a programmer sees", text.span, "all else would stay as it was",
                help="name it in the machine file: `visible acc, flags, pc, memory`"))
        effects = reading.every(text.items)
        rounds = None if text.rounds is None else reading.rounds(text.rounds)
        sound = reading.sound and not reading.lowering.findings
        return model.Meaning(effects, text.span, rounds) if sound else None, reading.lowering.findings
    return understand


class _Reading:
    """`sound`: nothing was left out."""

    def __init__(self, machine: Lowering, memories: Mapping[str, model.Memory],
                 effects: Mapping[str, tree.Effects]) -> None:
        self.named = effects
        self.effects: list[model.Effect] = []
        self.sound = True
        self.entries = machine.scope.entries
        self.lowering = Lowering(machine.terms, Scope())
        self.lowering.cells = {name: (memory.bits, memory.address.width) for name, memory in memories.items()}

    def every(self, items: Sequence[tree.EffectItem]) -> tuple[model.Effect, ...]:
        """All the effects of some lines."""
        self.effects = []
        self.read(items, {}, None, ())
        return tuple(self.effects)

    def rounds(self, rounds: tree.Rounds) -> model.Rounds | None:
        self.lowering.scope.entries = self.entries
        when = self._value(rounds.condition, 1)
        effects = self.every(rounds.items)
        stopped = None if rounds.stopped is None else self.every(rounds.stopped)
        return None if when is None else model.Rounds(when, effects, stopped)

    def read(self, items: Sequence[tree.EffectItem], names: dict[str, DeclaredName], when: Node | None,
             chain: tuple[tree.Effects, ...]) -> None:
        """`names`: what `let` and the calls of `chain` have given names to. `when`: that of the call."""
        names = dict(names)
        for item in items:
            self.lowering.scope.entries = {**self.entries, **names}
            match item:
                case tree.Let(name=name, value=value):
                    self._name(name, self._value(value, None), names)
                case tree.Effect():
                    self._effect(item, when)
                case tree.Invoke():
                    self._call(item, names, when, chain)

    def _name(self, name: tree.Word, node: Node | None, names: dict[str, DeclaredName]) -> None:
        other = self.entries.get(name.text) or names.get(name.text)
        if other is not None:
            self._report("defined-twice", f"`{name.text}` is {ARTICLE[other.kind]} already", name,
                         "would mean two things", "give the value another name", Place(other.span, "declared here"))
        entry = DeclaredName(name.text, "signal", name.span, 0 if node is None else node.width, node)
        entry.broken = node is None
        names.setdefault(name.text, entry)

    def _call(self, call: tree.Invoke, names: dict[str, DeclaredName], when: Node | None,
              chain: tuple[tree.Effects, ...]) -> None:
        named = self.named.get(call.name.text)
        if named is None:
            self._lost(unknown(call.name.text, self.named, call.name.span, "effect"))
            return
        if named in chain:
            self._report("effect-cycle", f"`{named.name.text}` calls itself", call.name, "leads back",
                         "an effect is written out where it is called", Place(named.span, "defined here"))
            return
        if len(call.arguments) != len(named.parameters):
            self._report("effect-call", f"`{named.name.text}` takes {_values(len(named.parameters))}, and gets "
                         f"{len(call.arguments)}", call.name, "another number of values", "give it as many as it names",
                         Place(named.span, "defined here"))
            return
        if len(self.effects) > MOST_EFFECTS:
            self._report("too-many-words", f"more than {MOST_EFFECTS:,} effects", call.name, "at this call",
                         "check the effects that call others")
            return
        given: dict[str, DeclaredName] = {}
        for parameter, argument in zip(named.parameters, call.arguments):
            self._name(parameter, self._value(argument, None), given)
        both = self._when(call.when, when)
        if both is not None:
            self.read(named.items, given, both, (*chain, named))

    def _effect(self, effect: tree.Effect, when: Node | None) -> None:
        entry = self.entries.get(effect.target.text)
        if entry is None or entry.kind not in _STORED:
            if entry is None:
                kept = [name for name, other in self.entries.items() if other.kind in _STORED]
                self._lost(unknown(effect.target.text, kept, effect.target.span, "register, state or memory"))
            else:
                self._report("wrong-kind", f"`{entry.name}` is {ARTICLE[entry.kind]}, and an instruction changes what "
                             "is stored", effect.target, "stores nothing", "name a register, a state or a memory",
                             Place(entry.span, "declared here"))
            return
        both = self._when(effect.when, when)
        if both is None or entry.broken:
            self.sound = False
            return
        if entry.name in self.lowering.cells:
            self._write(effect, entry.name, both)
        else:
            self._load(effect, entry, both)

    def _write(self, effect: tree.Effect, memory: str, when: Node) -> None:
        """To a word of a memory, or of all its words that nothing is known of them any more."""
        width, address_width = self.lowering.cells[memory]
        place, address, value = effect.place, None, None
        if isinstance(place, tree.Bits):
            place = tree.Number(place.low, None, effect.span) if place.high == place.low else None
        if place is None and (effect.value is not None or effect.place is not None):
            self._report("bad-slice", f"`{memory}` is a memory, and words of it are written", effect.target,
                         "which word?", f"write `{memory}[ADDRESS] <- ...`")
            return
        if place is not None:
            address = self._value(place, address_width)
        if effect.value is not None:
            value = self._value(effect.value, width)
        if (address is None) == (place is None) and (value is None) == (effect.value is None):
            self.effects.append(model.Effect(memory, "memory", address, width - 1, 0, value, when, effect.span))

    def _load(self, effect: tree.Effect, entry: DeclaredName, when: Node) -> None:
        """To a register or a state, or some of its bits."""
        place, high, low, value = effect.place, entry.width - 1, 0, None
        if isinstance(place, tree.Bits):
            high, low = place
            if high >= entry.width:
                self._report("bad-slice", f"`{entry.name}` has no bits [{high}:{low}]", effect.target,
                             f"its bits are {entry.width - 1} down to 0", "correct the numbers of the bits")
                return
        elif place is not None:
            self._report("bad-slice", f"`{entry.name}` is no memory", effect.target, "has no addresses",
                         "bits are named by numbers, as in `x[7:0]`", Place(entry.span, "declared here"))
            return
        if effect.value is not None:
            value = self._value(effect.value, high - low + 1, entry if place is None else None)
            if value is None:
                return
        kind: Literal["register", "state"] = "state" if entry.kind == "state" else "register"
        self.effects.append(model.Effect(entry.name, kind, None, high, low, value, when, effect.span))

    def _when(self, condition: tree.Expr | None, outer: Node | None) -> Node | None:
        inner = self.lowering.terms.const(1, 1) if condition is None else self._value(condition, 1)
        if inner is None or outer is None:
            return inner
        return self.lowering.terms.and_((outer, inner))

    def _value(self, expr: tree.Expr, want: int | None, owner: DeclaredName | None = None) -> Node | None:
        """The term of an expression over what is stored; None where it is broken, which is reported."""
        node = self.lowering.node(expr, want, None if owner is None else owner.codes)
        self.sound &= node is not None
        for leaf in postorder((node,)) if node is not None else ():
            if type(leaf) is Prior or (type(leaf) is Leaf and leaf.kind not in ("register", "state")):
                name = leaf.name if type(leaf) is Leaf else "prior"
                helped = "write `undefined` for what comes from outside" if type(leaf) is Leaf and leaf.kind in (
                    "input", "condition") else "say it with registers, states and words of memories"
                if name in self.lowering.cells:
                    helped = f"write `{name}[ADDRESS]`"
                self.lowering.findings.append(error(
                    "no-old-value", f"`{short(expr.span)}` reads `{name}`, which has no value that is kept from before "
                    "the instruction", expr.span, "not stored", help=helped))
                self.sound = False
                return None
        return node

    def _report(self, name: str, message: str, at: tree.Word, label: str, help: str, *places: Place) -> None:
        self._lost(error(name, message, at.span, label, places=places, help=help))

    def _lost(self, finding: Finding) -> None:
        self.lowering.findings.append(finding)
        self.sound = False


def _values(count: int) -> str:
    return "1 value" if count == 1 else f"{count} values"
