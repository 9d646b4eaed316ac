"""Meanings held against runs: of machines by chance every instruction as `ordain meaning` prints it, and with one thing
changed."""

import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from time import monotonic
from typing import NamedTuple

from ordain.control.system import build_system
from ordain.machine.expression import Leaf
from ordain.meaning.guessing import under_guesses
from ordain.meaning.proof import Outcome
from ordain.meaning.run import outcomes
from ordain.meaning.telling import told
from ordain.pipeline import build_model
from ordain.prover.decide import ProofRounds
from tests.meaning.boards import FLAGS, HOME, Board, Seen, drawn, machine_text, obeyed, once, program_text
from tests.meaning.expressions import Value, worked_out
from tests.meaning.manual import Bits

RUNS, CYCLES = 24, 250

TRIES = 300
"""With the values for which something else is said to come, and anything in what is open."""


MOST_ROUNDS = 1000


class State(NamedTuple):
    """What is held, and of which of its bits and words nothing is said."""

    held: dict[str, int]
    ram: list[int]
    bits: dict[str, int]
    words: set[int]


class Beyond(Exception):
    """A word is read that the memory does not have."""


def number_of(value: Bits | int) -> int:
    return value.value if isinstance(value, Bits) else value


def samples(board: Board, seed: int) -> dict[str, list[Seen]]:
    found: dict[str, list[Seen]] = {}
    for number in range(RUNS):
        for one in obeyed(board, seed * 1000 + number, CYCLES):
            found.setdefault(one.title, []).append(one)
    return found


def refuted(board: Board, meaning: Sequence[str], seen: Sequence[Seen]) -> Seen | None:
    """A time when the instruction did something else than is said."""
    for one in seen:
        try:
            if not _as_said(board, meaning, one):
                return one
        except Beyond:
            continue
    return None


def _as_said(board: Board, meaning: Sequence[str], one: Seen) -> bool:
    state = State(dict(one.before), list(one.ram_before), dict.fromkeys(one.before, 0), set())
    condition, effects = "", list(meaning)
    if meaning and meaning[0].startswith("while "):
        condition, effects[0] = meaning[0].removeprefix("while ").split(": ", 1)
        for _ in range(MOST_ROUNDS):
            if not number_of(worked_out(condition, *_read(board, state))):
                break
            _brought_about(board, effects, state)
    else:
        _brought_about(board, effects, state)
    named = {*board.visible, *(effect.split(" <- ")[0].split("[")[0] for effect in effects if " <- " in effect)}
    if "ram" in named and any(word != one.ram_after[at] for at, word in enumerate(state.ram) if at not in state.words):
        return False
    return all((state.held[name] ^ one.after[name]) & ~state.bits[name] == 0 for name in named - {"ram"})


def _read(board: Board, state: State) -> tuple[dict[str, Bits], Callable[[str, Value], Bits]]:
    """What stands in registers and the memory, as it is now."""
    ram = tuple(state.ram)

    def word(_: str, at: Value) -> Bits:
        if number_of(at) >= board.words:                # what is read beyond the end is anything
            raise Beyond
        return Bits(ram[number_of(at)], board.width)

    return {name: Bits(value, width_of(board, name)) for name, value in state.held.items()}, word


def _brought_about(board: Board, effects: Sequence[str], state: State) -> None:
    """The effects on a state, over what stood there before."""
    names, word = _read(board, state)

    def value_of(text: str) -> int:
        return number_of(worked_out(text, names, word))

    for effect in effects:
        if effect == "nothing":
            continue
        if effect.startswith("let "):
            name, text = effect[4:].split(" = ", 1)
            value = worked_out(text, names, word)
            assert isinstance(value, Bits)
            names[name] = value
            continue
        place, text = effect.split(" <- ", 1)
        text, _, when = text.partition(" when ")
        if when and not value_of(when):
            continue
        name, _, inside = place.removesuffix("]").partition("[")
        if name == "ram":
            places = {value_of(inside)} if inside else set(range(board.words))
            if text == "undefined":
                state.words.update(places)
            else:
                state.words.difference_update(places)
                state.ram[:] = [value_of(text) if at in places else held for at, held in enumerate(state.ram)]
            continue
        high, _, low = inside.partition(":") if inside else (str(width_of(board, name) - 1), "", "0")
        mask = (2 << int(high)) - (1 << int(low or high))
        if text == "undefined":
            state.bits[name] |= mask
        else:
            state.bits[name] &= ~mask
            state.held[name] = state.held[name] & ~mask | value_of(text) << int(low or high) & mask


def width_of(board: Board, name: str) -> int:
    return 1 if name in (*FLAGS, "thief.takes") else board.width


def examined(seed: int, directory: Path, counts: Counter[str], claims: int = 4) -> Iterator[str]:
    """What is wrong with the meanings of a machine: as they are printed, and so many times with one thing changed."""
    board, machine, micro = drawn(seed), directory / "quern.machine", directory / "quern.micro"
    machine.write_text(machine_text(board))
    micro.write_text(program_text(board, {}))
    built, findings = build_model(machine)
    if built is None:
        yield f"refused: {findings[0].name}: {findings[0].message}"
        return
    counts["machines"] += 1
    titles = [title for title in board.bodies if title != HOME[0] and title not in board.loops]
    seen = samples(board, seed)
    decide = ProofRounds(build_system(built.contents)).decide
    printed, unsure, _ = under_guesses(built.contents, decide, titles, told)
    said: dict[str, Sequence[str]] = {
        title: one.effects for title, one in printed.items() if not one.why and title not in unsure}
    for title, (condition, once_round) in board.loops.items():
        if (effects := said.get(once_round)) and not any("undefined" in effect for effect in effects):
            said[title] = [f"while {condition}: {effects[0]}", *effects[1:]]
    counts.update(f"not printed: {printed[title].why.partition('`')[0].strip()}" for title in titles
                  if title not in said)
    chance = Random(seed)
    rounds = [said, *({title: changed(chance, effects) for title, effects in said.items()} for _ in range(claims))]
    for number, meanings in enumerate(rounds):
        micro.write_text(program_text(board, {title: ", ".join(effects) for title, effects in meanings.items()}))
        built, _ = build_model(machine)
        if built is None:
            counts["cannot be read"] += 1
            continue
        decide = ProofRounds(build_system(built.contents)).decide
        for title, one in outcomes(built.contents, decide)[0].items():
            for wrong in _disagreeing(board, one, meanings[title], seen.get(title, []), chance, counts):
                yield f"`{title}` means {', '.join(meanings[title])}: {wrong}"
            if number == 0 and (one.difference is not None or (one.why and title not in board.loops)):
                yield f"`{title}` means {', '.join(meanings[title])}: printed, and {one.why or one.difference}"


def _disagreeing(board: Board, one: Outcome, meaning: Sequence[str], seen: Sequence[Seen], chance: Random,
                 counts: Counter[str]) -> Iterator[str]:
    wrong = refuted(board, meaning, seen)
    if one.difference is None and not one.why:
        counts["rounds proved" if one.title in board.loops else "proved"] += 1
        if wrong is not None:
            yield f"proved, and not so: {wrong}"
    elif one.difference is not None:
        counts["rounds broken" if one.title in board.loops else "broken"] += 1
        if wrong is None and one.title not in board.loops:          # a round is held to what is said in any state
            before = one.difference.before
            held = {leaf.name.removesuffix(" held"): value for leaf, value in before.leaves.items()
                    if isinstance(leaf, Leaf)}
            ram = {address: value for (memory, address), value in before.words.items() if memory == "ram"}
            wrong = refuted(board, meaning, [
                seen for _ in range(TRIES) for seen in once(board, one.title, held, ram, chance)])
        if wrong is None and one.title not in board.loops:
            yield f"broken, and never seen: {one.difference}"
    else:
        counts[f"{'rounds ' if one.title in board.loops else ''}undecided: {one.why.partition('`')[0].strip()}"] += 1


def hunt(seconds: float, seed: int) -> Counter[str]:
    """As many machines as fit into the time, from this seed on; what is found is printed."""
    counts: Counter[str] = Counter()
    end = monotonic() + seconds
    while monotonic() < end:
        with TemporaryDirectory() as name:
            for wrong in examined(seed, Path(name), counts):
                counts["disagreeing"] += 1
                print(f"seed {seed}: {wrong}", flush=True)
        seed += 1
    return counts


def changed(chance: Random, effects: Sequence[str]) -> list[str]:
    """The same with one thing changed, which may be one that makes no difference."""
    found = [effect for effect in effects if effect != "nothing"]
    names = ["a", "b", "pc"]
    kind = chance.choice(("drop", "add", "name", "sign", "number", "when", "name", "undefine"))
    if not found or kind == "add":
        found.append(chance.choice((f"{chance.choice(names)} <- {chance.choice(names)}", "z <- c",
                                    f"ram[{chance.choice(names)}] <- {chance.choice(names)}", "pc <- pc + 1")))
        return found
    at = chance.randrange(len(found))
    effect = found[at]
    if kind == "drop":
        found.pop(at)
    elif kind == "undefine" and not effect.startswith("let "):
        name = effect.split(" <-")[0]
        found[at] = f"{name.split('[')[0] if not name.startswith('ram') else name} <- undefined"
    elif kind == "when" and " when " not in effect and not effect.startswith("let "):
        found[at] = f"{effect} when {chance.choice(('z', 'c', 'a is 0', 'a < b'))}"
    else:
        pattern, others = {"name": (r"\b(a|b|t|pc|mar)\b", ["a", "b", "t", "pc", "mar"]),
                           "sign": (r"(?<= )(\+|-|and|or|xor)(?= )", ["+", "-", "and", "or", "xor"]),
                           "number": (r"\b[01]\b", ["0", "1"])}.get(kind, (r"\b(z|c)\b", ["z", "c"]))
        left, arrow, right = effect.partition("<-" if "<-" in effect else "=")
        places = list(re.finditer(pattern, right))
        if places:
            place = chance.choice(places)
            found[at] = left + arrow + right[:place.start()] + chance.choice(others) + right[place.end():]
    return found or ["nothing"]
