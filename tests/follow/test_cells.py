"""Every bit of every word at once, and faults that go with the sound machine while they are no other: against following
each by itself from the first clock on."""

from random import Random

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from ordain.capture.sampling import ClockedReading
from ordain.control.system import build_system
from ordain.follow.cells import CellFault, Cells, cell_fault, stores_with_cells
from ordain.follow.diagnosing import SoundCourse
from ordain.follow.following import Clips, follow
from ordain.follow.states import States
from ordain.prover.model import Limits
from tests.follow.test_states import MOST_INPUTS, made, some_lines
from tests.follow.test_states import Plain as Stepped
from tests.workshop import contents_of

MACHINE = """\
machine ring
store control 4 words of 3 bits
    address upc
field over 1 bit
field lamp 1 bit
field bell 1 bit
state upc 2 bits, reset 0
    next 0 if over else upc + 1
home upc is 0
chip U1 4 x 4
    holds spare, over, lamp, not bell
    address upc
"""
MICRO = "routine main at 0\n    lamp\n    bell\n    over\n"


def explained(seen: list[tuple[int, int]]) -> dict[str, int]:
    """By hand: `upc` and `lamp` are seen."""
    contents = contents_of(MACHINE, MICRO)
    terms, system = contents.machine.terms, build_system(contents)
    upc = terms.leaf("state", "upc", 2)
    lines = [terms.slice(upc, 0, 0), terms.slice(upc, 1, 1), terms.leaf("field", "lamp", 1)]
    readings = [ClockedReading(at, number | lamp << 2, 0) for at, (number, lamp) in enumerate(seen)]
    found = Cells(system, "control", lines, False).found(Clips(range(3)), readings, None)
    return {cell_fault(contents, one).text: one.clocks for one in found}


def test_by_hand() -> None:
    """main, main+1, main+2, and the word after them, which is erased: 1111, so `over` and `lamp` are 1, `bell` 0."""
    assert explained([(0, 1), (1, 0), (2, 0), (0, 1), (1, 0), (2, 0)]) == {}
    assert explained([(0, 1), (1, 0), (0, 1), (1, 0), (0, 1)]) == {"U1.D2 reads 1 in main+1 (control 1): over": 5}
    assert explained([(0, 1), (1, 1), (2, 0), (0, 1)]) == {"U1.D1 reads 1 in main+1 (control 1): lamp": 4}
    assert explained([(0, 1), (1, 1), (2, 0), (3, 1)]) == {"U1.D1 reads 1 in main+1 (control 1): lamp": 3}
    assert explained([(0, 0), (1, 1), (2, 0)]) == {"U1.D1 reads 0 in main (control 0): lamp": 1}
    assert explained([(2, 0), (3, 1), (0, 1)]) == {"U1.D2 reads 0 in main+2 (control 2): over": 3}


@given(st.integers(0, 1 << 40))
@settings(max_examples=8, deadline=None)
def test_all_at_once_and_each_by_itself(seed: int) -> None:
    random = Random(seed)
    built = made(random)
    assume(built is not None)
    assert built is not None
    contents = built.contents
    system = build_system(contents)
    stores = [name for name in stores_with_cells(contents) if len(contents.words[name]) <= 64]
    assume(bool(stores))
    lines = some_lines(contents.machine, random)
    states = States(system, lines, (), limits=Limits(seconds=5.0))
    assume(sum(one.leaf.width for one in states.system.free) <= MOST_INPUTS.bit_length())
    plain = Stepped(states.system, states.lines, None)
    start = next(iter(plain.start()), None)
    assume(start is not None)
    assert start is not None
    every = [(store, address, bit) for store in stores for address in range(len(contents.words[store]))
             for bit in range(contents.machine.stores[store].bits)]
    bent = CellFault(*random.choice([one for one in every if states.read(one[0]) >> one[2] & 1] or every), 0)
    faulty = states.changed(cell_fault(contents, bent))
    plain = Stepped(faulty.system, faulty.lines, None)
    readings, now = [], start
    for at in range(24):
        cycles = plain.cycles(now)
        if not cycles:
            break
        shown, now = random.choice(cycles)
        readings.append(ClockedReading(at, shown, random.getrandbits(len(lines)) & random.getrandbits(len(lines))
                                       & random.getrandbits(len(lines))))
    clips = Clips(range(len(lines)))
    course = SoundCourse(states, clips, readings)
    for store in stores:
        found = {(one.address, one.bit): one.clocks for one in
                 Cells(system, store, lines, False).found(clips, readings, None)}
        own = [one[1:] for one in every if one[0] == store]
        for address, bit in {*random.sample(own, min(8, len(own))), *found,
                             *([bent[1:3]] if bent.store == store else [])}:
            fault = cell_fault(contents, CellFault(store, address, bit, 0))
            other = states.changed(fault)
            clocks = follow(other, clips, readings, other.running()).clocks
            assert course.explained(fault) == clocks
            assert found.get((address, bit), course.clocks) == max(clocks, course.clocks)
