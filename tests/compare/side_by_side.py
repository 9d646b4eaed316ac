"""Two whole machines run side by side on plain numbers, as a bench would show them: same inputs, what differs?

Shares nothing with `ordain.compare`. Every leaf is looked up as docs/language.md and docs/checks.md say what it is; a
value that nobody can know (a bus that is read, a load that is not described, two different loads at once) is drawn by
lot, the same on both sides.
"""

import random
from collections.abc import Callable
from typing import Any

from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Leaf, Node, leaves
from ordain.machine.model import Register
from ordain.rom.contents import Contents

Values = dict[tuple[str, str], int]
"""("state" or "register", name) -> value."""


class Unsettled(Exception):
    """Something depends on itself within one cycle, so that the description says no value."""


class Bench:
    """One machine. `hidden`: states that hold control addresses; what they hold is not looked at."""

    def __init__(self, contents: Contents, hidden: frozenset[str]) -> None:
        self.contents, self.machine, self.hidden = contents, contents.machine, hidden

    def start(self, lot: Callable[[object, int], int]) -> Values:
        """Reset; what has no reset value is drawn by lot."""
        machine = self.machine
        values: Values = {}
        for kind, items in (("state", machine.states), ("register", machine.registers)):
            for item in items.values():
                count = len(getattr(item, "codes", ())) or 1 << item.width
                values[kind, item.name] = lot(("reset", item.name), count) if item.reset is None else item.reset
        return values

    def cycle(self, at: Values, lot: Callable[[object, int], int]) -> tuple[dict[object, int], Values]:
        """What is seen in the cycle, and the values after it."""
        known: dict[Node, int] = {}
        busy: set[Node] = set()

        def value(node: Node) -> int:
            for leaf in leaves((node,)):
                if leaf not in known:
                    if leaf in busy:
                        raise Unsettled(leaf.name)
                    busy.add(leaf)
                    known[leaf] = self._leaf(leaf, at, lot, value)
                    busy.discard(leaf)
            return evaluate(node, known)

        machine = self.machine
        seen: dict[object, int] = {}
        for bus in machine.buses.values():
            for driver in bus.drivers:
                key = ("drives", bus.name, driver.name, driver.follows)
                seen[key] = seen.get(key, 0) | value(driver.when)
            for sampler in bus.samplers:
                seen["takes", bus.name, sampler.name] = value(sampler.when)
        for strobe in machine.strobes:
            seen["strobes", strobe.name] = value(strobe.active)
        after: Values = {}
        for state in machine.states.values():
            after["state", state.name] = value(state.next)
        for register in machine.registers.values():
            after["register", register.name] = self._loaded(register, at, lot, value)
        seen.update({("becomes", name): held for (_, name), held in after.items() if name not in self.hidden})
        for name, field in machine.fields.items():
            if machine.stores[field.store].fill == "microprogram" and field.holds in ("code", "number"):
                held = value(machine.terms.leaf("field", name, field.width))
                seen["orders", name] = held
        return seen, after

    def _leaf(self, leaf: Leaf, at: Values, lot: Callable[[object, int], int], value: Callable[[Node], int]) -> int:
        machine = self.machine
        if leaf.kind == "state":
            return at["state", leaf.name]
        if leaf.kind == "register":
            register = machine.registers[leaf.name]
            return self._loaded(register, at, lot, value) if register.transparent else at["register", leaf.name]
        if leaf.kind == "input":
            return lot(("input", leaf.name), len(machine.inputs[leaf.name].codes) or 1 << leaf.width)
        if leaf.kind in ("condition", "bus", "free"):
            return lot((leaf.kind, leaf.name), 1 << leaf.width)
        if leaf.kind in ("at", "in"):
            store, addresses = (self.contents.labels if leaf.kind == "at" else self.contents.routines)[leaf.name]
            return int(value(machine.stores[store].address) in addresses)
        if leaf.kind == "address":
            return value(machine.stores[leaf.name].address)
        if leaf.kind == "word":
            return self.contents.words[leaf.name][value(machine.stores[leaf.name].address)]
        assert leaf.kind == "field"
        field = machine.fields[leaf.name]
        ones = (1 << field.width) - 1
        word = self.contents.words[field.store][value(machine.stores[field.store].address)]
        return word >> field.low & ones ^ (ones if field.active_low else 0)

    def _loaded(self, register: Register, at: Values, lot: Callable[[object, int], int],
                value: Callable[[Node], int]) -> int:
        active = [load for load in register.loads if value(load.when)]
        if not active:
            return at["register", register.name]
        if len({load.source for load in active}) > 1:
            return lot(("loaded twice", register.name), 1 << register.width)
        source = active[0].source
        return lot(("loaded", register.name), 1 << register.width) if source is None else value(source)


def lots(seed: int) -> Callable[[int], Callable[[object, int], int]]:
    """Per cycle: what is drawn, by name, the same for everybody who asks."""
    def of_cycle(cycle: int) -> Callable[[object, int], int]:
        def draw(name: object, count: int) -> int:
            return random.Random(f"{seed} {cycle} {name}").randrange(count)

        return draw

    return of_cycle


def parting(old: Contents, new: Contents, hidden: frozenset[str], seed: int,
            cycles: int = 40) -> tuple[int, dict[Any, tuple[Any, Any]]] | None:
    """The first cycle in which one run of both machines differs, and in what; None where it does not."""
    drawn = lots(seed)
    benches = Bench(old, hidden), Bench(new, hidden)
    at = [bench.start(drawn(0)) for bench in benches]
    starts = [{key: held for key, held in values.items() if key[1] not in hidden} for values in at]
    if starts[0] != starts[1]:
        return 0, {key: (starts[0].get(key), starts[1].get(key)) for key in {**starts[0], **starts[1]}
                   if starts[0].get(key) != starts[1].get(key)}
    for cycle in range(1, cycles + 1):
        (seen, first), (other, second) = (bench.cycle(values, drawn(cycle)) for bench, values in zip(benches, at))
        if seen != other:
            return cycle, {key: (seen.get(key), other.get(key)) for key in {**seen, **other}
                           if seen.get(key) != other.get(key)}
        at = [first, second]
    return None
