"""A fixed sample of what `python -m tests.meaning` does for as long as it is given."""

from collections import Counter
from pathlib import Path

from tests.meaning.boards import drawn
from tests.meaning.hunting import examined

SAMPLE = range(12)


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
    assert len({board.bus for board in boards}) > 3
