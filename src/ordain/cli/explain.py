"""`ordain explain NAME`: what a check or message means, an example, the usual repair."""

from typing import TYPE_CHECKING

import click

from ordain.cli import completing
from ordain.cli.manner import Manner, page_of, print_json, show, speaks

if TYPE_CHECKING:
    from ordain.checks.check import Explanation
    from ordain.show.page import Page


@click.command("explain")
@click.argument("name", required=False, shell_complete=completing.findings)
@speaks("text", "json")
def command(name: str | None, form: str, quiet: bool, colour: str) -> int:
    """Say what the finding NAME means, with an example and the usual repair. Without NAME: list them all."""
    from ordain.checks.catalogue import EXPLANATIONS, explain

    manner = Manner(form, quiet, colour)
    if name is None:
        if form == "json":
            print_json({"command": "explain", "status": 0,
                        "findings": [{"name": text.name, "fault": text.fault} for text in EXPLANATIONS]})
        else:
            show(manner, _list(page_of(manner)))
        return 0
    found = explain(name)
    if found is None:
        from difflib import get_close_matches

        near = get_close_matches(name, [text.name for text in EXPLANATIONS], 1)
        raise click.UsageError(f"nothing is called `{name}`." + (f" Did you mean `{near[0]}`?" if near else "")
                               + " `ordain explain` lists all names")
    if form == "json":
        print_json({"command": "explain", "status": 0, **found._asdict()})
        return 0
    show(manner, _text(found, page_of(manner)))
    return 0


def _list(page: "Page") -> list[str]:
    """All names by subject."""
    from ordain.checks.catalogue import SUBJECTS
    from ordain.show.page import table

    lines = []
    for subject, texts in SUBJECTS.items():
        rows = [(text.name, text.fault) for text in texts]
        lines += ["", page.paint("strong", subject), *table(rows, page, indent=2)]
    return lines[1:]


def _text(found: "Explanation", page: "Page") -> list[str]:
    """The whole text, its paragraphs folded to the page; an example stands as it is, as far as it has room."""
    from ordain.show.page import fold

    lines = [*fold(f"{page.paint('strong', found.name)}: {found.fault}", page, 0), "",
             *fold(" ".join(found.about.split()), page, 0), ""]
    if found.example:
        example = found.example.strip("\n").splitlines()
        lines += ["For example", "", *(row for line in example for row in _example(f"    {line}".rstrip(), page)), ""]
    return [*lines, *fold(f"Usual repair: {' '.join(found.repair.split())}", page, 0)]


def _example(line: str, page: "Page") -> list[str]:
    """A line of an example. Where it is too wide its comment stands above it, and its columns close up."""
    from ordain.show.page import fold

    if not page.folds or len(line) <= page.width:
        return [line]
    code, mark, comment = line.partition("  #")
    depth = " " * (len(line) - len(line.lstrip()))
    rows = fold(f"{depth}# {comment.strip()}", page) if mark else []
    return [*rows, *(fold(depth + " ".join(code.split()), page, 4) if code.strip() else [])]
