"""What the limits of memory count."""

import pytest
from oxidd.bdd import BDDManager
from oxidd.util import DDMemoryError

from ordain.prover.limits import LimitReached, look, memory_taken
from ordain.prover.model import Limits, Progress
from ordain.prover.symbolic.cases import SearchWatch
from ordain.prover.symbolic.layers import Layers

BLOCK = 200 << 20


@pytest.mark.parametrize(("ending", "said"), [
    (LimitReached("states"), "states"), (DDMemoryError(), "memory"), (KeyboardInterrupt(), "interrupted"), (None, "")])
def test_why_a_search_has_stopped(ending: BaseException | None, said: str) -> None:
    layers = Layers(BDDManager(1024, 1024, 1).true())
    with layers.until_a_limit():
        if ending is not None:
            raise ending
    assert layers.stopped == said


def test_how_far_a_search_is_told_ten_times_a_second(monkeypatch: pytest.MonkeyPatch) -> None:
    """States a second since it was begun; a search that begins anew counts its own."""
    told: list[Progress] = []
    watch = SearchWatch(Limits(states=100), told.append, 1000.0)
    for now, level, states, said in ((1000.05, 1, 10, None), (1000.25, 2, 10, (20, 2, 80)), (1000.3, 3, 5, None),
                                     (1002.5, 4, 75, (100, 4, 40))):
        monkeypatch.setattr("ordain.prover.symbolic.cases.monotonic", lambda now=now: now)
        watch.level_done(level, states)
        assert [tuple(round(part) for part in one) for one in told] == ([] if said is None else [said])
        told.clear()
    with pytest.raises(LimitReached, match="states"):
        watch.level_done(5, 1)
    watch.begin()
    watch.level_done(1, 100)


def test_memory_that_was_given_back_stops_nothing() -> None:
    """Else one large search in an editor's session would forbid every later one. The block is large enough for the
    C library to map it by itself and to give it back to the system at once (mallopt(3), M_MMAP_THRESHOLD)."""
    before = memory_taken()
    limits = Limits(memory=before + BLOCK // 2)
    look(limits, 0.0, 0)
    block = bytearray(b"\xff") * BLOCK
    with pytest.raises(LimitReached, match="memory"):
        look(limits, 0.0, 0)
    del block
    look(limits, 0.0, 0)
