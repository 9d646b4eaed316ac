"""Words of two stores that act in one cycle: the number of the inner one is a place, and what is done is what both
order."""

import pytest

from tests.compare.judged import Texts, after, between, edited, moved, unit

NANO: Texts = ("""machine pianola
microprogram "m.micro"
store control 16 words of 12 bits
    address upc
field branch 2 bits
    step 0 idle
    jump 1
    wait 2
field target 4 bits address, idle 0
field row 3 bits, idle 0
field lamp 1 bit
spare 2 bits
store rows 8 words of 4 bits
    address row
field bell 1 bit
field drum 1 bit
field soft 1 bit, active low
spare 1 bit
input pedal 1 bit
state upc 4 bits, reset 0
    next choose branch
        step: upc + 1
        jump: target
        wait: upc if pedal else upc + 1
        otherwise: 0
bus air 1 bit, floats
    driven by reed when bell and not soft
    driven by skin when drum
home upc is 0
""", """\
routine play at 0
        row 1
        row 2, branch wait
        row 3, lamp
        branch jump, target play
routine quiet in rows at 0
        soft
routine first in rows at 1
        bell
routine second in rows at 2
        drum
routine third in rows at 3
        bell, drum
""")
OTHER = (("        row 1\n", "        row 5\n"), ("first in rows at 1", "first in rows at 5"))


@pytest.mark.parametrize(("edits", "cycle", "told"), [
    ((), 0, []), (OTHER, 0, []),
    ((("second in rows at 2\n        drum", "second in rows at 2\n        bell"),), 2,
     ["bell: 0 -> 1", "drum: 1 -> 0"]),
    ((*OTHER, ("third in rows at 3\n        bell, drum", "third in rows at 3\n        drum")), 3, ["bell: 1 -> 0"]),
    ((("        row 2, branch", "        row 3, branch"),), 2, ["bell: 0 -> 1"]),
    ((("        row 3, lamp", "        row 3"),), 3, ["lamp: 1 -> 0"]),
    ((("quiet in rows at 0\n        soft", "quiet in rows at 0\n        bell"),), 4, ["bell: 0 -> 1", "soft: 1 -> 0"]),
    ((("        bell, drum\n", "        bell, drum\nroutine spare in rows at 7\n        drum\n"),), 0, []),
])
def test_a_row_counts_where_a_word_calls_it(edits: tuple[tuple[str, str], ...], cycle: int, told: list[str]) -> None:
    found = after(NANO, *edits)
    assert moved(found) == (dict.fromkeys(("reset", "play"), "changed") if told else {})
    if told:
        first = unit(found, "play").difference
        assert first is not None and first.cycle == cycle
        assert [str(change) for change in first.changes if "`" not in str(change)] == told
        assert [store for store, _ in first.old] == [store for store, _ in first.new] == ["control", "rows"]


def test_a_machine_with_the_inner_store_against_one_without() -> None:
    """The orders stand in the words themselves: nothing is done otherwise."""
    flat = (NANO[0].replace("field row 3 bits, idle 0\nfield lamp 1 bit\nspare 2 bits\nstore rows 8 words of 4 bits\n"
                            "    address row\nfield bell 1 bit\nfield drum 1 bit\nfield soft 1 bit, active low\n"
                            "spare 1 bit\n", "field lamp 1 bit\nfield bell 1 bit\nfield drum 1 bit\n"
                            "field soft 1 bit, active low\nspare 2 bits\n"),
            "routine play at 0\n        bell\n        drum, branch wait\n        bell, drum, lamp\n"
            "        soft, branch jump, target play\n")
    assert moved(between(NANO, flat)) == {} == moved(between(flat, NANO))
    for change in (("        bell\n", "        bell, drum\n"), ("bell, drum, lamp", "bell, drum")):
        worse = edited(flat, change)
        assert moved(between(NANO, worse)) == dict.fromkeys(("reset", "play"), "changed") == moved(between(worse, NANO))
