"""Programs by chance, built and walked."""

from collections import Counter
from collections.abc import Callable
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from time import monotonic

from ordain.pipeline import build_model
from ordain.publishing import build_files, publish_build
from ordain.show.labels import Sheet
from ordain.text.findings import Finding
from tests.images import stepped as steps
from tests.images.chips import Board
from tests.images.programs import Program, program
from tests.images.stepped import Stepped, stepped
from tests.images.walking import differences

NO_ROOM = frozenset(("over-full", "block-conflict", "page-conflict", "placement-undecided"))
"""For want of what a program may be refused whose words jump: there is nothing wrong with its text."""


def images_of(made: Program | Stepped, before: Program | Stepped | None = None
              ) -> tuple[dict[str, bytes] | None, list[Finding]]:
    """The bytes of every chip's file; None with what is wrong with the text. `before`: what was built there last, whose
    words keep their places where they can."""
    with TemporaryDirectory() as name:
        directory = Path(name)
        recorded = directory / "build"
        for each in (before, made):
            if each is None:
                continue
            (directory / "m.machine").write_text(each.machine)
            (directory / "m.micro").write_text(each.micro)
            built, findings = build_model(directory / "m.machine", recorded)
            if each is before and built is not None:
                publish_build(built, recorded, build_files(built, ["bin"], "", Sheet("", 1, "a4")), ["bin"])
    return None if built is None else built.images, findings


def examined(seed: int, counts: Counter[str]) -> list[str]:
    choose = Random(seed).choice
    made = stepped(choose) if seed % 3 == 0 else program(choose)
    images, findings = images_of(made, _before(seed) if seed % 4 == 0 else None)
    if isinstance(made, Stepped):
        refused, reasons = {one.name for one in findings} if images is None else set(), steps.cannot(made)
        if not refused <= reasons or bool(refused) != bool(reasons):
            return [f"refused for {sorted(refused)}; what there is: {sorted(reasons)}"]
    elif images is None and not {one.name for one in findings} <= NO_ROOM:
        return [f"refused: {findings[0].name}: {findings[0].message}"]
    if images is None:
        counts["not built"] += 1
        counts[f"not built: {findings[0].name}"] += 1
        return []
    counts["programs"] += 1
    board = Board(list(made.chips), images)
    return steps.differences(made, board) if isinstance(made, Stepped) else differences(made, board)


def _before(seed: int) -> Program | Stepped:
    """Another program, of the same kind if chance has it."""
    choose = Random(seed + 12).choice
    return stepped(choose) if seed % 3 == 0 else program(choose)


def hunt(seconds: float, seed: int, say: Callable[[str], None] = print) -> Counter[str]:
    end, number, counts = monotonic() + seconds, 0, Counter[str]()
    while monotonic() < end:
        wrong = examined(seed + number, counts)
        if wrong:
            counts["disagreeing"] += 1
            say(f"{seed + number}: " + "\n    ".join(wrong))
        number += 1
    return counts
