"""Terms in a notation of the tests' own: nested tuples, worked out in plain Python, with nothing simplified.

("const", value, width)  ("leaf", name, width)  (operator, width, parts, extra)
"""

from typing import Any

from hypothesis import strategies as st

from ordain.machine.expression import Node, Terms

Plain = tuple[Any, ...]

LEAVES = [("leaf", name, width) for width in (1, 2, 3, 4) for name in (f"a{width}", f"b{width}")]


def width_of(term: Plain) -> int:
    return int(term[2] if term[0] in ("const", "leaf") else term[1])


def value_of(term: Plain, leaves: dict[str, int]) -> int:
    """The value, operator by operator."""
    if term[0] == "const":
        return int(term[1])
    if term[0] == "leaf":
        return leaves[term[1]]
    operator, width, parts, extra = term
    values = [value_of(part, leaves) for part in parts]
    full = 2 ** width
    match operator:
        case "not":
            return full - 1 - values[0]
        case "and":
            return int("".join("1" if all(v >> b & 1 for v in values) else "0" for b in reversed(range(width))), 2)
        case "or":
            return int("".join("1" if any(v >> b & 1 for v in values) else "0" for b in reversed(range(width))), 2)
        case "xor":
            return int("".join("01"[(values[0] >> b & 1) != (values[1] >> b & 1)] for b in reversed(range(width))), 2)
        case "equal":
            return 1 if values[0] == values[1] else 0
        case "among":
            return 1 if values[0] in extra else 0
        case "less":
            return 1 if values[0] < values[1] else 0
        case "add":
            return (values[0] + values[1]) % full
        case "sub":
            return (values[0] - values[1] + full) % full
        case "slice":
            digits = f"{values[0]:0{width_of(parts[0])}b}"
            high, low = extra
            return int(digits[len(digits) - 1 - high:len(digits) - low], 2)
        case "join":
            return int("".join(f"{value:0{width_of(part)}b}" for part, value in zip(parts, values)), 2)
        case "if":
            return values[1] if values[0] == 1 else values[2]
        case "parity":
            return f"{values[0]:b}".count("1") % 2
    raise AssertionError(operator)


def made(terms: Terms, term: Plain) -> Node:
    """The same term as the makers of `Terms` make it."""
    if term[0] == "const":
        return terms.const(term[1], term[2])
    if term[0] == "leaf":
        return terms.leaf("input", term[1], term[2])
    operator, _, parts, extra = term
    args = [made(terms, part) for part in parts]
    match operator:
        case "not":
            return terms.not_(args[0])
        case "and":
            return terms.and_(args)
        case "or":
            return terms.or_(args)
        case "among":
            return terms.among(args[0], frozenset(extra))
        case "slice":
            return terms.slice(args[0], *extra)
        case "join":
            return terms.join(args)
        case "if":
            return terms.if_(*args)
        case "parity":
            return terms.parity(args[0])
    return {"xor": terms.xor, "equal": terms.equal, "less": terms.less, "add": terms.add,
            "sub": terms.sub}[operator](*args)


@st.composite
def plain_terms(draw: st.DrawFn, width: int | None = None, depth: int = 4) -> Plain:
    """A term of that width, or of any from 1 to 4; joins may be wider inside."""
    if width is None:
        width = draw(st.integers(1, 4))
    if depth == 0 or draw(st.integers(0, 7)) == 0:
        known = [leaf for leaf in LEAVES if leaf[2] == width]
        if known and draw(st.integers(0, 3)):
            return draw(st.sampled_from(known))
        return ("const", draw(st.integers(0, 2 ** width - 1)), width)
    below = depth - 1
    shapes = ["not", "and", "or", "xor", "add", "sub", "slice", "if", *(["join"] if width > 1 else []),
              *(["equal", "among", "less", "parity"] * 2 if width == 1 else [])]
    operator = draw(st.sampled_from(shapes))
    inner = draw(st.integers(1, 4))
    same = plain_terms(width, below)
    match operator:
        case "not":
            return (operator, width, [draw(same)], None)
        case "and" | "or":
            return (operator, width, draw(st.lists(same, min_size=1, max_size=3)), None)
        case "xor" | "add" | "sub":
            return (operator, width, [draw(same), draw(same)], None)
        case "if":
            return (operator, width, [draw(plain_terms(1, below)), draw(same), draw(same)], None)
        case "slice":
            wide = draw(st.integers(width, width + 3))
            low = draw(st.integers(0, wide - width))
            return (operator, width, [draw(plain_terms(wide, below))], (low + width - 1, low))
        case "join":
            high = draw(st.integers(1, width - 1))
            return (operator, width, [draw(plain_terms(high, below)), draw(plain_terms(width - high, below))], None)
        case "among":
            values = draw(st.sets(st.integers(0, 2 ** inner - 1)))
            return (operator, 1, [draw(plain_terms(inner, below))], sorted(values))
        case "parity":
            return (operator, 1, [draw(plain_terms(inner, below))], None)
    return (operator, 1, [draw(plain_terms(inner, below)), draw(plain_terms(inner, below))], None)


def leaf_values() -> st.SearchStrategy[dict[str, int]]:
    return st.fixed_dictionaries({name: st.integers(0, 2 ** width - 1) for _, name, width in LEAVES})
