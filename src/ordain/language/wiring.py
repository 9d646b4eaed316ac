"""Statements about buses: who drives and samples them, what a strobe needs of them, and who else is on them."""

from functools import cache

import pyparsing as pp

from ordain.language import behaviour, tree
from ordain.language.grammar import (
    dotted,
    either,
    expression,
    kw,
    line,
    mark,
    name,
    number,
    one_of,
    option,
    options,
    quoted,
    refused,
    width,
)
from ordain.language.statements import Form, Parsed, no_block, read_items, read_lines
from ordain.language.timing import length, on, unit
from ordain.text.findings import error

# ---------------------------------------------------------------- bus

UNDRIVEN = {
    "floats": "floats",
    "pulled high": "pulled-high",
    "pulled low": "pulled-low",
    "kept": "kept",
    "wired and": "wired-and",
    "wired or": "wired-or",
    "multiplexed": "multiplexed",
}
_KINDS = "`floats`, `pulled high`, `pulled low`, `kept`, `wired and`, `wired or` or `multiplexed`"


@cache
def _bus() -> pp.ParserElement:
    cycles = pp.Opt(unit())
    return line(kw("bus") - name("a name for the bus") - width()
                + options(f"{_KINDS}, or `turnaround N`", option("undriven", one_of(UNDRIVEN, _KINDS)),
                          option("turnaround", kw("turnaround") - number("a number of cycles") + cycles)))


@cache
def _driven() -> pp.ParserElement:
    return line(kw("driven") - kw("by") - dotted("the name of the driver")
                + pp.Opt(option("value", mark("=") - expression())) + _when()
                + options("`follows BUS` or `steady while CONDITION`",
                          option("follows", kw("follows") - dotted("the name of a bus")),
                          option("steady", kw("steady while") - expression())))


def _when() -> pp.ParserElement:
    return pp.Opt(option("when", kw("when") - expression()))


@cache
def _sampled() -> pp.ParserElement:
    return line(kw("sampled") - kw("by") - dotted("who samples the bus") + _when())


def _build_driver(parsed: Parsed) -> tree.Driver:
    no_block(parsed)
    return tree.Driver(parsed.parts[0], parsed.first("when"), parsed.first("follows"), parsed.first("steady"),
                       parsed.span, parsed.first("value"))


def _build_sampler(parsed: Parsed) -> tree.Sampler:
    no_block(parsed)
    return tree.Sampler(parsed.parts[0], parsed.first("when"), parsed.span)


BUS_ITEMS = {
    "driven": Form("driven by NAME [= VALUE] [when CONDITION] [, follows BUS] [, steady while CONDITION]", _driven,
                   _build_driver),
    "sampled": Form("sampled by NAME [when CONDITION]", _sampled, _build_sampler),
}


def _build_bus(parsed: Parsed) -> tree.Bus:
    items = read_items(parsed, BUS_ITEMS, "a bus", ("driven", "sampled"))
    if not parsed.has("undriven"):
        parsed.fault(error("syntax", "a bus that does not say what happens when nobody drives it",
                                     parsed.span, "undriven?", help=f"add, after a comma, one of {_KINDS}"))
    turnaround = parsed.first("turnaround")
    said = parsed.every("turnaround")[:1]
    return tree.Bus(parsed.parts[0], parsed.parts[1], parsed.first("undriven", "floats"),
                    turnaround.value if turnaround else 0,
                    tuple(item.node for item in items if item.keyword == "driven"),
                    tuple(item.node for item in items if item.keyword == "sampled"), parsed.span,
                    any(True in option.parts for option in said))


# ---------------------------------------------------------------- strobe


@cache
def _strobe() -> pp.ParserElement:
    computed = refused(r"(?:is|in|and|or|xor|not)(?!\w)|[-+<>\[]", "a strobe is called by the name of a signal",
                       "computed here", "name it first: `signal pulse = ...`, and `strobe pulse`")
    return line(kw("strobe") - dotted("the name of a signal") + computed + pp.Opt(on()))


@cache
def _steady() -> pp.ParserElement:
    span = length() - either("`before` or `after`", option("before", kw("before")), option("after", kw("after")))
    return line(dotted("the name of a bus") - kw("steady") - span + pp.ZeroOrMore(mark(",") - span))


_STEADY_USAGE = "BUS steady N cycles|phases before, N cycles|phases after"


def _build_steady(parsed: Parsed) -> tree.SteadyNeed:
    no_block(parsed)
    cycles = {"before": 0, "after": 0}
    parts = list(parsed.parts[1:])
    for count, side in zip(parts[::3], parts[2::3]):
        cycles[side.tag] = count.value
    for tag in cycles:
        parsed.first(tag)
    in_phases = frozenset(side.tag for phases, side in zip(parts[1::3], parts[2::3]) if phases)
    return tree.SteadyNeed(parsed.parts[0], cycles["before"], cycles["after"], parsed.span, in_phases)


def _build_strobe(parsed: Parsed) -> tree.Strobe:
    needs = read_lines(parsed, _steady(), _STEADY_USAGE, _build_steady)
    return tree.Strobe(parsed.parts[0], tuple(needs), parsed.span, parsed.first("on"))


# ---------------------------------------------------------------- agent


@cache
def _agent() -> pp.ParserElement:
    return line(kw("agent") - name("a name for the agent") + pp.Opt(quoted()) + options("`on PHASE`", on()))


AGENT_ITEMS = {keyword: behaviour.FORMS[keyword] for keyword in ("input", "state", "signal", "assume")}


def _build_agent(parsed: Parsed) -> tree.Agent:
    items = read_items(parsed, AGENT_ITEMS, "an agent", AGENT_ITEMS)
    inputs = tuple(item.node for item in items if item.keyword == "input")
    states = tuple(item.node for item in items if item.keyword == "state")
    signals = tuple(item.node for item in items if item.keyword == "signal")
    assumes = tuple(item.node for item in items if item.keyword == "assume")
    title = next((part for part in parsed.parts if isinstance(part, tree.Text)), None)
    return tree.Agent(parsed.parts[0], title, inputs, states, signals, assumes, parsed.span, parsed.first("on"))


FORMS = {
    "bus": Form("bus NAME N bits, floats|pulled high|pulled low|kept|wired and|wired or|multiplexed [, turnaround N]",
                _bus, _build_bus),
    "strobe": Form("strobe SIGNAL [on PHASE]", _strobe, _build_strobe),
    "agent": Form('agent NAME ["title"] [, on PHASE]', _agent, _build_agent),
}
