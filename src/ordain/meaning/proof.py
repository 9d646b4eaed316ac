"""What an instruction does held against what its text says: proved for all values, or shown where they part.

Every path is held against the text by itself, under what led along it.
"""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from ordain.logic.putting import put_in
from ordain.machine.expression import Leaf, Node, leaves, substitute
from ordain.machine.model import Meaning
from ordain.meaning import said
from ordain.meaning.equality import equal, value_of
from ordain.meaning.follow import MOST_ROUNDS, Course, Following, Path, Step, Undecided, Written, read
from ordain.meaning.model import Question, Values, Way
from ordain.text.source import Span


class Difference(NamedTuple):
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
    difference: Difference | None
    why: str
    way: Way | None
    paths: int
    cycles: int


_HARDER: Mapping[Way, int] = {"rewriting": 0, "cases": 1, "solver": 2}


def outcome(following: Following, title: str, meaning: Meaning) -> Outcome:
    """Of one instruction, as far as the guesses hold."""
    contents = following.contents
    store, addresses = contents.labels[title]
    paths: list[tuple[Course, Path]] = []
    try:
        for address in sorted(addresses):
            course = Course(following, address, store)
            paths += [(course, path) for path in course.paths]
        if not paths:
            raise Undecided("no path of it comes to a boundary")
        way: Way = "rewriting"
        unsure = ""
        for course, path in paths:
            held = _Held(following, course, path, meaning)
            for part in held.parts():
                answer = equal(following.normal, part.question)
                if answer.apart is not None and not path.wide:
                    difference = held.told(part, answer.apart)
                    return _outcome(title, difference, "", None, paths)
                if answer.way is None:
                    unsure = answer.why or "control may come round, and then values differ that may not occur"
                elif _HARDER[answer.way] > _HARDER[way]:
                    way = answer.way
        loop = next((course.round for course, _ in paths if course.round), "")
        if loop and not unsure:
            unsure = f"it goes round at `{loop}` as often as its data say; {MOST_ROUNDS} rounds agree with the text"
        return _outcome(title, None, unsure, None if unsure else way, paths)
    except Undecided as undecided:
        return _outcome(title, None, str(undecided), None, paths)


def _outcome(title: str, difference: Difference | None, why: str, way: Way | None,
             paths: list[tuple[Course, Path]]) -> Outcome:
    return Outcome(title, difference, why, way, len(paths), max((path.end.number for _, path in paths), default=0))


class _Part(NamedTuple):
    """A register, or a word of a memory, and the question about it. `place`: the address of the word."""

    name: str
    holder: Leaf | None
    place: Leaf | None
    question: Question
    span: Span


class _Held:
    """One path held against the text."""

    def __init__(self, following: Following, course: Course, path: Path, meaning: Meaning) -> None:
        self.following, self.course, self.path = following, course, path
        machine, terms = following.machine, following.terms
        kept: dict[Node, Node] = {
            terms.leaf("register", name, register.width): said.holder(machine, name)
            for name, register in machine.registers.items() if register.transparent}
        if kept:
            meaning = meaning._replace(effects=tuple(effect._replace(
                address=None if effect.address is None else substitute(terms, (effect.address,), kept)[0],
                value=None if effect.value is None else substitute(terms, (effect.value,), kept)[0],
                when=substitute(terms, (effect.when,), kept)[0]) for effect in meaning.effects))
        self.meaning = meaning
        self.under: dict[Node, Node] = {**(course.start or {}), **path.assumed}

    def parts(self) -> Iterable[_Part]:
        following, terms, path = self.following, self.following.terms, self.path
        for name, holder in said.holders(following.machine, self.meaning).items():
            wanted = said.of_holder(terms, holder, name, self.meaning)
            came = self.course.value(holder, path.end)
            yield _Part(name, holder, None, Question(wanted.value, came, wanted.defined, self.under), wanted.span)
        for name in said.memories(following.machine, self.meaning):
            if self._as_written(name):
                continue
            memory = following.machine.memories[name]
            place = terms.leaf("free", f"a place in `{name}`", memory.address.width)
            wanted = said.of_word(following.normal, name, place, memory.bits, self.meaning)
            came = read(following.normal, name, place, memory.bits, path.end.writes)
            under = self.under if memory.words == 1 << place.width else {
                **self.under, terms.less(place, terms.const(memory.words, place.width)): terms.const(1, 1)}
            if type(place) is Leaf:
                yield _Part(name, None, place, Question(wanted.value, came, wanted.defined, under), wanted.span)

    def _as_written(self, memory: str) -> bool:
        """Whether what was written is word for word what is said."""
        normal, terms = self.following.normal, self.following.terms
        effects = [effect for effect in self.meaning.effects if effect.name == memory]
        wanted = [Written(memory, effect.when, effect.address, effect.value, 0) for effect in reversed(effects)
                  if effect.address is not None and effect.value is not None]
        if len(wanted) < len(effects):
            return False
        found = [one for one in self.path.end.writes if one.memory == memory]
        if len(found) != len(wanted):
            return False

        def form(one: Written) -> list[Node | None]:
            nodes = [node for node in (one.when, one.address, one.value) if node is not None]
            return [normal.of(node) for node in substitute(terms, tuple(nodes), self.under)]

        return all(form(one) == form(other) for one, other in zip(wanted, found))

    # ------------------------------------------------------------ telling

    def told(self, part: _Part, values: Values) -> Difference:
        from_leaves, words = dict(values.leaves), dict(values.words)
        one, other, where = _evaluated((part.question.one, part.question.other, part.question.where),
                                       from_leaves, words)
        steps = _steps(self.path.end)
        loaded = self._loaded(part, steps, from_leaves, words)
        seen = set(leaves(put_in(self.following.terms, part.question[:3], dict(part.question.under))))
        seen |= set(leaves(part.question.under))
        address = None if part.place is None else from_leaves[part.place]
        before = Values({leaf: value for leaf, value in from_leaves.items() if leaf in seen}, words)
        return Difference(part.name, address, one & where, other & where, part.question.one.width, before,
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
        for one in self.path.end.writes:
            if one.memory == part.name and one.address is not None and part.place is not None:
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

