"""Which name of the old machine is which of the new one.

What has one name and one width on both sides is the same thing. What is left over is paired by what it is and by what
it is joined to: a bus by who drives and takes it, a register by its buses, a condition by where it is asked. A pair
counts only when no other candidate on either side looks alike. Every pair that was made is said.
"""

from collections.abc import Callable, Hashable, Iterable
from typing import NamedTuple

from ordain.compare.labels import moved_labels, pair_places
from ordain.compare.orders import Pairing
from ordain.compare.told import Told
from ordain.compare.translation import Renames
from ordain.machine.driving import put
from ordain.machine.expression import Among, Const, Leaf, Node, Slice, leaves, postorder
from ordain.machine.model import Driver, Field, Machine, Sampler
from ordain.rom.contents import Contents


class Correspondence(NamedTuple):
    """`said`: for people, one sentence a pair that is not simply the same name and the same codes. `moved`: labels that
    both sides have and that stand at another word now; what speaks of one does not speak of the same place."""

    renames: Renames
    pairing: Pairing
    said: tuple[str, ...]
    moved: tuple[str, ...] = ()


KINDS = ("agents", "buses", "registers", "states", "inputs", "conditions", "stores", "memories", "strobes", "parts")


def correspond(old: Contents, new: Contents) -> Correspondence:
    """Pair the names of two machines."""
    pairs: dict[str, dict[str, str]] = {kind: {} for kind in KINDS}
    machines = (old.machine, new.machine)
    for kind in KINDS:
        ours, theirs = _widths(old.machine, kind), _widths(new.machine, kind)
        for name, width in ours.items():
            if name in theirs and theirs[name] == width:
                pairs[kind][name] = name
    clocks = [None if one.clock is None else one.states.get(one.clock.name) for one in machines]
    if clocks[0] is not None and clocks[1] is not None and clocks[0].width == clocks[1].width:
        pairs["states"][clocks[0].name] = clocks[1].name     # a machine has one, whatever it and its phases are called
    forms: Forms = {}
    progress = True
    while progress:
        progress = False
        for kind in KINDS:
            for look in (_by_joints, _by_terms):
                found = _unique_pairs(kind, look, machines, pairs, forms)
                pairs[kind].update(found)
                progress = progress or bool(found)
    pairing, about_fields = _pair_fields(old.machine, new.machine, pairs["stores"])
    fields = {(name, other) for name, (other, _) in pairing.values.items()}       # what drives a bus is a part, too
    said = [f"{_SINGULAR[kind]} `{name}` is now `{other}`" for kind in KINDS for name, other in pairs[kind].items()
            if name != other and not (kind == "parts" and (name, other) in fields)]
    places = pair_places(old, new, pairs["stores"])
    said += [f"`{name}` is now `{other}`" for name, other in places.items()]
    moved = moved_labels(old, new, pairs["stores"])
    places |= {name: f"{name} of the old machine" for name in moved}
    return Correspondence(_renames(machines, pairs, places), pairing, (*said, *about_fields), moved)


_SINGULAR = {"agents": "agent", "buses": "bus", "registers": "register", "states": "state", "inputs": "input",
             "conditions": "condition", "stores": "store", "memories": "memory", "strobes": "strobe", "parts": "part"}


def _widths(machine: Machine, kind: str) -> dict[str, object]:
    """Everything of a kind with what must be equal for two of one name to be the same."""
    match kind:
        case "agents":
            return dict.fromkeys(machine.agents)
        case "buses":
            return {bus.name: bus.width for bus in machine.buses.values()}
        case "registers":
            return {register.name: register.width for register in machine.registers.values()}
        case "states":
            return {state.name: state.width for state in machine.states.values()}
        case "inputs":
            return {item.name: item.width for item in machine.inputs.values()}
        case "conditions":
            return {condition.name: condition.width for condition in machine.conditions.values()}
        case "stores":
            return {store.name: store.fill for store in machine.stores.values()}
        case "memories":
            return {memory.name: memory.bits for memory in machine.memories.values()}
        case "strobes":
            return dict.fromkeys(strobe.name for strobe in machine.strobes)
        case _:
            declared = {*machine.registers, *machine.states, *machine.stores, *machine.agents, *machine.inputs,
                        *machine.memories}
            names = [name for bus in machine.buses.values() for name in _joined(bus.drivers) + _joined(bus.samplers)]
            return dict.fromkeys(name for name in names if name not in declared)


def _joined(items: tuple[Driver, ...] | tuple[Sampler, ...]) -> list[str]:
    return [item.name for item in items]


Forms = dict[Hashable, int]
"""Numbers of forms of terms; equal forms have equal numbers."""

Look = Callable[[str, str, Machine, "dict[str, str]", Forms], Hashable]


def _unique_pairs(kind: str, look: Look, machines: tuple[Machine, Machine],
                  pairs: dict[str, dict[str, str]], forms: Forms) -> dict[str, str]:
    """New pairs of one kind: what looks alike on both sides and like nothing else that is left over."""
    known = [{name: other for kind_pairs in pairs.values() for name, other in kind_pairs.items()},
             {other: other for kind_pairs in pairs.values() for other in kind_pairs.values()}]
    looks: list[dict[Hashable, list[str]]] = []
    for side, machine in enumerate(machines):
        taken = set(pairs[kind].values() if side else pairs[kind])
        rows: dict[Hashable, list[str]] = {}
        others = _saying_values(machines[1 - side]) if kind == "parts" else ()
        for name in _widths(machine, kind):
            if name not in taken and name not in others:
                rows.setdefault(look(kind, name, machine, known[side], forms), []).append(name)
        looks.append(rows)
    return {names[0]: looks[1][seen][0] for seen, names in looks[0].items()
            if seen is not None and len(names) == 1 and len(looks[1].get(seen, ())) == 1}


def _saying_values(machine: Machine) -> set[str]:
    """What a driver may be called that has a value by itself: what is such a name in one machine, and drives in the
    other one, has no other name there."""
    return {*machine.fields, *machine.signals, *machine.constants}


def _by_joints(kind: str, name: str, machine: Machine, known: dict[str, str], forms: Forms) -> Hashable:
    """What it is, and the names that it is joined to; None where that says too little."""
    if kind == "buses":
        bus = machine.buses[name]
        ends = (sorted(known.get(item.name, "?") for item in bus.drivers),
                sorted(known.get(item.name, "?") for item in bus.samplers))
        if all(end == "?" for part in ends for end in part):
            return None
        return (bus.width, bus.undriven, bus.turnaround, str(ends))
    if kind in ("registers", "parts", "agents", "stores", "states", "inputs", "memories"):
        joined = sorted([(known.get(bus.name, "?"), what) for bus in machine.buses.values()
                         for what, items in (("drives", bus.drivers), ("takes", bus.samplers))
                         for item in items if item.name == name])
        if all(bus == "?" for bus, _ in joined):
            return None
        return (str(_widths(machine, kind)[name]), tuple(joined))
    if kind == "strobes":
        strobe = next(strobe for strobe in machine.strobes if strobe.name == name)
        needs = sorted((known.get(need.bus, "?"), need.before, need.after) for need in strobe.needs)
        return tuple(needs) if needs else None
    return None


def _by_terms(kind: str, name: str, machine: Machine, known: dict[str, str], forms: Forms) -> Hashable:
    """What it is and every term that speaks of it, with fields seen as the names of their codes."""
    if kind == "strobes":
        strobe = next(strobe for strobe in machine.strobes if strobe.name == name)
        return _form(strobe.active, "", machine, known, forms)
    speaking = sorted(
        str((place, _form(term, name, machine, known, forms)))
        for place, term in _named_terms(machine, known)
        if any(leaf.name == name for leaf in leaves((term,))))
    own = ""
    if kind == "states":
        own = str((machine.states[name].reset, machine.states[name].codes,
                   _form(machine.states[name].next, name, machine, known, forms)))
    if kind == "registers":
        own = str([(load.source and _form(load.source, name, machine, known, forms),
                    _form(load.when, name, machine, known, forms)) for load in machine.registers[name].loads])
    if kind == "stores":
        own = str(_form(machine.stores[name].address, name, machine, known, forms))
    if kind == "memories":
        memory = machine.memories[name]
        own = str([_form(term, name, machine, known, forms)
                   for term in (memory.address, *(part for write in memory.writes for part in write))])
    if not speaking and not own:
        return None
    return (str(_widths(machine, kind)[name]), own, tuple(speaking))


def _named_terms(machine: Machine, known: dict[str, str]) -> list[tuple[str, Node]]:
    """The terms of a machine with where they stand, in names that both machines have."""
    found: list[tuple[str, Node]] = []
    for state in machine.states.values():
        found.append((f"next of {known.get(state.name, '?')}", state.next))
    for register in machine.registers.values():
        for load in register.loads:
            found.append((f"load of {known.get(register.name, '?')}", load.when))
            if load.source is not None:
                found.append((f"into {known.get(register.name, '?')}", load.source))
    for store in machine.stores.values():
        found.append((f"address of {known.get(store.name, '?')}", store.address))
    for memory in machine.memories.values():
        found.append((f"address of {known.get(memory.name, '?')}", memory.address))
        for write in memory.writes:
            found.append((f"write of {known.get(memory.name, '?')}", write.when))
            found.append((f"written to {known.get(memory.name, '?')}", write.source))
    for bus in machine.buses.values():
        for driver in bus.drivers:
            found.append((f"{known.get(driver.name, '?')} drives {known.get(bus.name, '?')}", driver.when))
        for sampler in bus.samplers:
            found.append((f"{known.get(sampler.name, '?')} takes {known.get(bus.name, '?')}", sampler.when))
    for strobe in machine.strobes:
        found.append((f"strobe {known.get(strobe.name, '?')}", strobe.active))
    return found


def _form(root: Node, self: str, machine: Machine, known: dict[str, str], forms: Forms) -> int:
    """A number for the form of a term: leaves by the names that both machines have, the term's own subject as such."""
    memo: dict[Node, int] = {}
    for node in postorder((root,)):
        seen: Hashable
        match node:
            case Leaf(kind="field", name=name):
                seen = ("field", machine.fields[name].holds)
            case Leaf(kind=kind, name=name):
                seen = (kind, "itself" if name == self else known.get(name, "?"), node.width)
            case Const(value=value, width=width):
                seen = (value, width)
            case Among(args=(argument,), values=values):
                seen = ("among", memo[argument], _code_names(argument, values, machine))
            case Slice(high=high, low=low):
                seen = ("slice", memo[node.args[0]], high, low)
            case _:
                seen = (type(node).__name__, tuple(memo[arg] for arg in node.args))
        memo[node] = forms.setdefault(seen, len(forms))
    return memo[root]


def _code_names(argument: Node, values: frozenset[int], machine: Machine) -> tuple[str, ...]:
    """Field codes by name, other values as they are."""
    names: dict[int, str] = {}
    if type(argument) is Leaf and argument.kind == "field":
        names = {code.value: code.name for code in machine.fields[argument.name].codes}
    return tuple(sorted(names.get(value, str(value)) for value in values))


def _renames(machines: tuple[Machine, Machine], pairs: dict[str, dict[str, str]],
             places: dict[str, str]) -> Renames:
    """Old name -> new name; an old name that the new machine uses for something else is put out of the way: two things
    of the old machine never come to one name."""
    names = {name: other for kind in KINDS if kind != "parts" for name, other in pairs[kind].items() if name != other}
    parts = {name: other for name, other in pairs["parts"].items() if name != other}
    targets = {*names.values(), *parts.values()}
    for kind in KINDS:
        for name in _widths(machines[0], kind):
            if name in targets and name not in names and name not in parts and pairs[kind].get(name) != name:
                names[name] = f"{name} of the old machine"
    return Renames(names, parts, places)


# ---------------------------------------------------------------- fields


def _pair_fields(old: Machine, new: Machine, stores: dict[str, str]) -> tuple[Pairing, list[str]]:
    """Which fields are compared code by code, which by their effects alone, and which stand alone."""
    values: dict[str, tuple[str, dict[int, int] | None]] = {}
    said: list[str] = []
    told = Told(old, _happening(old)), Told(new, _happening(new))
    loose: set[str] = set()
    for name, other in _same_fields(old, new, stores).items():
        ours, theirs = old.fields[name], new.fields[other]
        renumbered, whole = _renumbering(ours, theirs)
        values[name] = (other, renumbered)
        if name != other:
            said.append(f"field `{name}` is now `{other}`: it " + (
                "has the same codes" if ours.codes else "lies in the same bits"))
        if not whole and told[0].speaks_of(name) and told[1].speaks_of(other):
            loose.add(name)
            untold = dict.fromkeys((*told[0].untold(name), *told[1].untold(other)))
            said.append(f"field `{other}` has other codes: {_BY_EFFECTS}{_but_for(untold)}")
        elif renumbered is not None:
            said.append(f"field `{other}` has other numbers for its codes: compared by the codes' names")
    paired = {other for other, _ in values.values()}
    alone: list[list[str]] = [[], []]
    for side, (machine, taken) in enumerate(((old, set(values)), (new, paired))):
        for name, field in machine.fields.items():
            if name in taken or field.holds not in ("code", "number"):
                continue
            alone[side].append(name)
            if told[side].speaks_of(name):
                said.append(f"field `{name}` is only in the {('old', 'new')[side]} machine: {_BY_EFFECTS}"
                            f"{_but_for(told[side].untold(name))}")
    return Pairing(values, tuple(alone[0]), tuple(alone[1]), frozenset(loose), told), said


_BY_EFFECTS = "words are compared by what it drives, loads and strobes"


def _but_for(codes: Iterable[str]) -> str:
    names = ", ".join(f"`{name}`" for name in codes)
    return f", but for {names}, of which nothing else says what they do" if names else ""


def _same_fields(old: Machine, new: Machine, stores: dict[str, str]) -> dict[str, str]:
    """Fields of one name in paired stores; then those left over that have the same width and the same named codes, or
    no named codes and the same bits: whatever they are called, they are the same lines."""
    def rest(machine: Machine, taken: set[str], called: dict[str, str]) -> dict[Hashable, list[str]]:
        rows: dict[Hashable, list[str]] = {}
        for name, field in machine.fields.items():
            if name in taken or field.holds not in ("code", "number"):
                continue
            look: Hashable = (field.width, tuple(sorted(code.name for code in field.codes)))
            if not field.codes:
                look = (called.get(field.store), field.high, field.low, field.active_low)
            rows.setdefault(look, []).append(name)
        return rows

    pairs = {name: name for name, field in old.fields.items()
             if name in new.fields and stores.get(field.store) == new.fields[name].store
             and field.holds == new.fields[name].holds and field.holds in ("code", "number")}
    ours, theirs = rest(old, set(pairs), stores), rest(new, set(pairs.values()), {name: name for name in new.stores})
    for look, names in ours.items():
        others = theirs.get(look, [])
        if len(names) == 1 and len(others) == 1:
            pairs[names[0]] = others[0]
    return pairs


def _renumbering(ours: Field, theirs: Field) -> tuple[dict[int, int] | None, bool]:
    """Old value -> new value, None where all values are as they were; and whether every code has one with a name.

    A code is found by its name, else by its number where both sides leave that number to a name of its own, or the new
    one leaves it without a name. A value that is not found has no counterpart: the new side calls its number by a name
    that was another number's."""
    new_numbers = {code.name: code.value for code in theirs.codes}
    new_names = {code.value: code.name for code in theirs.codes}
    old_names = {code.name for code in ours.codes}
    alike = ours.width == theirs.width
    found: dict[int, int] = {}
    whole = True
    for code in ours.codes:
        if code.name in new_numbers:
            found[code.value] = new_numbers[code.name]
        else:
            whole = whole and alike and code.value in new_names and new_names[code.value] not in old_names
            if alike and new_names.get(code.value) not in old_names:
                found[code.value] = code.value
    if not ours.codes or (alike and all(found.get(code.value) == code.value for code in ours.codes)):
        return None, whole
    if alike and ours.width <= 16:
        unnamed = (value for value in range(1 << ours.width) if value not in found and value not in new_names)
        found.update({value: value for value in unnamed})
    return found, whole


def _happening(machine: Machine) -> list[Node]:
    """All that a machine says of what happens."""
    puts = (put(machine, driver, bus.width) for bus in machine.buses.values() for driver in bus.drivers)
    return [*(term for _, term in _named_terms(machine, {})), *(value for value in puts if value is not None)]
