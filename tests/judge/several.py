"""Two versions between which several things were changed, one after another: what a change hides or makes up for of
another shows only in both together. Among them two things that exchange their names, everywhere or but for one line."""

import re
from random import Random

from tests.judge.changes import SWAPS, Change, change
from tests.judge.tool import Text
from tests.judge.wiring import rewired

EXCHANGED = (*SWAPS, ("jump", "late"), ("zero", "ones"), ("low", "loud"), ("first", "second"), ("key", "flag"))


def many(text: Text, seed: int) -> Change:
    """The change that goes with a seed."""
    rng = Random(f"several {seed}")
    made = Change("", text, {}, False, True)
    for number in range(rng.randint(2, 4)):
        way = rng.random()
        try:
            more = change(made.text, rng) if way < 0.5 else exchanged(made.text, rng) if way < 0.8 else \
                rewired(made.text, seed + number)
        except IndexError:      # of a text that was cut down too far
            continue
        names = {new: made.names.get(old, old) for new, old in more.names.items()}
        gone = set(more.names.values())
        made = Change("; ".join(filter(None, (made.kind, more.kind))), more.text,
                      {**{new: old for new, old in made.names.items() if new not in gone}, **names},
                      made.moves or more.moves, made.keeps and more.keeps)
    if made.names and "other words" in made.kind:   # that something goes by another name now can be told no more
        made = made._replace(keeps=False)
    return made


def exchanged(text: Text, rng: Random) -> Change:
    """Two phrases, one for the other, in both files; in half of all cases one line stays as it was."""
    whole = "\n".join(text)
    groups = [found for group in EXCHANGED
              if len(found := [each for each in group if re.search(rf"\b{each}\b", whole)]) > 1]
    one, other = rng.sample(rng.choice(groups), 2)
    there = re.compile(rf"\b({one}|{other})\b")
    lines = [(each, line) for each, part in enumerate(text) for line in part.splitlines()]
    having = [number for number, (_, line) in enumerate(lines) if there.search(line)]
    kept = rng.choice(having) if rng.random() < 0.5 else -1
    new = [(each, line if number == kept else there.sub(lambda found: other if found[1] == one else one, line))
           for number, (each, line) in enumerate(lines)]
    return Change(f"{one} and {other} exchanged" + (" but for a line" if kept >= 0 else ""),
                  Text(*("\n".join(line for at, line in new if at == each) + "\n" for each in range(len(text)))),
                  {}, True, False)
