"""Transfers held against every value of every field and every input, by a few plain lines.

A transfer must leave its two conditions possible in circumstances in which other words would not; where all words that
do so agree about a field, that is what it sets; where they leave something open that matters, it says so.
"""

from collections.abc import Callable, Iterator, Mapping
from itertools import product
from typing import NamedTuple

from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.pipeline import build_texts

Values = Mapping[str, int]

FIELDS = {"source": (0, 1, 2), "number": (0, 1, 2, 3), "on": (0, 1), "quiet": (0, 1), "load": (0, 1, 2)}
IDLE = {"source": 0, "number": 1, "on": 0, "quiet": 0, "load": 0}
OUTSIDE = {"clock": (0, 1), "level": (0, 1, 2, 3)}

MACHINE = """\
machine tried

store control 16 words of 14 bits
    address upc
field target 4 bits address, idle following
field source 2 bits
    none 0 idle
    one  1
    two  2
field number 2 bits number, idle 1
field on     1 bit
field quiet  1 bit, active low
field load   2 bits
    none 0 idle
    yes  1
    also 2
field check  1 bit = parity({{source, on}})
spare 1 bit

store decoder 32 words of 2 bits
    address {{number, on, source}}
    word    {{number[1] and on, source is two or not on}}

state upc 4 bits, reset 0
    next target
input clock 1 bit, level 2 bits

bus data 8 bits, floats
    driven by giver when {drives}
    sampled by taker when {takes}
"""


class Said(NamedTuple):
    """A condition as text, and what it comes to."""

    text: str
    value: Callable[[Values], int]


def _on(values: Values) -> int:
    return values["on"]


ATOMS = [
    Said("source is one", lambda v: int(v["source"] == 1)),
    Said("source is not two", lambda v: int(v["source"] != 2)),
    Said("source in (one, two)", lambda v: int(v["source"] in (1, 2))),
    Said("load is yes", lambda v: int(v["load"] == 1)),
    Said("load is also", lambda v: int(v["load"] == 2)),
    Said("number >= 2", lambda v: int(v["number"] >= 2)),
    Said("number[0]", lambda v: v["number"] & 1),
    Said("number is level", lambda v: int(v["number"] == v["level"])),
    Said("number + 1 < level", lambda v: int((v["number"] + 1) % 4 < v["level"])),
    Said("on", _on),
    Said("quiet", lambda v: v["quiet"]),
    Said("control[2]", lambda v: v["load"] & 1),
    Said("control[4]", lambda v: 1 - v["quiet"]),
    Said("check", lambda v: (v["source"].bit_count() + v["on"]) & 1),
    Said("decoder.word[1]", lambda v: v["number"] >> 1 & v["on"]),
    Said("decoder.word[0]", lambda v: int(v["source"] == 2) | 1 - v["on"]),
    Said("clock", lambda v: v["clock"]),
    Said("level is 2", lambda v: int(v["level"] == 2)),
]


def _not(a: Said) -> Said:
    return Said(f"not ({a.text})", lambda v: 1 - a.value(v))


def _and(a: Said, b: Said) -> Said:
    return Said(f"({a.text}) and ({b.text})", lambda v: a.value(v) & b.value(v))


def _or(a: Said, b: Said) -> Said:
    return Said(f"({a.text}) or ({b.text})", lambda v: a.value(v) | b.value(v))


CONDITIONS = st.recursive(st.sampled_from(ATOMS), lambda inner: st.one_of(
    inner.map(_not), st.tuples(inner, inner).map(lambda two: _and(*two)),
    st.tuples(inner, inner).map(lambda two: _or(*two))), max_leaves=6)

CLAUSES = st.dictionaries(st.sampled_from(sorted(FIELDS)), st.integers(0, 2), max_size=2).map(
    lambda chosen: {name: min(value, FIELDS[name][-1]) for name, value in chosen.items()})


def words() -> Iterator[dict[str, int]]:
    for values in product(*FIELDS.values()):
        yield dict(zip(FIELDS, values))


def circumstances() -> Iterator[dict[str, int]]:
    for values in product(*OUTSIDE.values()):
        yield dict(zip(OUTSIDE, values))


def reach(condition: Said, word: Values) -> frozenset[tuple[int, ...]]:
    """The circumstances in which a condition holds with a word."""
    return frozenset(tuple(around.values()) for around in circumstances() if condition.value({**word, **around}))


def read(word: int) -> dict[str, int]:
    """The fields of a stored word, counted by hand from the machine file."""
    return {"source": word >> 8 & 3, "number": word >> 6 & 3, "on": word >> 5 & 1, "quiet": 1 - (word >> 4 & 1),
            "load": word >> 2 & 3}


def built(drives: Said, takes: Said, clauses: Values) -> tuple[dict[str, int] | None, list[str]]:
    """The fields of the word of a transfer beside some settings, and the names of what was found."""
    machine = MACHINE.format(drives=drives.text, takes=takes.text)
    said = "".join(f", {name} {value}" for name, value in clauses.items())
    micro = f"routine first at 0\n    taker <- giver{said}, target first\n"
    made, findings = build_texts({"tried.machine": machine + 'microprogram "tried.micro"\n', "tried.micro": micro},
                                 "tried.machine")
    names = [finding.name for finding in findings if finding.name not in ("no-images", "no-chips")]
    return None if made is None else read(made.contents.words["control"][0]), names


def agreed(condition: Said) -> tuple[dict[str, int], bool]:
    """What all words through which a condition holds have in common, and whether that is all that matters."""
    reaches = [(word, reach(condition, word)) for word in words()]
    always = frozenset.intersection(*[where for _, where in reaches])
    through = [(word, where) for word, where in reaches if where - always]
    common = {name: value for name, value in (through[0][0] if through else {}).items()
              if all(word[name] == value for word, _ in through)}
    left = {where for word, where in reaches if all(word[name] == value for name, value in common.items())}
    return common, len(left) == 1


@settings(max_examples=150, deadline=None)
@given(CONDITIONS, CONDITIONS, CLAUSES)
def test_a_word_that_is_built_brings_its_transfers_about(drives: Said, takes: Said, clauses: Values) -> None:
    word, names = built(drives, takes, clauses)
    if word is None:
        assert set(names) <= {"never-driven", "never-sampled", "field-conflict", "nothing-to-set"}, names
        return
    assert reach(drives, word) & reach(takes, word)
    for condition in (drives, takes):
        every = {reach(condition, other) for other in words()}
        assert len(every) == 1 or reach(condition, word) - frozenset.intersection(*every)
        assert all(word[name] == value for name, value in agreed(condition)[0].items())


@settings(max_examples=150, deadline=None)
@given(CONDITIONS)
def test_where_one_way_is_open_it_is_taken_and_nothing_else(drives: Said) -> None:
    common, whole = agreed(drives)
    every = {reach(drives, word) for word in words()}
    if len(every) == 1 or common.get("load", 1) != 1:
        return
    word, names = built(drives, ATOMS[3], {})
    if whole:
        assert (word, names) == ({**IDLE, "load": 1, **common}, [])
    else:                                       # something is left open: the best that can be had, or a question
        assert names == ["never-driven"] if word is None else reach(drives, word) == frozenset().union(*every)
