"""The variables of the diagrams, and the diagrams of expressions over them.

Every atom of a state has two diagram variables one under the other, for its present and its next value; every atom of
what is free has one.
"""

from collections.abc import Iterable, Iterator, Sequence
from copy import copy
from errno import ENOMEM

from oxidd.bdd import BDDFunction, BDDManager, BDDSubstitution

from ordain.control.bits import BitValues
from ordain.control.model import Free, System, Variable
from ordain.logic.gates import among, table
from ordain.machine.expression import Among, Equal, Less, Node, postorder
from ordain.prover.limits import address_space_left
from ordain.prover.symbolic.moves import address_family, given_by_words
from ordain.prover.symbolic.order import ordered
from ordain.prover.symbolic.reads import Atoms, members, reading

NODES = 1 << 27
"""Nodes of all diagrams together, at most; memory is taken for those that there are."""
NODE = 32
"""Bytes that a node takes, its place in the table of distinct nodes included (measured)."""
UNTIDY = 1 << 21
"""Nodes that are there, or twice as many as were needed, before those are given back that nothing needs."""
REMEMBERED = 1 << 20
"""Results of operations that are remembered."""
MANAGER = 1280 << 20
"""Bytes of addresses that a manager of diagrams sets aside beside its nodes, and mostly never uses (measured)."""


def _with_room(most: int) -> int:
    """So many nodes, or as many as there is room for in half of the addresses that the process may still set aside: a
    second manager may be needed beside. The library itself would end the process without a word. Raises OSError."""
    left = address_space_left()
    if left is None:
        return most
    nodes = (left - MANAGER) // (2 * NODE)
    if nodes < UNTIDY >> 5:
        raise OSError(ENOMEM, f"a proof sets aside {MANAGER + UNTIDY >> 20} MB of addresses at least, and `ulimit -v` "
                      f"leaves {left >> 20} MB", "memory")
    return min(most, nodes)


class Space:
    """`variables`: those of the system and the monitors that are looked at; `free`: what is free and read. States are
    sets over `states`, the atoms of the variables."""

    def __init__(self, system: System, variables: Sequence[Variable], free: Sequence[Free],
                 memory: int | None = None, apart: bool = False) -> None:
        """`memory`: bytes that diagrams may take. `apart`: what holds addresses, or numbers given by words,
        stands apart from the rest, right under the address."""
        self.system, self.variables, self.free = system, tuple(variables), tuple(free)
        self.atoms = Atoms([*(variable.leaf for variable in variables), *(one.leaf for one in free)])
        self.states = sum(variable.leaf.width for variable in variables)
        self._reads = reading(system, self.atoms)
        self.reads = [reads for variable in variables for reads in reversed(self._reads.of(variable.next))]
        most = NODES if memory is None else max(UNTIDY >> 5, min(NODES, memory // NODE))
        self.manager = BDDManager(_with_room(most), REMEMBERED, 1)
        self._untidy = UNTIDY
        self.true, self.false = self.manager.true(), self.manager.false()
        self.selecting, self.stored = address_family(variables, tuple(system.addresses.values()))
        self.number = self._numbered(apart)
        self.now = [self.manager.var(number) for number in self.number]
        self.atom_of = {number: atom for atom, number in enumerate(self.number)}
        self._circuit = _Diagrams(self)
        self._bits = BitValues(self._circuit, system, {leaf: [self.now[atom] for atom in reversed(self.atoms.of(leaf))]
                                                    for leaf in self.atoms.leaves})
        self._functions: list[BDDFunction | None] = [None] * self.states

    def changed(self, system: System, variables: Sequence[Variable]) -> "Space":
        """The same diagrams for a machine that differs in what its stores hold, or in what becomes of its variables:
        those are the same ones, in the same order."""
        other = copy(self)
        other.system, other.variables = system, tuple(variables)
        if system.versions is not None:     # else the columns of all machines that ever were would stay
            other._circuit = _Diagrams(other)
        other._reads = reading(system, self.atoms)
        other.reads = [reads for variable in variables for reads in reversed(other._reads.of(variable.next))]
        other._bits = BitValues(other._circuit, system,
                                {leaf: [self.now[atom] for atom in reversed(self.atoms.of(leaf))]
                                                   for leaf in self.atoms.leaves})
        other._functions = [None] * self.states
        return other

    def _numbered(self, apart: bool) -> list[int]:
        addresses = [atom for node in self.system.addresses.values() if _is_read(self._reads, node)
                     for bit in self._reads.of(node) for atom in members(bit)]
        if self.system.versions is not None:
            addresses = [*reversed(self.atoms.of(self.system.versions.leaf)), *addresses]
        nexts = [variable.next for variable in self.variables]
        compared = [self.read_by(node) for node in postorder(nexts) if type(node) in (Among, Equal, Less)]
        known = sum(self.atoms.set_of(variable.leaf) for variable in self.variables if variable.reset is not None)
        number = [0] * self.atoms.count
        following = 0
        holding: list[range] = []
        if apart:
            given = given_by_words(self.variables, tuple(self.system.addresses.values()))
            family = dict.fromkeys((*self.selecting, *self.stored, *given))
            holding = [self.atoms.of(variable.leaf)[::-1] for variable in family]
        for atom in ordered(self.atoms.count, self.reads, known, compared, addresses, holding):
            number[atom] = following
            following += 2 if atom < self.states else 1
        self.manager.add_vars(following)
        return number

    def tidy(self) -> None:
        """Now and then gives back the nodes that nothing needs any more."""
        if self.manager.approx_num_inner_nodes() > self._untidy:
            self.manager.gc()
            self._untidy = max(UNTIDY, 2 * self.manager.num_inner_nodes())

    # ------------------------------------------------------------ expressions

    def of(self, node: Node) -> BDDFunction:
        """A condition, over the present values."""
        (bit,) = self._bits.of(node)
        return bit

    def bits(self, node: Node) -> list[BDDFunction]:
        """The bits of an expression, highest first."""
        return self._bits.of(node)

    def read_by(self, node: Node) -> int:
        """The atoms on which an expression can depend."""
        found = 0
        for bit in self._reads.of(node):
            found |= bit
        return found

    def function(self, atom: int) -> BDDFunction:
        """The next value of an atom of a state."""
        found = self._functions[atom]
        if found is None:
            for variable in self.variables:
                own = self.atoms.of(variable.leaf)
                if atom in own:
                    for one, bit in zip(own, reversed(self._bits.of(variable.next))):
                        self._functions[one] = bit
                    break
            found = self._functions[atom]
        if found is None:
            raise ValueError("what is free has no next value")
        return found

    def knows(self, node: Node) -> bool:
        """Whether everything that an expression reads is among the atoms."""
        return _is_read(self._reads, node)

    def within(self, leaf: Node, values: int) -> BDDFunction:
        """That a leaf has one of the values 0 .. `values` - 1."""
        if values == 1 << leaf.width:
            return self.true
        return among(_Diagrams(self), self._bits.of(leaf), frozenset(range(values)))

    def lowest(self, wanted: BDDFunction, atoms: Iterable[int]) -> dict[int, int]:
        """A value of each of some atoms that is in a set over them: zeros where they may be."""
        cube = wanted.pick_cube()
        assert cube is not None, "nothing is in a set in which something was said to be"
        return {atom: int(bool(cube[self.number[atom]])) for atom in atoms}

    # ------------------------------------------------------------ sets of variables

    def next(self, atom: int) -> BDDFunction:
        return self.manager.var(self.number[atom] + 1)

    def cube(self, atoms: Iterable[int]) -> BDDFunction:
        """All of these, as what is to be quantified is given."""
        return self._conjunction(self.number[atom] for atom in atoms)

    def next_cube(self, atoms: Iterable[int]) -> BDDFunction:
        return self._conjunction(self.number[atom] + 1 for atom in atoms)

    def _conjunction(self, numbers: Iterable[int]) -> BDDFunction:
        found = self.true
        for number in sorted(numbers, reverse=True):
            found = self.manager.var(number) & found
        return found

    def renamed(self, atoms: Iterable[int], to_next: bool) -> BDDSubstitution:
        """Present values put in for next ones, or the other way round."""
        if to_next:
            return BDDFunction.make_substitution((self.number[atom], self.next(atom)) for atom in atoms)
        return BDDFunction.make_substitution((self.number[atom] + 1, self.now[atom]) for atom in atoms)


def by_value(bits: list[BDDFunction], among: BDDFunction) -> Iterator[tuple[int, BDDFunction]]:
    """The values of some bits, highest first, in a set, and where in it they have each."""
    waiting = [(among, 0, 0)]
    while waiting:
        some, count, value = waiting.pop()
        if not some.satisfiable():
            continue
        if count == len(bits):
            yield value, some
            continue
        waiting += [(some & bits[count], count + 1, 2 * value + 1), (some & ~bits[count], count + 1, 2 * value)]


def _is_read(reads: BitValues[int], node: Node) -> bool:
    """Whether everything that forms an address is among the atoms; of a store that nothing reads it may not be."""
    try:
        reads.of(node)
    except ValueError:
        return False
    return True


class _Diagrams:
    """Diagrams as a circuit."""

    def __init__(self, space: Space) -> None:
        self._constants = space.false, space.true
        self._tables: dict[tuple[int, tuple[BDDFunction, ...]], BDDFunction] = {}

    def constant(self, value: int) -> BDDFunction:
        return self._constants[value]

    def inverse(self, a: BDDFunction) -> BDDFunction:
        return ~a

    def both(self, a: BDDFunction, b: BDDFunction) -> BDDFunction:
        return a & b

    def either(self, a: BDDFunction, b: BDDFunction) -> BDDFunction:
        return a | b

    def differ(self, a: BDDFunction, b: BDDFunction) -> BDDFunction:
        return a ^ b

    def choose(self, condition: BDDFunction, yes: BDDFunction, no: BDDFunction) -> BDDFunction:
        return condition.ite(yes, no)

    def table(self, column: int, address: Sequence[BDDFunction]) -> BDDFunction:
        return table(self, self._tables, column, address)
