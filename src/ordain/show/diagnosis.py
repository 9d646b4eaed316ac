"""What explains a capture, as text: faults by how much they explain, and what would tell the best of them apart."""

from collections.abc import Sequence

from ordain.follow.model import Apart, Looked, Suspect
from ordain.rom.contents import Contents, word_name
from ordain.show.follow import clocks_of
from ordain.show.page import Page, fold
from ordain.show.paint import printable

CAUTION = ("Power off before a clip or a chip is moved; one ground for all; no clip over two pins; a strap against "
           "static charge. Mains parts are for those who are licensed for them.")
"""Where hands go into the machine."""
MOST = 40
"""Suspects that explain all, at most."""
SHOWN = 8
"""Suspects that explain only a part, at most."""


def out_of_step(clocks: int, sound: int, anywhere: int, page: Page) -> list[str]:
    """That a sound machine explains more (`anywhere`) if it begins in a state to which nothing leads from its reset."""
    if anywhere <= sound:
        return []
    return [*fold(f"begun in a state that it never comes to from its reset, a sound machine explains "
                  f"{'all of it' if anywhere == clocks else f'{anywhere:,}'}: it may have been switched on without a "
                  "reset, or thrown out of step", page), ""]


def diagnosis_lines(found: Sequence[Suspect], clocks: int, sound: int, tried: int, looked: Looked | None,
                    places: Sequence[str], skipped: int, page: Page) -> list[str]:
    """`clocks`: of the capture; `sound`: how many a machine without a fault explains; `places`: what the address is
    called at each look of the next measurement, or ""; `skipped`: clocks before the first that was looked at."""
    whole = [one for one in found if one.clocks == clocks]
    lines = [f"{tried:,} faults tried on {clocks_of(clocks)}, of which a sound machine explains {sound:,}", ""]
    if whole:
        lines.append("explain all of it:" if len(whole) > 1 else "explains all of it:")
    for number, one in enumerate(whole[:MOST], 1):
        lines += fold(f"  {number}. {_names(one)}", page, 5)
    if len(whole) > MOST:
        lines.append(f"  and {len(whole) - MOST:,} more")
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
    if looked is not None:
        lines += ["", *_next(looked, len(whole), places, skipped, page)]
    return [*lines, "", *fold(CAUTION, page)]


def _next(looked: Looked, count: int, places: Sequence[str], skipped: int, page: Page) -> list[str]:
    """What to look at next. `count`: of the suspects, of which some may not have been looked at."""
    one = looked.apart
    if one is None and not looked.known:
        return fold("nothing that tells them apart was found in the time that there is for it: capture more lines, or "
                    "step an instruction that has not run yet", page)
    if one is None:
        groups = "; nor ".join(_numbers(group) for group in looked.alike if len(group) > 1)
        return fold(f"no line tells {groups} apart, whatever is stepped from reset on: to every clip they are the "
                    "same. Read the chips in a programmer, try others in their sockets, look at the solder and at the "
                    "clips", page)
    looks = "; ".join(_look(each, name, skipped) for each, name in zip((one, *one.then), places))
    which = "them" if looked.among == count else f"the first {looked.among}"
    lines = fold(f"to tell {which} apart: {'all of' if one.values else 'a clip at'} {printable(one.line)}; {looks}",
                 page)
    if one.steps > 1:
        lines += fold(f"(from reset at least {clocks_of(one.steps)})", page)
    return lines


def _look(one: Apart, place: str, skipped: int) -> str:
    """When the line is looked at, and what it is with whom."""
    if one.clock:
        where = f"in clock {one.clock + skipped}" + (f", at {place}," if place else "")
    elif not one.steps and not place:
        where = "right after reset"
    else:
        given = ", ".join(f"{printable(name)}={level:X}" for name, level in one.given)
        where = f"step to {place or 'where the states are so'}" + (f", with {given}" if given else "") + (
            "; in the clock after that" if one.after else "; there")
    digits = -(-max((value.bit_length() for value, _ in one.outcomes()), default=1) // 4)
    told = ", ".join(f"{value:0{digits}X} with {_numbers(numbers)}" for value, numbers in one.outcomes() if numbers)
    return f"{where} it is {told}"


def word_at(contents: Contents, store: str, address: int) -> str:
    """`ring+1 (043)`."""
    name, digits = word_name(contents, store, address), -(-contents.machine.stores[store].address_width // 4)
    return f"{name or 'a word that was not placed'} ({address:0{digits}X})"


def diagnosis_data(found: Sequence[Suspect], clocks: int, sound: int, tried: int, looked: Looked | None,
                   skipped: int) -> dict[str, object]:
    """The same as data. `ones`, `zeros` and `alike` are places in `suspects`, from 0."""
    apart = None if looked is None else looked.apart
    return {"clocks": clocks, "sound": sound, "tried": tried,
            "suspects": [{"clocks": one.clocks, "faults": [{"kind": fault.kind, "text": fault.text}
                                                           for fault in one.faults]} for one in found],
            "apart": None if apart is None else {
                **_look_data(apart, skipped), "then": [_look_data(one, skipped) for one in apart.then]},
            "alike": [] if looked is None or not looked.known else [list(group) for group in looked.alike]}


def _look_data(one: Apart, skipped: int) -> dict[str, object]:
    data = one._asdict()
    del data["then"]
    return {**data, "clock": one.clock + skipped if one.clock else None, "given": dict(one.given),
            "values": [{"value": value, "with": list(numbers)} for value, numbers in one.values]}


def _names(one: Suspect) -> str:
    return " or ".join(printable(fault.text) for fault in one.faults)


def _numbers(numbers: Sequence[int]) -> str:
    return ", ".join(str(number + 1) for number in numbers)
