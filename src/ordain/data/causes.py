"""Where bits come from that are not known: since which cycle, and from what."""

from ordain.data.datapath import Datapath, Moment
from ordain.data.partial import Ternary, whole
from ordain.data.run import Ran, unknown_sources
from ordain.machine.expression import Leaf, Node

LONGEST = 6
"""So many steps back are told."""
UNTOLD = "nothing says what"
"""How a cause begins that the machine file does not tell."""


class Causes:
    """Since which cycle bits of a state or register are not known, and what they came from."""

    def __init__(self, path: Datapath) -> None:
        self.path = path
        self._since: dict[Leaf, tuple[int, Leaf | None, str]] = {}

    def note(self, ran: Ran) -> None:
        """Which states and registers have bits from this cycle on that are not known, and from where."""
        for leaf, node in self.path.nexts.items():
            bits = ran.held[leaf]
            if type(leaf) is not Leaf or whole(bits, leaf.width):
                continue
            sources = unknown_sources(ran.moment, node)
            if bits == ran.moment.held[leaf] and (leaf in sources or not sources):
                continue                                # it has kept them; a load of as little is a load
            source = next((one for one in sources if one is not leaf), None)
            told = _no_level(self.path, ran.moment, source) if source is not None and source.kind == "bus" else ""
            self._since[leaf] = ran.cycle, source, told

    def told(self, moment: Moment, node: Node) -> tuple[str, ...]:
        """Why an expression is not known in a cycle, as a note: what it came from, and what that came from."""
        chain: list[str] = []
        never: tuple[int, Leaf | None, str] = 0, None, ""
        latest = sorted(unknown_sources(moment, node), key=lambda leaf: -self._since.get(leaf, never)[0])
        leaf: Leaf | None = next(iter(latest), None)
        then = ""
        while leaf is not None and len(chain) < LONGEST:
            since, below, source = self._since.get(leaf, never)
            name = f"`{leaf.name.removesuffix(' held')}`"
            if leaf.name in self.path.machine.memories and leaf.kind == "free":
                chain.append(f"{name} holds nothing known where it was read")
            elif leaf.kind in ("state", "register"):
                chain.append(f"{name} got it in cycle {since}" if since else f"{name} was never loaded")
            elif leaf.kind == "bus":
                chain.append(then or _no_level(self.path, moment, leaf))
            else:
                chain.append(f"{name} has no value")
            leaf, then = below, source
        return (", because ".join(chain),) if chain else ()


def _no_level(path: Datapath, moment: Moment, leaf: Leaf) -> str:
    """Why nothing is known of a bus in a cycle."""
    bus = path.machine.buses[leaf.name]
    silent = [driver.name for driver in bus.drivers if path.puts[bus.name, driver.name] is None]
    enabled = [name for name, driver in ((driver.name, driver) for driver in bus.drivers)
               if name in silent and moment.known.get(driver.when) != Ternary(0, 1)]
    if not silent:
        return f"`{bus.name}` floats"
    named = " or ".join(f"`{name}`" for name in enabled or silent)
    return f"{UNTOLD} {named} puts on the {bus.width} lines of `{bus.name}`"
