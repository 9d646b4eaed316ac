"""The words of a machine as steps of a path: what a cycle with them leaves of everything, over what is held.

Where a word leaves open who drives or writes, and that is for control alone to decide (an agent, a request), nobody is
taken to do so; each such guess is a question for the prover, and the answer decides whether the paths count.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from ordain.control.ending import ends_of
from ordain.control.sequencing import Sequencing, sequencing
from ordain.data.datapath import Datapath
from ordain.data.resolving import Resolving, said_by_words
from ordain.machine.expression import And, Cell, Const, Leaf, Node, Or, leaves, postorder, substitute
from ordain.machine.model import Machine, Memory, Store
from ordain.meaning.lookup import shown
from ordain.meaning.normal import Normal
from ordain.rom.contents import Contents, word_name

Key = tuple[int, ...]
"""What is presented to the stores that hold the microprogram; the phase behind it, where steps are phases."""


class Guess(NamedTuple):
    """In a cycle with this key the condition, over states and inputs, does not hold."""

    key: Key
    when: Node


class Read(NamedTuple):
    """`words`: of the stores that hold the microprogram, store and address; `stores`: others, of which any word may
    have been read."""

    words: frozenset[tuple[str, int]]
    stores: frozenset[str]

    def touches(self, changes: Mapping[str, Iterable[int]]) -> bool:
        """Whether some of these words were read. `changes`: addresses by store."""
        return any(store in self.stores or any((store, address) in self.words for address in addresses)
                   for store, addresses in changes.items())


class NotFollowed(Exception):
    """The paths of an instruction cannot be followed to their ends; the argument says why."""


class Following:
    """A machine whose instructions are followed. `refused`: guesses that do not hold. `visited`: the words that were
    looked at since somebody emptied it."""

    def __init__(self, contents: Contents, refused: frozenset[Guess] = frozenset()) -> None:
        machine = contents.machine
        self.contents, self.machine, self.terms = contents, machine, machine.terms
        self.path = Datapath(contents)
        self.refused, self.visited = refused, dict[Key, None]()
        self.normal = Normal(machine.terms)
        self.found: Sequencing = sequencing(machine, machine.terms)
        self.stores: list[Store] = [machine.stores[name] for name in self.found.stores
                                    if machine.stores[name].fill == "microprogram"]
        self.levels = _levels(machine, self.stores)
        self.nexts = {leaf: node for leaf, node in Resolving(self.path, {}).nexts() if leaf not in self.path.priors}
        self.last, self.broken = ends_of(machine, self.found, machine.terms)
        clock = machine.clock if machine.steps > 1 else None
        self.phase = None if clock is None else \
            machine.terms.leaf("state", clock.name, machine.states[clock.name].width)
        self._words: dict[Key, FollowedWord] = {}
        self._moving: dict[str, frozenset[int]] = {}
        self._tables: dict[str, Node | None] = {}

    def begins(self, store: str, key: Key) -> bool:
        """Whether an instruction may begin with this word of a store, in this phase: with one behind those in which
        what holds the address moves. Where that is not the one in which all else moves, and in the first one, for a
        reset, it is taken not to, and the prover is asked whether the word ever comes up then."""
        clock = self.machine.clock
        if clock is None or self.phase is None:
            return True
        moves, before = self._moves(store, clock.steps), (key[-1] - 1) % clock.steps
        if before in (moves & {clock.moves} or moves):
            return True
        if before not in moves and key[-1] != 0:
            return False
        address = key[[one.name for one in self.stores].index(store)]
        if address == 0 or self.word((*key[:-1], before)).last is not self.terms.const(0, 1):
            return True
        there = self.terms.leaf("address", store, self.machine.stores[store].address_width)
        guess = Guess(key, self.terms.not_(self.terms.equal(there, self.terms.prior(there))))
        if guess in self.refused:
            return True
        self.word(key).guesses[guess] = None
        return False

    def opcode(self, store: str, key: Key) -> list[Node]:
        """What holds where an instruction begins with this word of a store: its opcode is still one that is sent there.
        The prover is asked about each."""
        place = key[[one.name for one in self.stores].index(store)]
        width = self.machine.stores[store].address_width
        said = [self.terms.equal(self.found.wired[store], self.terms.const(place, width))] \
            if store in self.found.wired else []
        for table in (self.machine.stores[name] for name in self.found.mappings):
            opcodes = [at for at, word in enumerate(self.contents.words[table.name][:table.words]) if word == place]
            if table.fill == "start" and opcodes:
                said.append(self.terms.among(table.address, frozenset(opcodes)))
        found = []
        for node in said:
            held, guess = Presenting(self, {}).resolved(node), Guess(key, self.terms.not_(node))
            if guess not in self.refused and all(leaf in self.nexts for leaf in leaves((held,))):
                self.word(key).guesses[guess] = None
                found.append(held)
        self.word(key).sent_by.update(self.found.mappings)
        return found

    def _moves(self, store: str, steps: int) -> frozenset[int]:
        """The phases at the end of which the address of a store may become another one."""
        if store not in self._moving and self.phase is not None:
            held = leaves((Presenting(self, {}).resolved(self.machine.stores[store].address),))
            known = [{self.phase: self.terms.const(phase, self.phase.width)} for phase in range(steps)]
            self._moving[store] = frozenset(
                phase for phase, now in enumerate(known)
                if any(leaf not in self.nexts or substitute(self.terms, (self.nexts[leaf],), now)[0] is not leaf
                       for leaf in held))
        return self._moving[store]

    @property
    def guesses(self) -> list[Guess]:
        """What was guessed of the words that were visited, by whomever."""
        return list(dict.fromkeys(guess for key in self.visited for guess in self._words[key].guesses))

    @property
    def read(self) -> Read:
        """What was read for the words that were visited, by whomever."""
        words = frozenset((store.name, part) for key in self.visited for store, part in zip(self.stores, key))
        others = frozenset(name for key in self.visited for name in self._words[key].tables())
        return Read(words, others - {store.name for store in self.stores})

    def word(self, key: Key) -> "FollowedWord":
        self.visited[key] = None
        if key not in self._words:
            self._words[key] = FollowedWord(self, key)
        return self._words[key]

    def shown(self, store: str, address: Node) -> Node:
        """What a table shows at an address over what is held."""
        if self.contents.machine.stores[store].words < 1 << address.width:
            raise NotFollowed(f"`{store}` has fewer words than its address lines reach")
        if store not in self._tables:
            self._tables[store] = shown(self.contents, store)
        table = self._tables[store]
        if table is None:
            raise NotFollowed(f"what `{store}` shows depends on too much of its address")
        own = self.terms.leaf("address", store, address.width)
        return substitute(self.terms, (table,), {own: address})[0]

    def name(self, key: Key) -> str:
        """What people call the word."""
        store = self.found.control[0] if self.found.control else self.stores[0].name
        number = [one.name for one in self.stores].index(store)
        return word_name(self.contents, store, key[number]) or f"{key[number]:X}"


class FollowedWord(Resolving):
    """What the words of a cycle leave of the machine's expressions, over what is held when it begins."""

    def __init__(self, following: Following, key: Key) -> None:
        path, machine, terms = following.path, following.machine, following.terms
        known = said_by_words(path, zip(following.stores, key))
        if following.phase is not None:
            known[following.phase] = terms.const(key[-1], following.phase.width)
        super().__init__(path, known)
        self.following, self.key = following, key
        self.guesses: dict[Guess, None] = {}
        self.sent_by: set[str] = set()
        self._nexts: dict[Node, Node] = {}
        self.last, self.broken = self._ends(self.resolved(following.last), self.resolved(following.broken))
        self.home = terms.const(0, 1) if machine.home is None else self.resolved(machine.home)
        self.writes = [(memory, when, self.resolved(memory.address), self.resolved(write.source))
                       for memory in machine.memories.values() for write in memory.writes
                       if (when := self.decided(write.when)) is not terms.const(0, 1)]

    def _ends(self, last: Node, broken: Node) -> tuple[Node, Node]:
        """When the instruction ends, and when others break it off. What is visible, or no control, is no other: an
        instruction that ends by what it works on has to be done by then."""
        parts = broken.args if type(broken) is Or else (broken,)
        others = [part for part in parts if self._of_control(part)
                  and not any(leaf.name in self.path.machine.visible for leaf in leaves((part,)))]
        return self.terms.or_((last, *(part for part in parts if part not in others))), \
            self.terms.or_((self.terms.const(0, 1), *others))

    def tables(self) -> set[str]:
        """Stores that were asked for what they show, or for which opcodes they send to this word."""
        return self.sent_by | {leaf.name for leaf in self.leaves if leaf.kind == "word"}

    def next(self, leaf: Node) -> Node:
        """What it holds after the cycle."""
        found = self._nexts.get(leaf)
        if found is None:
            found = self._nexts[leaf] = self.resolved(self.following.nexts[leaf])
        return found

    def decided(self, when: Node) -> Node:
        return self._guessed(self.resolved(when))

    def _guessed(self, node: Node) -> Node:
        """The condition, with what is control's alone taken to be 0."""
        if type(node) is Const:
            return node
        if type(node) is Or:
            return self.terms.or_(self._guessed(arg) for arg in node.args)
        parts = [arg for arg in (node.args if type(node) is And else (node,)) if self._of_control(arg)]
        if not parts:
            return node
        guess = Guess(self.key, self.terms.and_(parts))
        if guess in self.following.refused:
            return node
        self.guesses[guess] = None
        return self.terms.const(0, 1)

    def _of_control(self, node: Node) -> bool:
        """Whether a condition is about declared states and inputs alone, which the prover follows."""
        return all(type(part) is not Cell and (type(part) is not Leaf or part.kind == "input" or (
            part.kind == "state" and part.name in self.path.machine.states)) for part in postorder((node,)))

    def unknown(self, what: str, width: int) -> Node:
        return self.terms.leaf("free", what, width)

    def memory(self, memory: Memory, leaf: Leaf) -> Node:
        address = self.resolved(memory.address)
        word = self.terms.cell(memory.name, address, memory.bits)
        if memory.words == 1 << address.width:
            return word
        beyond = self.unknown(f"what is read beyond the end of `{memory.name}`", memory.bits)
        return self.terms.if_(self.terms.less(address, self.terms.const(memory.words, address.width)), word, beyond)

    def table(self, store: str, leaf: Leaf, address: Node) -> Node:
        return self.following.shown(store, address)


class Presenting(Resolving):
    """Addresses over what is held, and the words that are known: others on the way are not looked at here."""

    def __init__(self, following: Following, words: dict[Node, Node]) -> None:
        super().__init__(following.path, words)

    def unknown(self, what: str, width: int) -> Node:
        return self.terms.leaf("free", what, width)


def _levels(machine: Machine, stores: Sequence[Store]) -> list[list[Store]]:
    """The stores, those first whose addresses ask for no word of the others."""
    found: list[list[Store]] = []
    left = list(stores)
    while left:
        words = {*(store.name for store in left), *(name for store in left for name in store.fields)}
        ready = [store for store in left if not any(
            leaf.kind in ("word", "field") and leaf.name in words for leaf in leaves((store.address,)))] or left
        found.append(ready)
        left = [store for store in left if store not in ready]
    return found
