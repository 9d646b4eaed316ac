"""What an instruction does held against what its text says: proved for all values, or shown where they part.

Every path is held against the text by itself, under what led along it.
"""

from collections.abc import Iterable, Mapping
from typing import NamedTuple, get_args

from ordain.control.phases import whole_cycles
from ordain.machine.expression import Leaf, Node, Terms, leaves, substitute
from ordain.machine.model import Effect, Meaning, Memory, Rounds
from ordain.meaning import said
from ordain.meaning.equality import equal, value_of
from ordain.meaning.follow import MOST_ROUNDS, Course, Path, Step, WrittenWord, comes_from, read
from ordain.meaning.following import Following, NotFollowed
from ordain.meaning.lengths import length
from ordain.meaning.model import Question, Values, Way
from ordain.text.source import Span


class Counterexample(NamedTuple):
    """`name`: what holds another value than is said; `address`: of a memory's word. `before`: values for which it does.
    `cycle`, `word`: where the value was loaded, 0 where it never was. `span`: what says it."""

    name: str
    address: int | None
    expected: int
    came: int
    width: int
    before: Values
    cycle: int
    word: str
    key: tuple[int, ...]
    path: tuple[str, ...]
    span: Span


class Outcome(NamedTuple):
    """Of one instruction. `ways`: how it was proved, the hardest of its parts. `why`: it is not known, and for what
    reason. `paths`, `cycles`: how many there are and how long the longest is."""

    title: str
    difference: Counterexample | None
    why: str
    way: Way | None
    paths: int
    cycles: int


_WAYS: tuple[Way, ...] = get_args(Way)      # the easiest first


def outcome(following: Following, title: str, meaning: Meaning) -> Outcome:
    """Of one instruction, as far as the guesses hold; whatever its opcode register holds, or else with its opcode."""
    found = _held_against(following, title, meaning, False)
    opcodes = {leaf.name for leaf in following.found.opcodes}
    if found.way is not None or (found.difference is not None and not any(
            leaf.name.removesuffix(" held") in opcodes for leaf in found.difference.before.leaves)):
        return found
    return _held_against(following, title, meaning, True)


def _held_against(following: Following, title: str, meaning: Meaning, opcode: bool) -> Outcome:
    try:
        paths = _paths(following, title, meaning, opcode)
        way: Way = "rewriting"
        unsure = ""
        for course, path in paths:
            held = _Held(following, course, path, meaning)
            for part in held.every():
                answer = equal(following.normal, part.question)
                if answer.apart is not None and _occurs(course, path):
                    difference = held.told(part, answer.apart)
                    return _outcome(title, difference, "", None, paths)
                if answer.way is None:
                    unsure = answer.why or "control may come round, and then values differ that may not occur"
                else:
                    way = max(way, answer.way, key=_WAYS.index)
        for loop in (course.round for course, _ in paths if course.round):
            unsure = f"it goes round at `{loop}` as often as its data say; {MOST_ROUNDS} rounds agree with the text"
        return _outcome(title, None, unsure, None if unsure else way, paths)
    except NotFollowed as undecided:
        return Outcome(title, None, str(undecided), None, 0, 0)


def questions(following: Following, title: str, meaning: Meaning) -> list[tuple[str, Question]]:
    """What is asked about one instruction, path by path, each with what it is about. Raises Undecided, where the
    answers would not be all that there is to say."""
    found, opcode = [], _held_against(following, title, meaning, False).way is None
    for number, (course, path) in enumerate(_paths(following, title, meaning, opcode), 1):
        if course.round:
            raise NotFollowed(f"it goes round at `{course.round}` as often as its data say")
        found += [(f"path {number}, {part.name}", part.question)
                  for part in _Held(following, course, path, meaning).every()]
    return found


def _paths(following: Following, title: str, meaning: Meaning, opcode: bool) -> list[tuple[Course, Path]]:
    """The paths of an instruction, and the rounds of its loop. Raises NotFollowed."""
    store, addresses = following.contents.labels[title]
    found = []
    for address in sorted(addresses):
        course = Course(following, address, store, meaning.rounds is not None, opcode)
        found += [(course, path) for path in course.paths]
        found += [(course, Path(step, step.assumed)) for step in course.rounds]
    if not found:
        raise NotFollowed("no path of it comes to a boundary")
    return found


def _occurs(course: Course, path: Path) -> bool:
    """Whether values on a path are those of some run: what may be anything, since control may come round, is only what
    a first round may begin with."""
    widened = [step for step in (*_steps(path.end), path.end) if step.anew]
    return all(step.before is None and not step.anew & course.start.keys() for step in widened)


def _outcome(title: str, difference: Counterexample | None, why: str, way: Way | None,
             paths: list[tuple[Course, Path]]) -> Outcome:
    following = paths[0][0].following
    steps = max(length(following, path.end) for _, path in paths)
    return Outcome(title, difference, why, way, len(paths), whole_cycles(following.machine, steps))


class _Part(NamedTuple):
    """A register, or a word of a memory, and the question about it. `place`: the address of the word."""

    name: str
    holder: Leaf | None
    place: Leaf | None
    question: Question
    span: Span


def _over_what_is_held(terms: Terms, meaning: Meaning, kept: dict[Node, Node]) -> Meaning:
    """A meaning in which the name of a latch stands for what it has kept, and not for what it shows when open."""

    def put(node: Node) -> Node:
        return substitute(terms, (node,), kept)[0]

    def done(effects: tuple[Effect, ...]) -> tuple[Effect, ...]:
        return tuple(effect._replace(
            address=None if effect.address is None else put(effect.address),
            value=None if effect.value is None else put(effect.value), when=put(effect.when)) for effect in effects)

    rounds = meaning.rounds
    return meaning._replace(effects=done(meaning.effects), rounds=None if rounds is None else rounds._replace(
        when=put(rounds.when), effects=done(rounds.effects),
        stopped=None if rounds.stopped is None else done(rounds.stopped)))


class _Held:
    """One path held against the text."""

    def __init__(self, following: Following, course: Course, path: Path, meaning: Meaning) -> None:
        self.following, self.course, self.path = following, course, path
        machine, terms = following.machine, following.terms
        kept: dict[Node, Node] = {
            terms.leaf("register", name, register.width): said.holder(machine, name)
            for name, register in machine.registers.items()}
        self.meaning = _over_what_is_held(terms, meaning, kept)
        self.under: dict[Node, Node] = {**course.start, **path.assumed}

    def every(self) -> Iterable[_Part]:
        if self.meaning.rounds is None:
            return self._parts()
        if self.course.head is None:
            raise NotFollowed("its words go round no loop that its data end")
        return self._after_rounds(self.meaning.rounds, self.course.head)

    def _parts(self) -> Iterable[_Part]:
        following, terms, path = self.following, self.following.terms, self.path
        for name, holder in said.holders(following.machine, self.meaning).items():
            wanted = said.of_holder(terms, holder, name, self.meaning)
            came = self.course.value(holder, path.end)
            yield _Part(name, holder, None, Question(wanted.value, came, wanted.defined, self.under), wanted.span)
        for memory, place, under in self._places():
            wanted = said.of_word(following.normal, memory.name, place, memory.bits, self.meaning)
            came = read(following.normal, memory.name, place, memory.bits, path.end.writes)
            yield _Part(memory.name, None, place, Question(wanted.value, came, wanted.defined, under), wanted.span)

    def _places(self) -> Iterable[tuple[Memory, Leaf, Mapping[Node, Node]]]:
        """Of each memory any one of its places, and what holds there."""
        machine, terms = self.following.machine, self.following.terms
        for name in said.memories(machine, self.meaning):
            memory = machine.memories[name]
            place = said.place(memory, terms)
            within = {} if memory.words == 1 << place.width else {
                terms.less(place, terms.const(memory.words, place.width)): terms.const(1, 1)}
            yield memory, place, {**self.under, **within}

    # ------------------------------------------------------------ rounds

    def _after_rounds(self, rounds: Rounds, head: Step) -> Iterable[_Part]:
        """One round from any state in which it may begin leads to what is said of a round, to the beginning of the next
        if that is said to come; and who leaves has done no other round. So by induction for any number of them."""
        terms = self.following.terms
        self._begun_untouched(head)
        going = self.course.at(rounds.when, head, "rounds")
        end = self.path.end
        if not comes_from(end, head):
            raise NotFollowed("it may end before its first round")
        once = self._state(rounds.effects, head)
        if any(end is step for step in self.course.rounds):
            still = list(self._as_said((), head))
            if all(equal(self.following.normal, part.question).way is not None for part in still):
                yield from still                        # it waits there, for a clock that is held, and does no round
                return
            yield _Part("whether another round comes", None, None,
                        Question(terms.const(1, 1), going, terms.const(1, 1), self.under), self.meaning.span)
            yield from self._as_said(rounds.effects, head)
        elif self._never(going):
            yield from self._as_said((), head)
        elif self._never(self.course.at(rounds.when, once, "rounds")):      # the last round, and out of the loop
            yield from self._as_said(tuple(effect._replace(when=terms.and_((rounds.when, effect.when)))
                                           for effect in rounds.effects), head)
        elif rounds.stopped is not None:
            yield _Part("whether it may be stopped", None, None,
                        Question(terms.const(1, 1), going, terms.const(1, 1), self.under), self.meaning.span)
            yield from self._as_said(rounds.stopped, once)
        else:
            yield _Part("whether it ends", None, None,
                        Question(terms.const(0, 1), going, terms.const(1, 1), self.under), self.meaning.span)

    def _never(self, condition: Node) -> bool:
        """Whether a condition is 0 on this path, for all values."""
        terms = self.following.terms
        asked = Question(terms.const(0, 1), condition, terms.const(1, 1), self.under)
        return equal(self.following.normal, asked).way is not None

    def _begun_untouched(self, head: Step) -> None:
        """Before the first round nothing visible has changed."""
        machine, came, began = self.following.machine, Step(head.before, head.assumed), Step(None, {})
        for name, holder in said.holders(machine, self.meaning).items():
            one, other = (self.following.normal.of(self.course.value(holder, step)) for step in (came, began))
            if one is not other:
                raise NotFollowed(f"`{name}` changes before the first round")
        memories = said.memories(machine, self.meaning)
        if any(write.memory in memories for write in head.writes if write.step != head.number):
            raise NotFollowed("memory changes before the first round")

    def _state(self, effects: tuple[Effect, ...], step: Step) -> Step:
        """The state after effects that are done at a step, as a step of its own."""
        terms, machine = self.following.terms, self.following.machine
        meaning = self.meaning._replace(effects=effects, rounds=None)
        after = Step(None, {})
        for name, holder in said.holders(machine, self.meaning).items():
            wanted = said.of_holder(terms, holder, name, meaning)
            if wanted.defined is not terms.const((1 << holder.width) - 1, holder.width):
                raise NotFollowed("a round leaves something undefined")
            after.values[holder] = self.course.at(wanted.value, step, name)
        writes: list[WrittenWord] = []
        for number, effect in enumerate(effects):
            if effect.kind == "memory":
                if effect.address is None or effect.value is None:
                    raise NotFollowed("a round leaves something undefined")
                when, address, value = (self.course.at(node, step, effect.name)
                                        for node in (effect.when, effect.address, effect.value))
                writes.insert(0, WrittenWord(effect.name, when, address, value, number))
        after.writes = (*writes, *step.writes)
        return after

    def _as_said(self, effects: tuple[Effect, ...], step: Step) -> Iterable[_Part]:
        """What the path leaves, and what is said that the effects make of the state of a step."""
        following, terms, path = self.following, self.following.terms, self.path
        wanted = self._state(effects, step)
        for name, holder in said.holders(following.machine, self.meaning).items():
            ones = terms.const((1 << holder.width) - 1, holder.width)
            yield _Part(name, holder, None, Question(wanted.values[holder], self.course.value(holder, path.end), ones,
                                                     self.under), self.meaning.span)
        for memory, place, under in self._places():
            ones = terms.const((1 << memory.bits) - 1, memory.bits)
            said_of_it, came = (read(following.normal, memory.name, place, memory.bits, writes)
                                for writes in (wanted.writes, path.end.writes))
            yield _Part(memory.name, None, place, Question(said_of_it, came, ones, under), self.meaning.span)

    # ------------------------------------------------------------ telling

    def told(self, part: _Part, values: Values) -> Counterexample:
        from_leaves, words = dict(values.leaves), dict(values.words)
        one, other, where = _evaluated((part.question.one, part.question.other, part.question.where),
                                       from_leaves, words)
        steps = _steps(self.path.end)
        loaded = self._loaded(part, steps, from_leaves, words)
        seen = set(leaves(substitute(self.following.terms, part.question[:3], dict(part.question.under))))
        seen |= set(leaves(part.question.under))
        address = None if part.place is None else from_leaves[part.place]
        before = Values({leaf: value for leaf, value in from_leaves.items() if leaf in seen}, words)
        return Counterexample(part.name, address, one & where, other & where, part.question.one.width, before,
                              0 if loaded is None else loaded.number + 1,
                              "" if loaded is None else self.following.name(loaded.key),
                              () if loaded is None else loaded.key,
                              tuple(self.following.name(step.key) for step in steps), part.span)

    def _loaded(self, part: _Part, steps: list[Step], known: dict[Leaf, int],
                words: dict[tuple[str, int], int]) -> Step | None:
        """The last cycle in which it was loaded or written."""
        if part.holder is not None:
            for step, after in reversed(list(zip(steps, [*steps[1:], self.path.end]))):
                if self.course.value(part.holder, step) is not self.course.value(part.holder, after):
                    return step
            return None
        if part.place is None:      # a question about the rounds themselves
            return None
        for one in self.path.end.writes:
            if one.memory == part.name and one.address is not None:
                when, address = _evaluated((one.when, one.address), known, words)
                if when and address == known[part.place]:
                    return next(step for step in steps if step.number == one.step)
        return None


def _steps(end: Step) -> list[Step]:
    found = []
    here = end.before
    while here is not None:
        found.append(here)
        here = here.before
    return found[::-1]


def _evaluated(nodes: tuple[Node, ...], known: dict[Leaf, int], words: dict[tuple[str, int], int]) -> list[int]:
    """Values of terms; what has none yet is 0 from here on."""

    return value_of(nodes, lambda leaf: known.setdefault(leaf, 0),
                    lambda memory, address, bits: words.setdefault((memory, address), 0))

