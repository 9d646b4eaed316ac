"""Statements of the builder's own: rules that must hold, faults that are allowed, orders that name what fields do."""

from functools import cache
from typing import Any

import pyparsing as pp

from ordain.language import tree
from ordain.language.grammar import (
    dotted,
    either,
    expression,
    fixed,
    hole,
    kw,
    leaf,
    line,
    listed,
    mark,
    name,
    number,
    option,
    quoted,
    word,
)
from ordain.language.statements import Form, Parsed, no_block
from ordain.language.timing import length
from ordain.language.words import NAME
from ordain.text.lines import Placed

# ---------------------------------------------------------------- rules


@cache
def _rule() -> pp.ParserElement:
    unless = pp.Opt(kw("unless") - expression())
    after = pp.Opt(kw("after") - expression())
    split = kw("and").set_name("`and` (a first condition with `or` needs brackets)")
    forms = [
        option("never", kw("never") - expression()),
        option("reach", kw("reach") - expression()),
        option("always", kw("always reach") - expression()),
        option("when", kw("when") - expression() - kw("then") - expression() - kw("within") - length() + unless),
        option("between", kw("between") - expression(until_and=True) - split - expression() - kw("never")
              - expression() + after),
        option("after", kw("after") - expression() - kw("never") - expression() - kw("until") - expression()),
    ]
    kinds = "`never`, `reach`, `always reach`, `when`, `between` or `after`"
    return line(kw("rule") - quoted("the rule's own words in quotes") - either(kinds, *forms))


def _rule_form(tag: str, parts: tuple[Any, ...]) -> tree.RuleForm:
    match tag:
        case "never":
            return tree.Never(parts[0])
        case "reach" | "always":
            return tree.Reach(parts[0], tag == "always")
        case "when":
            return tree.WhenThen(parts[0], parts[1], parts[2].value, parts[4] if len(parts) > 4 else None, parts[3])
        case "between":
            return tree.BetweenNever(parts[0], parts[1], parts[2], parts[3] if len(parts) > 3 else None)
        case _:
            return tree.AfterNever(parts[0], parts[1], parts[2])


def _build_rule(parsed: Parsed) -> tree.Rule:
    no_block(parsed)
    text, said = parsed.parts
    return tree.Rule(text, _rule_form(said.tag, said.parts), parsed.span)


# ---------------------------------------------------------------- allowances


@cache
def _allow() -> pp.ParserElement:
    check = word(r"[a-z]+(?:-[a-z]+)*(?![\w-])", "the name of a check")
    place = either("a label", dotted(), quoted().add_parse_action(_title_as_word))
    return line(kw("allow") - check + pp.Opt(option("on", kw("on") - dotted("the name of a bus or signal")))
                + pp.Opt(option("at", kw("at") - place)) - quoted("the reason in quotes"))


def _title_as_word(found: pp.ParseResults) -> list[tree.Word]:
    return [tree.Word(found[0].text, found[0].span)]


def _build_allow(parsed: Parsed) -> tree.Allow:
    no_block(parsed)
    return tree.Allow(parsed.parts[0], parsed.first("on"), parsed.first("at"), parsed.parts[-1], parsed.span)


# ---------------------------------------------------------------- orders


@cache
def _order() -> pp.ParserElement:
    phrase = pp.OneOrMore(either("a word of the order, or a hole such as `<there>`", name(), hole()))
    setting = option("setting", dotted("a field and its code") + pp.Opt(_held()))
    return line(kw("order") - option("phrase", phrase) - mark(":")
                + pp.Opt(listed(setting)))


def _held() -> pp.ParserElement:
    """What a setting puts into its field."""
    label = hole() | number() | dotted()
    cut = leaf(rf"< *{NAME} *>\[ *\d{{1,3}} *(?:: *\d{{1,3}} *)?\]", _cut, "bits of a hole, `<n>[7:4]`")
    group = one_call("pair", label) | one_call("table", label)
    following = leaf(r"following(?!\w)", _following, "`following`")
    one = group | following | label
    return one_call("page", one) | one_call("part", one) | cut | one


def _cut(text: Placed, at: int, token: str) -> list[tree.Cut]:
    name, bits = token[1:-1].split(">")
    high, _, low = bits.strip("[ ").partition(":")
    hole = tree.Hole(name.strip(" "), text.span(at, at + len(name) + 2))
    return [tree.Cut(hole, int(high), int(low or high), text.span(at, at + len(token)))]


def one_call(word: Any, argument: pp.ParserElement) -> pp.ParserElement:
    """`pair(a, b)`, `table(...)`, `page(...)`, `part(...)` as an `Address`."""

    single = word in ("page", "part")

    def address(text: Any, at: int, found: pp.ParseResults) -> list[tree.Address]:
        span = text.span(at, _closing(text, at))
        inner = found[0]
        if single and isinstance(inner, tree.Address):
            return [inner._replace(rest=word, span=span)]
        if single:
            return [tree.Address("label", tuple(found), word, span)]
        return [tree.Address(word, tuple(found), "zeros", span)]

    arguments = argument if single else listed(argument)
    opening = fixed(rf"{word} *\(", f"`{word}(`")
    return (opening - arguments - mark(")")).set_parse_action(address)


def _closing(text: str, at: int) -> int:
    """The offset after the bracket that closes the first one after `at`."""
    depth = 0
    for index in range(at, len(text)):
        depth += (text[index] == "(") - (text[index] == ")")
        if text[index] == ")" and not depth:
            return index + 1
    return len(text)


def _following(text: Placed, at: int, token: str) -> list[tree.Address]:
    return [tree.Address("following", (), "zeros", text.span(at, at + len(token)))]


def _build_order(parsed: Parsed) -> tree.Order:
    no_block(parsed)
    settings = []
    for part in parsed.every("setting"):
        field, *held = part.parts
        end = held[0].span.end if held else field.span.end
        settings.append(tree.Setting(field, held[0] if held else None, field.span._replace(end=end)))
    return tree.Order(parsed.every("phrase")[0].parts, tuple(settings), parsed.span)


FORMS = {
    "rule": Form('rule "WORDS" never P\nrule "WORDS" [always] reach P\n'
                 'rule "WORDS" when P then Q within N cycles [unless R]\n'
                 'rule "WORDS" between P and Q never R [after S]\nrule "WORDS" after P never Q until R',
                 _rule, _build_rule),
    "allow": Form('allow CHECK [on NAME] [at LABEL] "REASON"', _allow, _build_allow),
    "order": Form("order WORDS : FIELD CODE, FIELD <HOLE>, FLAG", _order, _build_order),
}
