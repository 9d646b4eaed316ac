"""The paths of an instruction: its words one after another, with terms for what everything holds.

An instruction begins with its first word in any state of everything else; it ends as in counts of cycles
(`control.ending`). Values are worked out by need, from the step where they are wanted back to the old ones, which are
the machine's own leaves. What cannot be seen exactly is a leaf of its own that may be anything: an input in a cycle, a
floating bus, what fighting drivers leave.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from ordain.control.sequencing import origins
from ordain.data.resolving import Resolving, said_by_words
from ordain.machine.expression import Cell, Const, Leaf, Node, leaves, postorder, substitute, substitute_on
from ordain.meaning.following import FollowedWord, Following, Key, NotFollowed, Presenting
from ordain.meaning.normal import Normal
from ordain.meaning.splitting import deciding, implied, narrow, together, values_of

MOST_ROUNDS = 4
"""How often control is followed round a loop that its data end."""

MOST_STEPS = 5_000
"""Steps over all paths of one instruction."""

MOST_ON_A_PATH = 4_000


class WrittenWord(NamedTuple):
    """A word written in the cycle of `step`, over what was before the instruction. `address` None: anything may have
    been written anywhere."""

    memory: str
    when: Node
    address: Node | None
    value: Node
    step: int


class Step:
    """A cycle of a path. `before`: the one before it; None: it is the first. `values`: of what was asked for, when the
    cycle begins. `writes`: everything written before it, the last one first. `assumed`: what must hold on the way
    here. `anew`: what may be anything from here on, since control may come back here as often as it likes. `rounds`: of
    loops that data end."""

    __slots__ = ("anew", "assumed", "before", "key", "number", "rounds", "values", "word", "writes")

    def __init__(self, before: "Step | None", assumed: Mapping[Node, Node]) -> None:
        self.before, self.assumed = before, assumed
        self.number: int = 0 if before is None else before.number + 1
        self.rounds: int = 0 if before is None else before.rounds
        self.values: dict[Node, Node] = {}
        self.writes: tuple[WrittenWord, ...] = ()
        self.anew: frozenset[Node] = frozenset()
        self.key: Key = ()
        self.word: FollowedWord | None = None


class Path(NamedTuple):
    """`end`: the step after the last cycle. `assumed`: what led along this path, by term."""

    end: Step
    assumed: Mapping[Node, Node]


class Course:
    """The paths of one instruction from one of its first words on. Raises Undecided. `round`: the word of a loop that
    data end and that was followed for `MOST_ROUNDS` rounds only; "" where there is none.

    With `opcode` it begins with its own opcode still there. With `loops` a loop that data end is followed once, with
    anything in all that it changes: `head` is the step with which every round begins, `rounds` are those in which
    control has come back to it."""

    def __init__(self, following: Following, address: int, store: str, loops: bool = False,
                 opcode: bool = False) -> None:
        self._loops, self._opcode = loops, opcode
        self.head: Step | None = None
        self.rounds: list[Step] = []
        self.following, self.terms = following, following.terms
        start = _start(following, store, address)
        self.start: Mapping[Node, Node] = start or {}
        self.paths: list[Path] = []
        self._steps = 0
        self._assumed: Mapping[Node, Node] | None = None
        self._put: dict[Node, Node] = {}
        self.round = ""
        if start is not None:
            self._explore(store, address)

    # ------------------------------------------------------------ values by need

    def value(self, leaf: Node, step: Step) -> Node:
        """What something holds when the cycle begins."""
        stack = [(leaf, step)]
        while stack:
            wanted, at = stack[-1]
            if wanted in at.values:
                stack.pop()
                continue
            origin = at
            while origin.before is not None and wanted not in origin.anew and origin.before.word is not None \
                    and wanted not in origin.values and origin.before.word.next(wanted) is wanted:
                origin = origin.before
            if wanted not in origin.values:
                if wanted in origin.anew:
                    origin.values[wanted] = self._any(f"`{_named(wanted)}` after any number of rounds", wanted, origin)
                elif origin.before is None or origin.before.word is None:
                    origin.values[wanted] = self.start.get(wanted, wanted)
                else:
                    after = origin.before.word.next(wanted)
                    missing = [one for one in leaves((after,))
                               if one.kind in ("state", "register") and one not in origin.before.values]
                    if missing:
                        stack += [(one, origin.before) for one in missing]
                        continue
                    origin.values[wanted] = self.at(after, origin.before, _named(wanted))
            at.values[wanted] = origin.values[wanted]
            stack.pop()
        return step.values[leaf]

    def _any(self, what: str, leaf: Node, step: Step) -> Node:
        return self.terms.leaf("free", f"{what} in cycle {step.number + 1}", leaf.width)

    def at(self, node: Node, step: Step, taker: str) -> Node:
        """An expression over what is held when the cycle begins, over what was before the instruction. `taker`: who is
        given it, since two may see different levels on a line that has none."""
        made: dict[Node, Node] = {}
        for part in postorder((node,)):
            if type(part) is Leaf:
                if part.kind in ("state", "register"):
                    made[part] = step.values[part] if part in step.values else self.value(part, step)
                elif part.kind == "input":
                    made[part] = self._any(f"`{part.name}`", part, step)
                else:
                    made[part] = self._any(f"{part.name} for `{taker}`", part, step)
            elif type(part) is Cell:
                made[part] = read(self.following.normal, part.name, made[part.args[0]], part.width, step.writes)
            else:
                args = tuple([made[arg] for arg in part.args])
                made[part] = part if args == part.args else self.terms.rebuild(part, args)
        return made[node]

    # ------------------------------------------------------------ where control goes

    def _explore(self, store: str, address: int) -> None:
        first = Step(None, {})
        waiting = [step for step in self._arrived(first, {store: address})
                   if not self._opcode or self._with_opcode(store, step)]
        while waiting:
            step = waiting.pop()
            self._steps += 1
            if self._steps > MOST_STEPS or step.number > MOST_ON_A_PATH:
                raise NotFollowed(f"control goes round at `{self.following.name(step.key)}`")
            word = self.following.word(step.key)
            step.word = word
            head = _earlier(step)
            if head is not None:
                changed = self._changed(head, step)
                if changed is None and self._loops and self.head in (None, head):
                    changed = self._changed(head, step, data=True)
                if changed is not None and changed <= head.anew:
                    if head is self.head:
                        self.rounds.append(step)
                    continue                            # what may follow has been followed
                if changed is None and len(step.assumed) > len(head.assumed):
                    step.rounds += 1                    # as often as its data say
                    if step.rounds > MOST_ROUNDS:
                        self.round = self.following.name(step.key)
                        continue
                if changed is not None:
                    waiting = [one for one in waiting if not comes_from(one, head)]
                    self.paths = [path for path in self.paths if not comes_from(path.end, head)]
                    if self.head is not None and comes_from(self.head, head):
                        self.head, self.rounds = None, []
                    again = _anew(head, head.anew | changed)
                    self._place(again)
                    if self._loops and not all(self._is_control(leaf) for leaf in again.anew):
                        self.head, self.rounds = again, []
                    waiting.append(again)
                    continue
            for assumed, (last, broken) in self._cases((word.last, word.broken), step, step.assumed):
                if broken:
                    continue
                after = Step(step, assumed)
                after.writes = (*self._written(word, step), *step.writes)
                if last:
                    self.paths.append(Path(after, after.assumed))
                else:
                    waiting += self._arrived(after, {})

    def _with_opcode(self, store: str, step: Step) -> bool:
        """Whether it may begin so with its own opcode; that is known from here on."""
        for said in self.following.opcode(store, step.key):
            more = together(self.terms, step.assumed, dict(implied(self.terms, said, 1)))
            if more is None:
                return False
            step.assumed = more
        return True

    def _arrived(self, step: Step, given: Mapping[str, int]) -> Iterator[Step]:
        """The step in each of the words that it may be in; those at the boundary are ends."""
        for assumed, key in self._presented(step, given):
            one = Step(step.before, assumed)
            one.writes, one.values, one.anew = step.writes, dict(step.values), step.anew
            one.key = key
            self._place(one)
            if step.before is None:
                if all(self.following.begins(store, key) for store in given):
                    yield one
                continue
            word = self.following.word(one.key)
            for more, (home,) in self._cases((word.home,), one, assumed):
                here = Step(one.before, more)
                here.writes, here.values, here.anew, here.key = one.writes, dict(one.values), one.anew, one.key
                if home:
                    self.paths.append(Path(here, here.assumed))
                else:
                    yield here

    def _presented(self, step: Step, given: Mapping[str, int]) -> Iterator[tuple[Mapping[Node, Node], Key]]:
        """What may be presented to the stores, each with what has to hold for it. A store of which a word picks the row
        comes after that word."""
        stores, phase = self.following.stores, self.following.phase
        phases = [] if phase is None else [self.value(phase, step)]
        waiting: list[tuple[Mapping[Node, Node], dict[str, int]]] = [(step.assumed, dict(given))]
        for level in self.following.levels:
            wanted = [store for store in level if store.name not in given]
            done, waiting = waiting, []
            for under, found in done:
                words = said_by_words(self.following.path, [(one, found[one.name]) for one in stores
                                                            if one.name in found])
                nodes = [self.at(Resolving.resolved(Presenting(self.following, words), store.address), step, store.name)
                         for store in wanted]
                waiting += [(assumed, {**found, **{store.name: value for store, value in zip(wanted, values)}})
                            for assumed, values in self._split(nodes, under)]
        for under, found in waiting:
            for assumed, values in self._split(phases, under):
                yield assumed, (*(found[store.name] for store in stores), *values)

    def _place(self, step: Step) -> None:
        """What holds the address, and the phase, is known from where control is."""
        for store, address in zip(self.following.stores, step.key):
            for leaf, value in (_start(self.following, store.name, address) or {}).items():
                if type(value) is Const and (step.before is not None or leaf in self.start):
                    step.values[leaf] = value
        phase = self.following.phase
        if phase is not None:
            step.values[phase] = self.terms.const(step.key[-1], phase.width)

    def _cases(self, nodes: tuple[Node, ...], step: Step,
               assumed: Mapping[Node, Node]) -> list[tuple[Mapping[Node, Node], Sequence[int]]]:
        if all(type(node) is Const for node in nodes):
            return [(assumed, [node.value for node in nodes if type(node) is Const])]
        return self._split([self.at(node, step, "control") for node in nodes], assumed)

    def _split(self, nodes: Sequence[Node],
               assumed: Mapping[Node, Node]) -> list[tuple[Mapping[Node, Node], Sequence[int]]]:
        """What the terms can be, each with what has to hold for it. Raises Undecided."""
        terms = self.terms
        done: list[tuple[Mapping[Node, Node], Sequence[int]]] = []
        waiting = [(tuple(nodes), assumed)]
        while waiting:
            open_, under = waiting.pop()
            open_ = substitute(terms, open_, dict(under))
            if all(type(node) is Const for node in open_):
                done.append((under, [node.value for node in open_ if type(node) is Const]))
                continue
            atom = next((bit for node in open_ if (bit := deciding(node)) is not None), None)
            if atom is None and not self._loops and (part := narrow(open_)) is not None:
                waiting += [(open_, more) for said in values_of(terms, part, under)
                            if (more := together(terms, under, said)) is not None]
                if len(waiting) + len(done) > 4096:
                    raise NotFollowed("control may go too many ways at once")
                continue
            if atom is None:
                names = ", ".join(f"`{_named(leaf)}`" for leaf in leaves(open_)[:3])
                raise NotFollowed(f"where control goes depends on all of {names}")
            if atom in under:                   # it came about by what was put in
                waiting.append((open_, under))
                continue
            for value in (0, 1):
                more = together(terms, under, dict(implied(terms, atom, value)))
                if more is not None:
                    waiting.append((open_, more))
            if len(waiting) + len(done) > 4096:
                raise NotFollowed("control may go too many ways at once")
        return done

    def _written(self, word: FollowedWord, step: Step) -> list[WrittenWord]:
        found = []
        for memory, when, address, value in word.writes:
            active = self._under((self.at(when, step, memory.name),), step.assumed)[0]
            if active is self.terms.const(0, 1):
                continue
            at, put = self._under((self.at(address, step, memory.name), self.at(value, step, memory.name)),
                                  step.assumed)
            if memory.words < 1 << address.width:
                active = self.terms.and_((active, self.terms.less(at, self.terms.const(memory.words, at.width))))
            found.append(WrittenWord(memory.name, active, at, put, step.number))
        if len({one.memory for one in found}) < len(found):
            raise NotFollowed(f"several writes to one memory at once at `{self.following.name(step.key)}`")
        newest = {one.memory: one for one in reversed(step.writes)}
        return [one for one in found if one.memory not in newest or one[:4] != newest[one.memory][:4]]

    # ------------------------------------------------------------ rounds

    def _changed(self, head: Step, step: Step, data: bool = False) -> frozenset[Node] | None:
        """What holds something else than it did at the earlier step, memories as a leaf of their name; None where that
        is more than control, unless `data` is asked for as well: then it is another round, with other values."""
        words: dict[Key, FollowedWord] = {}
        here = step.before
        while here is not None and here.number >= head.number:
            if here.word is not None:
                words[here.key] = here.word
            here = here.before
        touched = [leaf for leaf in self.following.nexts if any(word.next(leaf) is not leaf for word in words.values())]
        changed: dict[Node, None] = {}
        for leaf in sorted(touched, key=self._is_control):
            if leaf in head.anew or not self._as_before(leaf, head, step):
                if not self._is_control(leaf) and leaf not in head.anew and not data:
                    return None
                changed[leaf] = None
        for one in step.writes[:len(step.writes) - len(head.writes)]:
            leaf = self.terms.leaf("free", one.memory, 1)
            if self._under((one.when,), step.assumed)[0] is self.terms.const(0, 1):
                continue                                # not on the way back to here
            if type(one.when) is Const and leaf not in head.anew and not data:
                return None
            changed[leaf] = None
        return frozenset(changed)

    def _as_before(self, leaf: Node, head: Step, step: Step) -> bool:
        """Whether something holds what it did at the earlier step. On a clock that is held it does by what led here."""
        then, now = self.value(leaf, head), self.value(leaf, step)
        if then is now:
            return True
        then, now = self._under((then, now), step.assumed)
        return then is now

    def _under(self, nodes: tuple[Node, ...], assumed: Mapping[Node, Node]) -> tuple[Node, ...]:
        """The nodes under what is assumed. Along a path values grow by a little in each cycle, and what is assumed
        mostly stays: what came of their parts before is kept."""
        if self._assumed is not assumed:
            self._assumed, self._put = assumed, dict(assumed)
        return substitute_on(self.terms, nodes, self._put)

    def _is_control(self, leaf: Node) -> bool:
        machine = self.following.machine
        return type(leaf) is Leaf and leaf.kind == "state" and leaf.name in machine.states \
            and leaf.name not in machine.visible


def _anew(head: Step, anew: frozenset[Node]) -> Step:
    """The step once more, with so much that may be anything."""
    again = Step(head.before, head.assumed)
    again.key, again.anew = head.key, anew
    havoc = [WrittenWord(leaf.name, leaf, None, leaf, head.number) for leaf in anew
             if type(leaf) is Leaf and leaf.kind == "free"]
    again.writes = (*havoc, *(one for one in head.writes if one.step != head.number))
    return again


def _earlier(step: Step) -> Step | None:
    """The last step before at the same word."""
    here = step.before
    while here is not None and here.key != step.key:
        here = here.before
    return here


def comes_from(step: Step | None, head: Step) -> bool:
    while step is not None and step.number > head.number:
        step = step.before
    return step is head


def _named(leaf: Node) -> str:
    return leaf.name.removesuffix(" held") if type(leaf) is Leaf else "?"


def _start(following: Following, store: str, address: int) -> dict[Node, Node] | None:
    """What is known of what holds the address of a first word; None where it can never be presented."""
    terms = following.terms
    bits: dict[Leaf, dict[int, int]] = {}
    for bit, origin in enumerate(origins(following.machine.stores[store].address)):
        if isinstance(origin, tuple):
            known = bits.setdefault(origin[0], {})
            if known.setdefault(origin[1], address >> bit & 1) != address >> bit & 1:
                return None
        elif origin is not None and origin != address >> bit & 1:
            return None
    return {leaf: terms.join(terms.const(known[bit], 1) if bit in known else terms.slice(leaf, bit, bit)
                             for bit in reversed(range(leaf.width))) for leaf, known in bits.items()
            if leaf.kind in ("state", "register")}


def read(normal: Normal, memory: str, address: Node, width: int, writes: Sequence[WrittenWord]) -> Node:
    """The word of a memory after what was written, the last of it first."""
    terms = normal.terms
    found = terms.cell(memory, address, width)
    for one in reversed(writes):
        if one.memory == memory and one.address is None:
            found = terms.cell(f"{memory} after any number of rounds in cycle {one.step + 1}", address, width)
        elif one.memory == memory and one.address is not None:
            found = terms.if_(terms.and_((one.when, normal.same(address, one.address))), one.value, found)
    return found
