"""The functions that read files, one changed file after another, without a command around them: a thousand times as
many trials as `trials` has. Whatever a function raises beyond what it says, a long time and much memory are found."""

import contextlib
import json
import resource
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cache
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

from ordain.audit import certificate
from ordain.capture.model import BadCapture
from ordain.capture.read import read_capture
from ordain.checks.cache import DAMAGED
from ordain.checks.kept import report_data, report_from
from ordain.checks.run import prove
from ordain.control.system import build_system
from ordain.language.script import parse_script
from ordain.prover.decide import ProofRounds
from ordain.rom.contents import Contents
from ordain.rom.formats import DeviceShape, read_image, recognise
from ordain.rom.ledger import parse_ledger
from ordain.rom.recorded import read_manifest
from ordain.text.reading import decode
from tests.attack import changes
from tests.attack.changes import Choose
from tests.attack.trials import LONGEST, MOST, ROOT, Found, TooLong, within
from tests.workshop import compiled, contents_of

CAPTURES = ROOT / "tests/capture/sigrok"
EVENTS = 20_000
"""So many events of a capture are read, and are enough for files of this size."""

SCRIPT = b"""\
start: hand = 1, level = 0x3
at cycle 12: hand = 0 for 3 cycles
every 40 cycles: bell = 1 for 2 cycles
when gate is 3 and not (level >= 2): hand = 1 until gate is 0
while prior(hand) : level = 0b11
device desk.paper = ink[7:0] when gate is 2 and level = 1
"""


class Reader(NamedTuple):
    """`samples`: whole files by name. `read`: the trial itself, given a file's name and changed bytes and a place
    where it may be written."""

    samples: Callable[[Path], dict[str, bytes]]
    change: Callable[[bytes, Choose], bytes]
    read: Callable[[str, bytes, Path], None]


def _image(name: str, data: bytes, place: Path) -> None:
    device = DeviceShape(Path(name).stem, 2048, 8, 0xFF)
    read_image(recognise(data, name, device.size), data, name, device)


def _ledger(name: str, data: bytes, place: Path) -> None:
    parse_ledger(data, name)


def _manifest(name: str, data: bytes, place: Path) -> None:
    path = place / "changed"
    path.write_bytes(data)
    read_manifest(path)


def _certificate(name: str, data: bytes, place: Path) -> None:
    with contextlib.suppress(certificate.Damaged):
        certificate.read(data)


def _capture(name: str, data: bytes, place: Path) -> None:
    path = place / "changed"
    path.write_bytes(data)
    with contextlib.suppress(BadCapture):
        deque(zip(read_capture(path).events(), range(EVENTS)), maxlen=0)


def _script(name: str, data: bytes, place: Path) -> None:
    source, _ = decode(name, data)
    if source is not None:
        parse_script(source)


def _texts(name: str, data: bytes, place: Path) -> None:
    """A machine file and a microprogram in one, so that one change may fall into either."""
    upper, _, lower = data.partition(SEAM)
    (machine, _), (micro, _) = decode("m.machine", upper), decode("m.micro", lower)
    if machine is not None and micro is not None:
        compiled(machine.text, micro.text)


SEAM = b"# ---- the microprogram\n"
"""Between a machine file and its microprogram, which are one sample."""

SMALL = b"""\
machine quay "lets ships through"
microprogram "m.micro"
store control 16 words of 16 bits
    address step
    unused  next begin
chip U1 16 x 8
    holds next, take, gate, spare
    address {step}
chip U2 16 x 8
    holds count, spare, spare, spare, spare
    address {step}
field next  4 bits address, idle following
field take  2 bits
    none 0 idle
    hold 1
    pour 2
field gate  1 bit
field count 4 bits number, idle 0
spare 5 bits
input tide 1 bit
state step   4 bits, reset 0
    next count if tide and gate and next[0] else next
state sluice 1 bit, reset any
    next tide and not gate
register berth 3 bits, reset any
    loads water when take is hold
bus water 3 bits, pulled low
    driven by berth when take is pour
    driven by lock = {tide, sluice, 0b0} when take is none and gate
    sampled by horn when gate
rule "no flood" never take is pour and tide
rule "served" when tide then take is hold within 6 cycles
allow contention on water "a model only"
""" + SEAM + b"""\
routine round
  begin:
        take hold, gate, count 3
        take pour
  wait: next begin
"""


@cache
def _proved() -> tuple[Contents, dict[str, Any]]:
    machine, micro = (part.decode() for part in SMALL.split(SEAM))
    contents = contents_of(machine, micro)
    rounds = ProofRounds(build_system(contents))
    report = prove(contents, rounds.decide)
    return contents, report_data(contents, report)


def _kept(name: str, data: bytes, place: Path) -> None:
    """Raises what `checks.cache.load` takes for a damaged entry."""
    with contextlib.suppress(*DAMAGED):
        report_from(_proved()[0], json.loads(data))


def _files(pattern: str) -> Callable[[Path], dict[str, bytes]]:
    def found(place: Path) -> dict[str, bytes]:
        return {str(path.relative_to(place)): path.read_bytes() for path in sorted(place.glob(pattern))
                if path.is_file()}
    return found


def _captures(place: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(CAPTURES.iterdir())
            if path.suffix in (".csv", ".vcd", ".sr")}


READERS = {
    "raw": Reader(_files("build/*.bin"), changes.some_bytes, _image),
    "hex": Reader(_files("hex/*.[hsm]*"), changes.some_bytes, _image),
    "manifests": Reader(_files("build/*.json"), changes.json_file, _manifest),
    "ledgers": Reader(_files("burned.jsonl"), changes.json_file, _ledger),
    "reports": Reader(lambda place: {"report": json.dumps(_proved()[1]).encode()}, changes.json_file, _kept),
    "certificates": Reader(_files("proof"), changes.summed, _certificate),
    "captures": Reader(_captures, changes.some_bytes, _capture),
    "scripts": Reader(lambda place: {"a.script": SCRIPT}, changes.text, _script),
    "texts": Reader(lambda place: {"small": SMALL}, changes.text, _texts),
    "bytes": Reader(lambda place: {"small": SMALL}, changes.some_bytes, _texts),
}


def trials(place: Path, kind: str, numbers: Iterable[int]) -> Iterator[Found | None]:
    """One for each seed. `place`: a directory as `trials.workplace` makes it."""
    samples = READERS[kind].samples(place)
    assert samples, kind
    for number in numbers:
        yield reading(place, kind, samples, Random(number).choice)


def reading(place: Path, kind: str, samples: Mapping[str, bytes], choose: Choose) -> Found | None:
    """One change of one of the samples, read."""
    reader = READERS[kind]
    name = choose(sorted(samples))
    data = reader.change(samples[name], choose)
    fault = _fault(reader, name, data, place)
    return Found(kind, f"reading {name}", fault, data) if fault else None


def _fault(reader: Reader, name: str, data: bytes, place: Path) -> str:
    try:
        with within(LONGEST):
            reader.read(name, data, place)
    except TooLong:
        return f"longer than {LONGEST} s"
    except Exception as raised:  # whatever it is, it is what is looked for
        return f"{type(raised).__name__}: {raised}"[:300]
    return "more than 1 GB" if resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 > MOST else ""
