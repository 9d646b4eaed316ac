"""How a statement of the machine file is read: its keyword names a `Form`, its line is parsed, its block handed on.

The `Form`s themselves are in `storage`, `timing`, `behaviour`, `wiring` and `demands`.
"""

import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any, NamedTuple

import pyparsing as pp

from ordain.language import grammar, tree
from ordain.language.words import CONTINUING, NAME
from ordain.text.findings import Finding, Place, error
from ordain.text.lines import Block, Placed
from ordain.text.source import Span
from ordain.text.spelling import nearest

_NAMES = re.compile(NAME)
_FIRST_WORD = re.compile(r"\w+|\W", re.ASCII)


class Faults(list[Finding]):
    """Findings, and every name on the lines that could not be read: that these are unknown later on is no new fault."""

    def __init__(self) -> None:
        super().__init__()
        self.unread: set[str] = set()

    def cannot_read(self, block: Block) -> None:
        """Remembers the names on a line and on those under it, which go unread too."""
        waiting = [block]
        while waiting:
            lost = waiting.pop()
            self.unread.update(_NAMES.findall(lost.text))
            waiting += lost.children


class Parsed(NamedTuple):
    """A line that has been read: its text, its parts in order, the lines under it, and where findings go.

    `reported`: the line has a finding already, and gets no second one.
    """

    text: Placed
    parts: pp.ParseResults
    block: list[Block]
    findings: Faults
    reported: bool

    @property
    def span(self) -> Span:
        return self.text.whole()

    def fault(self, finding: Finding) -> None:
        """A finding about this line."""
        if not self.reported:
            self.findings.append(finding)

    def every(self, tag: str) -> list[grammar.Option]:
        """The options with that tag, in order."""
        return [part for part in self.parts if isinstance(part, grammar.Option) and part.tag == tag]

    def has(self, tag: str) -> bool:
        return bool(self.every(tag))

    def first(self, tag: str, default: Any = None) -> Any:
        """The first part of the option with that tag, `default` where it is not said; said twice, a finding."""
        found = self.every(tag)
        if len(found) > 1:
            self.fault(error("said-twice", f"`{tag}` is said twice", found[1].span, "the second time",
                                       places=(Place(found[0].span, "the first time"),), help="keep one of them"))
        return found[0].parts[0] if found and found[0].parts else default


class Form(NamedTuple):
    """One kind of statement. `usage`: how it is written, for help. `grammar` makes the grammar of its line, at the
    first use. `build` makes the node; None when there is nothing to make."""

    usage: str
    grammar: Callable[[], pp.ParserElement]
    build: Callable[[Parsed], Any]


BEGIN_A_RULE = frozenset({"never", "always", "reach", "when", "between", "after"})


def read_statement(block: Block, forms: Mapping[str, Form], where: str, findings: Faults) -> tuple[str, Any]:
    """The keyword and the node of a statement; the node is None when it cannot be read.

    An unknown keyword that is almost a known one is reported and then read as the known one, so that nothing which it
    declares is missed later.
    """
    text = block.text
    word = _FIRST_WORD.findall(text)[0]
    if word in forms:
        return word, _read(text, block, forms[word], findings, block.broken)
    near = nearest(word[:40], forms)
    if not block.broken:
        shown = word if word.isprintable() else f"U+{ord(word[0]):04X}"
        ways = [f'a rule begins with its own words: `rule "what it says" {word} ...`'
                ] if word in BEGIN_A_RULE and "rule" in forms else []
        ways += ["a line that carries on is indented further than the one where the statement begins"
                 ] if CONTINUING.match(text) else []
        findings.append(error("unknown-statement", f"{where} has no statement `{shown}`", text.span(0, len(word)),
                              "unknown here", help="; ".join(ways) if ways else
                              f"did you mean `{near}`?" if near else
                              "it may hold " + ", ".join(f"`{known}`" for known in forms)))
    if not near:
        findings.cannot_read(block)
        return word, None
    text = Placed(near + text[len(word):], text.source, text.start + len(word) - len(near))
    return near, _read(text, block, forms[near], findings, True)


def _read(text: Placed, block: Block, form: Form, findings: Faults, reported: bool) -> Any:
    """`reported` as in `Parsed`."""
    parts, problems = grammar.read_line(form.grammar(), text, form.usage)
    if not reported:
        findings += problems
    if parts is None:
        findings.cannot_read(block)
        return None
    return form.build(Parsed(text, parts, block.children, findings, reported))


def read_lines(parsed: Parsed, grammar_of_line: pp.ParserElement, usage: str,
               build: Callable[[Parsed], Any]) -> list[Any]:
    """The lines of a block that all have one form, without keyword: codes of a field, cases of a `choose`."""
    form = Form(usage, lambda: grammar_of_line, build)
    made = [_read(block.text, block, form, parsed.findings, block.broken) for block in parsed.block]
    return [node for node in made if node is not None]


class Item(NamedTuple):
    """One line of a block with its keyword."""

    keyword: str
    node: Any
    text: Placed


def read_items(parsed: Parsed, forms: Mapping[str, Form], where: str, many: Iterable[str] = ()) -> list[Item]:
    """The lines of a block, each beginning with a keyword. Those not in `many` may stand once."""
    items: list[Item] = []
    first: dict[str, Placed] = {}
    for block in parsed.block:
        keyword, node = read_statement(block, forms, where, parsed.findings)
        if node is None:
            continue
        if keyword in first and keyword not in many:
            parsed.fault(said_twice(keyword, block.text, first[keyword]))
            continue
        first.setdefault(keyword, block.text)
        items.append(Item(keyword, node, block.text))
    return items


def said_twice(keyword: str, second: Placed, first: Placed) -> Finding:
    return error("said-twice", f"`{keyword}` is said twice", second.whole(), "the second time",
                 places=(Place(first.whole(), "the first time"),), help="keep one of them")


def no_block(parsed: Parsed) -> None:
    """A finding when lines are indented under a statement that has no block."""
    if parsed.block:
        keyword = parsed.text.split(" ", 1)[0]
        parsed.fault(error("indentation", f"nothing can stand indented under `{keyword}`",
                                     parsed.block[0].text.whole(), "indented too far",
                                     places=(Place(parsed.span, "under this"),),
                                     help="align it with the line above, or remove it"))


def value_of(parsed: Parsed, node: Any) -> Any:
    """The value at the end of a line: a `choose` takes the block as its cases, anything else has no block."""
    if isinstance(node, tree.Choose):
        return read_cases(parsed, node)
    no_block(parsed)
    return node


CASE_USAGE = "CODE, CODE : VALUE"


def read_cases(parsed: Parsed, choose: tree.Choose) -> tree.Choose:
    """`choose X` with the lines below it. Recursion ends with the levels of indentation, which are limited."""
    code = grammar.either("a code", grammar.name(), grammar.number())
    usual = grammar.line(pp.Group(grammar.listed(code))("codes"), grammar.mark(":") - grammar.value()("value"))
    made = read_lines(parsed, usual, CASE_USAGE,
                      lambda case: tree.Case(tuple(case.parts["codes"]), value_of(case, case.parts["value"]),
                                             case.span))
    if not parsed.block:
        parsed.fault(error("syntax", "`choose` without cases", choose.span, "no lines under it",
                                     help="indent a line `CODE : VALUE` for every code under it"))
    cases: list[tree.Case] = []
    otherwise: tree.Case | None = None
    for case in made:
        first = case.codes[0]
        if isinstance(first, tree.Word) and first.text == "otherwise" and len(case.codes) == 1:
            if otherwise is not None:
                parsed.fault(error("said-twice", "`otherwise` is said twice", case.span, "the second time",
                                             places=(Place(otherwise.span, "the first time"),),
                                             help="keep one of them"))
            otherwise = otherwise or case
        else:
            cases.append(case)
    value = otherwise.value if otherwise else None
    if value is None and len(made) < len(parsed.block):
        value = tree.Number(0, None, choose.span)    # for the case that could not be read
    return choose._replace(cases=tuple(cases), otherwise=value)

