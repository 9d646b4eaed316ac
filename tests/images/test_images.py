"""A fixed sample of what `python -m tests.images` does for as long as it is given; and the board notices faults."""

from collections import Counter
from collections.abc import Iterator
from random import Random

import pytest

from tests.images import stepped as steps
from tests.images.chips import Board, Chip
from tests.images.hunting import examined, images_of
from tests.images.programs import KINDS, Program, program
from tests.images.stepped import Stepped, stepped
from tests.images.walking import differences

SAMPLE = (*range(44), 311, 322)
"""In the last two a label has to be brought into the page of the word that names it."""


def test_the_chips_hold_what_was_meant() -> None:
    counts: Counter[str] = Counter()
    assert {seed: wrong for seed in SAMPLE if (wrong := examined(seed, counts))} == {}
    assert counts["programs"] >= 25


def test_the_sample_has_programs_of_every_kind() -> None:
    made = [program(Random(seed).choice) for seed in SAMPLE if seed % 3]
    assert {one.kind for one in made} == set(KINDS)
    assert {part.repeats for one in made for chip in one.chips for part in chip.parts} == {True, False}


@pytest.mark.parametrize("seed", range(4))
def test_any_bit_of_a_word_that_is_turned_is_noticed(seed: int) -> None:
    """Bits by chance, but for those of a field that is `idle any`; and for those that say where control goes on, of
    which a way may ask nothing."""
    made, images = next((made, images) for made, images in _all_built(seed) if _pins(made))
    choose = Random(seed).choice
    for chip, cell, pin in [choose(_pins(made)) for _ in range(8)]:
        size = (chip.bits + 7) // 8
        held = bytearray(images[chip.name])
        held[cell * size + pin // 8] ^= 1 << pin % 8
        board = Board(list(made.chips), {**images, chip.name: bytes(held)})
        found = steps.differences(made, board) if isinstance(made, Stepped) else differences(made, board)
        wild = isinstance(made, Program) and _free(made, chip.parts[0].data[pin].bit)
        assert found or wild, (chip.name, cell, pin)


def _pins(made: Program | Stepped) -> list[tuple[Chip, int, int]]:
    """Chip, cell and data pin, of chips that hold part of the control store and nothing else."""
    loose = made.fields["loose"].low
    return [(chip, cell, pin) for chip in made.chips if len(chip.parts) == 1 and chip.parts[0].store == "control"
            and not chip.parts[0].repeats for cell in range(chip.words)
            for pin, line in enumerate(chip.parts[0].data) if line.bit not in (None, loose)]


def _free(made: Program, bit: int | None) -> bool:
    """A bit of what says where control goes on."""
    assert bit is not None
    return any(made.fields[name].low <= bit < made.fields[name].low + made.fields[name].width
               for name in ("target", "near", "high", "turn", "branch") if name in made.fields)


def _all_built(seed: int) -> Iterator[tuple[Program | Stepped, dict[str, bytes]]]:
    for number in range(seed, 1000, 6):
        made = stepped(Random(number).choice) if seed % 2 else program(Random(number).choice)
        images, _ = images_of(made)
        if images is not None:
            yield made, images


def test_words_that_change_places_are_noticed() -> None:
    """Words 0 and 1 of a chip that has no part beside, in a program that executes both."""
    noticed = 0
    for made, images in _all_built(0):
        chip = next((one for one in made.chips if len(one.parts) == 1 and one.bits == 8), None)
        if chip is None or images[chip.name][0] == images[chip.name][1] or not isinstance(made, Program):
            continue
        held = images[chip.name]
        board = Board(list(made.chips), {**images, chip.name: held[1::-1] + held[2:]})
        noticed += bool(differences(made, board))
        if noticed:
            break
    assert noticed
