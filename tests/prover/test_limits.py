"""What the limits of memory count."""

import pytest

from ordain.prover.limits import LimitReached, look, memory_taken
from ordain.prover.model import Limits

BLOCK = 200 << 20


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
