"""Which channel of a capture is at which line of the machine, and which is the clock."""

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, NamedTuple

import click

if TYPE_CHECKING:
    from ordain.capture.model import Capture
    from ordain.capture.timing import CapturedClock
    from ordain.machine.expression import Node
    from ordain.machine.model import BoardLine, Machine, ProbeSet


class Clipped(NamedTuple):
    """`channels`, `places`: for each line its channel, and the bit of that. `clock` None: every sample is a clock.
    `edge` "": not said. `missing`: channels of the probes that the capture does not have."""

    channels: tuple[str, ...]
    places: tuple[int, ...]
    lines: "tuple[BoardLine, ...]"
    clock: "CapturedClock | None"
    edge: str
    missing: tuple[str, ...]

    def names(self) -> list[str]:
        """`D3 upc[3]`; the line alone where the channel is called so."""
        return [line.name if channel.endswith(line.name) else f"{channel} {line.name}"
                for channel, line in zip(self.channels, self.lines)]


def clipped(machine: "Machine", capture: "Capture", probes: str, clips: tuple[str, ...], clock: str) -> Clipped:
    """Raises click.UsageError with a way out."""
    chosen = _set(machine, capture, probes)
    found: dict[str, BoardLine] = {}
    missing: list[str] = []
    for probe in chosen.probes if chosen is not None else ():
        channel = _channel(capture, probe.channel)
        if channel is None:
            missing.append(probe.channel)
        else:
            found[channel] = probe.line
    for text in clips:
        name, equals, line = text.partition("=")
        channel = _channel(capture, name.strip())
        if not equals or channel is None:
            raise click.BadParameter(f"no channel `{name.strip()}` in the capture; there are: {_channels(capture)}"
                                     if equals else f"`{text}` is no clip: write CHANNEL=LINE", param_hint="--clip")
        found[channel] = line_at(machine, line.strip())
    if chosen is None and not clips:
        found = _by_name(machine, capture)
    if not found:
        raise click.UsageError(f"no channel of the capture is at a line of {machine.name}. Its channels: "
                               f"{_channels(capture)}. Say `probes` in the machine file, or --clip CHANNEL=LINE")
    places = {channel: capture.channels[channel] for channel in found}
    return Clipped(tuple(found), tuple(places.values()), tuple(found.values()),
                   *_clock(machine, capture, chosen, clock, set(places.values())), tuple(missing))


def _channels(capture: "Capture") -> str:
    names = list(capture.channels)
    return ", ".join(names[:20]) + (f" and {len(names) - 20} more" if len(names) > 20 else "")


def _channel(capture: "Capture", name: str) -> str | None:
    """The channel of that name; else the only one that differs in case, or has it behind a dot."""
    if name in capture.channels:
        return name
    wanted = name.casefold()
    for found in ([one for one in capture.channels if one.casefold() == wanted],
                  [one for one in capture.channels if one.casefold().endswith("." + wanted)]):
        if len({capture.channels[one] for one in found}) == 1:
            return found[0]
    return None


def _set(machine: "Machine", capture: "Capture", name: str) -> "ProbeSet | None":
    """The set of probes that is named, or that has the most channels in the capture."""
    if name:
        if name not in machine.probes:
            raise click.BadParameter(f"the machine file has no probes `{name}`; there are: "
                                     f"{', '.join(machine.probes) or 'none'}", param_hint="--probes")
        return machine.probes[name]
    counts = {one.name: sum(_channel(capture, probe.channel) is not None for probe in one.probes)
              for one in machine.probes.values()}
    best = [name for name, count in counts.items() if count and count == max(counts.values())]
    if len(best) > 1:
        raise click.UsageError(f"the capture may be of the probes {' or '.join(best)}: say which with --probes")
    return machine.probes[best[0]] if best else None


def _by_name(machine: "Machine", capture: "Capture") -> "dict[str, BoardLine]":
    """Channels that are called like lines, as in the dump of a simulator."""
    found: dict[str, BoardLine] = {}
    taken: set[str] = set()
    for channel in capture.channels:
        parts = channel.split(".")
        for at in range(len(parts)):
            text = ".".join(parts[at:])
            if _is_line(machine, text) and text not in taken:
                taken.add(text)
                found[channel] = line_at(machine, text)
                break
    return found


_LINE = re.compile(r"(not +)?([A-Za-z_][\w.]*)(?: *\[ *([0-9]{1,4}) *\])?")


def _is_line(machine: "Machine", text: str) -> bool:
    try:
        line_at(machine, text)
    except click.UsageError:
        return False
    return True


def line_at(machine: "Machine", text: str, option: str = "--clip") -> "BoardLine":
    """A line of one bit: NAME, NAME[BIT], `not` before it. Raises click.BadParameter, as of an option."""
    from ordain.machine.model import BoardLine
    from ordain.text.spelling import nearest

    terms = machine.terms
    found = _LINE.fullmatch(text)
    if found is None:
        raise click.BadParameter(f"`{text}` is no line: write NAME, NAME[BIT] or not NAME", param_hint=option)
    name, bit = found[2], found[3]
    every = _nodes(machine)
    if name not in every:
        near = nearest(name, list(every))
        raise click.BadParameter(f"nothing of {machine.name} is called `{name}`"
                                 + (f". Did you mean `{near}`?" if near else ""), param_hint=option)
    node = every[name]
    if (bit is None and node.width > 1) or (bit is not None and int(bit) >= node.width):
        raise click.BadParameter(f"`{name}` has the bits 0 to {node.width - 1}, and a clip is at one: `{name}[0]`",
                                 param_hint=option)
    level = terms.slice(node, int(bit or 0), int(bit or 0))
    if (name in machine.fields and machine.fields[name].active_low) != bool(found[1]):
        level = terms.not_(level)
    return BoardLine(text, level)


def widths(machine: "Machine") -> "dict[str, tuple[int, Mapping[str, int]]]":
    """How many lines a name stands for, and the levels of its codes as they stand on these."""
    codes: dict[str, Mapping[str, int]] = {}
    for name, field in machine.fields.items():
        turned = (1 << field.width) - 1 if field.active_low else 0
        codes[name] = {code.name: code.value ^ turned for code in field.codes}
    coded = {**{name: state.codes for name, state in machine.states.items()},
             **{name: given.codes for name, given in machine.inputs.items()}}
    for name, names in coded.items():
        codes[name] = {code: value for value, code in enumerate(names)}
    return {name: (node.width, codes.get(name, {})) for name, node in _nodes(machine).items()}


def _nodes(machine: "Machine") -> "dict[str, Node]":
    """Everything at which a clip can be."""
    terms = machine.terms
    return {**{one: terms.leaf("field", one, field.width) for one, field in machine.fields.items()},
            **{one: terms.leaf("state", one, state.width) for one, state in machine.states.items()},
            **{one: terms.leaf("register", one, register.width) for one, register in machine.registers.items()},
            **{one: terms.leaf("input", one, given.width) for one, given in machine.inputs.items()},
            **{one: terms.leaf("condition", one, given.width) for one, given in machine.conditions.items()},
            **{one: terms.leaf("bus", one, bus.width) for one, bus in machine.buses.items()},
            **{one: terms.leaf("word", one, store.bits) for one, store in machine.stores.items()},
            **{one: signal.value for one, signal in machine.signals.items()}}


def _clock(machine: "Machine", capture: "Capture", chosen: "ProbeSet | None", name: str,
           taken: set[int]) -> "tuple[CapturedClock | None, str]":
    """The clock and its edge."""
    from ordain.capture.timing import clock_at, clocks

    edge = chosen.edge if chosen is not None else ""
    if name == "none":
        return None, ""
    if name:
        channel = _channel(capture, name)
        if channel is None:
            raise click.BadParameter(f"no channel `{name}` in the capture; there are: {_channels(capture)}, and `none`",
                                     param_hint="--clock")
        found = clock_at(capture, capture.channels[channel])
        if found is None:
            raise click.BadParameter(f"`{name}` has no two edges in the beginning of the capture", param_hint="--clock")
        return found, edge
    told = _channel(capture, chosen.clock) if chosen is not None and chosen.clock else None
    if told is not None:
        found = clock_at(capture, capture.channels[told])
        if found is not None:
            return found, edge
    every = clocks(capture, taken)
    if not every and not capture.tick and (capture.grid or capture.rows):
        return None, ""                                 # nothing is said of time: taken with the machine's own clock
    if not every:
        raise click.UsageError("no channel looks like a clock: name it with --clock CHANNEL, or say --clock none where "
                               "every sample is a clock")
    return every[0], edge
