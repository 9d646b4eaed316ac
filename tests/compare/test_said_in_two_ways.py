"""One machine said by gates, by a choice and by a PROM: nothing differs, whichever way it was said first; one
bit of the same change does."""

from itertools import permutations

import pytest

from ordain.compare.verdicts import worse
from tests.compare.judged import Texts, between, edited, moved
from tests.compare.test_declarations import verdicts

FAN: Texts = ("""\
machine fan
store control 16 words of 9 bits
    address upc
field next 4 bits address, idle following
field mask 2 bits, idle 0
field turn 1 bit
field lamp 2 bits, idle 0
input c 2 bits
state kept 2 bits, reset 0
    next c
signal high = kept[1] xor turn
signal low = kept[0] xor turn
state upc 4 bits, reset 0
    next {next[3:2], next[1:0] or (mask and {high, low})}
bus lamps 2 bits, floats
    driven by lamp when lamp is not 0
rule "both" never lamps_on and mask is 3
rule "lit" reach shows
signal lamps_on = lamp is 3
signal shows = mask[0] and low
home start
""", """\
routine start at 0
        lamp 1, next table(start, one, two, both), mask 3
  one:  lamp 2, next pair(start, two), mask 1, turn
  two:  lamp 3, next start
  both: lamp 1, next start
""")
"""A mask lets two conditions to the lowest lines of the next address."""

GATES = "{next[3:2], next[1:0] or (mask and {high, low})}"
WAYS = {
    "gates": (),
    "bit by bit": ((GATES, "{next[3:2], next[1] or (mask[1] and high), not (not next[0] and not (mask[0] and low))}"),),
    "choice": ((GATES, "{next[3:2], (1 if high else next[1]) if mask[1] else next[1], next[0] or (mask[0] and low)}"),),
    "choices": ((GATES, "{next[3:2], (next[1] or high) if mask in (2, 3) else next[1], "
                        "next[0] if mask in (0, 2) else next[0] or low}"),),
    "PROM": ((GATES, "{next[3:2], lines}"), ("state upc", """\
store lines 64 words of 2 bits
    address {mask, high, next[1:0], low}
    word    next[1:0] or (mask and {high, low})
state upc""")),
    "PROM of the rule": (("signal shows = mask[0] and low", """\
store shown 4 words of 1 bit
    address {low, mask[0]}
    word    mask[0] and low
signal shows = shown is 1"""),),
}


@pytest.mark.parametrize("new", WAYS)
@pytest.mark.parametrize("old", ["gates", "choice", "PROM", "PROM of the rule"])
def test_said_in_another_way_nothing_differs(old: str, new: str) -> None:
    before, after = edited(FAN, *WAYS[old]), edited(FAN, *WAYS[new])
    found = between(before, after)
    assert moved(found) == {}
    asked_alone = (old == "PROM of the rule") is not (new == "PROM of the rule")    # nothing on the board reads it
    assert bool(found.machine) is asked_alone
    assert worse(verdicts(before, after)) == ()


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("edit", [("signal high = kept[1] xor turn", "signal high = kept[0] xor turn"),
                                  ("pair(start, two), mask 1", "pair(start, two), mask 0"),
                                  ("lamp 2, next", "lamp 0, next")])
def test_with_one_thing_changed_as_well_that_is_told(way: str, edit: tuple[str, str]) -> None:
    assert moved(between(FAN, edited(FAN, *WAYS[way], edit)))["start"] == "changed"


def test_a_mask_of_which_a_bit_leads_nowhere_that_is_said_counts_as_before() -> None:
    """What reads it is not said: it may be anything. All else is the same, said by gates and by a choice."""
    for old, new in permutations(("next[1] or (mask[1] and high)", "next[1] if not mask[1] else next[1] or high")):
        texts = [edited(FAN, (GATES, f"{{next[3:2], {line}, next[0]}}"),
                        ('rule "both" never lamps_on and mask is 3\n', ""),
                        ("signal shows = mask[0] and low", "signal shows = low")) for line in (old, new)]
        other = edited(texts[1], ("pair(start, two), mask 1, turn", "pair(start, two), mask 0, turn"))
        assert moved(between(texts[0], other))["start"] == "changed"


@pytest.mark.parametrize(("table", "less"), [
    ("mask[0] and low", False), ("low and mask[0] or 0b0", False), ("mask[0] or low", True)])
def test_what_a_rule_asks_by_way_of_a_prom_is_what_stands_in_it(table: str, less: bool) -> None:
    """To reach either is less than to reach both."""
    rule, prom = WAYS["PROM of the rule"][0]
    after = edited(FAN, (rule, prom.replace("word    mask[0] and low", f"word    {table}")))
    assert [(one.kind, one.subject) for one in worse(verdicts(edited(FAN, (rule, prom)), after))] == [
        ("weaker", "lit")] * less
