"""Statements about data: memories, and what a programmer can see."""

from functools import cache
from typing import Any

import pyparsing as pp

from ordain.language import tree
from ordain.language.grammar import (
    counted,
    dotted,
    either,
    expression,
    kw,
    line,
    listed,
    name,
    number,
    one_of,
    option,
    quoted,
    value,
    width,
)
from ordain.language.statements import Form, Parsed, no_block, read_items, value_of

# ---------------------------------------------------------------- memory


@cache
def _memory() -> pp.ParserElement:
    words = number("the number of words") - counted("word")
    return line(kw("memory") - name("a name for the memory") - words - kw("of") - width())


@cache
def _address() -> pp.ParserElement:
    return line(kw("address") - value())


@cache
def _writes() -> pp.ParserElement:
    return line(kw("writes") - expression() - kw("when") - expression())


@cache
def _holds() -> pp.ParserElement:
    file = quoted("a file name in quotes") + pp.Opt(kw("at") - option("at", number("the address of its first word")))
    return line(kw("holds") - either("`zeros` or a file name in quotes", one_of({"zeros": "zeros"}, "`zeros`"), file))


def _build_address(parsed: Parsed) -> Any:
    return value_of(parsed, parsed.parts[0])


def _build_write(parsed: Parsed) -> tree.Write:
    no_block(parsed)
    return tree.Write(parsed.parts[0], parsed.parts[1], parsed.span)


def _build_holds(parsed: Parsed) -> tuple[tree.Text | str, tree.Number | None]:
    no_block(parsed)
    return parsed.parts[0], parsed.first("at")


MEMORY_ITEMS = {
    "address": Form("address VALUE", _address, _build_address),
    "writes": Form("writes VALUE when CONDITION", _writes, _build_write),
    "holds": Form('holds zeros\nholds "FILE" [at ADDRESS]', _holds, _build_holds),
}


def _build_memory(parsed: Parsed) -> tree.Memory:
    words_of, words, bits = parsed.parts
    items = read_items(parsed, MEMORY_ITEMS, "a memory", ("writes",))
    said = {item.keyword: item.node for item in items}
    holds, offset = said.get("holds", (None, None))
    return tree.Memory(words_of, words, bits, said.get("address"),
                       tuple(item.node for item in items if item.keyword == "writes"), holds, offset, parsed.span)


# ---------------------------------------------------------------- what a programmer can see


@cache
def _visible() -> pp.ParserElement:
    return line(kw("visible") - listed(dotted("the name of a register, state or memory")))


def _build_visible(parsed: Parsed) -> tree.Visible:
    no_block(parsed)
    return tree.Visible(tuple(parsed.parts), parsed.span)


FORMS = {
    "memory": Form("memory NAME N words of N bits", _memory, _build_memory),
    "visible": Form("visible NAME, NAME", _visible, _build_visible),
}
