"""Words that ask the opcode itself: it is still there when they run, which the prover says, or it is not."""

import pytest

from ordain.control.system import build_system
from ordain.meaning.run import broken
from ordain.prover.decide import decide
from tests.meaning.till import FETCH, MACHINE, outcomes
from tests.workshop import contents_of

PAIR = MACHINE.replace("    driven by temp   when put is temp\n", """\
    driven by temp   when put is temp
    driven by one    when put is pair and not ir[0]
    driven by other  when put is pair and ir[0]
""").replace("    temp    4\nfield load", "    temp    4\n    pair    5\nfield load") + """\
register one   8 bits, changes when load is mar
register other 8 bits, changes when load is mar
"""
STATE = PAIR.replace("register ir   4 bits, loads data[3:0] when load is ir\n", """\
input code 4 bits
state ir 4 bits, reset 0
    next code if load is ir else ir
""")
WIRED = PAIR.replace("dispatch : entry.word", "dispatch : {0b1, ir, 0b0}") \
    .replace("store entry 16 words of 6 bits\n    address ir\n    word    start of instruction\n", "") \
    .replace("    address upc\n", "    address upc\n    starts at {0b1, ir, 0b0}\n", 1)
TWO = """\
instruction 2 "one"
    means acc <- one
        put pair, load acc, branch home
instruction 3 "other"
    means acc <- other
        put pair, load acc, branch home
"""


@pytest.mark.parametrize("machine", [PAIR, STATE, WIRED])
@pytest.mark.parametrize("old, new, holds", [
    ("", "", True),
    ("acc <- other", "acc <- one", False),
    ("branch dispatch", "branch dispatch, load ir", False),         # the next one is in its place
    ("        put pair", "        load ir\n        put pair", False),     # not any more
    ("means nothing\n        branch home\n", "means nothing\n        branch if_zero, target one\n        branch home\n",
     False)])                                                       # it comes there with any other opcode
def test_what_its_opcode_chooses(machine: str, old: str, new: str, holds: bool) -> None:
    text = FETCH + TWO
    assert not old or old in text
    text = text.replace(old, new)
    if machine is WIRED:
        text = text.replace("instruction others", "instruction 1")
    found = outcomes(text, machine)
    assert (found["one"].way is not None and found["other"].way is not None) == holds, found


def test_one_meaning_of_two_opcodes_with_one_beginning() -> None:
    """Of 2 and 6 both, as the start table sends them to one word."""
    words = """\
instruction 2, 6 "even"
    means acc <- one
        put pair, load acc, branch home
"""
    assert outcomes(FETCH + words, PAIR)["even"].way is not None
    assert outcomes(FETCH + words.replace("acc <- one", "acc <- other"), PAIR)["even"].way is None
    assert outcomes(FETCH + words.replace("6", "7"), PAIR)["even"].way is None


def test_which_opcodes_are_sent_there_is_read_where_it_counts() -> None:
    """Another word in the start table may send one more there; `nothing` asks no opcode."""
    contents = contents_of(PAIR, FETCH + TWO)
    wrong, read = broken(contents, lambda asked: decide(build_system(contents), asked))
    assert not wrong
    assert [read[title].touches({"entry": [9]}) for title in ("one", "other", "nothing")] == [True, True, False]
    _, starts = contents.labels["one"]
    assert read["one"].touches({"control": starts}) and not read["one"].touches({"control": {63}})
    assert read["one"].touches({"control": {63, *starts}}) and read["one"].touches({"control": {63}, "entry": [9]})
    assert not read["nothing"].touches({"control": starts, "entry": [9]})
    words = list(contents.words["entry"])
    words[5] = words[2]
    turned = contents._replace(words={**contents.words, "entry": tuple(words)})
    wrong, _ = broken(turned, lambda asked: decide(build_system(turned), asked))
    assert wrong == ("one",)
