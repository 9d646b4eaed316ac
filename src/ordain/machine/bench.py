"""Rows of lamps and sets of clips: every lamp and every channel at one line of the board."""

from collections.abc import Mapping, Sequence

from ordain.language import tree
from ordain.machine import model
from ordain.machine.context import bits, short
from ordain.machine.control import hardware
from ordain.machine.lowering import Lowering
from ordain.machine.names import ARTICLE
from ordain.text.findings import Place, error
from ordain.text.source import Span

BLANK = "blank"
"""A place without a lamp, unless the machine calls something so."""


def lamp_rows(texts: Sequence[tree.Lamps], fields: Mapping[str, model.Field], clock: model.Clock | None,
              lowering: Lowering) -> tuple[model.LampRow, ...]:
    """The rows, without lamps that are broken, which is reported."""
    rows: dict[str, model.LampRow] = {}
    for text in texts:
        lamps: list[model.Lamp | None] = []
        for expr in text.lines:
            if isinstance(expr, tree.Word) and expr.text == BLANK and lowering.scope.find(BLANK) is None:
                lamps.append(None)
                continue
            for line in _lines(expr, fields, clock, lowering) or ():
                lit = lowering.terms.not_(line.level) if text.active_low else line.level
                lamps.append(model.Lamp(line, lit))
        row = model.LampRow(text.title.text, tuple(lamps), text.active_low, text.span)
        if row.title in rows:
            _twice(f"row of lamps `{row.title}`", text.title.span, rows[row.title].span, lowering)
        else:
            rows[row.title] = row
    return tuple(rows.values())


def probe_sets(texts: Sequence[tree.Probes], fields: Mapping[str, model.Field], clock: model.Clock | None,
               lowering: Lowering) -> dict[str, model.ProbeSet]:
    """The sets; a channel is clipped to one line."""
    sets: dict[str, model.ProbeSet] = {}
    for text in texts:
        used: dict[str, Span] = {}
        probes: list[model.Probe] = []
        for clock_clip in text.clocks:
            if len(clock_clip.channels.names) > 1:
                lowering.findings.append(error(
                    "width-mismatch", f"the clock is one line, and {len(clock_clip.channels.names)} channels are named",
                    clock_clip.channels.span, "one channel", help="name the channel whose edges count"))
            _use(clock_clip.channels, used, lowering)
        for second in text.clocks[1:]:
            lowering.findings.append(error(
                "said-twice", "`clock` is said twice", second.channels.span, "the second time",
                places=(Place(text.clocks[0].channels.span, "the first time"),), help="keep one of them"))
        for clip in text.clips:
            _use(clip.channels, used, lowering)
            lines = _lines(clip.line, fields, clock, lowering)
            if lines is not None and len(lines) != len(clip.channels.names):
                count = len(clip.channels.names)
                lowering.findings.append(error(
                    "width-mismatch", f"`{short(clip.line.span)}` has {bits(len(lines))}, and {count} "
                    f"{'channel is' if count == 1 else 'channels are'} named", clip.channels.span,
                    "one channel for each bit, the highest first",
                    help="name as many channels, as in `D[7:0] data`, or fewer bits, as in `D0 data[0]`"))
            probes += map(model.Probe, clip.channels.names, lines or ())
        first = text.clocks[0] if text.clocks else None
        made = model.ProbeSet(text.name.text, text.title.text if text.title else "", tuple(probes),
                              first.channels.names[0] if first else "", first.edge if first else "", text.span)
        if made.name in sets:
            _twice(f"set of probes `{made.name}`", text.name.span, sets[made.name].span, lowering)
        else:
            sets[made.name] = made
    return sets


def _twice(what: str, second: Span, first: Span, lowering: Lowering) -> None:
    lowering.findings.append(error("defined-twice", f"there are two of the {what}", second, "the second",
                                   places=(Place(first, "the first"),), help="give one of them another name"))


def _use(channels: tree.Channels, used: dict[str, Span], lowering: Lowering) -> None:
    for channel in channels.names:
        first = used.setdefault(channel, channels.span)
        if first is not channels.span or channels.names.count(channel) > 1:
            lowering.findings.append(error(
                "channel-twice", f"channel `{channel}` is clipped to two lines", channels.span, "the second",
                places=() if first is channels.span else (Place(first, "the first"),),
                help="a channel sees one line: correct one of the two"))
            return


def _lines(expr: tree.Expr, fields: Mapping[str, model.Field], clock: model.Clock | None,
           lowering: Lowering) -> list[model.BoardLine] | None:
    """The lines that an expression names, the highest bit first; None where it names none, which is reported."""
    inverted = isinstance(expr, tree.Not)
    bare = expr.operand if isinstance(expr, tree.Not) else expr
    named = bare.operand if isinstance(bare, tree.Slice) else bare
    assert isinstance(named, tree.Word)
    node = hardware(lowering.node(bare), bare.span, lowering) if _is_there(named, clock, lowering) else None
    if node is None:
        return None
    stored = not inverted if named.text in fields and fields[named.text].active_low else inverted
    whole = isinstance(bare, tree.Word) and node.width == 1
    low = bare.low if isinstance(bare, tree.Slice) else 0
    found = []
    for bit in reversed(range(node.width)):
        level = lowering.terms.slice(node, bit, bit)
        name = named.text if whole else f"{named.text}[{low + bit}]"
        found.append(model.BoardLine(f"not {name}" if inverted else name,
                                     lowering.terms.not_(level) if stored else level))
    return found


def _is_there(named: tree.Word, clock: model.Clock | None, lowering: Lowering) -> bool:
    """Whether what is named is on the board: a number is not, and neither is a phase that nothing depends on."""
    entry = lowering.scope.find(named.text)
    kind = entry.kind if entry is not None else "signal"
    if kind in ("clock", "phase") and (clock is None or clock.steps == 1):
        lowering.findings.append(error(
            "wrong-kind", f"`{named.text}` is {ARTICLE[kind]}, and nothing in this file depends on which phase it is",
            named.span, "a cycle is looked at as a whole", help="leave it out; probes name the clock itself with "
            "`clock CHANNEL`"))
        return False
    if kind == "constant":
        lowering.findings.append(error(
            "wrong-kind", f"`{named.text}` is always the same, and no line of the board", named.span, "a number",
            help="name a state, a field, a bus, an input or a signal"))
        return False
    return True
