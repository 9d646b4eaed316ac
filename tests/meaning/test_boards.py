"""A fixed sample of what `python -m tests.meaning` does for as long as it is given."""

from collections import Counter
from pathlib import Path

from tests.meaning.boards import drawn
from tests.meaning.hunting import examined

SAMPLE = (0, 1, 2, 4, 5, 6, 10, 16, 20, 27, 28, 37, 49)


def test_instructions_do_what_is_printed_and_what_is_proved_and_no_other_thing(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    assert {seed: wrong for seed in SAMPLE if (wrong := list(examined(seed, tmp_path, counts, claims=2)))} == {}
    assert counts["machines"] == len(SAMPLE)
    assert counts["proved"] > 40 and counts["broken"] > 20


def test_the_sample_has_boards_of_every_kind() -> None:
    boards = [drawn(seed) for seed in SAMPLE]
    assert {board.clock for board in boards} == {"", "phases", "held"}
    assert {board.thief for board in boards} == {board.early for board in boards} == {True, False}
    assert {board.stepped for board in boards} == {True, False}
    assert {board.latch for board in boards} == {board.successor for board in boards} == {True, False}
    assert {board.loose for board in boards} == {board.turned for board in boards} == {True, False}
    assert {board.moving for board in boards if board.clock} == {"first", "second"} and any(one.loops for one in boards)
    taken = {board.bus for board in boards if any(word.source == "none" and word.loads & {"a", "b", "pc", "ram"}
                                                  for body in board.bodies.values() for word in body)}
    assert taken == {"floats", "pulled high", "pulled low", "wired and", "wired or", "kept"}     # while nobody drives
