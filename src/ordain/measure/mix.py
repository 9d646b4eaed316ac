"""A measured mix of instructions, and what it makes of cycles per instruction.

A line of the file is a title or the beginning of titles (whole words: `load a` means every title that begins so), and
at its end a fraction: `0.25`, `25%` or `1/4`. `#` begins a comment. The fractions have to come to 1.
"""

from fractions import Fraction
from typing import NamedTuple

from ordain.measure.cycles import Cycles, Taken
from ordain.text.findings import Finding, error
from ordain.text.source import Source, Span
from ordain.text.spelling import nearest

TOLERANCE = Fraction(1, 1000)
"""By so much fractions may miss 1: measured figures are rounded."""


class Share(NamedTuple):
    """`of`: the instructions that are meant; what each has of the share is not known when there are several."""

    name: str
    fraction: Fraction
    of: tuple[Taken, ...]


class PerInstruction(NamedTuple):
    """Cycles per instruction, fetch included, if all went the least and the most way. `most` None: some wait has no
    end; `past_rings` is the figure with every ring left as soon as it can be."""

    least: Fraction
    most: Fraction | None
    past_rings: Fraction


def read_mix(source: Source, cycles: Cycles) -> tuple[tuple[Share, ...], list[Finding]]:
    """The shares of a mix, in the order of the file."""
    shares: list[Share] = []
    findings: list[Finding] = []
    seen: dict[str, Span] = {}
    for number, start in enumerate(source.line_starts(), 1):
        text = source.line_text(number).split("#")[0]
        name, _, figure = text.strip().rpartition(" ")
        name = name.strip().strip('"')
        span = Span(source, start, start + max(1, len(text.rstrip())))
        if not text.strip():
            continue
        fraction = _fraction(figure)
        if not name or fraction is None:
            findings.append(error("mix-line", "a line of a mix is a title and a fraction", span, "not such a line",
                                  help="write for example `load a, n  0.25`"))
            continue
        of = _meant(name, cycles)
        if not of:
            findings.append(_unknown(name, cycles, span))
            continue
        for one in of:
            if one.title in seen:
                findings.append(error("mix-twice", f"`{one.title}` has two shares", span, "the second one",
                                      help="add them up in one line"))
            seen[one.title] = span
        shares.append(Share(name, fraction, of))
    total = sum((share.fraction for share in shares), Fraction(0))
    if not findings and abs(total - 1) > TOLERANCE:
        findings.append(error("mix-sum", f"the fractions of the mix come to {float(total):.4g}, not to 1",
                              Span(source, 0, 1), "this mix", help="add what is missing, or correct a fraction"))
    return tuple(shares), findings


def per_instruction(cycles: Cycles, shares: tuple[Share, ...]) -> PerInstruction | None:
    """None when some instruction of the mix never comes to its end, or the fetch does not."""
    least = most = Fraction(0)
    endless = False
    for share in shares:
        every = [figures for one in share.of if (figures := _figures(one, cycles.fetch)) is not None]
        if len(every) < len(share.of):
            return None
        least += share.fraction * min(figures[0] for figures in every)
        most += share.fraction * max(figures[1] for figures in every)
        endless |= any(figures[2] for figures in every)
    return PerInstruction(least, None if endless else most, most)


def _figures(one: Taken, fetch: Taken | None) -> tuple[int, int, bool] | None:
    if fetch is not None:
        return one.with_fetch(fetch)
    return None if one.least is None or one.most is None else (one.least, one.most, bool(one.rings))


def _fraction(text: str) -> Fraction | None:
    try:
        value = Fraction(text[:-1]) / 100 if text.endswith("%") else Fraction(text)
    except (ValueError, ZeroDivisionError):
        return None
    return value if 0 <= value <= 1 else None


def _meant(name: str, cycles: Cycles) -> tuple[Taken, ...]:
    whole = tuple(one for one in cycles.taken if one.title == name)
    return whole or tuple(one for one in cycles.taken
                          if one.title.startswith(name) and _ends_word(one.title[len(name)]))


def _ends_word(character: str) -> bool:
    """Whether what stands before a character is whole words: `load a` begins `load a, n`, not `load acc`."""
    return not (character.isalnum() or character == "_")


def _unknown(name: str, cycles: Cycles, span: Span) -> Finding:
    titles = [one.title for one in cycles.taken]
    near = nearest(name, [*titles, *(title.split(" ")[0] for title in titles)])
    return error("mix-unknown", f"no instruction is called `{name}` or begins with it", span, "not known here",
                 help=f"did you mean `{near}`?" if near else "`ordain cycles` lists the titles")
