"""A machine at the level of its instructions, in a few plain lines: effects as they are printed, read with Python's own
operators. No code of the package has a part in it."""

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any


class Bits:
    """A number of so many bits; what is done with it keeps the width."""

    def __init__(self, value: int, width: int) -> None:
        self.value, self.width = value % (1 << width), width

    def _with(self, other: "Bits | int", result: Callable[[int, int], int]) -> "Bits":
        number = other.value if isinstance(other, Bits) else other
        return Bits(result(self.value, number), self.width)

    def __add__(self, other: "Bits | int") -> "Bits":
        return self._with(other, int.__add__)

    def __sub__(self, other: "Bits | int") -> "Bits":
        return self._with(other, int.__sub__)

    def __and__(self, other: "Bits | int") -> "Bits":
        return self._with(other, int.__and__)

    def __or__(self, other: "Bits | int") -> "Bits":
        return self._with(other, int.__or__)

    def __xor__(self, other: "Bits | int") -> "Bits":
        return self._with(other, int.__xor__)

    def __invert__(self) -> "Bits":
        return Bits(~self.value, self.width)

    def __getitem__(self, bits: Any) -> "Bits":
        high, low = (bits.start, bits.stop) if isinstance(bits, slice) else (bits, bits)
        return Bits(self.value >> low, high - low + 1)

    def __eq__(self, other: object) -> Any:
        return Bits(self.value == (other.value if isinstance(other, Bits) else other), 1)

    def __lt__(self, other: "Bits | int") -> "Bits":
        return Bits(self.value < (other.value if isinstance(other, Bits) else other), 1)

    def __bool__(self) -> bool:
        return bool(self.value)


def join(*parts: Bits) -> Bits:
    value = width = 0
    for part in parts:
        value, width = value << part.width | part.value, width + part.width
    return Bits(value, width)


def in_python(text: str) -> str:
    """An expression as it is printed, in Python: operators bind alike where no `and` stands beside a comparison."""
    text = re.sub(r"0b([01]+)", lambda found: f"B({int(found[1], 2)}, {len(found[1])})", text)
    text = re.sub(r"0x([0-9A-F]+)", lambda found: f"B({int(found[1], 16)}, {4 * len(found[1])})", text)
    text = text.replace("{", "J(").replace("}", ")")
    for word, sign in (("and", "&"), ("or", "|"), ("xor", "^"), ("not", "~")):
        text = re.sub(rf"\b{word}\b", sign, text)
    return text.replace(" is ", " == ")


def applied(effects: Sequence[str], old: Mapping[str, Any], word: Callable[[str, int], Bits]) -> tuple[
        dict[str, Bits], list[tuple[str, int, Bits]]]:
    """What registers become, and what is written. `old`: registers by name; `word(memory, address)`."""

    class Memory:
        def __init__(self, name: str) -> None:
            self.name = name

        def __getitem__(self, address: Bits) -> Bits:
            return word(self.name, address.value)

    names: dict[str, Any] = {**old, "B": Bits, "J": join, "memory": Memory("memory")}
    after: dict[str, Bits] = {}
    written: list[tuple[str, int, Bits]] = []
    for effect in effects:
        let = re.fullmatch(r"let (\w+) = (.*)", effect)
        if let is not None:
            names[let[1]] = eval(in_python(let[2]), names)
            continue
        found = re.fullmatch(r"(\w+)(?:\[(.*?)\])? <- (.*?)(?: when (.*))?", effect)
        assert found is not None, effect
        name, place, value, when = found.groups()
        if when is not None and not eval(in_python(when), names):
            continue
        if name == "memory":
            written.append((name, eval(in_python(place), names).value, eval(in_python(value), names)))
            continue
        result = eval(in_python(value), names)
        result = Bits(result, old[name].width) if isinstance(result, int) else result
        if place is not None:
            high, low = (map(int, place.split(":")) if ":" in place else (int(place), int(place)))
            mask = (1 << high + 1) - (1 << low)
            base = after.get(name, old[name])
            result = Bits(base.value & ~mask | result.value << low & mask, base.width)
        after[name] = result
    return after, written
