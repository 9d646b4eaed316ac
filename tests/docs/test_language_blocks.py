"""Every block of the language reference is read without a finding, and its tables say what the code does."""

import re
from pathlib import Path
from textwrap import dedent

import pytest

from ordain.language import expansion, expression, families, machine_file, micro_file, opcodes, words
from ordain.language.machine_file import parse_machine
from ordain.language.micro_file import parse_microprogram
from ordain.text import lines, reading

ROOT = Path(__file__).parent.parent.parent
PAGE = (ROOT / "docs" / "language.md").read_text()
FENCE = re.compile(r"^( *)```(\w*)[^\n]*\n(.*?)^\1```$", re.MULTILINE | re.DOTALL)
BLOCKS = [(PAGE[:found.start()].count("\n") + 2, found[2], dedent(found[3])) for found in FENCE.finditer(PAGE)]


def blocks(kind: str) -> list[object]:
    return [pytest.param(text, id=f"line {line}") for line, tag, text in BLOCKS if tag == kind]


def test_every_block_says_what_it_is() -> None:
    assert {tag for _, tag, _ in BLOCKS} <= {"machine", "micro", "text"} and len(BLOCKS) > 15


@pytest.mark.parametrize("text", blocks("machine"))
def test_a_block_of_a_machine_file(text: str) -> None:
    files = dict.fromkeys(re.findall(r'^include "(.*)"', text, re.MULTILINE), "")
    main = text if text.startswith("machine ") else "machine page\n" + text
    made, findings = parse_machine({"page.machine": main, **files}, "page.machine")
    assert [finding.message for finding in findings] == []
    assert made is not None and len(made.statements) > 1


@pytest.mark.parametrize("text", blocks("micro"))
def test_a_block_of_a_microprogram(text: str) -> None:
    made, findings = parse_microprogram({"page.micro": text}, ["page.micro"])
    assert [finding.message for finding in findings] == []
    assert made is not None and made.statements


def test_every_statement_of_both_languages_is_on_the_page() -> None:
    shown = "\n".join(text for _, _, text in BLOCKS)
    for keyword in [*machine_file.FORMS, *micro_file._HEADERS]:
        assert re.search(rf"^ *{keyword}\b", shown, re.MULTILINE), keyword


def test_every_finding_that_reading_makes_is_on_the_page() -> None:
    """The names are found in the code by their form: the first argument of `error`, `Misread` or `_fault`."""
    table = PAGE[PAGE.index("## Messages"):PAGE.index("## Limits")]
    names = "\n".join(row.split("|")[1] for row in table.splitlines() if "|" in row)
    listed = set(re.findall(r"`([a-z0-9-]+)`", names))
    source = "\n".join(path.read_text() for package in ("text", "language")
                       for path in (ROOT / "src" / "ordain" / package).glob("*.py"))
    made = set(re.findall(r'(?:\berror|Misread|_fault)\(\s*"([a-z0-9-]+)"', source))
    made |= set(re.findall(r'"(said-twice)" if banks', source))
    assert listed == made


def test_the_limits_on_the_page_are_those_of_the_code() -> None:
    table = PAGE[PAGE.index("## Limits"):]
    numbers = [int(number.replace(",", "")) for number in re.findall(r"\d[\d,]*", table)]
    assert lines.DEEPEST_BLOCK == expansion.DEEPEST_CALL == machine_file.DEEPEST_INCLUDE
    assert numbers == [
        reading.LONGEST_LINE, lines.LONGEST_LOGICAL_LINE, reading.LARGEST_FILE, lines.DEEPEST_BRACKET,
        expression.DEEPEST_TREE, lines.DEEPEST_BLOCK, words.LONGEST_NUMBER, opcodes.LONGEST_PATTERN,
        families.MOST_MEMBERS, expansion.MOST_WORDS]
