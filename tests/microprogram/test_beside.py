"""Flip-flops beside the counter that have a part in where control goes: boards of several kinds, each said a second
time in Python by hand. Control has to go through the images as it goes through the text; where it could go past the end
of a routine, nothing may be built."""

from collections.abc import Callable
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.microprogram.strays import strays
from ordain.pipeline import build_texts
from ordain.placement.place import place as placed
from tests.microprogram.compiled import described, program_of

MACHINE = """\
machine m "flip-flops beside the counter"
microprogram "m.micro"
store control 64 words of 15 bits
    address upc
field op 2 bits
    on   0 idle
    go   1
    call 2
    back 3
field test 1 bit
field target 6 bits address, idle 0
field mark 6 bits, idle 0
order goto <there>: op go, target <there>
order call <there>: op call, target <there>
order back: op back
order to <there>: target <there>
input z 1 bit, slow 1 bit
state link 6 bits, reset 0
    next {link}
state upc 6 bits, reset 0
    next {upc}
{more}
"""
PLAIN = "link if op is back else target if op in (go, call) else upc + 1"
KEPT = "upc + 1 if op is call else link"


class Word(NamedTuple):
    """`op` as in the machine; `target` the index of a word."""

    op: int
    test: int
    target: int


class Held(NamedTuple):
    """`bit`, `late`: what flip-flops hold; `link` and `late` are places."""

    bit: int = 0
    late: int = 0
    link: int = 0


Going = Callable[[int, Word, Held, int], tuple[int, Held]]
"""From a place with its word, what is held, and the level of `z`, to the next place."""


def plain(place: int, word: Word, held: Held, bit: int) -> tuple[int, Held]:
    there = (place + 1, word.target, word.target, held.link)[word.op]
    return there, held._replace(bit=bit, link=place + 1 if word.op == 2 else held.link)


def skip(place: int, word: Word, held: Held, z: int) -> tuple[int, Held]:
    if held.bit:
        return place + 1, held._replace(bit=0)
    return plain(place, word, held, word.test & z)


def late(place: int, word: Word, held: Held, z: int) -> tuple[int, Held]:
    """A jump is taken a word later."""
    return (held.late if held.bit else place + 1), held._replace(bit=int(word.op == 1), late=word.target)


def taken(place: int, word: Word, held: Held, z: int) -> tuple[int, Held]:
    """The word after a test has the target."""
    return (word.target if held.bit else place + 1), held._replace(bit=word.test & (z | int(word.op == 1)))


def halves(place: int, word: Word, held: Held, z: int) -> tuple[int, Held]:
    """The first row of two has the target, the second one jumps."""
    jumps = held.bit and word.op == 1 and not (word.test and z)
    return (held.late if jumps else place + 1), held._replace(bit=1 - held.bit, late=word.target)


def again(place: int, word: Word, held: Held, z: int) -> tuple[int, Held]:
    """Every other time, control goes back a word to try again."""
    there, after = taken(place, word, held, z)
    return (place - 1 if word.op == 3 and not held.bit else there), after


KINDS: dict[str, tuple[str, str, str, Going]] = {
    "skips": (f"({KEPT}) if not skip else link", f"({PLAIN}) if not skip else upc + 1",
              "state skip 1 bit, reset 0\n    next test and z and not skip", skip),
    "skips, and a clock that is held": (
        f"link if slow or skip else {KEPT}", f"upc if slow else upc + 1 if skip else {PLAIN}",
        "state skip 1 bit, reset 0\n    next skip if slow else test and z and not skip", skip),
    "a register that skips": (
        f"({KEPT}) if not skip else link", f"({PLAIN}) if not skip else upc + 1",
        "register skip 1 bit, loads test and z when not skip\n    loads 0b0 when skip\n    reset 0", skip),
    "a jump is late": (
        "0", "led if taken else upc + 1",
        "state taken 1 bit, reset 0\n    next op is go\nstate led 6 bits, reset 0\n    next target", late),
    "the next word has the target": ("0", "target if taken else upc + 1",
                                     "state taken 1 bit, reset 0\n    next test and (z or op is go)", taken),
    "two rows": ("0", "led if phase and op is go and not (test and z) else upc + 1",
                 "state phase 1 bit, reset 0\n    next not phase\nstate led 6 bits, reset 0\n    next target", halves),
    "tries again": ("0", "target if taken else upc - 1 if op is back else upc + 1",
                    "state taken 1 bit, reset 0\n    next test and (z or op is go)", again),
    "skips the first": (f"({KEPT}) if not skip else link", f"({PLAIN}) if not skip else upc + 1",
                        "state skip 1 bit, reset 1\n    next test and z and not skip", skip),
}


class Text(NamedTuple):
    """`bodies`: the places of the words of each routine, as they are written: no routine stands behind another. `words`
    and `labels` by place; `at`: the address of a routine, or -1."""

    bodies: tuple[range, ...]
    words: dict[int, Word]
    labels: dict[int, str]
    at: tuple[int, ...]

    def micro(self) -> str:
        lines = []
        for number, (body, at) in enumerate(zip(self.bodies, self.at)):
            lines.append(f"routine r{number}{f' at {at}' if at >= 0 else ''}")
            for place in body:
                word, to = self.words[place], self.labels[self.words[place].target]
                order = (f", to {to}", f", goto {to}", f", call {to}", ", back")[word.op]
                label = f"{self.labels[place]}: " if place in self.labels else ""
                lines.append(f"    {label}mark {mark(place)}{order}{', test' * word.test}")
        return "\n".join(lines) + "\n"


def mark(place: int) -> int:
    return place // 20 * 6 + place % 20 + 1


def text_of(*routines: str) -> Text:
    """Routines as in "on, go 0 test, back": the n-th one begins at the place 20 * n."""
    words, labels, bodies = {}, {}, []
    for number, routine in enumerate(routines):
        said = routine.split(", ")
        bodies.append(range(20 * number, 20 * number + len(said)))
        for place, word in zip(bodies[-1], said):
            op, *rest = word.replace(" test", "").split()
            words[place] = Word(("on", "go", "call", "back").index(op), int("test" in word), int("".join(rest) or 0))
            labels[words[place].target] = f"w{words[place].target}"
    return Text(tuple(bodies), words, labels, (0, *(-1 for _ in routines[1:])))


@st.composite
def texts(draw: st.DrawFn) -> Text:
    bodies = [range(20 * number, 20 * number + count)
              for number, count in enumerate(draw(st.lists(st.integers(1, 5), min_size=1, max_size=4)))]
    places = [place for body in bodies for place in body]
    labelled = sorted({body.start for body in bodies} | draw(st.sets(st.sampled_from(places), max_size=3)))
    words = {}
    for body in bodies:
        for place in body:
            ops = (1, 1, 1, 3, 0, 2) if body.stop - place <= 2 else (0, 0, 0, 1, 2)
            words[place] = Word(draw(st.sampled_from(ops)), int(draw(st.integers(0, 3)) == 0),
                                draw(st.sampled_from(labelled)))
    at = (0, *(draw(st.sampled_from((-1, -1, 8 * number + 6))) for number in range(1, len(bodies))))
    return Text(tuple(bodies), words, {place: f"w{place}" for place in labelled}, at)


def machine_of(link: str, upc: str, more: str) -> str:
    return MACHINE.replace("{link}", link).replace("{upc}", upc).replace("{more}", more)


def built(kind: str, text: Text) -> dict[int, int] | set[str]:
    """What stands in each cell; or the names of the errors."""
    made, findings = build_texts({"m.machine": machine_of(*KINDS[kind][:3]), "m.micro": text.micro()}, "m.machine")
    return {finding.name for finding in findings} if made is None else made.placement.words["control"]


def leaves(text: Text, going: Going, bit: int = 0) -> bool:
    """Whether control can go on past the end of a routine. One that goes back to before its beginning is left out: that
    is for a proof to find."""
    seen, todo = set[tuple[int, Held]](), [(0, Held(bit))]
    while todo:
        place, held = todo.pop()
        if place not in text.words:
            if place - 1 in text.words:
                return True
        elif (place, held) not in seen:
            seen.add((place, held))
            todo += [going(place, text.words[place], held, z) for z in (0, 1)]
    return False


def hold_the_text(cells: dict[int, int], text: Text, going: Going, bit: int = 0) -> None:
    """Control goes through the cells as it goes through the text."""
    seen, todo = set(), [((0, Held(bit)), (0, Held(bit)))]
    while todo:
        pair = todo.pop()
        (place, held), (address, lines) = pair
        if pair in seen or place not in text.words:
            continue
        seen.add(pair)
        bits = cells[address]
        assert bits & 63 == mark(place)
        word = Word(bits >> 13, bits >> 12 & 1, bits >> 6 & 63)
        todo += [(going(place, text.words[place], held, z), going(address, word, lines, z)) for z in (0, 1)]


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=30)
@given(text=texts())
def test_control_goes_through_the_images_as_through_the_text(kind: str, text: Text) -> None:
    going, cells, bit = KINDS[kind][3], built(kind, text), int(kind == "skips the first")
    if isinstance(cells, dict):
        assert not leaves(text, going, bit)
        hold_the_text(cells, text, going, bit)


@pytest.mark.parametrize(("kind", "right", "wrong"), [
    ("skips", ("on, call 20, go 0", "on, back"), ("on, call 20, go 0", "on test, back")),
    ("skips, and a clock that is held", ("on test, go 20, go 0", "go 0"), ("on test, go 20", "go 0")),
    ("a register that skips", ("go 2, go 2, go 0",), ("go 2, go 2, go 2 test",)),
    ("a jump is late", ("on, go 20, on", "on, go 1, on"), ("on, go 20, on", "on, on, go 1")),
    ("the next word has the target", ("go 0 test, on 20", "go 0 test, on 0"), ("go 0 test, on 20", "on test, on 0")),
    ("two rows", ("on, on, on 20, go 0", "on 0, go 0"), ("on, on, on 20, go 0", "on 0, go 0 test")),
    ("tries again", ("on, go 0 test, on 20", "go 0 test, on 20"), ("on, go 0 test, on 20", "on test, on 20")),
    ("skips the first", ("on, go 0",), ("go 0",)),
])
def test_a_routine_ends_where_control_cannot_go_on_whatever_the_flip_flops_hold(
        kind: str, right: tuple[str, ...], wrong: tuple[str, ...]) -> None:
    going, bit = KINDS[kind][3], int(kind == "skips the first")
    cells = built(kind, text_of(*right))
    assert isinstance(cells, dict) and not leaves(text_of(*right), going, bit)
    hold_the_text(cells, text_of(*right), going, bit)
    assert built(kind, text_of(*wrong)) == {"runs-off"} and leaves(text_of(*wrong), going, bit)


@pytest.mark.parametrize(("test", "said"), [("", set()), (", test", {"runs-off"})])
def test_where_hardware_makes_an_address_any_word_of_an_aligned_routine_may_come_first(
        test: str, said: set[str]) -> None:
    """`z` leads to the second word of the pair, behind the one that would be skipped; with a test in the jump the
    second is skipped itself."""
    upc = f"({PLAIN.replace('target', '(target or {0b00000, z})')}) if not skip else upc + 1"
    micro = f"routine r at 0\n    goto pair{test}\nroutine pair align 2\n    mark 1\n    back\n"
    made, findings = build_texts({"m.machine": machine_of(KEPT, upc, KINDS["skips"][2]), "m.micro": micro}, "m.machine")
    assert {finding.name for finding in findings} == said and (made is None) is bool(said)


def test_a_word_behind_the_end_to_which_a_late_jump_leads_is_no_stray() -> None:
    """It stands right behind the word that is obeyed while the jump is on its way."""
    text = text_of("go 20, on", "go 20, on")
    machine = described(machine_of(*KINDS["a jump is late"][:3]))
    program = program_of(machine, text.micro())
    made, findings = placed(machine, program, None)
    assert made is not None and not findings and made.addresses == ((0,), (1,), (2,), (3,))
    assert not strays(machine, program, made.addresses, made.words)


ROWS = """\
machine m "the rows of a second store say how control goes on"
microprogram "m.micro"
store control 64 words of 15 bits
    address upc
field row    3 bits address, idle 0
field target 6 bits address, idle 0
field mark   6 bits, idle 0
store rows 8 words of 2 bits
    address row
field seq 2 bits
    on   0
    go   1
    test 2
input z 1 bit
state upc 6 bits, reset 0
    next target if seq is go or (seq is test and z) else upc + 1
order pick <row>: row <row>
order pick <row> to <there>: row <row>, target <there>
"""
PICKED = """\
routine start at 0
        pick plain
  l:    pick asks to l
        {}
routine other
        pick jumps to l
routine patterns in rows at 0
        {}
  plain: seq on
  asks:  seq test
  jumps: seq go
"""


@pytest.mark.parametrize(("last", "idle", "said"), [
    ("pick jumps to other", "seq on", set()), ("pick asks to other", "seq on", {"runs-off"}),
    ("pick plain to other", "seq on", {"runs-off"}), ("target other", "seq go", set()),
    ("target other", "seq test", {"runs-off"}), ("row 3, target other", "seq on", {"runs-off"})])
def test_the_row_that_a_word_picks_says_whether_control_goes_on(last: str, idle: str, said: set[str]) -> None:
    """By its label or by a number: where a row stands that is not said to stand there is not known."""
    made, findings = build_texts({"m.machine": ROWS, "m.micro": PICKED.format(last, idle)}, "m.machine")
    assert {finding.name for finding in findings} == said
    if made is not None:
        cells = made.placement.words
        bits = cells["control"][2]
        assert cells["rows"][bits >> 12] == 1 and bits >> 6 & 63 == 3


def test_what_has_a_part_in_it_is_named() -> None:
    _, findings = build_texts({"m.machine": ROWS, "m.micro": PICKED.format("pick plain", "seq on")}, "m.machine")
    assert [[place.label for place in finding.places] for finding in findings] == [["`seq` has a part in it"]]
    machine = machine_of(*KINDS["skips"][:3])
    _, findings = build_texts({"m.machine": machine, "m.micro": text_of("on").micro()}, "m.machine")
    assert [[place.label for place in finding.places] for finding in findings] == [["`skip` has a part in it"]]


@pytest.mark.parametrize(("plus", "said"), [("active", set()), ("upc", {"no-order"})])
def test_of_two_that_move_in_different_phases_the_first_takes_the_second_plus_one(plus: str, said: set[str]) -> None:
    """As the help of `no-order` says."""
    machine = machine_of("0", f"(target if op is go else {plus} + 1)", "").replace("address upc", "address active")
    machine = machine.replace("state upc 6 bits, reset 0", "state upc 6 bits, reset 0, on first")
    machine += "clock clk (first, second)\nstate active 6 bits, reset 0, on second\n    next upc\n"
    made, findings = build_texts({"m.machine": machine, "m.micro": text_of("on, on, go 0").micro()}, "m.machine")
    assert {finding.name for finding in findings} == said and (made is None) is bool(said)
    assert all("different phases" in finding.help for finding in findings)
