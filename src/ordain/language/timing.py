"""What time is made of: the clock with its phases, what moves with it, and lengths in cycles or phases."""

from functools import cache
from typing import Any

import pyparsing as pp

from ordain.language import tree
from ordain.language.grammar import either, expression, kw, leaf, line, listed, mark, name, number, option
from ordain.language.statements import Form, Parsed, no_block, read_items
from ordain.text.findings import error
from ordain.text.lines import Placed


def on() -> pp.ParserElement:
    """`on second`, `on clk`, `on oscillator`, `on own clock`"""
    own = leaf(r"own +clock(?!\w)", _spaced, "`own clock`")
    return option("on", kw("on") - either("the name of a phase or of the clock, `oscillator` or `own clock`", own,
                                          name()))


def _spaced(text: Placed, at: int, token: str) -> list[tree.Word]:
    return [tree.Word(" ".join(token.split()), text.span(at, at + len(token)))]


def length() -> pp.ParserElement:
    """`2 cycles` or `1 phase`, as a number and whether phases are meant."""
    return number("a number of cycles") - unit()


def unit() -> pp.ParserElement:
    """`cycles` or `phases`, as whether phases are meant."""
    return leaf(r"(?:cycle|phase)s?(?!\w)", lambda _, __, token: [token.startswith("phase")], "`cycles` or `phases`")


@cache
def _clock() -> pp.ParserElement:
    phases = option("phases", mark("(") + listed(name("the name of a phase")) - mark(")"))
    return line(kw("clock") - name("a name for the clock") + pp.Opt(phases))


@cache
def _moves() -> pp.ParserElement:
    return line(kw("moves") - kw("in") - name("the name of a phase"))


@cache
def _held() -> pp.ParserElement:
    return line(kw("held") - kw("while") - expression())


def _plain(parsed: Parsed) -> Any:
    no_block(parsed)
    return parsed.parts[0]


CLOCK_ITEMS = {"moves": Form("moves in PHASE", _moves, _plain), "held": Form("held while CONDITION", _held, _plain)}


def _build_clock(parsed: Parsed) -> tree.Clock:
    said = {item.keyword: item.node for item in read_items(parsed, CLOCK_ITEMS, "a clock")}
    phases = parsed.every("phases")
    names = phases[0].parts if phases else ()
    if len(names) == 1:
        parsed.fault(error("syntax", "a clock of one phase", names[0].span, "two phases are wanted, or none",
                           help="name two or more, or leave the brackets out"))
    return tree.Clock(parsed.parts[0], names if len(names) > 1 else (), said.get("moves"), said.get("held"),
                      parsed.span)


FORMS = {"clock": Form("clock NAME [(PHASE, PHASE)]", _clock, _build_clock)}
