"""Recommended steps against a model of the devices: erase, program, nothing else."""

from hypothesis import given
from hypothesis import strategies as st

from ordain.machine.model import Chip
from ordain.rom.burn_plan import BurnStep, ChipChange, burns_and_erasures, chip_changes
from ordain.text.source import Source, Span

NOWHERE = Span(Source("chips", ""), 0, 0)


def chip_of(technology: str, erased: int = 1, words: int = 32, bits: int = 8, sector: int = 8,
            name: str = "U1") -> Chip:
    return Chip(name, words, bits, erased, technology, sector if technology == "flash" else 0, (), NOWHERE)


class Device:
    """A part on the programmer. Erasing and programming do what the physics do, whatever was asked for."""

    def __init__(self, chip: Chip, content: bytes) -> None:
        self.chip, self.size = chip, (chip.bits + 7) // 8
        self.cells = [int.from_bytes(content[at:at + self.size], "little") for at in range(0, len(content), self.size)]
        self.blank = (1 << chip.bits) - 1 if chip.erased else 0
        self.replaced = self.erased = False

    def follow(self, change: ChipChange, image: bytes) -> None:
        wanted = [int.from_bytes(image[at:at + self.size], "little") for at in range(0, len(image), self.size)]
        for step in change.steps:
            if step.kind == "replace":
                self.replaced = True
                self.cells = [self.blank] * len(self.cells)
            elif step.kind == "erase":
                assert self.chip.technology in ("uv", "", "flash")
                self.erased = True
                self.cells = [self.blank] * len(self.cells)
            elif step.kind == "erase-sector":
                assert self.chip.technology == "flash"
                for cell in range(step.first * self.chip.sector, (step.first + 1) * self.chip.sector):
                    self.cells[cell] = self.blank
            elif step.kind == "write":
                assert self.chip.technology == "eeprom"
                self.cells[step.first:step.last + 1] = wanted[step.first:step.last + 1]
            elif step.kind == "program":
                for cell in range(step.first, step.last + 1):
                    self.cells[cell] = (self.cells[cell] & wanted[cell] if self.chip.erased
                                        else self.cells[cell] | wanted[cell])

    def content(self) -> bytes:
        return b"".join(cell.to_bytes(self.size, "little") for cell in self.cells)


@st.composite
def devices(draw: st.DrawFn) -> tuple[Chip, bytes, bytes]:
    technology = draw(st.sampled_from(("uv", "once", "eeprom", "flash", "")))
    bits = draw(st.sampled_from((4, 8, 12, 16)))
    chip = chip_of(technology, draw(st.integers(0, 1)), bits=bits, sector=draw(st.sampled_from((1, 4, 8, 32))))
    blank = (1 << bits) - 1 if chip.erased else 0
    values = st.integers(0, (1 << bits) - 1) | st.just(blank)
    old = draw(st.lists(values, min_size=32, max_size=32))
    new = list(old)
    for cell, value in draw(st.lists(st.tuples(st.integers(0, 31), values), max_size=6)):
        new[cell] = value
    if draw(st.booleans()):                         # only from erased to programmed
        new = [before & after if chip.erased else before | after for before, after in zip(old, new)]
    size = (bits + 7) // 8
    return chip, *(b"".join(value.to_bytes(size, "little") for value in cells) for cells in (old, new))


@given(devices())
def test_the_recommended_steps_give_the_new_image_with_every_technology(case: tuple[Chip, bytes, bytes]) -> None:
    chip, old, new = case
    change, = chip_changes({"U1": chip}, {"U1": chip}, {"U1": old}, {"U1": new})
    device = Device(chip, old)
    device.follow(change, new)
    assert device.content() == new
    assert (change.action == "nothing") == (old == new)
    assert change.words == sum(a != b for a, b in zip(Device(chip, old).cells, Device(chip, new).cells))
    assert [cell for first, last in change.ranges for cell in range(first, last + 1)] == [
        cell for cell, (a, b) in enumerate(zip(Device(chip, old).cells, Device(chip, new).cells)) if a != b]


@given(devices())
def test_nothing_is_erased_or_replaced_that_could_be_programmed_over(case: tuple[Chip, bytes, bytes]) -> None:
    chip, old, new = case
    change, = chip_changes({"U1": chip}, {"U1": chip}, {"U1": old}, {"U1": new})
    over = Device(chip, old)
    over.follow(change._replace(steps=(change.steps[0]._replace(kind="program", first=0, last=31),)
                                if change.steps else ()), new)
    possible = over.content() == new
    if chip.technology != "eeprom":
        assert (change.action in ("nothing", "program-over")) == possible
    for sector in change.sectors:                   # each sector that is erased has to be
        kept = tuple(step for step in change.steps if not (step.kind == "erase-sector" and step.first == sector))
        device = Device(chip, old)
        device.follow(change._replace(steps=kept), new)
        assert device.content() != new


def test_one_bit_decides_between_programming_over_and_erasing() -> None:
    old, over, back = bytes([0xFF, 0xF0]), bytes([0xFE, 0xF0]), bytes([0xFE, 0xF1])
    for technology, action in (("uv", "erase"), ("once", "replace"), ("flash", "erase-sectors"), ("", "erase")):
        chip = chip_of(technology, words=2, sector=1)
        first, = chip_changes({"U1": chip}, {"U1": chip}, {"U1": old}, {"U1": over})
        second, = chip_changes({"U1": chip}, {"U1": chip}, {"U1": old}, {"U1": back})
        assert (first.action, second.action) == ("program-over", action)
        assert second.turned_back == 1 and second.ranges == ((0, 1),)
    assert second.sectors == ()
    flash = chip_of("flash", words=2, sector=1)
    change, = chip_changes({"U1": flash}, {"U1": flash}, {"U1": old}, {"U1": back})
    assert change.sectors == (1,)


def test_chips_that_came_went_or_are_other_devices() -> None:
    uv, once = chip_of("uv", words=2), chip_of("once", words=2, name="U2")
    image = bytes(2)
    came, = chip_changes({"U1": uv}, {}, {}, {"U1": image})
    assert came.action == "program"
    went = chip_changes({"U1": uv}, {"U1": uv, "U2": once}, {"U1": image}, {"U1": image})
    assert [(change.chip, change.action) for change in went] == [("U1", "nothing"), ("U2", "remove")]
    wider, = chip_changes({"U1": uv}, {"U1": uv._replace(bits=4)}, {"U1": image}, {"U1": image})
    assert wider.action == "replace"
    unknown = chip_changes({"U1": uv, "U2": once}, {"U1": uv, "U2": once}, {"U1": image}, {"U1": image, "U2": image})
    assert [change.action for change in unknown] == ["nothing", "find-out"]
    assert burns_and_erasures(unknown) == (1, 1) and burns_and_erasures(went) == (0, 0)


def test_nothing_is_said_to_differ_from_what_nobody_knows() -> None:
    chip, image = chip_of("uv"), bytes(range(32))
    (unknown,) = chip_changes({"U1": chip}, {"U1": chip}, {}, {"U1": image})
    (fresh,) = chip_changes({"U1": chip}, {}, {}, {"U1": image})
    (other,) = chip_changes({"U1": chip}, {"U1": chip}, {"U1": image[:-1] + b"\0"}, {"U1": image})
    assert [(change.action, change.words, change.ranges) for change in (unknown, fresh, other)] == [
        ("find-out", 0, ()), ("program", 0, ()), ("erase", 1, ((31, 31),))]


def test_what_nobody_has_recorded() -> None:
    """Everything has to be written; only an EEPROM needs no erasing first, and a part for once is replaced."""
    kinds = {technology: [step.kind for step in chip_changes(
        {"U1": chip_of(technology)}, {"U1": chip_of(technology)}, {}, {"U1": bytes(32)})[0].steps]
        for technology in ("eeprom", "uv", "once", "flash")}
    assert kinds == {"eeprom": ["write"], "uv": ["erase", "program"], "once": ["replace", "program"],
                     "flash": ["erase", "program"]}


def test_neighbours_are_one_range() -> None:
    old, new = bytes(32), bytes(1 if at in (1, 2, 3, 4, 7, 9, 10) else 0 for at in range(32))
    (change,) = chip_changes({"U1": chip_of("eeprom")}, {"U1": chip_of("eeprom")}, {"U1": old}, {"U1": new})
    assert change.ranges == ((1, 4), (7, 7), (9, 10))
    assert [(step.first, step.last) for step in change.steps] == [(1, 4), (7, 7), (9, 10)]


def test_the_steps_in_full() -> None:
    """Where a whole part is meant, no range stands beside it; where nothing is to be done, nothing is counted."""
    chip, other = chip_of("uv"), chip_of("uv", words=64)
    once, full, empty = chip_of("once"), bytes(range(32)), bytes(32)
    whole, out = BurnStep("program", 0, 31), BurnStep("replace", 0, 0)
    for made, old_chip, old, expected in (
            (chip, chip, full, ChipChange("U1", "uv", "nothing", 0, (), 0, (), (), "")),
            (chip, other, full, ChipChange("U1", "uv", "replace", 0, (), 0, (), (out, whole), "was 64 x 8")),
            (once, once, None, ChipChange("U1", "once", "find-out", 0, (), 0, (), (out, whole),
                                          "not recorded: read it, or treat it as full")),
            (chip, chip, None, ChipChange("U1", "uv", "find-out", 0, (), 0, (), (BurnStep("erase", 0, 0), whole),
                                          "not recorded: read it, or treat it as full")),
            (once, once, empty, ChipChange("U1", "once", "replace", 31, ((1, 31),), 31, (), (out, whole), "")),
            (chip, chip, empty,
             ChipChange("U1", "uv", "erase", 31, ((1, 31),), 31, (), (BurnStep("erase", 0, 0), whole),
                                           ""))):
        assert chip_changes({"U1": made}, {"U1": old_chip}, {} if old is None else {"U1": old}, {"U1": full}) == (
            expected,)
    (new,) = chip_changes({"U1": chip}, {}, {}, {"U1": full})
    assert new == ChipChange("U1", "uv", "program", 0, (), 0, (), (out, whole), "a chip that was not there before")
    (gone,) = chip_changes({}, {"U1": chip}, {}, {})
    assert gone == ChipChange("U1", "uv", "remove", 0, (), 0, (), (BurnStep("remove", 0, 0),), "no socket any more")


def test_a_part_of_one_bit() -> None:
    chip = chip_of("uv", bits=1)
    (change,) = chip_changes({"U1": chip}, {"U1": chip}, {"U1": b"\1" * 32}, {"U1": b"\1" * 20 + b"\0" + b"\1" * 11})
    assert (change.action, change.ranges) == ("program-over", ((20, 20),))


def test_the_steps_of_flash_memory() -> None:
    """Bits have to come back in one word; another is programmed over, unless it lies in a sector that is erased."""
    flash = chip_of("flash", sector=12)
    old = bytes(32)

    def steps(chip: Chip, words: dict[int, int], held: bytes) -> tuple[str, list[tuple[str, int, int]]]:
        (change,) = chip_changes({"U1": chip}, {"U1": chip}, {"U1": held},
                                 {"U1": bytes(words.get(at, value) for at, value in enumerate(held))})
        return change.action, [(step.kind, step.first, step.last) for step in change.steps]

    full = bytes([0xF0]) * 32
    assert steps(flash, {13: 0xF1, 14: 0x70, 25: 0x70, 26: 0x70}, full) == ("erase-sectors", [
        ("erase-sector", 1, 1), ("program", 12, 23), ("program", 25, 26)])
    assert steps(flash, {30: 0xF1}, full) == ("erase-sectors", [("erase-sector", 2, 2), ("program", 24, 31)])
    assert steps(flash._replace(sector=0), {30: 0xF1}, full) == ("erase", [("erase", 0, 0), ("program", 0, 31)])
    assert steps(chip_of("uv")._replace(sector=12), {30: 1}, old) == ("erase", [("erase", 0, 0), ("program", 0, 31)])


def test_of_a_chip_that_was_not_read_nothing_is_said() -> None:
    chips = {"U1": chip_of("uv"), "U2": chip_of("uv", name="U2")}
    images = dict.fromkeys(chips, bytes(32))
    assert [change.chip for change in chip_changes(chips, chips, images, {"U2": bytes(32)})] == ["U2"]
