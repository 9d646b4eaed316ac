"""Statements about what happens in a cycle: inputs, states, registers, conditions, signals, promises."""

from functools import cache
from typing import Any

import pyparsing as pp

from ordain.language import tree
from ordain.language.grammar import (
    dotted,
    either,
    expression,
    kw,
    line,
    listed,
    mark,
    name,
    number,
    one_of,
    option,
    options,
    refused,
    value,
    width,
)
from ordain.language.statements import Form, Parsed, no_block, read_items, value_of
from ordain.language.timing import on
from ordain.text.findings import error

# ---------------------------------------------------------------- inputs and states


_SHAPE = "a width such as `8 bits`, or names of codes in brackets"


def _codes() -> pp.ParserElement:
    """`(idle, busy)`"""
    return option("codes", mark("(") + listed(name("the name of a code")) - mark(")"))


@cache
def _input() -> pp.ParserElement:
    one = option("input", name("a name for the input") - either(_SHAPE, _codes(), width()) + pp.Opt(on()))
    return line(kw("input") - listed(one))


def _build_input(parsed: Parsed) -> tree.Inputs:
    no_block(parsed)
    names = []
    for declared in parsed.every("input"):
        word, shape, *said = declared.parts
        moves = said[0].parts[0] if said else None
        if isinstance(shape, tree.Number):
            names.append(tree.Declared(word, shape.value, (), word.span, moves))
        else:
            names.append(tree.Declared(word, max(1, (len(shape.parts) - 1).bit_length()), shape.parts, word.span,
                                       moves))
    return tree.Inputs(tuple(names), parsed.span)


@cache
def _state() -> pp.ParserElement:
    reset = either("a value, or `any`", one_of({"any": "any"}, "`any`"), number(), dotted())
    shape = either(_SHAPE, _codes(), option("width", width()))
    return line(kw("state") - name("a name for the state") - shape
                + options("`reset VALUE`, `reset any` or `on PHASE`", option("reset", kw("reset") - reset), on()))


@cache
def _next() -> pp.ParserElement:
    return line(kw("next") - value())


def _valued(parsed: Parsed) -> Any:
    return value_of(parsed, parsed.parts[0])


STATE_ITEMS = {"next": Form("next VALUE", _next, _valued)}


def _build_state(parsed: Parsed) -> tree.State:
    items = read_items(parsed, STATE_ITEMS, "a state")
    codes = parsed.every("codes")
    reset = parsed.first("reset")
    if reset is None and not parsed.has("reset"):
        parsed.fault(error("syntax", "a state without `reset`", parsed.span, "what value at power-up?",
                                     help="write `, reset 0`, or `, reset any` where the hardware does not reset it"))
    return tree.State(parsed.parts[0], parsed.first("width"), codes[0].parts if codes else (),
                      None if reset == "any" else reset, items[0].node if items else None, parsed.span,
                      parsed.first("on"))


# ---------------------------------------------------------------- registers


def _load() -> pp.ParserElement:
    loads = option("loads", kw("loads") - expression() - kw("when") - expression())
    changes = option("changes", kw("changes when") - expression())
    return loads | changes


def _reset() -> pp.ParserElement:
    return option("reset", kw("reset") - either("a value, or `any`", one_of({"any": "any"}, "`any`"), number()))


@cache
def _register() -> pp.ParserElement:
    return line((kw("register") | kw("latch")) - name("a name for the register") - width()
                + options("`loads SOURCE when CONDITION`, `changes when CONDITION`, `reset VALUE` or `on PHASE`",
                          _load(), _reset(), on()))


@cache
def _register_item() -> pp.ParserElement:
    return line(either("`loads`, `changes when` or `reset`", _load(), _reset()))


def _build_register_item(parsed: Parsed) -> Any:
    no_block(parsed)
    return parsed.parts[0]


_ITEM = Form("loads SOURCE when CONDITION\nchanges when CONDITION\nreset VALUE", _register_item,
             _build_register_item)
REGISTER_ITEMS = {"loads": _ITEM, "changes": _ITEM, "reset": _ITEM}


def _build_register(parsed: Parsed) -> tree.Register:
    said = list(parsed.parts[2:])
    said += [item.node for item in read_items(parsed, REGISTER_ITEMS, "a register", ("loads", "changes", "reset"))]
    loads: list[tree.Load] = []
    resets = []
    for part in said:
        if part.tag == "loads":
            source, when = part.parts
            loads.append(tree.Load(source, when, when.span._replace(start=part.span.start, end=when.span.end)))
        elif part.tag == "changes":
            when = part.parts[0]
            loads.append(tree.Load(None, when, when.span._replace(start=part.span.start, end=when.span.end)))
        elif part.tag == "reset":
            resets.append(part)
    if len(resets) > 1:
        parsed.fault(error("said-twice", "`reset` is said twice", resets[1].span, "the second time",
                                     help="keep one of them"))
    reset = resets[0].parts[0] if resets else None
    return tree.Register(parsed.parts[0], parsed.parts[1], tuple(loads), None if reset == "any" else reset,
                         parsed.text.startswith("latch"), parsed.span, parsed.first("on"))


# ---------------------------------------------------------------- names for values


@cache
def _condition() -> pp.ParserElement:
    another = refused(",", "one condition stands on a line", "a second one", "begin a line with `condition` for each")
    return line(kw("condition") - name("a name for the condition") - width() + another + pp.Opt(mark("=") - value()))


def _build_condition(parsed: Parsed) -> tree.Condition:
    word, bits, *rest = parsed.parts
    given = value_of(parsed, rest[0] if rest else None)
    return tree.Condition(word, bits, given, parsed.span)


@cache
def _signal() -> pp.ParserElement:
    return line(kw("signal") - name("a name for the signal") - mark("=") - value())


@cache
def _constant() -> pp.ParserElement:
    return line(kw("constant") - name("a name for the constant") - mark("=") - expression())


def _build_signal(parsed: Parsed) -> tree.Signal:
    return tree.Signal(parsed.parts[0], value_of(parsed, parsed.parts[1]), parsed.span)


def _build_constant(parsed: Parsed) -> tree.Constant:
    no_block(parsed)
    return tree.Constant(parsed.parts[0], parsed.parts[1], parsed.span)


# ---------------------------------------------------------------- promises


@cache
def _assume() -> pp.ParserElement:
    return line(kw("assume") - expression())


@cache
def _home() -> pp.ParserElement:
    return line(kw("home") - expression())


@cache
def _keep() -> pp.ParserElement:
    return line(kw("keep") - listed(dotted("the name of a register or state")) - kw("while")
                - option("while", expression()))


@cache
def _exclusive() -> pp.ParserElement:
    return line(kw("exclusive") - listed(expression()))


def _build_assume(parsed: Parsed) -> tree.Assume:
    no_block(parsed)
    return tree.Assume(parsed.parts[0], parsed.span)


def _build_home(parsed: Parsed) -> tree.Home:
    no_block(parsed)
    return tree.Home(parsed.parts[0], parsed.span)


def _build_keep(parsed: Parsed) -> tree.Keep:
    no_block(parsed)
    return tree.Keep(tuple(part for part in parsed.parts if isinstance(part, tree.Word)), parsed.first("while"),
                     parsed.span)


def _build_exclusive(parsed: Parsed) -> tree.Exclusive:
    no_block(parsed)
    return tree.Exclusive(tuple(parsed.parts), parsed.span)


FORMS = {
    "input": Form("input NAME N bits [on PHASE], NAME (CODE, CODE)", _input, _build_input),
    "state": Form("state NAME N bits, reset VALUE [, on PHASE]\nstate NAME (CODE, CODE), reset CODE", _state,
                  _build_state),
    "register": Form("register NAME N bits, loads SOURCE when CONDITION [, reset VALUE] [, on PHASE]", _register,
                     _build_register),
    "latch": Form("latch NAME N bits, loads SOURCE when CONDITION [, reset VALUE] [, on PHASE]", _register,
                  _build_register),
    "condition": Form("condition NAME N bits [= VALUE]", _condition, _build_condition),
    "signal": Form("signal NAME = VALUE", _signal, _build_signal),
    "constant": Form("constant NAME = VALUE", _constant, _build_constant),
    "assume": Form("assume CONDITION", _assume, _build_assume),
    "home": Form("home LABEL\nhome CONDITION", _home, _build_home),
    "keep": Form("keep NAME, NAME while CONDITION", _keep, _build_keep),
    "exclusive": Form("exclusive SIGNAL, SIGNAL", _exclusive, _build_exclusive),
}
