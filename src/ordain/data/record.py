"""A run from its first cycle to its end, line by line: what was executed, what it changed, and why it ended."""

from collections.abc import Callable, Collection, Mapping

from ordain.data.datapath import Datapath
from ordain.data.model import Change, Ending, Line, Memories, Record
from ordain.data.partial import Bits, whole
from ordain.data.run import Ran, Written, power_up, run, unknown_sources
from ordain.machine.expression import Leaf, Node
from ordain.machine.model import Machine, Store
from ordain.text.findings import Finding, error

Causes = dict[Leaf, tuple[int, Leaf | None]]
"""Since which cycle bits of a state or register are not known, and what they came from."""

_LONGEST_CHAIN = 6


def recorded(path: Datapath, memories: Memories, outside: Callable[[int], Mapping[str, int]], stop: Node | None,
             most: int, instructions: int | None, titles: Collection[str]) -> Record:
    """A run of at most `most` cycles and so many instructions; it ends with the first cycle in which `stop` holds. A
    word that is not known, fighting drivers and a broken `never` end it with a finding."""
    store = next(store for store in path.machine.stores.values() if store.fill == "microprogram")
    starts = {address: title for title in titles if path.contents.labels.get(title, ("",))[0] == store.name
              for address in path.contents.labels[title][1]}
    word = path.terms.leaf("word", store.name, store.bits)
    lines: list[Line] = []
    findings: tuple[Finding, ...] = ()
    ending: Ending = "cycles"
    begun = 0
    held = _visible(path, power_up(path))
    home, never = path.machine.home, path.terms.const(0, 1)
    at_home = False
    causes: Causes = {}
    try:
        for ran in run(path, memories, outside, (store.address, word, home or never, stop or never)):
            if ran.cycle > most:
                break
            address, presented, here, asked = ran.seen
            if not whole(address, store.address_width) and not whole(presented, store.bits):
                ending, findings = "lost", (_lost(path, ran, store, causes),)
                break
            title = starts.get(address.value, "")
            title = title if not lines or lines[-1].address != address.value else ""
            if title and begun == instructions:
                ending = "instructions"
                break
            begun += bool(title)
            was_home, at_home = at_home, here == Bits(1, 1)
            before, held = held, _visible(path, ran.held)
            changes = [Change(name, None, bits, width) for name, (bits, width) in held.items()
                       if before[name][0] != bits]
            lines.append(Line(ran.cycle, address.value, title, at_home and not was_home,
                              (*changes, *(_written(path.machine, one) for one in ran.written))))
            if not ran.known:
                _note_causes(path, ran, causes)
            findings = _faults(path, ran, store, address.value)
            if findings:
                ending = "fault"
                break
            if asked == Bits(1, 1):
                ending = "until"
                break
    except KeyboardInterrupt:
        ending = "interrupted"
    return Record(tuple(lines), store.name, ending, findings, held, memories)


def _visible(path: Datapath, held: Mapping[Node, Bits]) -> dict[str, tuple[Bits, int]]:
    """Registers and states that a programmer sees; all registers where the machine file does not say."""
    machine, terms = path.machine, path.terms
    found = {}
    for name in machine.visible or machine.registers:
        if name in machine.memories:
            continue
        declared = machine.registers.get(name) or machine.states[name]
        latch = name in machine.registers and machine.registers[name].transparent
        leaf = terms.leaf("state", f"{name} held", declared.width) if latch else \
            terms.leaf("register" if name in machine.registers else "state", name, declared.width)
        found[name] = held.get(leaf, Bits(0, 0)), declared.width
    return found


def _written(machine: Machine, written: Written) -> Change:
    return Change(written.memory, -1 if written.address is None else written.address, written.value,
                  machine.memories[written.memory].bits)


def _faults(path: Datapath, ran: Ran, store: Store, address: int) -> tuple[Finding, ...]:
    site = path.contents.sites[store.name].get(address)
    span, name = (None, f"{address:X}") if site is None else (site.span, f"`{site.name}`")
    found = [error("contention", f"bus `{fight.bus}` has several drivers in cycle {ran.cycle}, at {name}: "
                   f"{' and '.join(f'`{driver}`' for driver in fight.drivers)}", span, "in this word",
                   help="`ordain prove` shows the shortest sequence") for fight in ran.fights]
    found += [error("never", f"\"{text}\" is broken in cycle {ran.cycle}, at {name}", span, "in this word",
                    help="`ordain prove` shows the shortest sequence") for text in ran.broken]
    return tuple(found)


def _lost(path: Datapath, ran: Ran, store: Store, causes: Causes) -> Finding:
    """Where control goes depends on something that is not known: what, and since when."""
    chain: list[str] = []
    latest = sorted(unknown_sources(ran.moment, store.address), key=lambda leaf: -causes.get(leaf, (0, None))[0])
    leaf: Leaf | None = next(iter(latest), None)
    while leaf is not None and len(chain) < _LONGEST_CHAIN:
        since, below = causes.get(leaf, (0, None))
        name = f"`{leaf.name.removesuffix(' held')}`"
        if leaf.name in path.machine.memories and leaf.kind == "free":
            chain.append(f"{name} holds nothing known where it was read")
        elif leaf.kind in ("state", "register"):
            chain.append(f"{name} got it in cycle {since}" if since else f"{name} was never loaded")
        elif leaf.kind == "bus":
            chain.append(_no_level(path, ran, leaf))
        else:
            chain.append(f"{name} has no value")
        leaf = below
    return error("unknown-branch", f"where control goes in cycle {ran.cycle} is not known: bits of the address of "
                 f"`{store.name}` have no value", None, notes=(", because ".join(chain),) if chain else (),
                 help="give memory its contents (--put, --load), or load the register before it is used")


def _no_level(path: Datapath, ran: Ran, leaf: Leaf) -> str:
    """Why nothing is known of a bus; a cause that is remembered may be of an earlier cycle, in which others drove."""
    bus = path.machine.buses[leaf.name]
    silent = [driver.name for driver in bus.drivers if path.puts[bus.name, driver.name] is None]
    enabled = [name for name, driver in ((driver.name, driver) for driver in bus.drivers)
               if name in silent and ran.moment.known.get(driver.when) != Bits(0, 1)]
    if not silent:
        return f"`{bus.name}` floats"
    named = " or ".join(f"`{name}`" for name in enabled or silent)
    return f"nothing says what {named} puts on the {bus.width} lines of `{bus.name}`"


def _note_causes(path: Datapath, ran: Ran, causes: Causes) -> None:
    """Which states and registers have bits from now on that are not known, and from where."""
    for leaf, node in path.nexts.items():
        bits = ran.held[leaf]
        if type(leaf) is not Leaf or bits == ran.moment.held[leaf] or whole(bits, leaf.width):
            continue
        causes[leaf] = ran.cycle, next((one for one in unknown_sources(ran.moment, node) if one is not leaf), None)
