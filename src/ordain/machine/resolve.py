"""From the tree of a machine file to the machine: every pass in its order."""

from collections.abc import Iterable, Sequence
from typing import TypeVar

from ordain.language import tree
from ordain.machine import model
from ordain.machine.bench import lamp_rows, probe_sets
from ordain.machine.buses import bus_model, exclusive_model, keep_model, report_twice, strobe_model
from ordain.machine.chips import check_chips, chip_model
from ordain.machine.clocking import Clocking
from ordain.machine.context import bits
from ordain.machine.control import (
    condition_model,
    find_loops,
    find_memory_loops,
    hardware,
    input_model,
    register_model,
    state_model,
)
from ordain.machine.declare import Declarations, declare
from ordain.machine.effects import understanding
from ordain.machine.expression import Node, Terms
from ordain.machine.fields import derive, field_model, lay_out, spare_model
from ordain.machine.lowering import Lowering
from ordain.machine.memories import memory_model, visible_names
from ordain.machine.names import Scope
from ordain.machine.orders import order_models
from ordain.machine.pins import Wiring
from ordain.machine.rules import allowance_model, assumption_model, home_name, home_node, rule_models
from ordain.machine.stores import Addressed, address_of, store_model
from ordain.machine.unread import own_faults
from ordain.machine.wires import component_models, wire_models
from ordain.text.findings import Finding, Place, error, has_errors
from ordain.text.source import Span

Item = TypeVar("Item")


def resolve(file: tree.MachineFile, unread: Sequence[Finding] = ()) -> tuple[model.Machine | None, list[Finding]]:
    """The machine and everything that is wrong with its description, in the order of the text.

    `unread`: findings about lines of the file that could not be read. What may be missing because of them is not
    complained about. With errors among the findings the machine is as much as could be understood, for later stages to
    find their own errors in; it is not to be built from. None only where there is no store, and so nothing to go on
    with."""
    if not file.statements:
        return None, []                 # that there is no `machine` line has been said
    lowering = Lowering(Terms(), Scope())
    found = declare(file.statements, lowering)
    clocking = Clocking(found, lowering)
    # Signals and constants first: a circle among them is reported at its own place and not where it is first used.
    for entry in lowering.scope.entries.values():
        lowering.settle(entry)
    machine = _machine(file, found, clocking, lowering)
    if machine is not None:
        clocking.check_released(machine, found)
        machine = machine._replace(released=clocking.released(machine))
    order = {source.name: index for index, source in enumerate(file.sources)}
    if lowering.lost and not has_errors([*lowering.findings, *unread]):
        raise ValueError("an expression was left out and nothing was said")
    findings = own_faults(lowering.findings, unread)
    return machine, sorted(findings, key=lambda finding: _place(finding.span, order))


def _place(span: Span | None, order: dict[str, int]) -> tuple[int, int]:
    return (-1, 0) if span is None else (order.get(span.source.name, len(order)), span.start)


def _machine(file: tree.MachineFile, found: Declarations, clocking: Clocking,
             lowering: Lowering) -> model.Machine | None:
    conditions = {item.name.text: condition_model(item, lowering) for item in found.conditions}
    registers = {item.name.text: clocking.register(register_model(item, lowering), item) for item in found.registers}
    stores, fields, sound = _stores_and_fields(found, conditions, registers, lowering)
    states = [clocking.state(state_model(state, agent, lowering), state) for state, agent in found.states]
    inputs = [*(input_model(declared, agent, lowering) for declared, agent in found.inputs), *clocking.inputs(found)]
    buses = {bus.name.text: clocking.bus(bus_model(bus, clocking.length(bus.turnaround, bus.in_phases), lowering),
                                         found) for bus in found.buses}
    parts = {driver.name for bus in buses.values() for driver in bus.drivers} | {
        sampler.name for bus in buses.values() for sampler in bus.samplers}
    entries = lowering.scope.entries
    signals = [model.Signal(entry.name, entry.node, entry.agent, entry.span) for entry in entries.values()
               if entry.kind == "signal" and entry.node is not None]
    constants = {entry.name: entry.number for entry in entries.values()
                 if entry.kind == "constant" and not entry.broken}
    if not stores:
        span = found.header.span if found.header else None
        lowering.findings.append(error(
            "no-store", "the machine has no control store", span, "no `store` line in it",
            help="describe one: `store control 1024 words of 40 bits`; logic without a microprogram has one word that "
                 "does nothing, see docs/language.md, \"Control stores\""))
    chips = _chips(found, lowering, stores, fields, sound)
    components = component_models(found.components, lowering)
    memories = {memory.name: memory for memory in _sound(memory_model(item, lowering) for item in found.memories)}
    for name in find_memory_loops(memories, stores, conditions, fields, lowering):
        del memories[name]
    report_twice(found.strobes, "is a strobe", "say in one what it needs, or give the second a signal of its own",
                 lowering)
    machine = model.Machine(
        name=found.header.name.text if found.header else "",
        title=found.header.title.text if found.header and found.header.title else "",
        microprogram=tuple(found.microprogram),
        stores=stores,
        fields=fields,
        chips=chips,
        states={**clocking.states(), **{item.name: item for item in states}},
        registers=registers,
        inputs={item.name: item for item in inputs},
        conditions=conditions,
        signals={signal.name: signal for signal in signals},
        constants=constants,
        assumptions=_sound(assumption_model(item, agent, lowering) for item, agent in found.assumptions),
        home=home_node(found.homes, lowering),
        buses=buses,
        strobes=tuple(clocking.strobe(strobe, item) for item in found.strobes
                      if (strobe := strobe_model(item, lowering)) is not None),
        keeps=_sound(keep_model(item, lowering) for item in found.keeps),
        exclusives=_sound(exclusive_model(item, lowering) for item in found.exclusives),
        agents={item.name.text: model.Agent(item.name.text, item.title.text if item.title else "", item.span)
                for item in found.agents},
        rules=rule_models(found.rules, clocking.length, lowering),
        allowances=_sound(allowance_model(item, parts, lowering) for item in found.allowances),
        orders=order_models(found.orders, fields, lowering),
        labels=tuple((_label_kind(kind), name, span) for kind, name, span in lowering.labels),
        terms=lowering.terms,
        span=found.header.span if found.header else _first_span(file),
        broken=frozenset(name for name, entry in entries.items() if entry.broken) | _left_out(found, buses),
        lower=_other_conditions(lowering),
        understand=understanding(found.visible, memories, lowering),
        clock=clocking.clock(),
        components=components,
        wires=wire_models(found.wires, components, chips, stores, fields, lowering),
        memories=memories,
        visible=visible_names(found.visible, lowering),
        lamps=lamp_rows(found.lamps, fields, clocking.clock(), lowering),
        probes=probe_sets(found.probes, fields, clocking.clock(), lowering),
        home_name=home_name(found.homes, lowering),
    )
    return machine if stores else None


def _other_conditions(lowering: Lowering) -> model.LowerText:
    def lower(expr: tree.Expr, labels: bool, condition: bool = True) -> tuple[Node | None, list[Finding]]:
        before = len(lowering.findings)
        node = hardware(lowering.condition(expr) if condition else lowering.node(expr), expr.span, lowering, labels)
        found = lowering.findings[before:]
        del lowering.findings[before:]
        return node, found

    return lower


def _left_out(found: Declarations, buses: dict[str, model.Bus]) -> frozenset[str]:
    """Drivers and samplers that no bus has, because the condition of theirs that is written has a fault."""
    left: set[str] = set()
    for bus in found.buses:
        made = buses[bus.name.text]
        left |= {driver.name.text for driver in bus.drivers} - {driver.name for driver in made.drivers}
        left |= {sampler.name.text for sampler in bus.samplers} - {sampler.name for sampler in made.samplers}
    return frozenset(left)


def _sound(items: "Iterable[Item | None]") -> "tuple[Item, ...]":
    return tuple(item for item in items if item is not None)


def _label_kind(kind: str) -> "model.LabelKind":
    return "at" if kind == "at" else "in"


def _first_span(file: tree.MachineFile) -> Span:
    return file.statements[0].span


def _stores_and_fields(found: Declarations, conditions: dict[str, model.Condition],
                       registers: dict[str, model.Register],
                       lowering: Lowering) -> tuple[dict[str, model.Store], dict[str, model.Field], set[str]]:
    """Layouts, then addresses, then what needs both: roles, computed words, derived fields; and which stores have a
    layout in which every bit is where it was meant."""
    fields: dict[str, model.Field] = {}
    stores: dict[str, model.Store] = {}
    members: dict[str, tuple[str, ...]] = {}
    addressed: list[Addressed] = []
    widths: dict[str, int] = {}
    derived: list[tuple[str, tree.Expr]] = []
    sound: set[str] = set()
    for text in found.stores:
        name = text.store.name.text
        second = lowering.scope.entries[name].span is not text.store.name.span
        stored = address_of(text, lowering)
        layout = lay_out(text, max(1, min(text.store.bits.value, 1 << 16)), lowering)
        width = stored.address.width if stored.address is not None else None
        own = []
        for member, place in zip(text.members, layout.places):
            made = spare_model(member, name, place) if isinstance(member, tree.Spare) else field_model(
                member, name, place, width, lowering)
            if second:  # its fields belong to nobody; what is wrong with them has been said
                if isinstance(member, tree.Field):
                    lowering.scope.entries[made.name].broken = True
                continue
            fields[made.name] = made
            own.append(made.name)
            if isinstance(member, tree.Field) and member.derived is not None:
                derived.append((made.name, member.derived))
        if not second:
            members[name], widths[name] = tuple(own), layout.bits
            sound |= {name} if layout.sound else set()
            addressed.append(stored)
    looping = find_loops({stored.text.store.name.text: stored.address for stored in addressed}, conditions, registers,
                         fields, lowering)
    for stored in addressed:
        name = stored.text.store.name.text
        if name in looping:
            stored = stored._replace(address=None)
        stores[name] = store_model(stored, members[name], widths[name], lowering)
    for name, expr in derived:
        word = lowering.scope.entries[fields[name].store]
        if not word.broken and fields[name].store in sound:
            fields[name] = derive(fields[name], expr, fields, word.width, lowering)
        else:
            lowering.node(expr, fields[name].width)
    _need_microprogram(stores, lowering)
    _one_opcode_width(stores, lowering)
    return stores, fields, sound


def _one_opcode_width(stores: dict[str, model.Store], lowering: Lowering) -> None:
    """Where two stores go by the opcode, it is the same one."""
    going = [store for store in stores.values() if store.opcode_width]
    for store in going[1:]:
        if store.opcode_width != going[0].opcode_width:
            lowering.findings.append(error(
                "width-mismatch", f"an opcode has {bits(going[0].opcode_width)} in `{going[0].name}` and "
                f"{bits(store.opcode_width)} in `{store.name}`", store.span, bits(store.opcode_width),
                places=(Place(going[0].span, bits(going[0].opcode_width)),),
                help="say in both stores which lines of the address are the opcode, such as `instruction ir[7:4]`; a "
                     "table over other bits is a store that a `map` fills"))


def _need_microprogram(stores: dict[str, model.Store], lowering: Lowering) -> None:
    if stores and all(store.fill == "map" for store in stores.values()):
        store = next(iter(stores.values()))
        lowering.findings.append(error(
            "no-fields", f"the word of `{store.name}` is not described", store.span, "no field below this line",
            help="say what its bits are: `field source 4 bits`, its codes below"))


def _chips(found: Declarations, lowering: Lowering, stores: dict[str, model.Store],
           fields: dict[str, model.Field], whole: set[str]) -> dict[str, model.Chip]:
    wiring = Wiring(lowering, stores, fields)
    chips: dict[str, model.Chip] = {}
    sound = True
    for text in found.chips:
        earlier = chips.get(text.name.text)
        made = chip_model(text, wiring)
        sound &= made is not None and len(made.banks) == len(text.banks)
        if earlier is not None:
            sound = False
            lowering.findings.append(error(
                "defined-twice", f"chip `{text.name.text}` is defined twice", text.name.span, "the second",
                places=(Place(earlier.span, "the first"),), help="give one of them another name"))
        elif made is not None:
            chips[text.name.text] = made
    check_chips(chips, whole if sound else set(), wiring)
    return chips


