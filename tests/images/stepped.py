"""The same for stores that are addressed by instruction and step: arms, a prologue, families, sequences, slices.

A body is a list of words and of arms; which words it comes to depends on the levels of the address lines.
"""

from collections.abc import Mapping
from itertools import product
from typing import Any, NamedTuple

from tests.images.chips import Board, Chip, Choose, shuffled, statements, wired
from tests.images.programs import OPCODES, Field, Making, Word, laid
from tests.images.walking import unlike_fields


class Arms(NamedTuple):
    """`arms`: the line that each asks about, its level, and what is under it; None for what is otherwise."""

    arms: tuple[tuple[tuple[str, int] | None, "Body"], ...]


Body = tuple[Word | Arms, ...]


class Stepped(NamedTuple):
    """`order`: what the address is made of, the highest first: `lines`, "ir", "step". `owners`: the body for each
    opcode, and what `{d}` is in it. `steps`: bits of the step; `turns`: the numbers that it goes through."""

    machine: str
    micro: str
    order: tuple[str, ...]
    steps: int
    turns: tuple[int, ...]
    fields: Mapping[str, Field]
    spares: Mapping[int, int]
    codes: Mapping[int, str]
    prologue: Body
    owners: tuple[Body, ...]
    unused: Mapping[str, int] | None
    parity: int
    chips: tuple[Chip, ...]


def stepped(choose: Choose) -> Stepped:
    return _Stepping(choose).made()


class _Stepping(Making):
    def made(self) -> Stepped:
        choose = self.choose
        self.lines = ["c0", "c1", "c2"][:choose((0, 1, 2, 2, 3))]
        self.steps: int = choose((2, 3, 3, 3))
        self.order = shuffled(choose, [*self.lines, "ir", "step"])
        slices = self.some(2)
        ir, count = ("ir[4:2]", "count[2:1]" if self.steps == 2 else "count[3:1]") if slices else ("ir", "count")
        names = shuffled(choose, ["on", "end"])
        below = [f"{name} {number}{' idle' if name == 'on' else ''}" for number, name in enumerate(names)]
        layout = laid(choose, [("branch", 1, "", below, False), *self.common()])
        prologue, text = self.body(choose((0, 0, 1)), 0) if self.some(3) else ((), [])
        micro = ["prologue", *text] if prologue else []
        owners: dict[int, Body] = {}
        micro += ["sequence pass <m> <n>", "        mark <m>, pulse", "        mark <n>"]
        if self.some(2):
            body, text = self.body(choose((1, 2)), 1, member=True)
            micro += ['instruction 0b11d "give {d}" for d in (a, b)', *text]
            owners |= {6: body, 7: _with(body, 2)}
        for opcodes, title, codes in (((4, 5), "one", "0b10x"), ((3, 0), "two", "3, 0"), (range(8), "rest", "others")):
            body, text = self.body(choose((1, 2)), 1)
            micro += [f'instruction {codes} "{title}"', *text]
            owners = {**dict.fromkeys(opcodes, body), **owners}
        unused, said = None, []
        if self.some(3):
            unused, said = {"mark": 127, "src": 0, "dst": 0, "pulse": 1, "low": 0}, ["    unused mark 127, pulse"]
        width = 3 + self.steps + len(self.lines)
        chips = wired(choose, {"control": layout.width}, {"control": width})
        shown = [ir if part == "ir" else count if part == "step" else part for part in self.order]
        more = self.steps + 1 if slices else self.steps
        by = "0b10" if slices else "1"
        ring = not slices and self.some(2)
        turns = _twisted(self.steps) if ring else tuple(range(1 << self.steps))
        following = f"{{not count[0], count[{self.steps - 1}:1]}}" if ring else f"count + {by}"
        machine = ['machine made "by chance"', 'microprogram "m.micro"',
                   f"store control {1 << width} words of {layout.width} bits", f"    address {{{', '.join(shown)}}}",
                   f"    instruction {ir}",
                   f"    step {count}" + (f" in ({', '.join(map(bin, turns))})" if ring else ""), *said,
                   *layout.text, *self.data(),
                   *(["register ir 6 bits, loads {0b0, data, 0b1} when low"] if slices
                     else ["register ir 3 bits, loads data[2:0] when low"]),
                   f"state count {more} bits, reset 0", f"    next 0 if branch is end else {following}",
                   "home count is 0", *self.orders, *statements(chips)]
        return Stepped("\n".join(machine) + "\n", "\n".join(micro) + "\n", tuple(self.order), self.steps, turns,
                       layout.fields, layout.spares, dict(enumerate(names)), prologue,
                       tuple(owners[opcode] for opcode in range(OPCODES)), unused, self.parity, tuple(chips))

    def word(self, ends: bool, member: bool = False) -> tuple[Word, str]:
        sets, clauses = self.settings()
        if member:
            sets = {"mark": self.mark, "src": 1, "dst": 0, "pulse": 0, "low": 0}
            clauses = [f"mark {self.mark}", "src {d}"]
        clauses += ["branch end"] if ends else ["branch on"] if self.some(4) else []
        return Word(sets, ("end",) if ends else ("on",)), ", ".join(shuffled(self.choose, clauses))

    def body(self, before: int, after: int, depth: int = 0, member: bool = False,
             asked: tuple[str, ...] = ()) -> tuple[Body, list[str]]:
        """Words, then arms or a last word, if `after`; with its lines. `asked`: address lines that led here, which are
        seldom asked about again: no level would."""
        pad, items, text = "        " * (depth + 1), list[Any](), list[str]()
        free = [line for line in self.lines if line not in asked or self.some(12)]
        for number in range(before):
            if self.some(5) and self.steps == 3 and not member:
                items += [Word({"mark": self.mark + 1 + each, "pulse": 1 - each, "src": 0, "dst": 0, "low": 0}, ("on",))
                          for each in (0, 1)]
                text.append(f"{pad}pass {self.mark + 1} {self.mark + 2}")
                self.mark += 2
                continue
            word, line = self.word(False, member and number == 0)
            items.append(word)
            text.append(pad + line)
        if not before and not after:
            word, line = self.word(False)
            return (word,), [pad + line]
        if after and free and depth < 2 and self.some(2):
            arms: list[Any] = []
            for line in shuffled(self.choose, free)[:self.choose((1, 1, 2))]:
                level, asked = self.choose((0, 1)), (*asked, line)
                inner, lines = self.body(self.choose((0, 1)), 1, depth + 1, asked=asked)
                arms.append(((line, level), inner))
                shown = self.choose((f"{line} is 1", line)) if level else self.choose((f"not {line}", f"{line} is 0"))
                text += [f"{pad}when {shown}", *lines]
            inner, lines = self.body(self.choose((0, 1)), 1, depth + 1, asked=asked)
            arms.append((None, inner))
            text += [f"{pad}otherwise", *lines]
            items.append(Arms(tuple(arms)))
            if self.some(3):
                word, last = self.word(True)
                items.append(word)
                text.append(pad + last)
        elif after:
            word, line = self.word(True)
            items.append(word)
            text.append(pad + line)
        return tuple(items), text


def _twisted(bits: int) -> tuple[int, ...]:
    """What a ring of so many flip-flops shows whose last one is turned on its way to the first: 00, 10, 11, 01."""
    found, now = [0], 1 << bits - 1
    while now:
        found.append(now)
        now = now >> 1 | (1 - now % 2) << bits - 1
    return tuple(found)


def _with(body: Body, src: int) -> Body:
    """The body of another member: its first word puts something else."""
    first = body[0]
    assert isinstance(first, Word)
    return first._replace(sets={**first.sets, "src": src}), *body[1:]


def words_of(body: Body, levels: Mapping[str, int]) -> list[Word]:
    """The words that a body comes to, step by step; of arms the first one whose condition holds."""
    found: list[Word] = []
    for item in body:
        if isinstance(item, Word):
            found.append(item)
        else:
            found += next(words_of(inner, levels) for asked, inner in item.arms
                          if asked is None or levels[asked[0]] == asked[1])
    return found


def cannot(program: Stepped) -> set[str]:
    """Why it cannot be built: names of errors."""
    lines = [part for part in program.order if part not in ("ir", "step")]
    every = [dict(zip(lines, levels)) for levels in product((0, 1), repeat=len(lines))]
    found = set()
    for body in (program.prologue, *program.owners):
        chosen = {word.sets["mark"] for known in every for word in words_of(body, known)}
        found |= {"never-chosen"} if {word.sets["mark"] for word in _all(body)} - chosen else set()
        longest = max(len(words_of(program.prologue, known)) + len(words_of(body, known)) for known in every)
        found |= {"over-full"} if body is not program.prologue and longest > len(program.turns) else set()
    return found


def _all(body: Body) -> list[Word]:
    return [word for item in body for word in
            ([item] if isinstance(item, Word) else [one for _, inner in item.arms for one in _all(inner)])]


def differences(program: Stepped, board: Board) -> list[str]:
    """Every address held against the word that its instruction has at its step, for these levels of the lines."""
    wrong: list[str] = []
    lines = [part for part in program.order if part not in ("ir", "step")]
    for levels in product((0, 1), repeat=len(lines)):
        known = dict(zip(lines, levels))
        for opcode, number in product(range(OPCODES), range(1 << program.steps)):
            step = program.turns.index(number) if number in program.turns else 1 << program.steps
            address = 0
            for part in program.order:
                size = {"ir": 3, "step": program.steps}.get(part, 1)
                address = address << size | {**known, "ir": opcode, "step": number}[part]
            words = [*words_of(program.prologue, known), *words_of(program.owners[opcode], known)]
            try:
                found = _at(program, board, words[step] if step < len(words) else None, address)
            except ValueError as two:
                return [str(two)]
            wrong += [f"opcode {opcode}, step {number}, {known}: {one}" for one in found]
    return [*wrong, *board.strays()][:6]


def _at(program: Stepped, board: Board, word: Word | None, address: int) -> list[str]:
    if word is None and program.unused is None:
        return [] if board.erased("control", address) else ["not erased"]
    wanted = Word(program.unused, ("on",)) if word is None and program.unused is not None else word
    assert wanted is not None
    found = unlike_fields(program.fields, program.spares, program.parity, board, wanted, address)
    way = program.codes[program.fields["branch"].read(board.word("control", address))]
    return found + ([] if way == wanted.flow[0] else [f"branch is {way}"])
