"""Conditions and rules made by chance over the names that a machine has."""

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

FORMS = ("never P", "never P", "never P and Q", "never P and Q", "reach P", "always reach P",
         "when P then Q within N cycles", "when P then Q within N cycles unless R", "between P and Q never R",
         "between P and Q never R after S", "after P never Q until R", "after P never Q until R")


class Value(NamedTuple):
    """Something wider than a bit, or with names of codes."""

    name: str
    width: int
    codes: tuple[str, ...] = ()


class Vocabulary:
    """`hardware(depth)`: what hardware can compute; `rule(depth)`: a condition of rules, with labels and `prior`."""

    def __init__(self, choose: Callable[[Sequence[Any]], Any]) -> None:
        self.choose = choose
        self.bits: list[str] = []
        self.values: list[Value] = []
        self.places: list[str] = []
        self.constants: list[str] = []
        self._rare: list[Value] = []

    def bit(self, name: str) -> None:
        self.bits.append(name)

    def value(self, value: Value, rare: bool = False) -> None:
        (self._rare if rare else self.values).append(value)

    def field(self, name: str, width: int, codes: tuple[str, ...]) -> None:
        self.values.append(Value(name, width, codes))

    def hardware(self, depth: int) -> str:
        return self._condition(depth, False)

    def rule(self, depth: int) -> str:
        return self._condition(depth, True)

    def statement(self) -> str:
        words = []
        for word in self.choose(FORMS).split():
            if word in ("P", "Q", "R", "S"):
                words.append(f"({self.rule(self.choose((0, 1, 1, 2)))})")
            else:
                words.append(str(self.choose((0, 1, 2, 3, 5, 8))) if word == "N" else word)
        return " ".join(words)

    # ------------------------------------------------------------

    def _condition(self, depth: int, ruled: bool) -> str:
        if depth == 0:
            return self._atom(ruled)
        shape = self.choose(("not A", "A and B", "A and not B", "A or B", "A xor B", "A", "A if B else C", "A and B",
                             *(("prior(A)", "A and prior(B)", "prior(A and prior(B))", "A is not prior(A)")
                               if ruled else ())))
        one, two, three = (f"({self._condition(depth - 1, ruled)})" for _ in range(3))
        return "".join({"A": one, "B": two, "C": three}.get(word, word) for word in _words(shape))

    def _atom(self, ruled: bool) -> str:
        kinds = ["bit", "bit", "bit", "value"] + (["place"] if ruled and self.places else [])
        kind = self.choose(kinds)
        if kind == "place":
            return str(self.choose(self.places))
        if kind == "bit" or not self.values:
            return str(self.choose(self.bits))
        value = self.choose(self._rare if self._rare and self.choose((True, False, False, False)) else self.values)
        return self._compared(value)

    def _compared(self, value: Value) -> str:
        if value.codes:
            one, two = self.choose(value.codes), self.choose(value.codes)
            return str(self.choose((f"{value.name} is {one}", f"{value.name} is not {one}",
                                    f"{value.name} in ({one}, {two})", f"{value.name} not in ({one}, {two})"
                                    if one != two else f"{value.name} is {one}")))
        numbers = range(1 << value.width)  # what is so of every number would be no condition
        one, two = self.choose(numbers), self.choose(numbers)
        high = value.width - 1
        shapes = [f"{value.name} is {one}", f"{value.name} is not {one}", f"{value.name} < {max(one, 1)}",
                  f"{value.name} >= {max(one, 1)}", f"{value.name}[{high}]", f"parity({value.name})",
                  f"{value.name} in ({one}, {one if value.width == 1 else two})", f"{value.name} + 1 is {one}",
                  f"{value.name} - {two} > {min(one, numbers[-2])}",
                  f"{{{value.name}, 0b1}} is {one << 1 | 1}", f"(odd parity of {value.name})"]
        shapes += [f"{value.name} is {name}" for name in self.constants if value.width > 1]
        return str(self.choose(shapes))


def _words(shape: str) -> list[str]:
    """The shape cut before and after each letter that stands for a condition."""
    found: list[str] = []
    for index, char in enumerate(shape):
        alone = char in "ABC" and not (shape[index - 1:index].isalpha() or shape[index + 1:index + 2].isalpha())
        if alone or not found or found[-1] in ("A", "B", "C"):
            found.append(char)
        else:
            found[-1] += char
    return found
