"""What one sees of a machine at the bench: rows of lamps, and which channel of an analyzer is clipped to what."""

import re
from functools import cache
from typing import Any

import pyparsing as pp

from ordain.language import tree
from ordain.language.grammar import (
    either,
    expression,
    kw,
    leaf,
    line,
    listed,
    name,
    one_of,
    option,
    options,
    quoted,
)
from ordain.language.statements import Form, Parsed, no_block, read_items, read_lines
from ordain.language.wires import PIN, numbered
from ordain.language.words import Misread
from ordain.text.findings import error
from ordain.text.lines import Placed

_CHANNELS = rf'"[^"]*"|\{{[^{{}}]*\}}|{PIN}\[ *[0-9]+ *(?:: *[0-9]+ *)?\]|{PIN}'
_ONE = re.compile(rf'"[^"]+"|{PIN}')

# ---------------------------------------------------------------- lamps


@cache
def _lamps() -> pp.ParserElement:
    low = option("active low", one_of({"active low": True}, "`active low`"))
    return line(kw("lamps") - quoted("a name for the row in quotes, as on the panel") + options("`active low`", low))


@cache
def _shows() -> pp.ParserElement:
    return line(kw("shows") - listed(expression()))


def _build_shows(parsed: Parsed) -> list[tree.Expr]:
    no_block(parsed)
    return [node for node in parsed.parts if _is_a_line(node, parsed)]


LAMP_ITEMS = {"shows": Form("shows NAME, NAME[HIGH:LOW], not NAME, blank", _shows, _build_shows)}


def _build_lamps(parsed: Parsed) -> Any:
    items = read_items(parsed, LAMP_ITEMS, "a row of lamps", ("shows",))
    if not parsed.block:
        parsed.fault(error("syntax", "a row without lamps", parsed.span, "no lines under it",
                           help="say what its lamps show under it, from left to right: `shows upc, blank, read`"))
    return tree.Lamps(parsed.parts[0], parsed.has("active low"), tuple(one for item in items for one in item.node),
                      parsed.span)


def _is_a_line(node: tree.Expr, parsed: Parsed) -> bool:
    """Whether it is a name, or bits of one, inverted or not: something that a clip or a lamp can be at."""
    named = node.operand if isinstance(node, tree.Not) else node
    named = named.operand if isinstance(named, tree.Slice) else named
    if not isinstance(named, tree.Word):
        parsed.fault(error("syntax", "a lamp or a clip is at a line, which has a name or is a bit of what has one",
                           node.span, "computed, and no line of the board",
                           help="give it a name with `signal`, and write that"))
    return isinstance(named, tree.Word)


# ---------------------------------------------------------------- probes


@cache
def _probes() -> pp.ParserElement:
    return line(kw("probes") - name("a name for this set of clips") + pp.Opt(quoted("what it is, in quotes")))


@cache
def _clips() -> pp.ParserElement:
    edge = one_of({"rising": "rising", "falling": "falling"}, "`rising` or `falling`")
    clock = option("clock", kw("clock") - _channels() + pp.Opt(edge))
    return line(either("a channel and what it is clipped to", clock, listed(pp.Group(_channels() - expression()))))


def _channels() -> pp.ParserElement:
    return leaf(_CHANNELS, _names, "a channel such as `D0`, or several: `D[9:0]`, `{D3, D5}`, `\"CH 7\"`")


def _names(text: Placed, at: int, token: str) -> list[tree.Channels]:
    end = at + len(token)
    parts = [part.strip() for part in token[1:-1].split(",")] if token[0] == "{" else [token]
    names: list[str] = []
    for part in parts:
        if "[" in part and token[0] not in '{"':
            names += numbered(part, at, end)
        elif not _ONE.fullmatch(part):
            raise Misread("syntax", f"`{part}` is no name of a channel", at, end, "channels of an analyzer",
                          "write `D[9:0]`, `{D3, D5}` or, where it has blanks or signs in it, `\"CH 7\"`")
        else:
            names.append(part[1:-1].strip() if part[0] == '"' else part)
    return [tree.Channels(tuple(names), text.span(at, end))]


def _build_probes(parsed: Parsed) -> tree.Probes:
    rows = read_lines(parsed, _clips(), "CHANNEL LINE, CHANNEL[HIGH:LOW] LINE\nclock CHANNEL [rising|falling]",
                      _build_clips)
    if not parsed.block:
        parsed.fault(error("syntax", "a set of clips without clips", parsed.span, "no lines under it",
                           help="indent its channels under it: `D[9:0] upc, D10 read`"))
    every = [one for row in rows for one in row]
    return tree.Probes(parsed.parts[0], parsed.parts[1] if len(parsed.parts) > 1 else None,
                       tuple(one for one in every if isinstance(one, tree.ClockClip)),
                       tuple(one for one in every if isinstance(one, tree.Clip)), parsed.span)


def _build_clips(parsed: Parsed) -> list[tree.ClockClip | tree.Clip]:
    no_block(parsed)
    clocks = parsed.every("clock")
    if clocks:
        parts = clocks[0].parts
        return [tree.ClockClip(parts[0], parts[1] if len(parts) > 1 else "")]
    return [tree.Clip(channels, node) for channels, node in parsed.parts if _is_a_line(node, parsed)]


FORMS = {
    "lamps": Form('lamps "NAME" [, active low]', _lamps, _build_lamps),
    "probes": Form('probes NAME ["TITLE"]', _probes, _build_probes),
}
