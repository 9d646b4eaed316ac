"""A planted fault: an edit of a sound machine, the name of the finding and the line that it must point at."""

from typing import NamedTuple


class Sound(NamedTuple):
    """A machine in which nothing is to be found, as texts."""

    machine: str
    micro: str


class Planted(NamedTuple):
    """`edits`: (old, new), each found exactly once in the machine's or the microprogram's text; the last one is the
    fault, the others prepare the ground and belong to the sound twin as well. `at`: a part of the line that the
    finding marks. `says`: a part of its message. `also`: names of findings that the same fault causes beside it."""

    name: str
    sound: Sound
    finding: str
    edits: tuple[tuple[str, str], ...]
    at: str
    says: str = ""
    also: tuple[str, ...] = ()

    def faulty(self) -> Sound:
        return _edited(self.sound, self.edits)

    def twin(self) -> Sound:
        return _edited(self.sound, self.edits[:-1])


def _edited(sound: Sound, edits: tuple[tuple[str, str], ...]) -> Sound:
    machine, micro = sound
    for old, new in edits:
        count = machine.count(old) + micro.count(old)
        assert count == 1, f"{old!r} stands {count} times in the texts"
        machine, micro = machine.replace(old, new), micro.replace(old, new)
    return Sound(machine, micro)
