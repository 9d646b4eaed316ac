"""Expressions as docs/language.md has them, worked out on numbers; no code of the package has a part in it."""

import re
from collections.abc import Callable, Mapping

from tests.meaning.manual import Bits, join

_TOKEN = re.compile(r"\s*(0b[01_]+|0x[0-9A-Fa-f_]+|\d+|[A-Za-z_]\w*(?:\.\w+)?|<=|>=|[-+<>()\[\]{}:,])")
Value = Bits | int
"""A number without digits for its width is an `int` until something says its width."""


def worked_out(text: str, names: Mapping[str, Bits], word: Callable[[str, Value], Bits]) -> Value:
    """`word(memory, address)`: what stands there."""
    tokens = [found[1] for found in _TOKEN.finditer(text)]
    reader = _Reader(tokens, names, word)
    value = reader.choice()
    assert not reader.tokens, (text, reader.tokens)
    return value


class _Reader:
    def __init__(self, tokens: list[str], names: Mapping[str, Bits], word: Callable[[str, Value], Bits]) -> None:
        self.tokens, self.names, self.word = tokens, names, word

    def _next(self, *wanted: str) -> str:
        if self.tokens and (not wanted or self.tokens[0] in wanted):
            return self.tokens.pop(0)
        assert not wanted or len(wanted) > 0
        return ""

    def choice(self) -> Value:
        value = self._or()
        if self._next("if"):
            condition = self._or()
            assert self._next("else")
            other = self.choice()
            value, other = _alike(value, other)
            return value if _number(condition) else other
        return value

    def _or(self) -> Value:
        value = self._xor()
        while self._next("or"):
            value = _both(value, self._xor(), int.__or__)
        return value

    def _xor(self) -> Value:
        value = self._and()
        while self._next("xor"):
            value = _both(value, self._and(), int.__xor__)
        return value

    def _and(self) -> Value:
        value = self._not()
        while self._next("and"):
            value = _both(value, self._not(), int.__and__)
        return value

    def _not(self) -> Value:
        if self._next("not"):
            value = self._not()
            assert isinstance(value, Bits)
            return ~value
        return self._compared()

    def _compared(self) -> Value:
        value = self._sum()
        sign = self._next("is", "<", "<=", ">", ">=", "in") or ("not in" if self.tokens[:2] == ["not", "in"] else "")
        if sign == "not in":
            self.tokens[:2] = []
        if sign in ("in", "not in"):
            assert self._next("(")
            among = [_number(self.choice())]
            while self._next(","):
                among.append(_number(self.choice()))
            assert self._next(")")
            return Bits((_number(value) in among) == (sign == "in"), 1)
        if sign == "is":
            turned = bool(self._next("not"))
            one, other = map(_number, _alike(value, self._sum()))
            return Bits((one == other) != turned, 1)
        if sign:
            one, other = map(_number, _alike(value, self._sum()))
            return Bits({"<": one < other, "<=": one <= other, ">": one > other, ">=": one >= other}[sign], 1)
        return value

    def _sum(self) -> Value:
        value = self._part()
        while sign := self._next("+", "-"):
            value = _both(value, self._part(), int.__add__ if sign == "+" else int.__sub__)
        return value

    def _part(self) -> Value:
        value = self._whole()
        while self._next("["):
            high = self._next()
            low = self._next() if self._next(":") else high
            assert self._next("]") and isinstance(value, Bits)
            value = value[int(high):int(low)]
        return value

    def _whole(self) -> Value:
        token = self._next()
        if token == "(":
            value = self.choice()
            assert self._next(")")
            return value
        if token == "{":
            parts = [self.choice()]
            while self._next(","):
                parts.append(self.choice())
            assert self._next("}")
            widths = [part for part in parts if isinstance(part, Bits)]
            assert len(widths) == len(parts)
            return join(*widths)
        if token == "parity":
            assert self._next("(")
            value = self.choice()
            assert self._next(")")
            return Bits(_number(value).bit_count() & 1, 1)
        if token.startswith("0b"):
            digits = token[2:].replace("_", "")
            return Bits(int(digits, 2), len(digits))
        if token.startswith("0x"):
            digits = token[2:].replace("_", "")
            return Bits(int(digits, 16), 4 * len(digits))
        if token.isdigit():
            return int(token)
        if token not in self.names:
            assert self._next("["), token
            address = self.choice()
            assert self._next("]")
            return self.word(token, address)
        return self.names[token]


def _number(value: Value) -> int:
    return value.value if isinstance(value, Bits) else value


def _alike(one: Value, other: Value) -> tuple[Value, Value]:
    """With the width that one of them has."""
    if isinstance(one, Bits):
        return one, Bits(_number(other), one.width)
    return (Bits(one, other.width) if isinstance(other, Bits) else one), other


def _both(one: Value, other: Value, result: Callable[[int, int], int]) -> Value:
    one, other = _alike(one, other)
    value = result(_number(one), _number(other))
    return Bits(value, one.width) if isinstance(one, Bits) else value
