"""Changes made by chance to the text of a machine: some that keep what it does, some that (mostly) do not."""

import re
from collections.abc import Callable
from random import Random
from typing import NamedTuple

from tests.judge.shuffling import shuffled
from tests.judge.tool import Text

NAMES = {"second": "renamed", "first": "begin", "late": "tardy", "flag": "banner", "jump": "leap", "loud": "shrill",
         "pulse": "beat", "low": "under", "one": "uno", "tested": "asked_for"}
"""What may be called otherwise. Those that are names of codes or labels as well are renamed all at once."""
SWAPS = (("pulse", "grant", "low", "key"), ("source is one", "source is two", "source is none"),
         ("load is a", "load is b", "load is ir"), ("source one", "source two"), ("load a", "load b", "load ir"))
TARGETS = ("first", "second")


class Change(NamedTuple):
    """`names`: new name -> old name. `moves`: words may stand elsewhere."""

    kind: str
    text: Text
    names: dict[str, str]
    moves: bool
    keeps: bool


def change(text: Text, rng: Random) -> Change:
    made: Callable[[Text, Random], Change] = rng.choice((_renamed, _renamed, _reordered, _moved, _edited, _edited,
                                                         _edited, _edited))
    return made(text, rng)


def _renamed(text: Text, rng: Random) -> Change:
    old = rng.choice([name for name in NAMES if re.search(rf"\b{name}\b", text.machine + text.micro)])
    new = NAMES[old]
    there = re.compile(rf'\b{old}\b(?=(?:[^"]*"[^"]*")*[^"]*$)', re.MULTILINE)
    quoted = Text(*(there.sub(new, each) for each in text))
    return Change(f"{old} is called {new}", quoted, {new: old}, False, True)


def _reordered(text: Text, rng: Random) -> Change:
    return Change("statements reordered", shuffled(text, rng), {}, False, True)


def _moved(text: Text, rng: Random) -> Change:
    """Routines and instructions in another order; `others` and maps may stand anywhere."""
    bodies: list[list[str]] = []
    for line in text.micro.splitlines():
        if line.startswith(" "):
            bodies[-1].append(line)
        else:
            bodies.append([line])
    rng.shuffle(bodies)
    micro = "\n".join(line for body in bodies for line in body) + "\n"
    return Change("bodies in another order", text._replace(micro=micro), {}, True, True)


def _edited(text: Text, rng: Random) -> Change:
    """One word of one line is another one, or a clause comes or goes."""
    for _ in range(50):
        new = rng.choice((_in_micro, _in_micro, _in_machine))(text, rng)
        if new is not None and new != text:
            return Change("edited", new, {}, True, False)
    return Change("as it was", text, {}, False, True)


def _in_micro(text: Text, rng: Random) -> Text | None:
    lines = text.micro.splitlines()
    places = [n for n, line in enumerate(lines) if line.startswith(" ") and ":" not in line
              and not line.strip().startswith(("when", "otherwise"))]
    place = rng.choice(places)
    clauses = lines[place].strip().split(", ")
    kind = rng.choice(("add", "drop", "swap", "target"))
    if kind == "add":
        clause = rng.choice(("pulse", "grant", "low", "source two", "load b"))
        if any(each.split()[0] == clause.split()[0] for each in clauses):
            return None
        clauses.append(clause)
    elif kind == "drop" and len(clauses) > 1:
        dropped = rng.randrange(len(clauses))
        if clauses[dropped].startswith(("branch", "target")):
            return None
        clauses.pop(dropped)
    elif kind == "target":
        clauses = [re.sub(r"(target )(first|second)$", lambda m: m[1] + rng.choice(TARGETS), each) for each in clauses]
    else:
        clauses = [_swapped(each, rng) if rng.random() < 0.5 else each for each in clauses]
    lines[place] = "        " + ", ".join(clauses)
    return text._replace(micro="\n".join(lines) + "\n")


def _in_machine(text: Text, rng: Random) -> Text | None:
    lines = text.machine.splitlines()
    starts = ("    driven", "    sampled", "    loads", "register", "latch", "signal", "constant", "state", "    word",
              "        ", "    next")
    place = rng.choice([n for n, line in enumerate(lines) if line.startswith(starts)])
    line = lines[place]
    if "reset" in line and rng.random() < 0.5:
        line = re.sub(r"reset (\d)", lambda m: f"reset {int(m[1]) ^ 1}", line)
    elif rng.random() < 0.2:
        line = re.sub(r"(is|in \(|=) ([01])\b", lambda m: f"{m[1]} {int(m[2]) ^ 1}", line, count=1)
    elif rng.random() < 0.2:
        line = re.sub(r" (and|xor) ", lambda m: " xor " if m[1] == "and" else " and ", line, count=1)
    else:
        line = _swapped(line, rng)
    lines[place] = line
    return text._replace(machine="\n".join(lines) + "\n")


def _swapped(line: str, rng: Random) -> str:
    for group in rng.sample(SWAPS, len(SWAPS)):
        found = [word for word in group if re.search(rf"\b{word}\b", line)]
        if found:
            old = rng.choice(found)
            return re.sub(rf"\b{old}\b", rng.choice([word for word in group if word != old]), line, count=1)
    return line
