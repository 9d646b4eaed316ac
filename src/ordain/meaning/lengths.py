"""How long a path is, on the machine's own clock."""

from ordain.meaning.follow import Step
from ordain.meaning.following import Following


def length(following: Following, end: Step) -> int:
    """How many steps of the clock lead to the end of a path: one that is held goes on as the same step."""
    count, after, here = 0, end, end.before
    while here is not None:
        held = following.phase is not None and after is not end and after.key[-1] == here.key[-1]
        count, after, here = count + (not held), here, here.before
    return count
