"""What a comparison forgets on the way makes no difference: with everything remembered it says the same."""

import pytest

from ordain.compare.graph import ControlGraph
from tests.compare.judged import Texts, between, edited
from tests.compare.test_ends import cabin
from tests.compare.test_how_it_is_told import BELFRY, TOLLING
from tests.compare.test_left_behind import CARAVAN, PAD
from tests.compare.test_next_places import LOADER, SHARED, SIGNALS, TWO_PARTS, WINDER
from tests.compare.test_what_is_known import DECODED, LOADED, PAIRED, left_behind
from tests.compare.test_what_is_put import LATCHED

LOADED_PART: Texts = (LOADER[0].replace("SOURCE", "{0b1, op[0]}"), LOADER[1])
LATCH: Texts = (LATCHED[0].replace("KIND", "latch"), LATCHED[1])


@pytest.mark.parametrize(("texts", "edits"), [
    (CARAVAN, (PAD, ("park, target pier", "park, target cast"))), (CARAVAN, (("        out 1\n", "        out 2\n"),)),
    (left_behind(6), (("        out 1\n", "        out 2\n"),)),
    (left_behind(6), (("        out 3\n", "        out 2\n"),)), (LOADED, (("dry, drown", "dry"),)),
    (edited(LOADED, ("dry, drown", "dry")), (("        shut\n", "        open\n"),)),
    (LOADED_PART, (("        ring, branch go", "        branch go"),)),
    (SIGNALS, (("ir is 3", "ir in (1, 3)"),)), (SIGNALS, (("        seq step\n", "        flash\n"),)),
    (SHARED, (("ring and line", "ring and line and op in (0, 3)"),)),
    (WINDER, (("to 2", "to 3"),)), (WINDER, (("        over\n", "        over, to 3\n"),)),
    (TWO_PARTS, (("        ring, branch jump", "        hum, branch jump"),)),
    (BELFRY, (("  last: branch jump, target fetch", "  last: branch late"),)),
    (TOLLING, (("at 5\n        branch", "at 5\n        chime, branch"),)),
    (DECODED, (("        source lamp\n", "        source siren\n"),)), (PAIRED, (("  more: bail,", "  more:"),)),
    (LATCH, (("routine low\n        branch go", "routine low\n        branch go, beat"),)),
    (cabin("back", "back"), (("routine lever_2 at 24\n        lift, branch back", "routine lever_2 at 24\n"
                              "        lift, branch over"),)),
])
def test_what_is_forgotten_makes_no_difference(texts: Texts, edits: tuple[tuple[str, str], ...],
                                               monkeypatch: pytest.MonkeyPatch) -> None:
    new = edited(texts, *edits)
    found = [between(texts, new).units]
    monkeypatch.setattr(ControlGraph, "_remembered", lambda self, vector: vector)
    found.append(between(texts, new).units)
    told, other = ([(one.kind, one.title, one.status, one.opcodes, one.differing, one.difference) for one in units]
                   for units in found)
    assert told == other
