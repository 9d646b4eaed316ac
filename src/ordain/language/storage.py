"""Statements about what is stored: control stores, the fields of their words, and the chips that hold them."""

from functools import cache
from typing import Any, Literal, NoReturn

import pyparsing as pp

from ordain.language import tree
from ordain.language.clauses import parse_clauses
from ordain.language.grammar import (
    bit_range,
    counted,
    either,
    expression,
    fixed,
    kw,
    leaf,
    line,
    listed,
    mark,
    name,
    number,
    one_of,
    option,
    options,
    value,
    width,
)
from ordain.language.statements import Form, Parsed, no_block, read_items, read_lines, value_of
from ordain.language.words import NUMBER, Misread
from ordain.text.findings import error
from ordain.text.lines import Placed

# ---------------------------------------------------------------- store


@cache
def _store() -> pp.ParserElement:
    words = number("the number of words") - counted("word")
    return line(kw("store") - name("a name for the store") - words - kw("of") - width())


@cache
def _address() -> pp.ParserElement:
    return line(kw("address") - value())


@cache
def _starts() -> pp.ParserElement:
    return line(kw("starts") - kw("at") - value())


@cache
def _unused() -> pp.ParserElement:
    return line(kw("unused") - leaf(r"[^ ].*", _rest, "the orders of an unused word"))


def _rest(text: Placed, at: int, token: str) -> list[Placed]:
    return [Placed(token, text.source, text.start + at)]


@cache
def _word() -> pp.ParserElement:
    start = leaf(r"start +of +instruction(?!\w)", _start_of_instruction, "`start of instruction`")
    among = leaf(r"\S.*(?<!\w)start +of +instruction(?!\w)", _among_others, "VALUE")
    return line(kw("word") - (start | among | value()))


def _among_others(text: Placed, at: int, token: str) -> NoReturn:
    begin = at + token.rindex("start")
    raise Misread("syntax", "`start of instruction` is the whole word of a store", begin, at + len(token),
                  "stands alone",
                  "give the store as many bits as say where an instruction starts, and join the others where the "
                  "address is made: `next {NAME_OF_THE_STORE, 0b00}`; pins left over are `spare`")


def _start_of_instruction(text: Placed, at: int, token: str) -> list[tree.StartOfInstruction]:
    return [tree.StartOfInstruction(text.span(at, at + len(token)))]


def _role(keyword: str) -> Form:
    grammar = cache(lambda: line(kw(keyword) - expression()))
    return Form(f"{keyword} PART_OF_THE_ADDRESS", grammar, _plain)


def _build_step(parsed: Parsed) -> tuple[tree.Expr, tuple[tree.Number, ...]]:
    """What steps, and the numbers that it goes through, where they are said."""
    no_block(parsed)
    said = parsed.parts[0]
    if not isinstance(said, tree.Among):
        return said, ()
    numbers = tuple([one for one in said.choices if isinstance(one, tree.Number)])
    if said.negated or len(numbers) < len(said.choices):
        parsed.fault(error("syntax", "the steps of a store are numbers", said.span, "not a list of numbers",
                           help="write them in the order in which they come: `step ring in (0b001, 0b011, 0b111)`"))
        return said.operand, ()
    return said.operand, numbers


def _plain(parsed: Parsed) -> Any:
    """A line with one part and no block."""
    no_block(parsed)
    return parsed.parts[0]


def _valued(parsed: Parsed) -> Any:
    return value_of(parsed, parsed.parts[0])


def _clauses(parsed: Parsed) -> Any:
    no_block(parsed)
    clauses, findings = parse_clauses(parsed.parts[0])
    parsed.findings.extend(findings)
    return clauses


STORE_ITEMS = {
    "address": Form("address VALUE", _address, _valued),
    "unused": Form("unused ORDER, ORDER", _unused, _clauses),
    "word": Form("word VALUE\nword start of instruction", _word, _valued),
    "starts": Form("starts at VALUE", _starts, _valued),
    "instruction": _role("instruction"),
    "step": Form("step PART_OF_THE_ADDRESS\nstep PART_OF_THE_ADDRESS in (NUMBER, NUMBER)",
                 cache(lambda: line(kw("step") - expression())), _build_step),
}


def _build_store(parsed: Parsed) -> tree.Store:
    name, words, bits = parsed.parts
    said = {item.keyword: item.node for item in read_items(parsed, STORE_ITEMS, "a store")}
    step, steps = said.get("step", (None, ()))
    return tree.Store(name, words, bits, said.get("address"), said.get("unused"), said.get("instruction"),
                      step, steps, said.get("word"), said.get("starts"), parsed.span)


# ---------------------------------------------------------------- field


@cache
def _field() -> pp.ParserElement:
    kind = (option("address", kw("address") + pp.Opt(bit_range())) | option("number", kw("number")))
    idle = kw("idle") - either("a number, the name of a code, `any` or `following`",
                               one_of({"any": "any", "following": "following"}, "`any` or `following`"), number(),
                               name())
    return line(
        kw("field") - name("a name for the field") - width() + pp.Opt(kind)
        + options("`address`, `number`, `active low`, `idle ...` or `at [high:low]`",
                  kind, option("active low", kw("active low")), option("idle", idle),
                  option("at", kw("at") - bit_range()))
        + pp.Opt(option("=", mark("=") - expression())))


@cache
def _code() -> pp.ParserElement:
    return line(name("the name of a code") - number("the number of the code") + pp.Opt(option("idle", kw("idle"))))


def _build_code(parsed: Parsed) -> tree.Code:
    no_block(parsed)
    return tree.Code(parsed.parts[0], parsed.parts[1], parsed.has("idle"), parsed.span)


def _build_field(parsed: Parsed) -> tree.Field:
    name, bits = parsed.parts[0], parsed.parts[1]
    codes = tuple(read_lines(parsed, _code(), "NAME CODE\nNAME CODE idle", _build_code))
    holds: Literal["code", "number", "address"] = "code" if codes or bits.value <= 1 else "number"
    if parsed.has("number"):
        holds = "number"
    if parsed.has("address"):
        holds = "address"
    return tree.Field(name, bits, holds, parsed.first("address"), parsed.has("active low"),
                      parsed.first("idle"), parsed.first("at"), parsed.first("="), codes, parsed.span)


@cache
def _spare() -> pp.ParserElement:
    return line(kw("spare") - width() + pp.Opt(mark(",")) + pp.Opt(option("ones", kw("ones")) | kw("zeros")))


def _build_spare(parsed: Parsed) -> tree.Spare:
    no_block(parsed)
    return tree.Spare(parsed.parts[0], parsed.has("ones"), parsed.span)


# ---------------------------------------------------------------- chip


@cache
def _chip() -> pp.ParserElement:
    words = number("a size such as `2048 x 8`", rf"(?!0[xX])[0-9][0-9_]*(?=x[0-9])|{NUMBER}")
    by = fixed(r"x(?=[ 0-9])", "`x` and the number of data pins")
    return line(kw("chip") - name("a name for the chip") - words - by - number("the number of data pins"))


def _pins(keyword: str) -> Form:
    grammar = cache(lambda: line(kw(keyword) - listed(expression())))
    return Form(f"{keyword} HIGHEST_PIN, ..., LOWEST_PIN", grammar, _build_pins)


def _build_pins(parsed: Parsed) -> tuple[tree.Expr, ...]:
    no_block(parsed)
    return tuple(parsed.parts)


@cache
def _erased() -> pp.ParserElement:
    return line(kw("erased") - one_of({"ones": True, "zeros": False}, "`ones` or `zeros`"))


@cache
def _technology() -> pp.ParserElement:
    pattern = rf"(?:uv|once|eeprom|flash +sector +{NUMBER})(?!\w)"
    return line(kw("technology") - leaf(pattern, _spaced_word, "`uv`, `once`, `eeprom` or `flash sector N`"))


def _spaced_word(text: Placed, at: int, token: str) -> list[tree.Word]:
    return [tree.Word(" ".join(token.split()), text.span(at, at + len(token)))]


CHIP_ITEMS = {
    "holds": _pins("holds"),
    "repeats": _pins("repeats"),
    "address": Form("address {HIGHEST_PIN, ..., LOWEST_PIN}", _address, _valued),
    "erased": Form("erased ones|zeros", _erased, _plain),
    "technology": Form("technology uv|once|eeprom|flash sector N", _technology, _plain),
}


def _build_chip(parsed: Parsed) -> tree.Chip:
    banks: list[tree.Bank] = []
    erased, technology = True, None
    for item in read_items(parsed, CHIP_ITEMS, "a chip", ("holds", "repeats", "address")):
        if item.keyword in ("holds", "repeats"):
            banks.append(tree.Bank(item.node, None, item.keyword == "repeats", item.text.whole()))
        elif item.keyword == "address":
            if not banks or banks[-1].address is not None:
                parsed.fault(error(
                    "said-twice" if banks else "syntax",
                    "a second `address` for the same `holds`" if banks else "`address` before what the chip holds",
                    item.text.whole(), "belongs to no `holds`",
                    help="write each `holds` or `repeats` line and then the `address` line that goes with it"))
            else:
                banks[-1] = banks[-1]._replace(address=item.node)
        elif item.keyword == "erased":
            erased = item.node
        else:
            technology = item.node
    name, words, bits = parsed.parts
    return tree.Chip(name, words, bits, tuple(banks), erased, technology, parsed.span)


FORMS = {
    "store": Form("store NAME N words of N bits", _store, _build_store),
    "field": Form("field NAME N bits [address|number] [, active low] [, idle CODE] [, at [HIGH:LOW]] [= VALUE]",
                  _field, _build_field),
    "spare": Form("spare N bits [ones]", _spare, _build_spare),
    "chip": Form("chip NAME WORDS x BITS", _chip, _build_chip),
}
