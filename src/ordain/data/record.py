"""A run from its first cycle to its end, line by line: what was executed, what it changed, and why it ended."""

from collections import deque
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Literal

from ordain.data.causes import UNTOLD, Causes
from ordain.data.datapath import Datapath, Moment
from ordain.data.model import Ending, Listener, Memories, Record, RunLine, Sent, Taker, Update
from ordain.data.partial import Ternary, whole
from ordain.data.run import Ran, Written, power_up, run, write
from ordain.data.strides import Strides
from ordain.machine.expression import Node
from ordain.machine.model import Machine, Store
from ordain.text.findings import Finding, error, warning

LATEST = 12
"""So many steps up to the end are kept for a diagram."""

LONGEST_STILL = 4096
"""Steps in one cycle after which a clock that something holds is taken to stand still for good."""

Kept = Literal["cycles", "changes", "nothing"]
Overwritten = list[tuple[str, int | None, "Ternary | dict[int, Ternary] | None"]]
"""What a step has written over: memory, address and word there; of a whole memory its cells."""


def recorded(path: Datapath, memories: Memories, outside: Callable[[int], Mapping[str, int]], stop: Node | None,
             most: int, instructions: int | None, titles: Collection[str], *, devices: Sequence[Taker] = (),
             listeners: Sequence[Listener] = (), kept: Kept = "cycles", steady: int | None = None) -> Record:
    """A run of at most `most` cycles and so many instructions; it ends with the first cycle in which `stop` holds, or
    in which something holds that is watched. `kept`: which lines: of all cycles, of those that begin or change
    something, or none; then, where `steady` is the cycle from which on inputs do not change and no listener wants to
    know anything, cycles in which nothing happens are gone over in strides."""
    terms, never = path.terms, path.terms.const(0, 1)
    store = next(store for store in path.machine.stores.values() if store.fill == "microprogram")
    starts = {address: title for title in titles if path.contents.labels.get(title, ("",))[0] == store.name
              for address in path.contents.labels[title][1]}
    own: tuple[Node, ...] = (store.address, terms.leaf("word", store.name, store.bits), path.machine.home or never,
                             stop or never, *(device.when for device in devices))
    watched = path.present((*own, *(node for listener in listeners for node in listener.nodes)))
    own = watched[:len(own)]
    lines: list[RunLine] = []
    sent: list[Sent] = []
    told: dict[tuple[str, str, int], Finding] = {}
    fault: tuple[Finding, ...] = ()
    broken: tuple[str, ...] = ()
    ending: Ending = "cycles"
    begun = reached = 0
    visible, held = _visible(path), power_up(path)
    at_home, before_this = False, -1
    causes = Causes(path)
    latest: deque[tuple[Ran, Overwritten]] = deque(maxlen=LATEST)
    strides = None
    if steady is not None and kept == "nothing" and not any(listener.nodes for listener in listeners):
        events = (*path.never.values(), *own[3:])
        strides = Strides(path, memories, events, frozenset(starts), margin=LATEST, most=most, limit=instructions,
                          steady=steady)
    gone = still = 0
    try:
        for ran in run(path, memories, outside, watched, strides=strides):
            if strides is not None and strides.steps > gone:
                gone, begun, before_this = strides.steps, strides.begun, strides.last
                reached = max(reached, ran.cycle - 1)
                latest.clear()
                held = dict(ran.moment.held)
            still = 0 if ran.cycle > reached else still + 1
            if ran.cycle > most:
                break
            if still > LONGEST_STILL:
                ending = "held"
                break
            address, presented, here, asked = ran.seen[:4]
            if not whole(address, store.address_width) and not whole(presented, store.bits):
                ending, fault = "lost", (_lost(ran, store, causes),)
                break
            title = starts.get(address.value, "") if before_this != address.value else ""
            if title and begun == instructions:
                ending = "instructions"
                break
            begun += bool(title)
            reached, before_this = ran.cycle, address.value
            if strides is not None:
                strides.begun, strides.last = begun, before_this
            latest.append((ran, _overwritten(memories, ran)))
            was_home, at_home = at_home, here == Ternary(1, 1)
            if kept != "nothing":
                changes = [Update(name, None, ran.held[leaf], leaf.width) for name, leaf in visible
                           if ran.held[leaf] != ran.moment.held[leaf]]
                changes += [_written(path.machine, one) for one in ran.written]
                if kept == "cycles" or changes or title or not lines or (at_home and not was_home):
                    lines.append(RunLine(ran.cycle, address.value, title, at_home and not was_home, tuple(changes),
                                         _phase(path, ran)))
            if not ran.known:
                causes.note(ran)
            for device, when in zip(devices, ran.seen[4:]):
                if when != Ternary(0, 1):
                    _take(ran, device, when, sent, told, causes, address.value)
            for written in ran.written:
                if written.address is None:
                    told.setdefault(("unknown-address", written.memory, address.value),
                                    _nowhere(path, ran, written.memory, causes))
            at = len(own)
            for listener in listeners:
                listener.hear(ran.cycle, ran.seen[at:at + len(listener.nodes)], ran.moment.outside)
                at += len(listener.nodes)
            broken = ran.broken
            if broken:
                ending = "fault"
                break
            if asked == Ternary(1, 1):
                ending = "until"
                break
            if strides is not None and strides.interrupted:
                ending = "interrupted"
                break
    except KeyboardInterrupt:
        ending = "interrupted"
    if latest:
        held = dict(latest[-1][0].held)
        for written in latest[-1][0].written:           # the cycle with which it ends is a whole one
            write(memories[written.memory], written)
    return Record(tuple(lines), store.name, ending, (*told.values(), *fault),
                  {name: (held[leaf], leaf.width) for name, leaf in visible}, memories, reached, begun,
                  tuple(sent), broken, tuple(_moments(path, latest, memories)) if broken else ())


def _phase(path: Datapath, ran: Ran) -> str:
    """The name of the phase that a step is; "" where nothing depends on phases."""
    clock = path.machine.clock
    if clock is None or clock.steps == 1:
        return ""
    leaf = path.terms.leaf("state", clock.name, path.machine.states[clock.name].width)
    return clock.phases[ran.moment.held[leaf].value]


def _visible(path: Datapath) -> list[tuple[str, Node]]:
    """Registers and states that a programmer sees; all registers where the machine file does not say."""
    machine, terms = path.machine, path.terms
    found = []
    for name in machine.visible or machine.registers:
        if name in machine.memories:
            continue
        declared = machine.registers.get(name) or machine.states[name]
        latch = name in machine.registers and machine.registers[name].transparent
        leaf = terms.leaf("state", f"{name} held", declared.width) if latch else \
            terms.leaf("register" if name in machine.registers else "state", name, declared.width)
        found.append((name, leaf))
    return found


def _written(machine: Machine, written: Written) -> Update:
    return Update(written.memory, -1 if written.address is None else written.address, written.value,
                  machine.memories[written.memory].bits)


# ---------------------------------------------------------------- devices, and what is not known


def _take(ran: Ran, device: Taker, when: Ternary, sent: list[Sent], told: dict[tuple[str, str, int], Finding],
          causes: Causes, address: int) -> None:
    """What a device takes in a cycle, perhaps; bits that are not known are told once for each word."""
    value, width = ran.moment.value(device.value), device.value.width
    if when == Ternary(1, 1):
        sent.append(Sent(ran.cycle, device.name, value, width))
        if whole(value, width):
            return
        message, node = f"`{device.name}` takes bits in cycle {ran.cycle} that have no known value", device.value
    else:
        ran.moment.value(device.when)
        message, node = f"whether `{device.name}` takes something in cycle {ran.cycle} is not known", device.when
    key = ("unknown-sent", device.name, address)
    if key not in told:
        told[key] = warning("unknown-sent", message, None, notes=causes.told(ran.moment, node),
                            help="load what it comes from before it is sent")


def _nowhere(path: Datapath, ran: Ran, memory: str, causes: Causes) -> Finding:
    node = path.machine.memories[memory].address
    ran.moment.value(node)
    return warning("unknown-address", f"`{memory}` is written in cycle {ran.cycle} at an address that is not known, "
                   "and nothing is known of it any more", None, notes=causes.told(ran.moment, node),
                   help="load what the address comes from before it is used, or say what it holds at power-up (--put)")


def _lost(ran: Ran, store: Store, causes: Causes) -> Finding:
    """Where control goes depends on something that is not known: what, and since when."""
    notes = causes.told(ran.moment, store.address)
    return error("unknown-branch", f"where control goes in cycle {ran.cycle} is not known: bits of the address of "
                 f"`{store.name}` have no value", None, notes=notes,
                 help="say in the machine file what it puts there: `driven by NAME = VALUE when ...`, maybe a `memory`"
                 if any(UNTOLD in note for note in notes) else "give memory its contents (--put, --load), load the "
                 "register before it is used, or say what it holds at power-up (--put)")


# ---------------------------------------------------------------- the last steps once more


def _overwritten(memories: Memories, ran: Ran) -> Overwritten:
    """What stands where this step is about to write."""
    return [(one.memory, one.address, dict(memories[one.memory]) if one.address is None
             else memories[one.memory].get(one.address)) for one in ran.written]


def _moments(path: Datapath, latest: Sequence[tuple[Ran, Overwritten]],
             memories: Memories) -> list[tuple[int, Moment]]:
    """The last steps with memories as they were then."""
    found = []
    cells = {name: dict(words) for name, words in memories.items()}
    for ran, overwritten in reversed(latest):
        for memory, address, word in overwritten:
            if isinstance(word, dict):
                cells[memory] = dict(word)
            elif address is not None and word is None:
                cells[memory].pop(address, None)
            elif address is not None and word is not None:
                cells[memory][address] = word
        then = {name: dict(words) for name, words in cells.items()}
        found.append((ran.cycle, Moment(path, ran.moment.held, then, ran.moment.outside)))
    return found[::-1]
