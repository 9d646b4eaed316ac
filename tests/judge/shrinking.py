"""A disagreement made small: whatever can be taken out of the two texts without losing it is taken out.

Statements with their blocks first, then single lines, then clauses and brackets.
"""

import re
from collections.abc import Callable, Iterator
from itertools import pairwise
from time import monotonic

from tests.judge.tool import Text

Shows = Callable[[Text], bool]


def shrunk(text: Text, shows: Shows, seconds: float) -> Text:
    """The smallest text found in so much time that still `shows`."""
    end = monotonic() + seconds
    again = True
    while again:
        again, place, candidates = False, 0, list(_smaller(text))
        while place < len(candidates) and monotonic() < end:
            smaller = candidates[place]
            if len(smaller.machine) + len(smaller.micro) < len(text.machine) + len(text.micro) and shows(smaller):
                text, again, candidates = smaller, True, list(_smaller(smaller))
            else:
                place += 1
    return text


def _smaller(text: Text) -> Iterator[Text]:
    for cut in (_without_blocks, _without_lines, _without_parts, _without_brackets):
        for machine in cut(text.machine):
            yield text._replace(machine=machine)
        for micro in cut(text.micro):
            yield text._replace(micro=micro)


def _without_blocks(text: str) -> Iterator[str]:
    """Less a statement with all that is indented under it; a field becomes spare bits."""
    lines = text.splitlines()
    firsts = [number for number, line in enumerate(lines) if line and not line.startswith(" ")]
    for first, after in pairwise([*firsts, len(lines)]):
        field = re.match(r"field \w+ (\d+) bit", lines[first])
        if not lines[first].startswith(("machine", "microprogram")):
            yield _joined(lines[:first] + lines[after:])
        if field:
            yield _joined([*lines[:first], f"spare {field[1]} bits", *lines[after:]])


def _without_lines(text: str) -> Iterator[str]:
    lines = text.splitlines()
    for number, line in enumerate(lines):
        if line.startswith(" "):
            yield _joined(lines[:number] + lines[number + 1:])


def _without_parts(text: str) -> Iterator[str]:
    """Less one of the parts between commas, or an option at the end."""
    lines = text.splitlines()
    for number, line in enumerate(lines):
        parts = line.split(", ")
        for part in range(1 if not line.startswith(" ") else 0, len(parts) if len(parts) > 1 else 0):
            left = ", ".join(parts[:part] + parts[part + 1:])
            if part == 0:
                left = line[:len(line) - len(line.lstrip())] + left.lstrip()
            yield _joined([*lines[:number], left, *lines[number + 1:]])
        for word in (" unless ", " after (", " when "):
            if word in line and not line.lstrip().startswith(word.strip()):
                yield _joined([*lines[:number], line[:line.rindex(word)], *lines[number + 1:]])


def _without_brackets(text: str) -> Iterator[str]:
    """A pair of brackets with what is in it becomes a pair inside it, or what is on one side of it goes."""
    lines = text.splitlines()
    for number, line in enumerate(lines):
        for begin, end in _pairs(line):
            for first, last in _pairs(line[begin + 1:end]):
                yield _joined([*lines[:number], line[:begin] + line[begin + 1:end][first:last + 1] + line[end + 1:],
                               *lines[number + 1:]])
            for side in (r"(prior|not|parity) ?$", r"\([^()]*\) (and not|and|or|xor|is not) $"):
                before = re.sub(side, "", line[:begin])
                if before != line[:begin]:
                    yield _joined([*lines[:number], before + line[begin:], *lines[number + 1:]])
            after = re.sub(r"^ (and not|and|or|xor|is not) (prior)?\([^()]*\)", "", line[end + 1:])
            if after != line[end + 1:]:
                yield _joined([*lines[:number], line[:end + 1] + after, *lines[number + 1:]])


def _pairs(line: str) -> list[tuple[int, int]]:
    open_: list[int] = []
    found = []
    for place, char in enumerate(line):
        if char == "(":
            open_.append(place)
        elif char == ")" and open_:
            found.append((open_.pop(), place))
    return sorted(found)


def _joined(lines: list[str]) -> str:
    return "\n".join(lines) + "\n"
