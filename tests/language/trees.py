"""Trees without their places, and what must be true of every place."""

from typing import Any

from ordain.language import tree
from ordain.language.expression import parse_expression
from ordain.text.findings import Finding
from ordain.text.lines import Placed
from ordain.text.source import Source, Span

EXPRESSIONS = (tree.Not, tree.Infix, tree.Among, tree.Slice, tree.Join, tree.If, tree.At, tree.In, tree.Prior,
               tree.Parity)


def bare(node: Any) -> Any:
    """The node as nested plain tuples, class name first, without spans and without what is not said at its end; names
    and numbers as themselves."""
    if isinstance(node, tree.Word):
        return node.text
    if isinstance(node, tree.Number):
        return node.value
    if isinstance(node, tree.Text):
        return f'"{node.text}"'
    if isinstance(node, tree.Hole):
        return f"<{node.name}>"
    if isinstance(node, Span):
        return None
    if isinstance(node, tuple):
        if not hasattr(node, "_fields"):
            return tuple(bare(part) for part in node)
        defaults = node._field_defaults
        said = list(zip(node._fields, node))
        while said and said[-1][0] in defaults and said[-1][1] == defaults[said[-1][0]]:
            said.pop()
        return (type(node).__name__, *(bare(part) for _, part in said if not isinstance(part, Span)))
    return node


def check_places(node: Any) -> None:
    """Every place in a tree shows the text that the node was made from."""
    if isinstance(node, tree.Word):
        assert node.span.text.strip('"').replace(" ", "") == node.text.replace(" ", ""), node
    elif isinstance(node, tree.Number):
        assert int(node.span.text, 0) == node.value, node
    elif isinstance(node, tree.Text):
        assert node.span.text.strip('"').replace('".', ".") == node.text, node
    elif isinstance(node, EXPRESSIONS):
        text = Placed(node.span.text.replace("\n", " "), Source("again", ""), 0)
        again, end = parse_expression(text, 0)
        assert bare(again) == bare(node) and end == len(text), node.span.text
    if isinstance(node, tuple) and not isinstance(node, Span):
        for part in node:
            check_places(part)


def expression(text: str) -> tree.Expr:
    """The tree of a text that is one whole expression."""
    node, end = parse_expression(Placed(text, Source("e", text), 0), 0)
    assert end == len(text)
    return node


def said(findings: list[Finding]) -> list[tuple[str, str]]:
    """Name and place of each finding; every finding has a way out."""
    for finding in findings:
        assert finding.help and finding.message and (finding.label or finding.span is None), finding
        assert not finding.help.endswith("."), finding.help
    return [(finding.name, str(finding.span)) for finding in findings]
