"""Words that an address field leads to with what the hardware puts to it, and that nobody names."""

from collections import deque
from typing import NamedTuple

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from ordain.checks import strays
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.prover.model import Verdict
from ordain.rom.contents import Contents
from tests.checks.reports import edited, findings_named, outcomes, report
from tests.planted.plant import Sound
from tests.workshop import compiled, contents_of

LOOM = """\
machine loom "a jacquard that picks its next card by a feeler"
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
field seq 2 bits
    step 0 idle
    jump 1
    test 2
    over 3
field target 4 bits address, idle 0
field turn 1 bit
spare 1 bit
state upc 4 bits, reset 0
    next choose seq
        step: upc + 1
        jump: target
        test: {target[3:1], target[0] or feeler}
        over: {page, target[1:0]}
state page 2 bits, reset 0
    next target[1:0] if turn else page
input feeler 1 bit
order goto <there> : seq jump, target <there>
order test <there> : seq test, target <there>
order fork <one> <other> : seq test, target pair(<one>, <other>)
order over <there> : seq over, target part(<there>)
order page of <there> : turn, seq step, target part(<there>)
"""
CARD = """\
routine start at 0
        test mark
routine mark at 2
        goto start
routine beside
        seq step
        goto start
"""


def verdict_of(contents: Contents) -> Verdict | None:
    asked = tuple(strays.ask(contents))
    return decide(build_system(contents), asked).verdicts[0] if asked else None


@pytest.mark.parametrize(("micro", "breaks"), [
    # `mark` is at 2, and with the feeler the hardware goes to 3, where `beside` stands
    (CARD, {3: 2}),
    (CARD.replace("test mark", "fork mark beside").replace("mark at 2", "mark"), {}),
    (CARD.replace("test mark", "goto mark"), {}),
    # at 3 the bit is a 1 already
    (CARD.replace("mark at 2", "mark at 3"), {}),
    # put there on purpose: the table below the label; the first word of a routine with a place
    (CARD.replace("goto start\nroutine beside\n", "goto start\n"), {}),
    (CARD.replace("beside", "beside at 3"), {}),
    # the place of the table is not said: that 3 is behind 2 is chance
    ("routine start at 0\n        test low.mark\nroutine low\n        seq step\n  mark: goto start\n"
     "routine beside\n        goto start\nroutine fill at 4\n        goto start\n", {3: 2}),
])
def test_a_label_with_a_neighbour_that_is_not_meant(micro: str, breaks: dict[int, int]) -> None:
    verdict = verdict_of(contents_of(LOOM, micro))
    found = {} if verdict is None else {found.address: found.cycles for found in verdict.breaks}
    assert found == breaks


FILL = "".join(f"routine fill_{at} at {at}\n        goto start\n" for at in (2, 4, 5, 6, *range(8, 16)))


@pytest.mark.parametrize(("page", "broken"), [("0b01", {}), ("0b00", {3: 3})])
def test_the_page_that_was_not_loaded(page: str, broken: dict[int, int]) -> None:
    """The field holds the 3 of 7; in page 0 another word stands there, in the only cell that was left."""
    machine = LOOM.replace("next target[1:0] if turn", f"next {page} if turn")
    contents = contents_of(machine, "routine start at 0\n        turn, seq step\n        over far\n"
                                    "routine near\n        goto start\nroutine far at 7\n        goto start\n" + FILL)
    assert contents.labels["near"][1] == {3}
    verdict = verdict_of(contents)
    assert verdict is not None and {found.address: found.cycles for found in verdict.breaks} == broken


def test_it_says_from_where_and_whither_and_can_be_allowed() -> None:
    found = report(Sound(LOOM, CARD))
    [told] = findings_named("strays", found)
    assert told.message == "control goes on from `start` (0x0) to `beside` (0x3), which it does not name"
    assert told.span is not None and told.span.line == 2 and told.places[0].span.line == 6
    assert told.trace is not None and [cycle.addresses["control"] for cycle in told.trace.cycles] == [0, 3]
    assert outcomes(found)["strays control"] == "broken"
    allowed = report(Sound(LOOM + 'allow strays at beside "the feeler is not built yet"\n', CARD))
    assert not findings_named("strays", allowed) and outcomes(allowed)["strays control"] == "allowed"


def test_behind_a_register_it_takes_two_cycles() -> None:
    """The counter goes on to where the field leads, and only then the store is shown it."""
    machine = LOOM.replace("    address upc", "    address active").replace("idle 0\nfield", "idle following\nfield") \
        .replace("step: upc + 1", "step: target") + "state active 4 bits, reset 0\n    next upc\n"
    machine = machine.replace("step 0 idle", "step 0").replace("jump 1", "jump 1 idle")
    card = CARD.replace("        seq step\n", "") + "routine fill at 1\n        goto start\n"
    found = report(Sound(machine, card))
    [told] = findings_named("strays", found)
    assert told.message == "control goes on from `start` (0x0) to `beside` (0x3), which it does not name"
    assert told.trace is not None and [cycle.addresses["control"] for cycle in told.trace.cycles] == [0, 0, 3]
    sound = card.replace("test mark", "fork mark beside").replace("mark at 2", "mark")
    assert verdict_of(contents_of(machine, sound)) is None


UNSET = [
    # the word jumps and names nothing: at the idle code stands what was put there by chance
    ("idle 3", "        seq jump\nroutine beside\n", {3: 2}),
    ("idle 3", "        seq jump\nroutine beside at 3\n", {}),
    ("idle 3", "        goto beside\nroutine beside\n", {}),
    ("idle 2", "        seq jump\nroutine beside\n", {}),
    ("idle 0", "        seq jump, target 3\nroutine beside\n", {3: 2}),
    ("idle 0", "        seq jump, target 2\nroutine beside\n", {}),
    ("idle 0", "        seq test\nroutine beside\n", {}),
    ("idle 2", "        seq test\nroutine beside\n", {3: 2}),     # with the feeler
    # all go back to the first word, which is meant; where it does not matter what the field holds, nothing is
    ("idle 0", "        seq jump\nroutine beside\n", {}),
    ("idle any", "        seq jump\nroutine beside\n", {0: 2}),
    ("idle any", "        goto start\nroutine beside\n", {}),
]


@pytest.mark.parametrize(("idle", "micro", "breaks"), UNSET)
def test_a_word_that_has_forgotten_its_label(idle: str, micro: str, breaks: dict[int, int]) -> None:
    machine = LOOM.replace("4 bits address, idle 0", f"4 bits address, {idle}")
    fill = "".join(f"routine fill_{at} at {at}\n        goto start\n" for at in (1, 2, *range(4, 16)))
    contents = contents_of(machine, f"routine start at 0\n{micro}        goto start\n" + fill)
    verdict = verdict_of(contents)
    assert ({} if verdict is None else {found.address: found.cycles for found in verdict.breaks}) == breaks


def test_it_says_which_field_was_left_as_it_is() -> None:
    found = report(Sound(LOOM.replace("4 bits address, idle 0", "4 bits address, idle 2"), (
        "routine start at 0\n        seq jump\nroutine beside\n        goto start\n"
        + "".join(f"routine fill_{at} at {at}\n        goto start\n" for at in (1, *range(3, 16))))))
    [told] = findings_named("strays", found)
    assert told.message == "control goes on from `start` (0x0) to `beside` (0x2), which it does not name"
    assert told.label == "this word sets no label in `target`, and goes where that leads then"
    assert "`idle following`" in told.help


NANO = """\
machine reed "two stores: the second is shown what the first picks, in the same cycle"
microprogram "m.micro"
store control 4 words of 4 bits
    address upc
field pick 3 bits address
spare 1 bit
store nano 8 words of 2 bits
    address {pick[2:1], pick[0] or lever}
field pulse 1 bit
field low 1 bit
state upc 2 bits, reset 0
    next upc + 1
input lever 1 bit
"""


@pytest.mark.parametrize(("first", "cycles"), [
    ("pick pair(strong, weak)", None), ("pick other", None), ("pick strong", 1)])
def test_a_second_store_is_shown_its_word_in_the_same_cycle(first: str, cycles: int | None) -> None:
    """`weak` stands beside `strong`; beside `other` nothing stands, which `nowhere` tells."""
    contents = contents_of(NANO, f"""\
routine start in control at 0
        {first}
        pick pair(strong, weak)
        pick pair(strong, weak)
        pick pair(strong, weak)
routine strong in nano
        pulse
routine weak in nano
        low
routine other in nano at 6
        low
""")
    [strong], [weak] = contents.labels["strong"][1], contents.labels["weak"][1]
    assert (strong & 1, weak) == (0, strong + 1)
    verdict = verdict_of(contents)
    assert (None if verdict is None or not verdict.breaks else verdict.breaks[0].cycles) == cycles


ROWS = """\
machine sandpiper "a word picks a row of two steps, which a flip-flop goes through"
microprogram "m.micro"
store control 8 words of 7 bits
    address upc
field row 2 bits address[2:1]
field seq 1 bit
    next 0 idle
    jump 1
field target 3 bits address, idle 0
spare 1 bit
store rows 8 words of 2 bits
    address {row, half}
    step half
field act 2 bits
    none 0 idle
    load 1
    show 2
state half 1 bit, reset 0
    next not half
state upc 3 bits, reset 0
    next (target if seq is jump else upc + 1) if half else upc
"""


@pytest.mark.parametrize(("second", "breaks"), [
    ("        act show\n        act load\n", set()),
    ("        act show\nroutine loose in rows\n        act show\n", {3}),     # where its second step is missing
])
def test_the_steps_of_a_row_are_named_with_it(second: str, breaks: set[int]) -> None:
    contents = contents_of(ROWS, f"""\
routine start in control at 0
        row first
        row second
        row first, seq jump, target start
routine first in rows
        act load
        act show
routine fill in rows at 4
        act none
        act none
        act none
        act none
routine second in rows at 2
{second}""")
    verdict = verdict_of(contents)
    assert (set() if verdict is None else {found.address for found in verdict.breaks}) == breaks


def test_what_something_else_can_lead_to_is_not_judged() -> None:
    """An interrupt that forces an address may lead to any word there."""
    forced = edited(Sound(LOOM, CARD), ("next choose seq\n        step: upc + 1\n        jump: target\n"
                                         "        test: {target[3:1], target[0] or feeler}\n"
                                         "        over: {page, target[1:0]}\n",
                                         "next 3 if stop else ordinary\n"))
    machine = forced.machine + """\
signal ordinary = {target[3:1], target[0] or feeler} if seq is test else target if seq is jump else upc + 1
input stop 1 bit
"""
    assert verdict_of(contents_of(machine, CARD)) is None
    assert verdict_of(contents_of(machine.replace("3 if stop", "2 if stop"), CARD)) is not None


BASE = """\
machine carillon "the opcode is put to the address of the first instruction"
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
    STARTS
field go 1 bit
field turn 1 bit
field target 4 bits address, idle 0
spare 2 bits
register ir 2 bits, loads data when turn
bus data 2 bits, floats
    driven by memory
state upc 4 bits, reset 0
    next target or {0b00, ir} if go else target
"""


@pytest.mark.parametrize(("starts", "breaks"), [("starts at {0b10, ir}", {}), ("", {9: 3, 10: 3, 11: 3})])
def test_an_opcode_that_is_put_to_the_address_of_the_first_instruction(starts: str, breaks: dict[int, int]) -> None:
    """Where `starts at` says that instructions stand there, they are meant; routines beside a label are not."""
    rows = [f'instruction {code} "{code}"' if starts else f"routine r{code}" + (" at 8" if not code else "")
            for code in range(4)]
    fill = "".join(f"routine fill_{at} at {at}\n        target start\n" for at in (2, 3, 4, 5, 6, 7, 12, 13, 14, 15))
    contents = contents_of(BASE.replace("    STARTS\n", f"    {starts}\n" if starts else ""), (
        "routine start at 0\n        turn, target second\nroutine second at 1\n        go, target "
        + ('"0"' if starts else "r0") + "\n" + "".join(f"{row}\n        target start\n" for row in rows) + fill))
    verdict = verdict_of(contents)
    assert ({} if verdict is None else {found.address: found.cycles for found in verdict.breaks}) == breaks


def test_a_copy_beside_the_place_that_was_asked_for_is_not_meant() -> None:
    """`table` stands at an even address, as it says, and once more at an odd one, behind `other`, for the fork."""
    contents = contents_of(LOOM, "routine start at 0\n        fork other table\nroutine other\n        test other\n"
                                 "routine table align 2\n        goto start\n")
    [other] = contents.labels["other"][1]
    assert {address & 1 for address in contents.labels["table"][1]} == {0, 1}
    verdict = verdict_of(contents)
    assert verdict is not None and {found.address: found.cycles for found in verdict.breaks} == {other + 1: 3}


SHEETS = """\
machine folder "a word counts on within its page unless it jumps"
microprogram "m.micro"
store control 16 words of 8 bits
    address {page, low}
field seq 2 bits
    step 0 idle
    near 1
    test 2
    far 3
field there 2 bits address[1:0], idle 0
field sheet 2 bits address[3:2], idle 0
spare 2 bits
state low 2 bits, reset 0
    next choose seq
        step: low + 1
        near: there
        test: there if feeler else low + 1
        far: there
state page 2 bits, reset 0
    next sheet if seq is far else page
input feeler 1 bit
order goto <label> : seq near, there page(<label>)
order test <label> : seq test, there page(<label>)
order loose <label> : seq test, there part(<label>)
order far <label> : seq far, there <label>, sheet <label>
"""


def test_the_word_below_is_no_stray_where_a_jump_is_not_taken() -> None:
    """The word counts on beside a page; one bit away the label lies in another page."""
    micro = ("routine start at 0\n        test mark\n  again: far other\n  mark: goto start\n"
             "routine other at 4\n        goto there\n        seq step\n  there: test other\n        far start\n")
    contents = contents_of(SHEETS, micro)
    assert contents.labels["other.there"][1] == {6} and verdict_of(contents) is None
    loose = contents_of(SHEETS, micro.replace("there: test other", "there: loose start.again"))
    verdict = verdict_of(loose)     # to 5 instead of 1
    assert verdict is not None and {found.address: found.cycles for found in verdict.breaks} == {5: 5}


def test_an_instruction_that_a_table_dispatches_to_is_not_meant_by_a_jump() -> None:
    """Only `starts at` puts instructions where a label can be their base; a table of start addresses names its own."""
    machine = LOOM + """\
store entry 2 words of 4 bits
    address ir
    word start of instruction
register ir 1 bit, loads data when turn
bus data 1 bit, floats
    driven by memory
"""
    machine = machine.replace("over: {page, target[1:0]}", "over: entry")
    filled = "".join(f"routine fill_{at} at {at}\n        goto start\n" for at in (4, 5, 6, 7, *range(8, 16)))
    micro = ("routine start at 0\n        test mark\nroutine mark at 2\n        seq over\n"
             'instruction 0 "one"\n        goto start\ninstruction 1 "two"\n        goto start\n' + filled)
    contents = contents_of(machine, micro)
    assert contents.labels["one"][1] | contents.labels["two"][1] == {1, 3}
    verdict = verdict_of(contents)
    assert verdict is not None and {found.address: found.cycles for found in verdict.breaks} == {3: 2}


# ---------------------------------------------------------------- walked by hand


class Word(NamedTuple):
    """`seq` as in the machine; `labels`: what it names, one or two; none where it steps or turns the page to `turn`, or
    has forgotten its label."""

    seq: str
    labels: tuple[str, ...] = ()
    turn: int | None = None

    def text(self) -> str:
        match self.seq:
            case "jump" | "test" | "over" if not self.labels:
                return f"seq {self.seq}"
            case "jump":
                return f"goto {self.labels[0]}"
            case "test":
                return f"fork {' '.join(self.labels)}" if len(self.labels) > 1 else f"test {self.labels[0]}"
            case "over":
                return f"over {self.labels[0]}"
        return "seq step" if self.turn is None else f"turn, target {self.turn}"


EMPTY = Word("step")
"""What a cell reads as in which nothing was placed: zeros, in a store without chips."""


class Part(NamedTuple):
    """A routine. `place`: as written behind its name."""

    name: str
    place: str
    words: tuple[Word, ...]


@st.composite
def programs(draw: st.DrawFn) -> tuple[Part, ...]:
    names = ["r0", *(f"r{number}" for number in range(1, draw(st.integers(2, 5))))]
    label = st.sampled_from(names)
    last = st.one_of(label.map(lambda one: Word("jump", (one,))), label.map(lambda one: Word("test", (one,))),
                     st.permutations(names).map(lambda two: Word("test", tuple(two[:2]))),
                     label.map(lambda one: Word("over", (one,))),
                     st.sampled_from(["jump", "test", "over"]).map(Word))
    inner = st.one_of(st.just(Word("step")), st.integers(0, 3).map(lambda page: Word("step", (), page)))
    places = st.sampled_from(["", "", "", " align 2", " align 4", " at 6", " at 9", " at 13"])
    return tuple(Part(name, " at 0" if name == "r0" else draw(places),
                      (*draw(st.lists(inner, max_size=2)), draw(last))) for name in names)


def walked(parts: tuple[Part, ...], contents: Contents, idle: str) -> int | None:
    """Cycles of the shortest way to a word that the one before does not name, by the machine's own rules."""
    here = {at: (part, number) for part in parts for number in range(len(part.words))
            for at in _places(contents, part, number)}
    on_purpose = {part.name: {at for at in contents.labels[part.name][1] if _said(part, at)} for part in parts}
    meant = set().union(*on_purpose.values())
    lengths = {part.name: len(part.words) for part in parts}
    waiting, seen = deque([(0, 0, 1)]), {(0, 0)}
    while waiting:
        upc, page, cycles = waiting.popleft()
        part, number = here.get(upc, (None, 0))
        word = EMPTY if part is None else part.words[number]
        field = contents.words["control"][upc] >> 2 & 15
        left_as_it_is = not word.labels and word.seq != "step"
        for feeler in (0, 1):
            after = {"step": upc + 1 & 15, "jump": field, "test": field | feeler,
                     "over": page << 2 | field & 3}[word.seq]
            if (word.labels or left_as_it_is) and after in here:
                named = {at for label in word.labels for at in contents.labels[label][1]}
                if not (left_as_it_is and idle == "any"):
                    named |= meant
                below = {start + ahead for label in word.labels for start in on_purpose[label]
                         for ahead in range(lengths[label])}
                if after not in named | below:
                    return cycles + 1
            state = after, page if word.turn is None else word.turn
            if state not in seen:
                seen.add(state)
                waiting.append((*state, cycles + 1))
    return None


def _said(part: Part, at: int) -> bool:
    """The text says that the routine begins there."""
    how, number = part.place.split() or ("", "1")
    return at == int(number) if how == "at" else how == "align" and at % int(number) == 0


def _places(contents: Contents, part: Part, number: int) -> set[int]:
    numbers = sorted({site.word for site in contents.sites["control"].values() if site.owner == part.name})
    return {at for at, site in contents.sites["control"].items() if site.word == numbers[number]}


def possible(machine: str, micro: str) -> Contents:
    """The contents of a program by chance, which need not be one that can be built."""
    contents, _ = compiled(machine, micro)
    assume(contents is not None)
    assert contents is not None
    return contents


def shortest(contents: Contents) -> int | None:
    """Cycles of the shortest sequence that strays, as the prover has it."""
    verdict = verdict_of(contents)
    return None if verdict is None or not verdict.breaks else min(one.cycles for one in verdict.breaks)


@settings(max_examples=60)
@given(programs(), st.sampled_from(["0", "5", "9", "14", "any"]))
def test_beside_a_walk_through_the_words(parts: tuple[Part, ...], idle: str) -> None:
    micro = "".join(f"routine {part.name}{part.place}\n" + "".join(f"        {word.text()}\n" for word in part.words)
                    for part in parts)
    contents = possible(LOOM.replace("address, idle 0", f"address, idle {idle}"), micro)
    assert shortest(contents) == walked(parts, contents, idle)


SEQUENCES = {"near": "goto", "test": "test", "loose": "loose", "far": "far"}


@st.composite
def sheets(draw: st.DrawFn) -> tuple[Part, ...]:
    names = ["r0", *(f"r{number}" for number in range(1, draw(st.integers(2, 5))))]
    jump = st.builds(lambda seq, label: Word(seq, (label,)), st.sampled_from(["test", "loose", "loose"]),
                     st.sampled_from(names))
    last = st.builds(lambda seq, label: Word(seq, (label,)), st.sampled_from(["near", "far", "far"]),
                     st.sampled_from(names))
    places = st.sampled_from(["", "", " at 6", " at 9", " at 13"])
    return tuple(Part(name, " at 0" if name == "r0" else draw(places), (
        *draw(st.lists(st.one_of(st.just(Word("step")), jump), max_size=2)), draw(last))) for name in names)


def walked_by_sheet(parts: tuple[Part, ...], contents: Contents) -> int | None:
    """The same in pages: a jump that is not taken counts on within its page, and what it comes to is meant."""
    here = {at: (part, number) for part in parts for number in range(len(part.words))
            for at in _places(contents, part, number)}
    on_purpose = {part.name: {at for at in contents.labels[part.name][1] if _said(part, at)} for part in parts}
    lengths = {part.name: len(part.words) for part in parts}
    waiting, seen = deque([(0, 1)]), {0}
    while waiting:
        at, cycles = waiting.popleft()
        part, number = here.get(at, (None, 0))
        word = EMPTY if part is None else part.words[number]
        bits = contents.words["control"][at]
        there, sheet, below = bits >> 4 & 3, bits >> 2 & 3, at & 12 | at + 1 & 3
        for feeler in (0, 1):
            after = {"step": below, "near": at & 12 | there, "far": sheet << 2 | there}.get(
                word.seq, at & 12 | there if feeler else below)
            if word.labels and after in here:
                named = {one for label in word.labels for one in contents.labels[label][1]}
                named |= {start + ahead for label in word.labels for start in on_purpose[label]
                          for ahead in range(lengths[label])}
                counts = {below} if word.seq in ("test", "loose") else set()
                if after not in named.union(counts, *on_purpose.values()):
                    return cycles + 1
            if after not in seen:
                seen.add(after)
                waiting.append((after, cycles + 1))
    return None


@settings(max_examples=30)
@given(sheets())
def test_beside_a_walk_from_page_to_page(parts: tuple[Part, ...]) -> None:
    micro = "".join(f"routine {part.name}{part.place}\n" + "".join(
        f"        {f'{SEQUENCES[word.seq]} {word.labels[0]}' if word.labels else 'seq step'}\n" for word in part.words)
        for part in parts)
    contents = possible(SHEETS, micro)
    assert shortest(contents) == walked_by_sheet(parts, contents)


# ---------------------------------------------------------------- addresses that are made of the present one

LATHE = """\
machine lathe "gates make the next address of this one"
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
field seq 2 bits
    step 0 idle
    jump 1
    odd  2
field target 4 bits address, idle 0
spare 2 bits
input feeler 1 bit, other 1 bit
state upc 4 bits, reset 0
    next choose seq
        step     : upc + 1
        jump     : target
        otherwise: ODD
order goto <there> : seq jump, target <there>
"""
TURN = """\
routine start at 0
        seq odd
        goto start
        goto start
routine beside PLACE
        goto start
"""
SKIP = "{upc[3:1] + 1, upc[0]} if feeler else upc + 1"
FOUR = "{upc[3:2], upc[1:0] or {feeler, other}}"
WAYS = """\
routine start at 0
        seq odd
routine one at 1
        goto start
routine beside at 2
        goto start
routine three{}
        goto start
"""


@pytest.mark.parametrize(("odd", "micro", "breaks"), [
    # two words on is 2, where the word two below stands, or where another one does
    (SKIP, TURN.replace("PLACE", "at 3"), {}), (SKIP, TURN.replace("PLACE", "at 2"), {2: 2}),
    (SKIP.replace("+ 1, upc", ", upc"), TURN.replace("PLACE", "at 2"), {}),
    # one of four, all of which are there on purpose, or of which one stands there by chance
    (FOUR, WAYS.format(" at 3"), {}), (FOUR, WAYS.format(""), {3: 2}),
    (FOUR.replace("other", "0b0"), WAYS.format(""), {}),
    # the lowest line turned: there and back; the second line turned
    ("{upc[3:1], not upc[0]}", TURN.replace("PLACE", "at 3"), {}),
    ("{upc[3:2], not upc[1], upc[0]} if feeler else upc + 1", TURN.replace("PLACE", "at 2"), {2: 2}),
])
def test_an_address_that_gates_make_of_the_present_one(odd: str, micro: str, breaks: dict[int, int]) -> None:
    verdict = verdict_of(contents_of(LATHE.replace("ODD", odd), micro))
    found = {} if verdict is None else {found.address: found.cycles for found in verdict.breaks}
    assert found == breaks


@pytest.mark.parametrize(("place", "breaks"), [("at 3", {}), ("at 2", {2: 2})])
def test_an_address_that_gates_make_of_one_that_is_chosen(place: str, breaks: dict[int, int]) -> None:
    """`shown` is what is presented; `before` had it a cycle ago."""
    text = LATHE.replace("address upc", "address shown").replace("next choose seq", "next shown + 1").replace(
        "        step     : upc + 1\n        jump     : target\n        otherwise: ODD\n", """\
state before 4 bits, reset 0
    next shown
state held 2 bits, reset 0
    next seq
state held_target 4 bits, reset 0
    next target
signal shown = choose held
    1        : held_target
    2        : {before[3:1] + 1, before[0]} if feeler else upc
    otherwise: upc
""")
    verdict = verdict_of(contents_of(text, TURN.replace("PLACE", place)))
    assert ({} if verdict is None else {found.address: found.cycles for found in verdict.breaks}) == breaks


SORTER = """\
machine sorter "a page that is a flip-flop, beside a counter"
microprogram "m.micro"
store control 8 words of 6 bits
    address {page, upc}
field jump 1 bit
field jump_if 1 bit
field to_page 1 bit address[2], idle 0
field target 2 bits address[1:0], idle 0
field belt 1 bit
input full 1 bit
signal go = jump or (jump_if and full)
state page 1 bit, reset 0
    next PAGE
state upc 2 bits, reset 0
    next target if go else upc + 1
order goto <there> : jump, to_page <there>, target <there>
order when full goto <there> : jump_if, to_page <there>, target <there>
"""
LETTERS = """\
routine start at 0
  first: belt, when full goto second
        belt
        belt
        goto first
routine other
  second: when full goto beside
        goto first
routine more
  beside: when full goto second
        goto first
"""


@pytest.mark.parametrize(("page", "breaks"), [
    ("to_page if go else page", {}),
    ("(to_page and go) or (page and not go)", {}),
    ("not (not (to_page and go) and not (page and not go))", {}),
    ("(page xor to_page) and go xor page", {}),
    # never back: `goto first` from 5 comes to 4. Never kept: from 4 and 6 control goes on to 1 and 3
    ("(to_page and go) or page", {4: 4}),
    ("to_page and go", {1: 3, 3: 4}),
])
def test_a_page_that_gates_choose_is_chosen_with_the_rest(page: str, breaks: dict[int, int]) -> None:
    verdict = verdict_of(contents_of(SORTER.replace("PAGE", page), LETTERS))
    assert ({} if verdict is None else {found.address: found.cycles for found in verdict.breaks}) == breaks
