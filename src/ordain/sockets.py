"""Placement held against what is in the sockets: the passes of a build once more, to count what each placement touches.

Like `pipeline`, this stands above the packages; only `ordain build --touch-fewest` needs it.
"""

from collections.abc import Callable, Mapping

from ordain.machine.model import Machine
from ordain.microprogram.model import Program
from ordain.pipeline import Arrange
from ordain.placement.fewest import Fewest, TouchedChips, fewest
from ordain.placement.model import Placement, Recorded
from ordain.placement.place import place
from ordain.rom.assemble import stored_words
from ordain.rom.burn_plan import burns_and_erasures, chip_changes
from ordain.rom.formats import device_of
from ordain.rom.images import pack
from ordain.rom.readback import Unpacked, unpack
from ordain.text.findings import Finding


def touching_fewest(sockets: Mapping[str, bytes], told: Callable[[Fewest], None]) -> Arrange:
    """Placement that touches the fewest chips of those in the sockets, for `pipeline.build_model`; `told` hears how
    well that went. Chips without an image hold nobody knows what."""

    def arrange(machine: Machine, program: Program,
                recorded: Recorded | None) -> tuple[Placement | None, list[Finding]]:
        images = {name: image for name, image in sockets.items()
                  if name in machine.chips and len(image) == device_of(machine.chips[name]).size}
        shown = unpack(machine, images)
        left = _left_over(machine, program, shown)

        def placed(wished: Recorded | None) -> Placement | None:
            placement, _ = place(machine, program, wished)
            return placement and placement._replace(words={
                store: {**left.get(store, {}), **words} for store, words in placement.words.items()})

        def touch(placement: Placement) -> TouchedChips:
            fresh = pack(machine, stored_words(machine, placement))
            changes = [change for change in chip_changes(machine.chips, machine.chips, images, fresh)
                       if change.action != "nothing"]
            return TouchedChips(frozenset(change.chip for change in changes), frozenset(
                change.chip for change in changes if burns_and_erasures([change])[1]))

        unknown = frozenset(machine.chips) - frozenset(images)
        found = fewest(machine, program, recorded, shown.words, unknown, placed, touch)
        if found is None:
            return place(machine, program, recorded)
        told(found)
        return found.placement, []

    return arrange


def _left_over(machine: Machine, program: Program, shown: Unpacked) -> dict[str, dict[int, int]]:
    """What may stay where nothing is placed: all that is burned there, in stores of which the machine does not say what
    unused words hold."""
    blank = unpack(machine, {name: device_of(chip).blank for name, chip in machine.chips.items()})
    return {name: {address: word for address, (word, erased) in enumerate(zip(shown.words[name], blank.words[name]))
                   if word != erased}
            for name, store in machine.stores.items()
            if program.unused.get(name) is None and shown.known[name] == (1 << store.bits) - 1
            and store.fill in ("microprogram", "map")}
