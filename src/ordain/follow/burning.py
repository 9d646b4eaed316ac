"""Single faults of what was burned: a chip that was programmed in part, or that still holds an earlier image."""

from collections.abc import Iterator, Mapping, Sequence

from ordain.follow.faults import reading, too_large
from ordain.follow.model import Hypothesis
from ordain.rom.contents import Contents


def burning_faults(contents: Contents, images: Mapping[str, bytes],
                   earlier: Mapping[str, Sequence[tuple[str, bytes]]]) -> Iterator[Hypothesis]:
    """Every chip of which one half of the cells is erased, or that holds one of its earlier images. `images`: as built
    now. `earlier`: by chip, what the image is called, and its bytes."""
    for chip in contents.machine.chips.values():
        if too_large(contents.machine, chip):
            continue
        image = images[chip.name]
        half, blank = len(image) // 2, bytes([0xFF if chip.erased else 0])
        every = [(f"the upper half of {chip.name} not programmed", image[:half] + blank * (len(image) - half)),
                 (f"the lower half of {chip.name} not programmed", blank * half + image[half:]),
                 *((f"{chip.name} holds {title}", other) for title, other in earlier.get(chip.name, ())
                   if len(other) == len(image))]
        for text, held in every:
            words = reading(contents, chip, held)
            if words:
                yield Hypothesis("burning", text, words)
