"""An analyzer that is none: lines of a simulated machine, read at a clock of its own, with skew and disturbances.

Nothing of it is shared with the program: a channel shows what stood on its line a little earlier or later than another,
a sample may be disturbed.
"""

import io
import zipfile
from collections.abc import Sequence
from pathlib import Path
from random import Random
from typing import NamedTuple


class Analyzer(NamedTuple):
    """`rate`: samples a clock. `skew`: samples by which a channel may be early or late. `disturbed`: part of the
    samples in which one channel, the clock among them, has the other level."""

    rate: float
    skew: float = 0.0
    disturbed: float = 0.0


def samples(words: Sequence[int], width: int, analyzer: Analyzer, random: Random) -> list[int]:
    """The clock is the highest channel: it rises when a word begins."""
    late = [random.uniform(-analyzer.skew, analyzer.skew) for _ in range(width + 1)]
    begin = random.random()
    found = []
    for number in range(int(len(words) * analyzer.rate)):
        sample = 0
        for channel in range(width + 1):
            at = max(0.0, (number + begin - late[channel]) / analyzer.rate)
            cycle = min(int(at), len(words) - 1)
            level = (at - int(at) < 0.5 and at >= 1) if channel == width else words[cycle] >> channel & 1
            sample |= int(level) << channel
        if random.random() < analyzer.disturbed:
            sample ^= 1 << random.randrange(width + 1)
        found.append(sample)
    return found


def session(path: Path, names: Sequence[str], found: Sequence[int], rate: str = "10 MHz") -> Path:
    """An .sr file, laid out as libsigrok does."""
    size = -(-len(names) // 8)
    data = io.BytesIO(b"".join(sample.to_bytes(size, "little") for sample in found))
    probes = "".join(f"probe{number}={name}\n" for number, name in enumerate(names, 1))
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("version", "2")
        archive.writestr("metadata", "[global]\nsigrok version=0.5.2\n\n[device 1]\ncapturefile=logic-1\n"
                         f"total probes={len(names)}\nsamplerate={rate}\ntotal analog=0\n{probes}unitsize={size}\n")
        number = 1
        while block := data.read(4096 // size * size):
            archive.writestr(f"logic-1-{number}", block)
            number += 1
    return path


def rows(path: Path, names: Sequence[str], found: Sequence[int], changes: bool) -> Path:
    """The same as CSV, every sample or only those in which something changes."""
    lines = ["Time [s]," + ",".join(names)]
    before = None
    for number, sample in enumerate(found):
        if not changes or sample != before or number == len(found) - 1:
            lines.append(f"{number * 1e-7:.7f}," + ",".join(str(sample >> bit & 1) for bit in range(len(names))))
        before = sample
    path.write_text("\n".join(lines) + "\n")
    return path


def dump(path: Path, names: Sequence[str], found: Sequence[int]) -> Path:
    """The same as VCD."""
    codes = [chr(33 + number) for number in range(len(names))]
    lines = ["$timescale 100 ns $end", "$scope module pod $end",
             *(f"$var wire 1 {code} {name} $end" for code, name in zip(codes, names)), "$upscope $end",
             "$enddefinitions $end"]
    before = None
    for number, sample in enumerate(found):
        changed = [f"{sample >> bit & 1}{code}" for bit, code in enumerate(codes)
                   if before is None or (sample ^ before) >> bit & 1]
        if changed:
            lines.append(f"#{number} {' '.join(changed)}" if number % 3 else "\n".join([f"#{number}", *changed]))
        before = sample
    path.write_text("\n".join([*lines, f"#{len(found)}", ""]))
    return path
