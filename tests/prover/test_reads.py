"""What is read, as sets of atoms: bit by bit, against what each bit is by its place."""

from random import Random

import pytest

from ordain.machine.expression import Terms
from ordain.prover.symbolic.reads import Atoms, _address_bits, _Reads, members


@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_on_which_lines_of_its_address_a_column_depends(width: int) -> None:
    """On those of which two addresses that differ in it alone show two values."""
    random = Random(width)
    some = {0, (1 << (1 << width)) - 1, *(random.getrandbits(1 << width) for _ in range(60))}
    for line in range(width):           # a column that is a line, and one that is a line beside another
        some |= {sum((at >> line & 1) << at for at in range(1 << width)),
                 sum((at >> line & at & 1) << at for at in range(1 << width))}
    for column in some:
        wanted = {line for line in range(width) for at in range(1 << width)
                  if (column >> at ^ column >> (at ^ 1 << line)) & 1}
        assert _address_bits(column, width) == sum(1 << line for line in wanted), (column, width)


def test_what_a_table_reads_are_the_lines_on_which_its_column_depends() -> None:
    """The address is given highest line first; each line reads atoms of its own."""
    reads = _Reads()
    for _ in range(2):
        assert reads.table(0b1100_1100, [0b0001, 0b0110, 0b1000]) == 0b0110         # line 1 alone
        assert reads.table(0b1111_0000, [0b0001, 0b0110, 0b1000]) == 0b0001         # line 2
        assert reads.table(0b1010_1000, [0b0001, 0b0110, 0b1000]) == 0b1111
        assert reads.table(0b1111_1111, [0b0001, 0b0110, 0b1000]) == 0


def test_gates_read_what_their_inputs_read() -> None:
    reads = _Reads()
    assert (reads.both(0b001, 0b010), reads.either(0b001, 0b100), reads.differ(0b010, 0b100)) == (0b011, 0b101, 0b110)
    assert (reads.choose(0b001, 0b010, 0b100), reads.inverse(0b101), reads.constant(1), reads.constant(0)) == (
        0b111, 0b101, 0, 0)


def test_atoms_stand_in_a_row() -> None:
    terms = Terms()
    wide, narrow, last = (terms.leaf("state", name, width) for name, width in (("wide", 3), ("narrow", 1), ("last", 2)))
    atoms = Atoms([wide, narrow, last])
    assert [list(atoms.of(leaf)) for leaf in (wide, narrow, last)] == [[0, 1, 2], [3], [4, 5]] and atoms.count == 6
    assert [members(found) for found in (0, 1, 0b1000, 0b101101)] == [[], [0], [3], [0, 2, 3, 5]]
