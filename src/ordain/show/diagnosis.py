"""What explains a capture, as text: faults by how much they explain, and what would tell the best of them apart."""

from collections.abc import Sequence

from ordain.follow.model import Apart, Suspect
from ordain.show.page import Page, fold
from ordain.show.paint import printable

SHOWN = 8
"""Suspects that explain only a part, at most."""


def diagnosis_lines(found: Sequence[Suspect], clocks: int, sound: int, tried: int, apart: Apart | None, place: str,
                    skipped: int, page: Page) -> list[str]:
    """`clocks`: of the capture; `sound`: how many a machine without a fault explains; `place`: the word in
    the clock that `apart` is about, or ""; `skipped`: clocks before the first that was looked at."""
    whole = [one for one in found if one.clocks == clocks]
    lines = [f"{tried:,} faults tried on {clocks:,} clocks, of which a sound machine explains {sound:,}", ""]
    if whole:
        lines.append("explain all of it:" if len(whole) > 1 else "explains all of it:")
    for number, one in enumerate(whole, 1):
        lines += fold(f"  {number}. {_names(one)}", page, 5)
    rest = [one for one in found if one.clocks < clocks]
    if rest:
        lines += ["", "explain more than a sound machine does:"]
        for one in rest[:SHOWN]:
            lines += fold(f"  up to clock {one.clocks + skipped:,}: {_names(one)}", page, 5)
        if len(rest) > SHOWN:
            lines.append(f"  and {len(rest) - SHOWN} more")
    if not found:
        lines += fold("none of them explains more than a sound machine does: look for a fault of another kind, such as "
                      "a wire that is off, a bus driver, an input, or a clip at another line", page)
    if apart is not None:
        lines += ["", *fold(f"to tell them apart: a clip at {printable(apart.line)}; in clock "
                            f"{apart.clock + skipped}{place} it is 1 with {_numbers(apart.ones)}, 0 with "
                            f"{_numbers(apart.zeros)}", page)]
    elif len(whole) > 1:
        lines += ["", *fold("no single line tells them apart in these clocks: capture more of them, or step an "
                            "instruction that has not run yet", page)]
    return lines


def diagnosis_data(found: Sequence[Suspect], clocks: int, sound: int, tried: int, apart: Apart | None,
                   skipped: int) -> dict[str, object]:
    """The same as data. `ones` and `zeros` are places in `suspects`, from 0."""
    return {"clocks": clocks, "sound": sound, "tried": tried,
            "suspects": [{"clocks": one.clocks, "faults": [{"kind": fault.kind, "text": fault.text}
                                                           for fault in one.faults]} for one in found],
            "apart": None if apart is None else {**apart._asdict(), "clock": apart.clock + skipped}}


def _names(one: Suspect) -> str:
    return " or ".join(printable(fault.text) for fault in one.faults)


def _numbers(numbers: Sequence[int]) -> str:
    return ", ".join(str(number + 1) for number in numbers)
