"""Names of words, read off the text by hand."""

from tests.microprogram.compiled import described, program_of
from tests.microprogram.test_slots import MACHINE, OTHERS


def names(micro: str, machine: str = MACHINE) -> list[str]:
    return list(program_of(described(machine), micro).names)


def test_words_are_counted_from_the_last_label() -> None:
    assert names('instruction 1 "one"\n    mark 1\n    mark 2\n    in: mark 3\n    mark 4, over\n' + OTHERS) == [
        "one", "one+1", "one.in", "one.in+1", "rest"]


def test_a_word_of_an_arm_says_which() -> None:
    """Two words in the first arm, one in the second; below them the count goes on from the longer one."""
    assert names('instruction 1 "one"\n    mark 1\n    when zero\n        mark 2\n        in: mark 3\n'
                 '    otherwise\n        mark 4, over\n    mark 5, over\n' + OTHERS) == [
        "one", "one+1 when zero", "one.in", "one+1 otherwise", "one+3", "rest"]


def test_arms_in_arms_and_holes_in_conditions() -> None:
    wider = MACHINE.replace("{late, zero,", "{switch, late, zero,").replace("64 words", "128 words")
    assert names('instruction 0b0_d "go {d}" for d in (late, zero)\n    when not  {d}\n        when switch   # remark\n'
                 '            mark 1, over\n        otherwise\n            mark 2, over\n    otherwise\n'
                 '        mark 3, over\n' + OTHERS, wider) == [
        "go late when not late, when switch", "go late when not late, otherwise", "go late otherwise",
        "go zero when not zero, when switch", "go zero when not zero, otherwise", "go zero otherwise", "rest"]
