"""Least and most cycles of instructions, and waits, with fresh seeds: the plain search of `tests.measure` at length."""

from collections import Counter
from random import Random

from ordain.control.system import build_system
from ordain.measure.cycles import cycles_of
from tests.judge.tool import Text, build
from tests.measure.plain_cycles import Plain, by_chance
from tests.measure.test_cycles_by_hand import TITLES, compare


def text_of(seed: int) -> Text:
    made = by_chance(Random(seed).choice)
    return Text(made.machine, made.micro)


def cycles_disagreements(seed: int, counts: Counter[str]) -> list[str]:
    built, _ = build(text_of(seed))
    if built is None:
        counts["not built"] += 1
        return []
    counts["machines"] += 1
    plain = Plain(built.contents, by_chance(Random(seed).choice))
    found = cycles_of(build_system(built.contents), TITLES)
    if found is None:
        return ["no cycles told"]
    by_hand = plain.instructions(TITLES)
    wrong = []
    for one in (*found.taken, found.fetch):
        try:
            compare(one, by_hand[one.title] if one is not None and one in found.taken else plain.fetch(TITLES))
        except AssertionError as error:
            wrong.append(f"cycles of {'the fetch' if one is None else one.title}: {one}; {str(error).splitlines()[:1]}")
    return wrong
