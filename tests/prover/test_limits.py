"""What the limits of memory count."""

from collections.abc import Callable
from itertools import count
from pathlib import Path
from types import SimpleNamespace

import pytest
from oxidd.bdd import BDDManager
from oxidd.util import DDMemoryError

import ordain.prover.limits
from ordain.checks.run import questions
from ordain.control.system import build_system
from ordain.prover.decide import ProofRounds
from ordain.prover.limits import Deadline, LimitReached, address_space_left, look, memory_taken
from ordain.prover.model import Limits, Progress
from ordain.prover.symbolic.cases import SearchWatch
from ordain.prover.symbolic.layers import Layers
from tests.planted.everything import PLANTED
from tests.prover.test_searches import CONTENTS, LAMP, TURN, TURN_LEAF, WINDOW, WINDOW_LEAF, both
from tests.prover.test_searches import asked as asked_of
from tests.workshop import contents_of

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
    """A search that begins anew counts its own states, and those of the first are told."""
    told: list[Progress] = []
    watch = SearchWatch(Limits(states=100), told.append, 1000.0)
    watch.decided, watch.asked = 3, 9
    for now, level, states, said in ((1000.05, 1, 10, None), (1000.25, 2, 10, (20, 2, 3, 9)), (1000.3, 3, 5, None),
                                     (1002.5, 4, 75, (100, 4, 3, 9))):
        monkeypatch.setattr("ordain.prover.symbolic.cases.monotonic", lambda now=now: now)
        watch.level_done(level, states)
        assert told == ([] if said is None else [said])
        told.clear()
    with pytest.raises(LimitReached, match="states"):
        watch.level_done(5, 1)
    watch.begin()
    monkeypatch.setattr("ordain.prover.symbolic.cases.monotonic", lambda: 1003.0)
    watch.level_done(1, 99)
    assert told == [(101, 1, 3, 9)]


def test_a_search_that_has_not_begun_has_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[Progress] = []
    monkeypatch.setattr("ordain.prover.symbolic.cases.monotonic", lambda: 1001.0)
    SearchWatch(Limits(states=0), told.append, 1000.0).look()
    assert told == [(0, 0, 0, 0)]


def test_how_many_questions_are_decided_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[Progress] = []
    contents = contents_of(*PLANTED[0].faulty())
    asked = tuple(prop for _, prop in questions(contents))
    clock = count(1e9)      # later than any start of the system, and later with every look
    monkeypatch.setattr("ordain.prover.symbolic.cases.monotonic", lambda: next(clock))
    ProofRounds(build_system(contents), told.append).decide(asked)
    numbers = [one.decided for one in told if one.asked]
    assert {one.asked for one in told} == {0, len(asked)} and numbers == sorted(numbers)
    assert 0 < numbers[0] < numbers[-1] < len(asked)


def test_those_are_counted_that_a_search_of_their_own_decides(monkeypatch: pytest.MonkeyPatch) -> None:
    """One that the machine's search decides, then two with a memory that take a search each: before the second two are
    decided."""
    told: list[Progress] = []
    clock = count(1e9)
    monkeypatch.setattr("ordain.prover.symbolic.cases.monotonic", lambda: next(clock))
    asked = (asked_of("bad", LAMP), asked_of("bad", both(WINDOW_LEAF, LAMP), WINDOW),
             asked_of("bad", both(TURN_LEAF, LAMP), TURN))
    ProofRounds(build_system(CONTENTS), told.append).decide(asked)
    assert list(dict.fromkeys(one.decided for one in told if one.asked)) == [1, 2]


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


@pytest.mark.parametrize(("limits", "states", "said"), [
    (Limits(), 9, ""), (Limits(states=9), 9, ""), (Limits(states=9), 10, "states"), (Limits(seconds=2.0), 0, ""),
    (Limits(seconds=1.9), 0, "seconds"), (Limits(memory=500), 0, ""), (Limits(memory=499), 0, "memory"),
    (Limits(states=0, seconds=0.0, memory=0), 1, "seconds"), (Limits(states=0, memory=0), 1, "memory")])
def test_a_limit_is_what_may_still_be(monkeypatch: pytest.MonkeyPatch, limits: Limits, states: int, said: str) -> None:
    """A search that began at 5 and is looked at 2 s later, in a process of 500 bytes; of several one is told."""
    monkeypatch.setattr(ordain.prover.limits, "monotonic", lambda: 7.0)
    monkeypatch.setattr(ordain.prover.limits, "memory_taken", lambda: 500)
    if not said:
        look(limits, 5.0, states)
    else:
        with pytest.raises(LimitReached, match=said):
            look(limits, 5.0, states)


@pytest.mark.parametrize(("limits", "ended", "out", "after"), [
    (Limits(), "", False, ""), (Limits(seconds=0.0), "", True, "seconds"), (Limits(states=0), "", False, ""),
    (Limits(seconds=0.0), "states", False, "states"), (Limits(), "memory", True, "memory"),
    (Limits(), "interrupted", True, "interrupted"), (Limits(seconds=0.0), "memory", True, "memory")])
def test_nothing_new_is_begun_after_an_end(limits: Limits, ended: str, out: bool, after: str) -> None:
    """The first reason stays; a limit of states is one of each search."""
    clock = Deadline(limits, 0.0, ended)
    assert clock.out() == out and clock.ended == after


UNLIMITED = -1


def system(address_space: int = UNLIMITED) -> SimpleNamespace:
    """What the module asks of the system: pages of 4,096 bytes, and at most 300 kilobytes ever taken."""
    return SimpleNamespace(getpagesize=lambda: 4096, RUSAGE_SELF=0, RLIMIT_AS=9, RLIM_INFINITY=UNLIMITED,
                           getrusage=lambda who: SimpleNamespace(ru_maxrss=300),
                           getrlimit=lambda which: (address_space, UNLIMITED))


@pytest.mark.parametrize(("pages", "platform", "taken"), [
    ("100 7 3 1", "linux", 7 * 4096), ("100", "linux", 300 * 1024), ("x y", "linux", 300 * 1024),
    (None, "linux", 300 * 1024), (None, "darwin", 300)])
def test_the_memory_taken_now_or_at_most(monkeypatch: pytest.MonkeyPatch, pages: str | None, platform: str,
                                         taken: int) -> None:
    """By proc(5) the second number counts resident pages; where nothing can be read there, getrusage(2) says what was
    taken at most: kilobytes, on macOS bytes."""
    monkeypatch.setattr(ordain.prover.limits, "resource", system())
    monkeypatch.setattr(ordain.prover.limits.sys, "platform", platform)
    monkeypatch.setattr(Path, "read_text", said(pages))
    assert memory_taken() == taken


@pytest.mark.parametrize(("limit", "pages", "left"), [
    (UNLIMITED, "100 7", None), (500 * 4096, "100 7", 400 * 4096), (100 * 4096, "100 7", 0), (50 * 4096, "100 7", 0),
    (500 * 4096, None, None)])
def test_the_addresses_that_are_left(monkeypatch: pytest.MonkeyPatch, limit: int, pages: str | None,
                                     left: int | None) -> None:
    """By proc(5) the first number counts pages set aside, which is what `ulimit -v` limits."""
    monkeypatch.setattr(ordain.prover.limits, "resource", system(limit))
    monkeypatch.setattr(Path, "read_text", said(pages))
    assert address_space_left() == left


def test_a_system_that_counts_nothing_has_no_limit_of_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ordain.prover.limits, "resource", None)
    assert memory_taken() == 0 and address_space_left() is None
    look(Limits(memory=1), 0.0, 0)


def said(pages: str | None) -> Callable[[Path], str]:
    """In place of reading /proc/self/statm; None: there is none."""
    def read(path: Path) -> str:
        assert path == Path("/proc/self/statm")
        if pages is None:
            raise FileNotFoundError
        return pages

    return read
