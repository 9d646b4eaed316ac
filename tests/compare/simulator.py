"""Two builds run side by side, cycle by cycle, on plain numbers: the oracle of the comparison's tests.

Shares nothing with `ordain.compare`: every expression is evaluated as it stands by `ordain.logic.evaluate`, every value
of every line that control reads is tried in every cycle, and what a cycle does is simply looked at.
"""

from collections.abc import Iterator, Mapping
from itertools import product
from typing import Any

from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Leaf, Node, leaves
from ordain.rom.contents import Contents

Values = dict[str, int]
"""State or register name -> value."""


class Simulator:
    """One build. `hidden`: names of states that hold control addresses; what they hold is not looked at.

    `address_fields`: fields of places in the store; they are not looked at either. `names`: present name -> the name
    under which it is reported, for machines in which something was renamed.
    """

    def __init__(self, contents: Contents, hidden: frozenset[str], address_fields: frozenset[str],
                 names: Mapping[str, str] | None = None) -> None:
        self.contents, self.machine = contents, contents.machine
        self.hidden, self.address_fields = hidden, address_fields
        self.names = names or {}
        self.lines = sorted({(leaf.kind, leaf.name, leaf.width) for leaf in leaves(self._terms())
                             if leaf.kind in ("condition", "input")}, key=lambda line: self.called(line[1]))

    def _terms(self) -> list[Node]:
        machine = self.machine
        terms = [store.address for store in machine.stores.values()]
        terms += [state.next for state in machine.states.values()]
        for bus in machine.buses.values():
            terms += [item.when for item in bus.drivers] + [item.when for item in bus.samplers]
        return terms + [strobe.active for strobe in machine.strobes]

    def lines_values(self) -> Iterator[dict[tuple[str, str, int], int]]:
        """Every combination of the free lines."""
        for values in product(*(range(1 << width) for _, _, width in self.lines)):
            yield dict(zip(self.lines, values, strict=True))

    def cycle(self, at: Values, lines: Mapping[tuple[str, str, int], int]) -> tuple[tuple[Any, ...], Values, str]:
        """What is done, the values afterwards, and the `branch` code of the word."""
        machine = self.machine
        known: dict[Node, int] = {}
        for leaf in leaves([*self._terms(), *self._loads()]):
            if leaf.name in at and leaf.kind in ("state", "register"):
                known[leaf] = at[leaf.name]
            elif (leaf.kind, leaf.name, leaf.width) in lines:
                known[leaf] = lines[leaf.kind, leaf.name, leaf.width]
            elif leaf.kind == "bus":
                known[leaf] = 0
        word = 0
        for store in [*(item for item in machine.stores.values() if item.fill == "microprogram"),
                      *(item for item in machine.stores.values() if item.fill != "microprogram")]:
            address = evaluate(store.address, known)
            found = self.contents.words[store.name][address]
            if store.fill == "microprogram":
                word = found
            known[self._leaf("word", store.name, store.bits)] = found
            for name in store.fields:
                field = machine.fields[name]
                value = found >> field.low & (1 << field.width) - 1
                known[self._leaf("field", name, field.width)] = (
                    value ^ (1 << field.width) - 1 if field.active_low else value)
        done = self._done(known, word)
        after = dict(at)
        for state in machine.states.values():
            after[state.name] = evaluate(state.next, known)
        for register in machine.registers.values():
            if register.name in at:
                for load in register.loads:
                    if evaluate(load.when, known):
                        after[register.name] = -1
        branch = machine.fields["branch"]
        code = word >> branch.low & (1 << branch.width) - 1
        return done, after, next(item.name for item in branch.codes if item.value == code)

    def _done(self, known: dict[Node, int], word: int) -> tuple[Any, ...]:
        machine = self.machine
        orders: list[tuple[str, Any]] = []
        for name, field in machine.fields.items():
            if machine.stores[field.store].fill == "microprogram" and name not in self.address_fields:
                value = word >> field.low & (1 << field.width) - 1
                if field.active_low:
                    value ^= (1 << field.width) - 1
                code = next((code.name for code in field.codes if code.value == value), value)
                orders.append((self.called(name), code))
        enabled = [(self.called(bus.name), self.called(item.name), evaluate(item.when, known))
                   for bus in machine.buses.values() for item in (*bus.drivers, *bus.samplers)]
        strobes = [(self.called(strobe.name), evaluate(strobe.active, known)) for strobe in machine.strobes]
        states = [(self.called(state.name), evaluate(state.next, known)) for state in machine.states.values()
                  if state.name not in self.hidden]
        return (tuple(sorted(orders)), tuple(sorted(enabled)), tuple(strobes), tuple(states))

    def called(self, name: str) -> str:
        return self.names.get(name, name)

    def _loads(self) -> list[Node]:
        return [load.when for register in self.machine.registers.values() for load in register.loads]

    def _leaf(self, kind: Any, name: str, width: int) -> Leaf:
        leaf = self.machine.terms.leaf(kind, name, width)
        assert isinstance(leaf, Leaf)
        return leaf


NOWHERE = 127
"""The place in `ret` of a caller that is not known. No generated build puts a word there."""


def returns_to_nobody(one: Simulator, starts: list[Values], rows: list[Values], home: int) -> bool:
    """True when some entrance can come to a return without having been called. `rows`: entrances that count once some
    way dispatches by the second table with an opcode that is not known."""
    seen: set[tuple[tuple[str, int], ...]] = set()
    waiting = list(starts)
    while waiting:
        at = waiting.pop()
        key = tuple(sorted(at.items()))
        if key not in seen:
            seen.add(key)
            for lines in one.lines_values():
                _, after, branch = one.cycle(at, lines)
                stop = _stops(after, branch, at, home)
                if stop == "caller":
                    return True
                if stop == "second":
                    waiting += rows
                if not stop:
                    waiting.append(after)
    return False


def differ(old: Simulator, new: Simulator, starts: list[tuple[Values, Values]], homes: tuple[int, int],
           returning: bool, cycles: int = 80) -> bool:
    """True when some values of the lines make the two do something different within so many cycles.

    A side stops when it arrives at its home address, dispatches by an opcode that is not known, goes to the wired
    place, or returns to a caller that is not known. Stopped at the wired place it goes on where `ret` says if
    somebody returns there (`returning`).
    """
    seen: set[tuple[tuple[tuple[str, int], ...], ...]] = set()
    level = list(starts)
    for _ in range(cycles):
        following: list[tuple[Values, Values]] = []
        for ours, theirs in level:
            key = (tuple(sorted(ours.items())), tuple(sorted(theirs.items())))
            if key in seen:
                continue
            seen.add(key)
            for lines in old.lines_values():
                done, after, branch = old.cycle(ours, lines)
                others = dict(zip(new.lines, lines.values(), strict=True))
                new_done, new_after, new_branch = new.cycle(theirs, others)
                if done != new_done:
                    return True
                stops = [_stops(after, branch, ours, homes[0]), _stops(new_after, new_branch, theirs, homes[1])]
                if stops[0] != stops[1]:
                    return True
                if not stops[0]:
                    following.append((after, new_after))
                elif stops[0] == "wired" and returning:
                    rets = (after["ret"], new_after["ret"])
                    if (rets[0] == NOWHERE) != (rets[1] == NOWHERE):
                        return True
                    if rets[0] != NOWHERE:
                        following.append((_resumed(after), _resumed(new_after)))
        level = following
    return False


def _resumed(after: Values) -> Values:
    return {**after, "upc": after["ret"], "ir": -1}


def _stops(after: Values, branch: str, before: Values, home: int) -> str:
    if branch == "restart" or (branch == "dispatch" and after["upc"] == 0x78):
        return "wired"
    if branch in ("dispatch", "second") and before["ir"] < 0:
        return branch
    if after["upc"] == NOWHERE:
        return "caller"
    return "home" if after["upc"] == home else ""
