"""The styles: generated families and whole machines, each at three sizes."""

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from benchmarks.styles import home
from benchmarks.styles.board import Shape, board
from benchmarks.styles.large import large
from benchmarks.styles.source import Source
from benchmarks.styles.stepped import stepped
from benchmarks.styles.timers import timers


class Style(NamedTuple):
    """`sizes`: what grows, given to `make`. `whole`: a machine that somebody might build, not a family."""

    name: str
    grows: str
    sizes: tuple[int, ...]
    make: Callable[[int], Source]
    whole: bool = False


def _bench(base: Shape, option: str) -> Callable[[int], Source]:
    return lambda size: board(base._replace(**{option: size}))


def _heron(_size: int) -> Source:
    """The machine of the project itself, all its files in one."""
    directory = Path(__file__).parents[2] / "microcode"
    lines = (directory / "heron.machine").read_text().splitlines()
    included = [line.split('"')[1] for line in lines if line.startswith("include ")]
    micro = next(line for line in lines if line.startswith("microprogram "))
    kept = [line for line in lines if not line.startswith(("include ", "microprogram "))]
    text = [*kept[:1], *kept[1:], 'microprogram "bench.micro"']
    text += [(directory / name).read_text() for name in included]
    named = [part for part in micro.split('"') if part.endswith(".micro")]
    return Source("\n".join(text) + "\n", "\n".join((directory / name).read_text() for name in named))


STYLES: tuple[Style, ...] = (
    Style("counter", "words", (256, 1024, 4096), _bench(Shape(masters=1, flags=2), "words")),
    Style("pairs", "words", (256, 1024, 4096), _bench(Shape(pairs=True, masters=1, flags=2), "words")),
    Style("stepped", "opcode bits", (4, 6, 8), lambda bits: stepped(bits, bits // 2 - 1)),
    Style("halves", "words", (256, 1024, 4096), _bench(Shape(half=True, masters=1, flags=2), "words")),
    Style("stack", "depth", (1, 2, 4), _bench(Shape(words=1024, pipelined=True, flags=2), "stack")),
    Style("chain", "masters", (2, 4, 8), _bench(Shape(), "masters")),
    Style("refresh", "bits", (4, 8, 12), _bench(Shape(masters=1), "refresh")),
    Style("tracked", "bits", (4, 8, 16), _bench(Shape(), "tracked")),
    Style("resets", "registers", (2, 4, 8), _bench(Shape(words=512), "resets")),
    Style("inputs", "lines", (2, 4, 8), _bench(Shape(words=512), "inputs")),
    Style("strobes", "strobes", (2, 4, 8), _bench(Shape(words=512, masters=1), "strobes")),
    Style("home", "instructions", (8, 16, 29), lambda count: Source(home.machine(), home.micro(count)), True),
    Style("heron", "", (1,), _heron, True),
    Style("dma", "masters", (1, 2, 3), _bench(Shape(words=512, half=True, refresh=6, inputs=1), "masters"), True),
    Style("slices", "words", (512, 1024, 2048),
          _bench(Shape(pipelined=True, stack=4, resets=2, inputs=2, flags=3), "words"), True),
    Style("console", "words", (256, 512, 1024),
          _bench(Shape(pairs=True, masters=2, flags=3, inputs=2, tracked=4), "words"), True),
    Style("timers", "instructions", (8, 16, 32), timers, True),
    Style("large", "instructions", (24, 48, 96), large, True),
)
