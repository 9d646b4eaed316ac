"""Which known word was probably meant by an unknown one."""

from collections.abc import Iterable


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that is fewest changed letters away, if those are few for a word of this length."""
    allowed = max(1, len(word) // 3)
    best: tuple[int, str] | None = None
    for candidate in sorted(set(known)):
        if abs(len(candidate) - len(word)) <= allowed:
            found = (changes(word.lower(), candidate.lower()), candidate)
            if found[0] <= allowed and (best is None or found < best):
                best = found
    return best[1] if best else None


def changes(a: str, b: str) -> int:
    """How many letters must be put in, taken out, replaced or exchanged with their neighbour to make `b` of `a`."""
    before: list[int] = []
    row = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        before, last, row = row, before, [i]
        for j, y in enumerate(b, 1):
            cost = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (x != y))
            if i > 1 and j > 1 and x == b[j - 2] and a[i - 2] == y:
                cost = min(cost, last[j - 2] + 1)
            row.append(cost)
    return row[-1]
