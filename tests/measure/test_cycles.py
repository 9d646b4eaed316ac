"""Cycles of instructions: textbooks, small machines of every manner of addressing, and random ones against networkx."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.compare.comparison import cycle_changes
from ordain.control.system import build_system
from ordain.measure.cycles import Cycles, Decision, Taken, cycles_of
from ordain.measure.mix import PerInstruction, per_instruction, read_mix
from ordain.rom.contents import Contents
from ordain.show.cycle_table import cycle_lines
from ordain.text.source import Source
from tests.microprogram import test_textbook_multicycle as multicycle
from tests.workshop import contents_of

REFERENCE = Path(__file__).parents[1] / "reference"


def counted(contents: Contents, titles: list[str]) -> Cycles:
    found = cycles_of(build_system(contents), titles)
    assert found is not None
    return found


def by_title(cycles: Cycles) -> dict[str, Taken]:
    return {one.title: one for one in cycles.taken}


def figure(cycles: Cycles, text: str) -> PerInstruction:
    shares, findings = read_mix(Source("mix", text), cycles)
    assert not findings
    found = per_instruction(cycles, shares)
    assert found is not None
    return found


# ---------------------------------------------------------------- textbooks


@pytest.fixture(scope="module")
def mano() -> Cycles:
    contents = contents_of((REFERENCE / "mano.machine").read_text(), (REFERENCE / "mano.micro").read_text())
    return counted(contents, ["ADD", "BRANCH", "STORE", "EXCHANGE"])


@pytest.mark.parametrize("title", ["ADD", "BRANCH", "STORE", "EXCHANGE"])
def test_the_basic_computer(mano: Cycles, title: str) -> None:
    """tests/reference/mano.json: microcycles of M. Morris Mano's table 7-2, fetch included; from memory."""
    book = json.loads((REFERENCE / "mano.json").read_text())["microcycles_including_fetch"]
    cycles = [count for case, count in book.items() if case.startswith(f"{title} ")]
    assert mano.fetch is not None and mano.fetch.least == mano.fetch.most == 3
    one = by_title(mano)[title]
    assert (3 + (one.least or 0), 3 + (one.most or 0), one.rings) == (min(cycles), max(cycles), ())


def test_what_decides_in_the_basic_computer(mano: Cycles) -> None:
    """The same source: a branch is long when AC is negative (its sign is 1) and the address indirect."""
    branch = by_title(mano)["BRANCH"]
    assert [each.values for each in branch.if_least] == [(("negative", 0),)]
    assert [each.values for each in branch.if_most] == [(("negative", 1),), (("indirect", 1),)]
    assert [each.where for each in branch.if_most] == ["BRANCH", "BRANCH.OVER"]


@pytest.fixture(scope="module")
def ph() -> Cycles:
    return counted(contents_of(multicycle.MACHINE, multicycle.micro()), [])


ROW = {"R-format": 0b000000, "jmp": 0b000010, "beq": 0b000100, "lw": 0b100011, "sw": 0b101011}
"""Opcodes of the rows of dispatch table 1 of tests/reference/ph.json (from memory)."""
ALSO = {"R": "R-format", "j": "jmp", "beq": "beq", "lw": "lw", "sw": "sw"}


def row(cycles: Cycles, name: str) -> Taken:
    return next(one for one in cycles.taken if one.title.startswith(f"dispatch1[0x{ROW[name]:X}]"))


@pytest.mark.parametrize("name", list(ROW))
def test_the_multicycle_processor(ph: Cycles, name: str) -> None:
    """Cycles of each instruction: tests/reference/ph.json, and hh.json where it has the same one; both from memory."""
    assert ph.fetch is not None and ph.fetch.least == ph.fetch.most == 2
    one = row(ph, name)
    assert one.least == one.most
    expected = json.loads((REFERENCE / "ph.json").read_text())["cycles"][name]
    assert 2 + (one.least or 0) == expected
    other = json.loads((REFERENCE / "hh.json").read_text())["cycles"]
    assert {other[short] for short, long in ALSO.items() if long == name} == {expected}


def test_cycles_per_instruction_of_the_multicycle_processor(ph: Cycles) -> None:
    """The mix and the CPI of 4.12, as in tests/reference/ph.json and (Harris & Harris, example 7.7) hh.json; from
    memory."""
    mix = json.loads((REFERENCE / "ph.json").read_text())["cpi"]
    text = "\n".join(f"{row(ph, name).title} {fraction}" for name, fraction in mix["mix"].items())
    found = figure(ph, text)
    assert float(found.least) == float(found.past_rings) == mix["value"] == 4.12
    assert found.most == found.least
    assert json.loads((REFERENCE / "hh.json").read_text())["CPI"] == 4.12


# ---------------------------------------------------------------- three manners of addressing

BUS = """\
input line 2 bits
condition long 1 bit
bus data 2 bits, kept
    driven by memory
"""

MAPPED = """\
machine mapped
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
field way 3 bits
    step     0 idle
    jump     1
    if_long  2
    dispatch 3
    finish   4
field spare_bit 1 bit, idle any
field there 4 bits address, idle 0
store entry 4 words of 4 bits
    address op
    word    start of instruction
state upc 4 bits, reset 0
    next choose way
        step     : upc + 1
        jump     : there
        if_long  : there if long else upc + 1
        dispatch : entry.word
        finish   : {0b000, line[0]}
        otherwise: 0
register op 2 bits
    loads data when upc is 0
home fetch
order jump <a>    : way jump, there <a>
order if long <a> : way if_long, there <a>
order dispatch    : way dispatch
order finish      : way finish
order wait        : way step
""" + BUS

MAPPED_MICRO = """\
routine boundary at 0
    fetch: dispatch
    busy : jump fetch
instruction 0 "quick"
    finish
instruction 1 "either"
    if long more
    finish
  more: wait
    wait
    jump fetch
instruction 2 "patient"
  again: if long again
    finish
instruction others "never ends"
  ring: jump ring
"""


def test_with_a_mapping_store() -> None:
    found = counted(contents_of(MAPPED, MAPPED_MICRO), ["quick", "either", "patient", "never ends"])
    taken = by_title(found)
    assert [(one.least, one.most, len(one.rings)) for one in taken.values()] == [
        (1, 1, 0), (2, 4, 0), (2, 2, 1), (None, None, 1)]
    assert [each.values for each in taken["either"].if_most] == [(("long", 1),)]
    assert [each.values for each in taken["either"].if_least] == [(("long", 0),)]
    assert taken["patient"].rings[0].names == ("long",)
    assert found.fetch is not None and (found.fetch.least, found.fetch.most) == (1, 1)


TWICE = """\
machine twice
microprogram "m.micro"
store control 8 words of 8 bits
    address upc
field way 3 bits
    step     0 idle
    dispatch 1
    if_long  2
    if_told  3
    finish   4
field tell  1 bit
field there 3 bits address, idle 0
spare 1 bit
store entry 4 words of 3 bits
    address op
    word    start of instruction
state upc 3 bits, reset 0
    next choose way
        step     : upc + 1
        dispatch : entry.word
        if_long  : upc + 1 if long else there
        if_told  : upc + 1 if told else there
        otherwise: 0
state told 1 bit, reset 0
    next 0 if way is finish else 1 if tell else told
register op 2 bits
    loads data when upc is 0
home fetch
""" + BUS


@pytest.mark.parametrize(("tell", "least", "waits"), [
    (", tell", 5, {"asks"}),        # asks, goes, asks, goes, over: `goes` leads from the one wait to the other
    ("", None, {"asks", "goes"}),   # round and round, and never out
])
def test_a_word_between_two_rings_is_in_none(tell: str, least: int | None, waits: set[str]) -> None:
    """`asks` waits for `long` twice, at first not yet told, and then told."""
    micro = f"""routine boundary at 0
    fetch: way dispatch
instruction others "twice"
  asks: way if_long, there asks
  goes: way if_told, there asks{tell}
  over: way finish
"""
    contents = contents_of(TWICE, micro)
    (one,) = counted(contents, ["twice"]).taken
    assert (one.least, one.most) == (least, least)
    assert {address for ring in one.rings for address in ring.addresses} == {
        address for label in waits for address in contents.labels[f"twice.{label}"][1]}


CHOOSING = """\
machine choosing
microprogram "m.micro"
store control 64 words of 10 bits
    address upc
field ask 4 bits number, idle 15
field there 6 bits address, idle 0
state upc 6 bits, reset 0
    next there if tested else upc + 1
state mode 8 bits, reset any
    next mode
signal tested = choose ask
"""


@pytest.mark.parametrize(("reset", "each"), [("any", (0, 1, 2)), ("0", (0, 1)), ("255", (0, 2))])
def test_ways_round_that_touch_are_one_loop(reset: str, each: tuple[int, ...]) -> None:
    """Bit k of what nobody loads chooses between the words 4k + 5 and 4k + 6 on the way round: 256 ways."""
    asked = "".join(f"    {bit}: mode[{bit}]\n" for bit in range(8)) + "    otherwise: 1\n"
    words = "routine begins at 0\n    there n0\n"
    for bit in range(8):
        words += f"routine n{bit} at {4 * bit + 4}\n    ask {bit}, there n{bit}.yes\n    there n{(bit + 1) % 8}\n" \
                 f"  yes: there n{(bit + 1) % 8}\n"
    machine = CHOOSING.replace("reset any", f"reset {reset}") + asked
    found = counted(contents_of(machine, words), [])
    assert found.round is not None and (found.round.least, found.round.most) == (None, None)
    (ring,) = found.round.rings
    assert ring.addresses == tuple(4 * bit + 4 + word for bit in range(8) for word in each)


def test_one_word_less_is_one_cycle_less() -> None:
    found = counted(contents_of(MAPPED, MAPPED_MICRO.replace("  more: wait\n    wait", "  more: wait")), ["either"])
    assert (found.taken[0].least, found.taken[0].most) == (2, 3)


STEPPED = """\
machine stepped
microprogram "m.micro"
store control 32 words of 4 bits
    address {op, late, stage}
    instruction op
    step        stage
field last   1 bit
field work   2 bits number, idle 0
field unused 1 bit, idle any
register op 2 bits
    loads data when stage is 0
state stage 2 bits, reset 0
    next 0 if last else stage + 1
input late 1 bit
order last     : last
order work <n> : work <n>
""" + BUS.replace("input line 2 bits\n", "")

STEPPED_MICRO = """\
prologue
    work 1
instruction 0 "short"
    work 2, last
instruction 1 "asks"
    when late
        work 3
    work 2
    work 1, last
instruction others "other"
    work 2
    last
"""


def test_with_a_step_counter() -> None:
    """The counter goes back to 0 by itself: the machine, not a word, says where."""
    try:
        contents = contents_of(STEPPED, STEPPED_MICRO)
    except AssertionError as failure:
        pytest.fail(str(failure))
    taken = by_title(counted(contents, ["short", "other"]))
    assert [(one.least, one.most, one.rings) for one in taken.values()] == [(1, 1, ()), (2, 2, ())]


WIRED = MAPPED.replace("""\
store entry 4 words of 4 bits
    address op
    word    start of instruction
""", "").replace("    address upc\n", "    address upc\n    starts at {0b1, op, 0b0}\n").replace(
    "store control 16 words of 8 bits", "store control 16 words of 8 bits").replace(
    "entry.word", "{0b1, op, 0b0}").replace("register op", "register opcode").replace("op,", "opcode,")


def test_with_starts_wired_into_the_sequencer() -> None:
    micro = """\
routine boundary at 0
    fetch: dispatch
    busy : jump fetch
instruction 0 "quick"
    finish
instruction 1 "either"
    if long more
    finish
routine tail at 2
  more: wait
    jump fetch
instruction others "trap"
    jump fetch
"""
    taken = by_title(counted(contents_of(WIRED, micro), ["quick", "either", "trap"]))
    assert [(one.least, one.most, one.rings) for one in taken.values()] == [(1, 1, ()), (2, 3, ()), (1, 1, ())]


def test_a_reset_line_is_no_short_end() -> None:
    """A line that sends control away whatever the word says breaks instructions off; that is not how long they take."""
    broken = MAPPED.replace("    next choose way\n", "    next 0 if stop_key else chosen\nsignal chosen = choose way\n")
    broken += "input stop_key 1 bit\n"
    found = by_title(counted(contents_of(broken, MAPPED_MICRO), ["quick", "either"]))
    assert [(one.least, one.most) for one in found.values()] == [(1, 1), (2, 4)]


def test_a_wire_that_leads_on_beside_the_word_breaks_nothing_off() -> None:
    """The word says that it is the last, the wire only where it goes: that is an end, not a break."""
    chosen = MAPPED.replace("        finish   : {0b000, line[0]}\n", "        finish   : 0 if line[0] else 0b0001\n")
    found = by_title(counted(contents_of(chosen, MAPPED_MICRO), ["quick", "either"]))
    assert [(one.least, one.most) for one in found.values()] == [(1, 1), (2, 4)]


STANDING = """\
machine standing
microprogram "m.micro"
store control 16 words of 4 bits
    address     {op, stage}
    instruction op
    step        stage
field last 1 bit
field hold 1 bit
spare 2 bits
state half (high, low), reset high
    next low if half is high else high
state op 2 bits, reset 0
    next (line if stage is 0 else op) if half is low else op
state stage 2 bits, reset 0
    next (0 if last else (stage if hold and not line[0] else stage + 1)) if half is low else stage
input line 2 bits
home stage is 0
order last : last
order hold : hold
order go   :
"""

STANDING_MICRO = """\
prologue
    go
instruction 0 "one"
    last
instruction 1 "two"
    go
    last
instruction 2 "holds"
    hold
    last
instruction others "three"
    go
    go
    last
"""


@pytest.mark.parametrize(("machine", "each"), [
    (STANDING, 2), (STANDING.replace("    next low if half is high else high", "    next low"), 1)])
def test_a_word_that_stands_for_several_cycles(machine: str, each: int) -> None:
    """Every word stands for two cycles; with one line changed, from the second cycle on for one."""
    found = counted(contents_of(machine, STANDING_MICRO), ["one", "two", "holds", "three"])
    assert [(one.least, one.most, len(one.rings)) for one in found.taken] == [
        (each, each, 0), (2 * each, 2 * each, 0), (2 * each, 2 * each, 1), (3 * each, 3 * each, 0)]
    assert found.fetch is not None and found.fetch.most == 2


LOOPING = """\
instruction 0 "turns"
  again: jump more
  more: if long again
    finish
instruction others "other"
    finish
"""


def test_what_comes_back_to_the_first_word_begins_nothing() -> None:
    """A counter in place of the line: from the first word on there are always three turns, never one or two."""
    counting = MAPPED.replace("condition long 1 bit\n", """\
state turns 2 bits, reset 0
    next turns + 1 if way is if_long and not (turns is 2) else (0 if way is if_long else turns)
signal long = not (turns is 2)
""")
    (one,) = counted(contents_of(counting, "routine boundary at 0\n    fetch: dispatch\n" + LOOPING), ["turns"]).taken
    assert (one.least, one.most, one.rings) == (7, 7, ())


def test_arms_at_the_first_word_all_count() -> None:
    """Without the line it does one word more; where it stays instead, it waits there, and the fetch does not."""
    longer = STEPPED_MICRO.replace("    when late\n        work 3\n    work 2\n    work 1, last\n", """\
    when late
        last
    otherwise
        work 3
        last
""")
    sampled = STEPPED.replace("input late 1 bit\n", """\
input lever 1 bit
state late 1 bit, reset 0
    next lever if stage is 0 else late
""") + "home stage is 0\n"
    (one,) = counted(contents_of(sampled, longer), ["asks"]).taken
    assert (one.least, one.most, one.rings) == (1, 2, ())
    assert [[each.values for each in way] for way in (one.if_least, one.if_most)] == [[], [(("late", 0),)]]
    stays = STEPPED.replace("field unused 1 bit, idle any", "field stay 1 bit").replace(
        "0 if last else stage + 1", "0 if last else (stage if stay else stage + 1)") + "order stay : stay\n"
    found = counted(contents_of(stays + "home stage is 0\n",
                                longer.replace("        work 3\n        last\n", "        stay\n")),
                    ["asks", "short", "other"])
    one = found.taken[0]
    assert (one.least, one.most) == (1, 1) and len(one.rings) == 1 and one.rings[0].names == ("late",)
    assert found.fetch is not None and (found.fetch.least, found.fetch.most, found.fetch.rings) == (1, 1, ())


def test_where_an_instruction_begins_at_the_boundary_nothing_is_fetched() -> None:
    """Without a prologue the first word is at step 0; with one, what is before it takes a cycle."""
    whole = STEPPED + "home stage is 0\n"
    ahead = whole.replace("loads data when stage is 0", "loads data when last")
    without = STEPPED_MICRO.removeprefix("prologue\n    work 1\n")
    found = counted(contents_of(ahead, without), ["short", "asks", "other"])
    assert found.fetch is None and found.boundary == "home"
    assert [(one.least, one.most) for one in found.taken if one.title != "asks"] == [(1, 1), (2, 2)]
    found = counted(contents_of(whole, STEPPED_MICRO), ["short", "asks", "other"])
    assert found.fetch is not None and (found.fetch.least, found.fetch.most) == (1, 1)


AHEAD = """\
machine lathe
store control 16 words of 8 bits
    address upc
field next 2 bits
    on       0 idle
    jump     1
    dispatch 2
    ask      3
field target 4 bits address, idle 0
spare 2 bits
store first 4 words of 4 bits
    address data
    word start of instruction
input late 1 bit, irq 1 bit
constant served = 12
state upc 4 bits, reset 0
    next choose next
        on      : upc + 1
        jump    : target
        dispatch: first
        ask     : target if late else upc + 1
bus data 2 bits, multiplexed
    driven by memory
"""
AHEAD_MICRO = """\
routine start at 0
        next dispatch
instruction 0 "nothing"
        next dispatch
instruction 1 "work"
        next on
        next dispatch
instruction 2 "slow"
        next on
        next jump, target start
instruction 3 "either"
        next ask, target start
        next dispatch
routine serve at served
        next jump, target start
"""


@pytest.mark.parametrize("wire, home", [("", ""), ("", "home upc is 0\n"), ("served if irq else ", "")])
def test_no_fetch_comes_after_a_word_that_dispatches_the_next_one(wire: str, home: str) -> None:
    """By hand: `work` takes two cycles from its first word to that of the next one, `slow` three; `either` two, one of
    them a fetch or not. An interrupt between them has a fetch of its own."""
    machine = AHEAD.replace("dispatch: first", f"dispatch: {wire}first") + home
    found = counted(contents_of(machine, AHEAD_MICRO), ["nothing", "work", "slow", "either"])
    assert found.fetch is not None and found.fetch.least == 1
    assert {one.title: (one.least, one.most, one.fetches) for one in found.taken} == {
        "nothing": (1, 1, "always"), "work": (2, 2, "always"), "slow": (2, 2, "never"), "either": (1, 2, "sometimes")}
    if not wire:
        shown = cycle_lines("lathe", found, {}, 200, True)
        assert [line.split()[:3] for line in shown[-4:]] == [
            ["nothing", "1", "1"], ["work", "2", "2"], ["slow", "2", "3"], ["either", "1-2", "2-3"]]
        assert [float(figure(found, text).least) for text in ("work 1", "slow 1", "work 1/2\nslow 1/2")] == [2, 3, 2.5]
        assert figure(found, "either 1").most == 3


def test_where_each_word_dispatches_home_is_in_the_instruction() -> None:
    """The boundary is the word that dispatches: who begins with it has done nothing else."""
    found = counted(contents_of(AHEAD + "home next is dispatch\n", AHEAD_MICRO), ["nothing", "work", "slow"])
    assert {one.title: (one.least, one.fetches) for one in found.taken} == {
        "nothing": (1, "always"), "work": (1, "never"), "slow": (2, "never")}


def test_what_never_begins_is_not_said_to_go_on_for_ever() -> None:
    """The bus has 0 and 2 only."""
    machine = AHEAD.replace("    driven by memory\n", "    driven by even = {some, 0b0}\nstate some 1 bit, reset 0\n"
                            "    next late\n")
    found = counted(contents_of(machine, AHEAD_MICRO), ["nothing", "work", "slow", "either"])
    assert {one.title: (one.least, one.begins) for one in found.taken} == {
        "nothing": (1, True), "work": (None, False), "slow": (2, True), "either": (None, False)}
    lines = cycle_lines("lathe", found, {}, 200, True)
    assert lines[0].endswith("an instruction 1 to 2 more, 2 never begin")
    assert [line.split()[:3] for line in lines if line.split()[:1] in (["work"], ["either"])] == [
        ["work", "never", "never"], ["either", "never", "never"]]
    both = counted(contents_of(AHEAD, AHEAD_MICRO), ["nothing", "work", "slow", "either"])
    assert [(one.title, one.old, one.new) for one in cycle_changes(both, found)] == [
        ("work", (2, 2), None), ("either", (1, 2), None)]


TABLED = AHEAD.replace("ask     : target if late else upc + 1", "ask     : second").replace(
    "input late 1 bit, irq 1 bit\n", """\
store second 4 words of 4 bits
    address {op[0], more}
register op   2 bits, loads data when next is dispatch
register more 1 bit,  loads data[0] when next is on
""").replace("address data", "address op")
TABLED_MICRO = """\
routine start at 0
        next jump, target go
routine go
        next dispatch
instruction others "both"
        next on
        next ask
routine ways
  short:next jump, target start
  long: next on
        next jump, target start
map second
        0bx0: ways.short
        0bx1: ways.long
"""


def test_the_row_of_a_table_decides_by_what_is_not_the_opcode() -> None:
    """`more` was taken for a part of the opcode, and nothing was said to decide."""
    both = counted(contents_of(TABLED, TABLED_MICRO), ["both"]).taken[0]
    assert (both.least, both.most) == (3, 4)
    assert [[(each.where, each.values) for each in way] for way in (both.if_least, both.if_most)] == [
        [("both+1", (("more", 0),))], [("both+1", (("more", 1),))]]


def test_what_cannot_happen_does_not_count() -> None:
    """With the line assumed to be 0 the long way is no way any more."""
    sure = MAPPED.replace("condition long 1 bit\n", "input long 1 bit\nassume not long\n")
    (one,) = counted(contents_of(sure, MAPPED_MICRO), ["either"]).taken
    assert (one.least, one.most) == (2, 2)


# ---------------------------------------------------------------- random machines against networkx


class Word(NamedTuple):
    """`test`: always, free, flag. `flag`: keep, set, clear, turn, free (what is stored in the flag)."""

    test: str
    there: int
    other: int
    flag: str
    end: bool


COUNT = 12
TESTS = ("always", "free", "flag")
FLAGS = ("keep", "set", "clear", "turn", "free")

RANDOM = """\
machine chance
microprogram "m.micro"
store control 16 words of 14 bits
    address upc
field test 2 bits
    always 0 idle
    free   1
    flag   2
field act 3 bits
    keep  0 idle
    set   1
    clear 2
    turn  3
    free  4
field end   1 bit
field there 4 bits address, idle 0
field other 4 bits address, idle 0
store entry 4 words of 4 bits
    address op
    word    start of instruction
state upc 4 bits, reset 0
    next entry.word if upc is 0 else (0 if end else (there if tested else other))
state flag_1 1 bit, reset 0
    next choose act
        keep     : flag_1
        set      : 1
        clear    : 0
        turn     : not flag_1
        free     : line
        otherwise: flag_1
signal tested = choose test
    always   : 1
    free     : line
    flag     : flag_1
    otherwise: 1
input line 1 bit
input picked 2 bits
register op 2 bits
    loads data when upc is 0
bus data 2 bits, kept
    driven by memory
home fetch
order word <t> <f> <a> <b> : test <t>, act <f>, there <a>, other <b>
order end  : end
order none : test always
"""


@st.composite
def programs(draw: st.DrawFn) -> list[Word]:
    """Words 1 to COUNT; instruction k of four starts at word 1 + 3 * k. Mostly forward, so that not all is a ring."""
    words = []
    for number in range(1, COUNT + 1):
        ahead = st.integers(min(number + 1, COUNT), COUNT)
        place = ahead if draw(st.integers(0, 5)) else st.integers(1, COUNT)
        words.append(Word(draw(st.sampled_from(TESTS)), draw(place), draw(place), draw(st.sampled_from(FLAGS)),
                          number == COUNT or draw(st.integers(0, 3)) == 0))
    return words


def random_text(words: list[Word]) -> str:
    lines = ["routine boundary at 0", "    fetch: none"]
    for number, word in enumerate(words, 1):
        if number % 3 == 1:
            lines.append(f'instruction {number // 3} "i{number // 3}"')
        end = ", end" if word.end else ""
        lines.append(f"  w{number}: word {word.test} {word.flag} w{word.there} w{word.other}{end}")
    return "\n".join(lines) + "\n"


State = tuple[int, int]
"""(word, flag); word 0 is the boundary."""


def steps(words: list[Word], state: State) -> set[State]:
    number, flag = state
    if number == 0:
        return {(1 + 3 * opcode, flag) for opcode in range(4)}
    word = words[number - 1]
    found = set()
    for line in (0, 1):
        after = {"keep": flag, "set": 1, "clear": 0, "turn": 1 - flag, "free": line}[word.flag]
        tested = {"always": 1, "free": line, "flag": flag}[word.test]
        found.add((0 if word.end else word.there if tested else word.other, after))
    return found


def reachable(words: list[Word]) -> "nx.DiGraph[State]":
    graph: nx.DiGraph[State] = nx.DiGraph()
    waiting, seen = [(0, 0)], {(0, 0)}
    while waiting:
        state = waiting.pop()
        for after in steps(words, state):
            graph.add_edge(state, after)
            if after not in seen:
                seen.add(after)
                waiting.append(after)
    return graph


@given(programs())
@settings(max_examples=60, deadline=None)
def test_least_and_most_against_networkx(words: list[Word]) -> None:
    """Shortest by nx.shortest_path_length, longest by nx.dag_longest_path_length over the reachable states; rings where
    nx finds a strongly connected part."""
    graph = reachable(words)
    found = counted(contents_of(RANDOM, random_text(words)), [f"i{number}" for number in range(4)])
    inner = graph.subgraph([state for state in graph if state[0]])
    for opcode, one in enumerate(found.taken):
        starts = [state for state in inner if state[0] == 1 + 3 * opcode]
        here = inner.subgraph({state for start in starts for state in (start, *nx.descendants(inner, start))})
        finals = [state for state in here if (0, 0) in steps(words, state) or (0, 1) in steps(words, state)]
        lengths = [nx.shortest_path_length(here, start, final) for start in starts for final in finals
                   if nx.has_path(here, start, final)]
        assert one.least == (min(lengths) + 1 if lengths else None)
        cyclic = [part for part in nx.strongly_connected_components(here)
                  if len(part) > 1 or any(here.has_edge(state, state) for state in part)]
        assert bool(one.rings) is bool(cyclic)
        if not cyclic:
            assert one.most == nx.dag_longest_path_length(here) + 1
            check_decisions(words, graph, opcode, one)


def check_decisions(words: list[Word], graph: "nx.DiGraph[State]", opcode: int, one: Taken) -> None:
    """Followed by hand, exactly the decisions that are told lead to the end, in as many cycles as are told."""
    if one.least == one.most:
        assert one.if_least == () and one.if_most == ()
        return
    starts = {state for state in graph if state[0] == 1 + 3 * opcode}
    for cycles, decisions in ((one.least or 0, one.if_least), (one.most or 0, one.if_most)):
        asked = {(state, 0) for state in starts}
        for _ in range(cycles - 1):
            asked = {after for state, index in asked for after in followed(words, state, index, decisions)}
        assert any(words[number - 1].end and index == len(decisions) for (number, _), index in asked)


def followed(words: list[Word], state: State, index: int,
             decisions: tuple[Decision, ...]) -> Iterator[tuple[State, int]]:
    """The states after one cycle in which what is told at this word, if anything, is so."""
    number, flag = state
    word = words[number - 1]
    if word.end:
        return
    branches = word.test != "always" and word.there != word.other
    for line in (0, 1):
        values = (("line", line),) if word.test == "free" else (("flag_1", flag),)
        if branches and (index == len(decisions) or decisions[index].values != values
                         or decisions[index].where.split(".")[-1] != f"w{number}"):
            continue
        after = {"keep": flag, "set": 1, "clear": 0, "turn": 1 - flag, "free": line}[word.flag]
        tested = {"always": 1, "free": line, "flag": flag}[word.test]
        yield (word.there if tested else word.other, after), index + branches


# ---------------------------------------------------------------- mixes


@pytest.fixture(scope="module")
def mapped() -> Cycles:
    return counted(contents_of(MAPPED, MAPPED_MICRO), ["quick", "either", "patient", "never ends"])


def test_a_mix_spans_the_least_and_the_most(mapped: Cycles) -> None:
    found = figure(mapped, "quick 1/4   # as measured\n\n\"either\" 75%\n")
    assert [float(found.least), float(found.most or 0)] == [1 + 0.25 * 1 + 0.75 * 2, 1 + 0.25 * 1 + 0.75 * 4]


def test_a_wait_has_no_most(mapped: Cycles) -> None:
    found = figure(mapped, "patient 1")
    assert found.least == found.past_rings == 3 and found.most is None


def test_what_never_ends_has_no_figure(mapped: Cycles) -> None:
    shares, findings = read_mix(Source("mix", "never ends 1"), mapped)
    assert not findings and per_instruction(mapped, shares) is None


def test_the_beginning_of_a_title_means_all_that_begin_so(mapped: Cycles) -> None:
    shares, findings = read_mix(Source("mix", "never 1"), mapped)
    assert not findings and [one.title for one in shares[0].of] == ["never ends"]


@pytest.mark.parametrize(("name", "meant"), [
    ("load a", ["load a, n", "load a [x]"]), ("load", ["load a, n", "load acc", "load a [x]"]), ("loads", ["loads"]),
])
def test_the_beginning_of_a_title_ends_with_a_word(name: str, meant: list[str]) -> None:
    taken = tuple(Taken("instruction", title, 1, 1, (), (), ())
                  for title in ("load a, n", "load acc", "load a [x]", "load_b", "loads"))
    shares, findings = read_mix(Source("mix", f"{name} 1"), Cycles(None, None, "", taken))
    assert not findings and [one.title for one in shares[0].of] == meant


@pytest.mark.parametrize(("text", "name", "line"), [
    ("quick\n", "mix-line", 1), ("quick 2\n", "mix-line", 1), ("quick x\n", "mix-line", 1), ("0.5\n", "mix-line", 1),
    ("either 1\nquikc 0\n", "mix-unknown", 2), ("quick 0.5\nquick 0.5\n", "mix-twice", 2),
    ("quick 0.5\neither 0.49\n", "mix-sum", 1), ("nev 1\n", "mix-unknown", 1),
])
def test_what_is_wrong_with_a_mix(mapped: Cycles, text: str, name: str, line: int) -> None:
    _, findings = read_mix(Source("mix", text), mapped)
    assert [(found.name, found.span.line) for found in findings if found.span] == [(name, line)]


def test_a_fault_of_a_mix_is_marked_in_its_whole_line(mapped: Cycles) -> None:
    _, (found,) = read_mix(Source("mix", "quick 1\nquikc 0  # no\n"), mapped)
    assert found.span is not None and found.span.text == "quikc 0"


def test_a_mix_may_be_rounded(mapped: Cycles) -> None:
    assert read_mix(Source("mix", "quick 0.333\neither 0.333\npatient 0.333"), mapped)[1] == []


def test_as_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from ordain.cli.main import run

    (tmp_path / "m.machine").write_text(MAPPED)
    (tmp_path / "m.micro").write_text(MAPPED_MICRO)
    (tmp_path / "mix").write_text("quick 0.5\neither 0.5\n")
    run(["cycles", str(tmp_path), "--mix", str(tmp_path / "mix"), "--format", "json"])
    data: dict[str, Any] = json.loads(capsys.readouterr().out)
    told = {one["title"]: (one["least"], one["most"]) for one in data["instructions"]}
    assert told == {"quick": (1, 1), "either": (2, 4), "patient": (2, None), "never ends": (None, None)}
    assert data["per_instruction"]["least"] == 2.5 and data["per_instruction"]["most"] == 3.5


@pytest.mark.parametrize(("last", "most"), [("go fetch", 4), ("step_on\n    go fetch", 5)])
def test_a_dispatch_to_routines_that_are_no_instructions_is_a_part_of_the_round(last: str, most: int) -> None:
    """Two words of fetch, one of dispatch, and a routine of one word at each start, or of two at the last one: the
    round is over when control is at the fetch again, not with the dispatch."""
    routines = "".join(f"routine at_{number} at {16 + 4 * number}\n    {last if number == 3 else 'go fetch'}\n"
                       for number in range(4))
    contents = contents_of("""\
machine m "routines stand where the opcode leads, and nobody calls them instructions"
microprogram "m.micro"
store control 32 words of 8 bits
    address upc
field branch 2 bits
    step     0 idle
    jump     1
    dispatch 2
field target 5 bits address, idle 0
field load 1 bit
state upc 5 bits, reset 0
    next choose branch
        step    : upc + 1
        jump    : target
        dispatch: {0b1, op, 0b00}
        otherwise: 0
register op 2 bits, reset 0, loads data when load
bus data 2 bits, floats
    driven by memory when load
home fetch
order go <there>: branch jump, target <there>
order step_on: branch step
order decode: branch dispatch
""", "routine fetch at 0\n    step_on\n    load\n    decode\n" + routines)
    found = counted(contents, [])
    assert found.round is not None and (found.round.least, found.round.most) == (4, most)
    assert found.fetch is None and found.round.rings == ()
