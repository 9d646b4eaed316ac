"""Which words must follow each other, read from the machine's expressions and from nothing else."""

import pytest

from ordain.microprogram.stepping import Steps, rows
from tests.microprogram.compiled import compiled, described, faults, placed, program_of

MACHINE = """\
machine small
store control 64 words of 16 bits
    address upc
field branch 3 bits
    step 0 idle
    jump 1
    maybe 2
    call 3
    back 4
    skip 5
    hold 6
field target 6 bits address, idle 0
field count 2 bits, idle any
field last 1 bit
spare 4 bits
input line 1 bit
state upc 6 bits, reset 0
    next choose branch
        step : upc + 1
        jump : target
        maybe: target if line else upc + 1
        call : target
        back : link
        skip : upc + 2 if line else upc + 1
        hold : upc if line else target
        otherwise: 0
state link 6 bits, reset 0
    next upc + 1 if branch is call else link
order goto <there> : branch jump, target <there>
order maybe <there>: branch maybe, target <there>
order call <there> : branch call, target <there>
order hold <there> : branch hold, target <there>
order back         : branch back
"""


def succeeds(machine: str, micro: str) -> list[int]:
    return [word.succeeds for word in program_of(described(machine), micro).words]


@pytest.mark.parametrize(("line", "expected"), [
    ("count 1", 1),
    ("goto one", 0),
    ("maybe one", 1),
    ("call one", 1),
    ("back", 0),
    ("branch skip", 2),
    ("hold one", 0),
    ("branch 0", 1),
])
def test_what_a_word_needs_after_it(line: str, expected: int) -> None:
    """A call needs its successor: the register for the way back is loaded with the address plus one."""
    assert succeeds(MACHINE, f"routine one at 0\n    {line}\n    back\n    back\n")[0] == expected


@pytest.mark.parametrize(("body", "found"), [
    ("    count 1\n    back\n", []),
    ("    back\n    count 1\n",
     ["3:5: runs-off: from here the hardware can go on to the next address, and `one` ends"]),
    ("    back\n    maybe one\n",
     ["3:5: runs-off: from here the hardware can go on to the next address, and `one` ends"]),
    ("    back\n    call one\n",
     ["3:5: runs-off: here the hardware keeps the next address, to come back to, and `one` ends"]),
    ("    branch skip\n    back\n    back\n", []),
    ("    branch skip\n    back\n",
     ["2:5: runs-off: from here the hardware can go on to the next address, and `one` ends"]),
])
def test_a_word_that_goes_on_past_the_end(body: str, found: list[str]) -> None:
    assert faults(described(MACHINE), f"routine one at 0\n{body}") == [f"small.micro:{each}" for each in found]


FREE_RUNNING = """\
machine small
store control 4 words of 4 bits
    address {page, count}
field lamp 2 bits, idle 0
spare 2 bits
input page 1 bit
state count 1 bit, reset 0
    next count + 1
"""
ENDS = "from here the hardware can go on to the next address, and `{}` ends"


@pytest.mark.parametrize(("micro", "found"), [
    ("routine one at 0\n    lamp 1\n    lamp 2\nroutine two at 2\n    lamp 1\n    lamp 2\n", []),
    ("routine one at 0\n    lamp 1\nroutine two at 1\n    lamp 2\nroutine three at 3\n    lamp 1\n"
     "routine four at 2\n    lamp 2\n", []),
    ("routine one at 0\n    lamp 1\n    lamp 2\nroutine two at 2\n    lamp 1\n", ["5:5", "two"]),
    ("routine one\n    lamp 1\n    lamp 2\nroutine two at 2\n    lamp 1\n    lamp 2\n", ["3:5", "one"]),
])
def test_a_counter_that_no_word_decides_about_goes_round(micro: str, found: list[str]) -> None:
    """Two rings of two addresses each. No order could name the next word; `at` says which one it is."""
    expected = [f"small.micro:{found[0]}: runs-off: {ENDS.format(found[1])}"] if found else []
    assert faults(described(FREE_RUNNING), micro) == expected


@pytest.mark.parametrize(("start", "last", "found"), [
    (0, "count 1", False), (1, "count 1", True), (0, "branch skip", False), (0, "maybe one", False)])
def test_a_routine_that_fills_the_store_comes_round_again(start: int, last: str, found: bool) -> None:
    """After address 63 comes 0, where it begins; not so where it begins at 1."""
    lines = ["count 1"] * (63 - start) + [last]
    micro = f"routine one at {start}\n" + "".join(f"    {line}\n" for line in lines)
    expected = [f"small.micro:{len(lines) + 1}:5: runs-off: {ENDS.format('one')}"] if found else []
    assert faults(described(MACHINE), micro) == expected


def test_what_comes_behind_by_chance_is_not_meant() -> None:
    """Where words decide where control goes on, one that says nothing does not fall into the next routine."""
    micro = "routine one at 0\n    count 1\nroutine two at 1\n    back\n"
    assert faults(described(MACHINE), micro) == [f"small.micro:2:5: runs-off: {ENDS.format('one')}"]


def test_words_stand_as_they_must() -> None:
    placement = placed(described(MACHINE), "routine one at 5\n    maybe two\n    back\nroutine two at 7\n    back\n")
    assert placement.addresses == ((5,), (6,), (7,))


@pytest.mark.parametrize(("sum", "expected"), [
    ("(upc + 1) + {0b00000, line}", 2), ("(upc + 1) + {0b00000, line and 0b0}", 1),
    ("upc + {0b00000, line} + 1", 2), ("upc + 1 + (1 if line else 0)", 2), ("upc + 1 + (0 if line else 0)", 1),
    ("(upc + 1 if line else upc) + 1", 2), ("(upc if line else upc) + 1", 1), ("(upc + 1 if line else target) + 1", 2),
    ("({0b0, upc} + 1 + {0b000000, line})[5:0]", 2), ("({0b0, upc} + 1)[5:0]", 1),
    ("upc - (62 if line else 63)", 2), ("upc - 63", 1), ("not ((not upc) - 2)", 2), ("not ((not upc) - 1)", 1),
    ("upc - 1 + {0b0000, line, 0b0}", 1),
    # what is added is tried as a whole: 2 or 1, never 3
    ("upc + {0b00000, line} + {0b00000, not line} + {0b00000, line}", 2),
    ("upc + ({0b00000, line} xor 1) + {0b0000, line, 0b0}", 2),
    # more lines than are tried decide about one bit
    ("upc + 1 + {0b00000, odd parity of dial}", 2),
    # what only decides or is compared is not counted; nor is what goes back, or as far as a field says
    ("target if upc + 2 is 7 else upc + 1", 1), ("upc - 1 if line else upc", 0), ("upc + target if line else upc", 0),
])
def test_a_sum_is_a_count_however_it_is_put_together(sum: str, expected: int) -> None:
    """The numbers by hand: what the adders come to, for both levels of the line."""
    text = MACHINE.replace("skip : upc + 2 if line else upc + 1", f"skip : {sum}").replace(
        "input line 1 bit", "input line 1 bit, dial 20 bits")
    assert succeeds(text, "routine one at 0\n    back\n    branch skip\n    back\n    back\n")[1] == expected


ONE_AHEAD = """\
machine small
store control 64 words of 16 bits
    address shown
field branch 2 bits
    step 0 idle
    jump 1
    skip 2
field target 6 bits address, idle 0
spare 8 bits
input line 1 bit
state held 2 bits, reset 0
    next branch
state held_target 6 bits, reset 0
    next target
state after 6 bits, reset 0             # the address behind the one that was presented
    next shown + 1
signal shown = choose held
    1        : held_target
    2        : after + {skip}
    otherwise: after
order goto <there>: branch jump, target <there>
"""


@pytest.mark.parametrize(("skip", "expected"), [("(1 if line else 0)", 2), ("0", 1), ("{0b0000, line, 0b0}", 3)])
def test_what_is_added_to_a_counter_behind_flip_flops(skip: str, expected: int) -> None:
    """A word that steps needs the next one, whatever a word that skips does; from that the counter is one ahead."""
    words = "    branch skip\n" + "    target 1\n" * 3 + "    goto one\n"
    assert succeeds(ONE_AHEAD.replace("{skip}", skip), f"routine one at 0\n{words}") == [expected, 1, 1, 1, 0]


@pytest.mark.parametrize(("skip", "expected"), [
    ("upc - 2 if line else upc - 1", 2), ("upc - 1", 1), ("upc + 1", 0), ("not ((not upc) + 2)", 2), ("not target", 0)])
def test_a_counter_that_goes_down_and_is_presented_turned(skip: str, expected: int) -> None:
    """The presented address is the complement: it goes up as the counter goes down."""
    text = MACHINE.replace("address upc", "address not upc").replace("upc 6 bits, reset 0", "upc 6 bits, reset 63")
    text = text.replace("upc + 1", "upc - 1").replace(": target", ": not target").replace("target if", "not target if")
    text = text.replace("skip : upc + 2 if line else upc - 1", f"skip : {skip}")
    words = "routine one at 0\n    back\n    branch skip\n    count 1\n    call one\n    back\n"
    assert succeeds(text, words) == [int(skip == "upc + 1"), expected, 1, 1, 0]     # what goes back needs the one above


def test_a_field_that_does_not_matter_decides_nothing() -> None:
    """Where an `idle any` field decides between going on and jumping, both are possible."""
    text = MACHINE.replace("step : upc + 1", "step : upc + 1 if count is 2 else target")
    micro = "routine one at 0\n    {}\n    back\n"
    assert succeeds(text, micro.format("count 2"))[0] == 1
    assert succeeds(text, micro.format("count 1"))[0] == 0
    assert succeeds(text, micro.format("last"))[0] == 1
    assert succeeds(text, "routine one at 0\n    count 0\n    last\n    back\n") == [0, 1, 0]


def test_registers_count_as_states_do() -> None:
    text = MACHINE.replace("""\
state link 6 bits, reset 0
    next upc + 1 if branch is call else link
""", "register link 6 bits, loads upc + 1 when branch is call\n")
    assert succeeds(text, "routine one at 0\n    call one\n    back\n") == [1, 0]
    assert succeeds(text, "routine one at 0\n    goto one\n    back\n") == [0, 0]


ALWAYS_NAMED = """\
machine small
store control 16 words of 8 bits
    address here
field to 4 bits address, idle following
field tick 1 bit
spare 3 bits
state here 4 bits, reset 0
    next {to[3:1], column[0]}
register column 2 bits, reset 0
    loads column + 1 when tick
"""


def test_a_counter_that_is_not_the_address_ties_nothing() -> None:
    assert succeeds(ALWAYS_NAMED, "routine one\n    tick\n    tick, to one\n") == [0, 0]


def test_adding_a_condition() -> None:
    """`upc + {0, line}` goes on by one or none."""
    text = MACHINE.replace("hold : upc if line else target", "hold : upc + {0b00000, line}").replace(
        "order hold <there> : branch hold, target <there>", "order hold: branch hold")
    assert succeeds(text, "routine one at 0\n    hold\n    back\n") == [1, 0]


def test_a_choice_of_how_far() -> None:
    text = MACHINE.replace("skip : upc + 2 if line else upc + 1", "skip : upc + (3 if line else 1)")
    assert succeeds(text, "routine one at 0\n    branch skip\n    back\n    back\n    back\n")[0] == 3


@pytest.mark.parametrize(("added", "most"), [
    ("{0b0000, line, not line}", 2), ("{0b0000, not line, line}", 2), ("{0b0000, line, 0b1}", 3),
    ("{0b0000, line xor 0b1, line is 0}", 3), ("{0b00000, line or 0b1}", 1), ("{0b00000, line and 0b0}", 0)])
def test_what_is_wired_to_the_adder(added: str, most: int) -> None:
    """By hand: what the two levels of the line give."""
    text = MACHINE.replace("skip : upc + 2 if line else upc + 1", f"skip : upc + {added}")
    body = "".join(["    branch skip\n", *["    back\n"] * most])
    assert succeeds(text, f"routine one at 0\n{body}")[0] == most


PAGED = """\
machine small
store control 64 words of 16 bits
    address {{bank, upc}}
field branch 2 bits
    step 0 idle
    jump 1
field target 4 bits address, idle 0
spare 10 bits
input switch 2 bits
state bank 2 bits, reset 0
    next switch
state upc {0} bits, reset 0
    next choose branch
        step: {1}
        jump: target
        otherwise: 0
order goto <there>: branch jump, target page(<there>)
"""


def test_a_counter_for_a_part_of_the_address() -> None:
    """Rows do not cross a multiple of sixteen."""
    text = PAGED.format(4, "upc + 1")
    micro = "routine one at 13\n    goto two\nroutine two\n    branch step\n    branch step\n    goto two\n"
    assert program_of(described(text), micro).counting == {"control": 4}
    assert placed(described(text), micro).addresses == ((13,), (0,), (1,), (2,))
    _, findings = compiled(described(text), micro)
    assert findings == []


def test_a_sum_for_a_part_of_the_counter() -> None:
    text = PAGED.format(4, "{upc[3], upc[2:0] + 1}")
    assert program_of(described(text), "routine one\n    branch step\n    goto one\n").counting == {"control": 3}


def test_a_counter_in_the_wrong_place() -> None:
    text = PAGED.format(4, "upc + 1").replace("address {bank, upc}", "address {upc, bank}")
    shown = faults(described(text), "routine one\n    branch step\n    goto one\n")
    assert shown == [
        "small.machine:2:1: counter-not-low: the address of `control` is counted up, but not in its lowest bits"]


@pytest.mark.parametrize(("line", "by", "warned"), [
    ("time", 1, True), ("time[1:0]", 1, True), ("{time[0], time[1]}", 1, True), ("not time[1:0]", 1, True),
    ("time[3:2]", 1, False), ("time[3:2]", 4, True), ("time[2:1]", 2, True), ("time[3:2]", 2, False),
    ("time is 15", 1, False), ("{time < 3, time in (1, 2)}", 1, False), ("0b1 if time is 0 else line", 1, False),
    ("time[0] if line else line", 1, True), ("parity(time)", 1, False)])
def test_a_counter_that_control_looks_at_is_no_sequencer(line: str, by: int, warned: bool) -> None:
    """A state machine beside a counter: the address has a line that says where the counter is, not its lowest bit."""
    text = f"""machine small
store control 256 words of 8 bits
    address {{{"0b0, " * (5 - _WIDTHS.get(line, 1))}{line}, at_state}}
field next 3 bits address[2:0]
spare 5 bits
input line 1 bit
state at_state 3 bits, reset 0
    next next
state time 4 bits, reset 0
    next time + {by}
"""
    shown = faults(described(text), "routine one\n    next two\nroutine two\n    next one\n")
    assert shown == (["small.machine:2:1: counter-not-low: the address of `control` is counted up, but not in its "
                      "lowest bits"] if warned else [])


_WIDTHS = {"time": 4, "time[1:0]": 2, "{time[0], time[1]}": 2, "not time[1:0]": 2, "time[3:2]": 2, "time[2:1]": 2,
           "{time < 3, time in (1, 2)}": 2}


# A sequencer whose counter runs ahead: `upc` always holds the address of the word after the presented one.
AHEAD = MACHINE[:MACHINE.index("state upc")].replace("address upc", "address active") + """\
input go 1 bit
state active 6 bits, reset 0
    next following if go else active
state upc 6 bits, reset 1
    next following + 1 if go else upc
signal following = choose branch
        step : upc
        jump : target
        maybe: target if line else upc
        call : target
        back : link
        skip : upc + 1 if line else upc
        hold : active if line else target
        otherwise: 0
state link 6 bits, reset 0
    next upc if branch is call else link
""" + MACHINE[MACHINE.index("order goto"):]


@pytest.mark.parametrize(("line", "expected"), [
    ("count 1", 1), ("goto one", 0), ("maybe one", 1), ("call one", 1), ("back", 0), ("branch skip", 2),
    ("hold one", 0)])
def test_a_counter_that_runs_ahead_counts_like_one_that_does_not(line: str, expected: int) -> None:
    assert succeeds(AHEAD, f"routine one at 0\n    {line}\n    back\n    back\n")[0] == expected


@pytest.mark.parametrize(("old", "new"), [
    ("state upc 6 bits, reset 1", "state upc 6 bits, reset 0"),         # after reset it is not ahead
    ("state upc 6 bits, reset 1", "state upc 6 bits, reset any"),
    ("next following + 1 if go else upc", "next following + 1"),        # it runs on while the address stands
    ("next following + 1 if go else upc", "next following if go else upc")])
def test_what_is_not_always_ahead_counts_nothing_and_that_is_said(old: str, new: str) -> None:
    """Then nothing says that the word below comes next: such words could stand anywhere."""
    machine = AHEAD.replace("        hold : active if line else target\n", "")
    assert old in machine
    shown = faults(described(machine.replace(old, new)), "routine one at 0\n    count 1\n    goto one\n")
    assert shown == ["small.micro:2:5: no-order: nothing says that control goes on to the word below in `control`"]


def test_words_that_name_their_next_need_no_counter() -> None:
    machine = AHEAD.replace("        hold : active if line else target\n", "").replace("reset 1", "reset 0")
    assert faults(described(machine), "routine one at 0\n    goto two\n  two: goto one\n") == []
    following = machine.replace("field target 6 bits address, idle 0", "field target 6 bits address, idle following")
    assert faults(described(following), "routine one at 0\n    count 1, branch jump\n    goto one\n") == []


def test_words_of_a_second_level_have_no_order() -> None:
    """What a control word chooses in another store stands there by itself."""
    machine = MACHINE + "store nano 4 words of 2 bits\n    address count\nfield glow 2 bits, idle 0\n"
    micro = "routine one at 0\n    goto one\nroutine lights in nano at 0\n    glow 1\n    glow 2\n"
    assert faults(described(machine), micro) == []


DELAYED = MACHINE.replace("address upc", "address active").replace("input line 1 bit\n", """\
input line 1 bit
state active 6 bits, reset 0
    next upc
""")


@pytest.mark.parametrize(("body", "expected"), [
    # A jump takes effect one word late: the word after it is on its way already.
    ("    goto one\n    count 1\n", [1, 0]),
    # Two words in a row, then a jump and the word after it.
    ("    count 1\n    count 1\n    goto one\n    count 1\n", [1, 1, 1, 0]),
    # A maybe: the word after it in any case, and the one after that if the line is 0.
    ("    maybe one\n    count 1\n    goto one\n    count 1\n", [1, 1, 1, 0]),
    # The way back of a call is the address that is being fetched plus one; the word before that goes to `one`.
    ("    call one\n    count 1\n    goto one\n    count 1\n", [2, 0, 1, 0]),
    # A jump on its way already is not undone by the word after it.
    ("    goto one\n    goto one\n    goto one\n    count 1\n", [1, 0, 0, 0]),
])
def test_a_register_between_address_and_store(body: str, expected: list[int]) -> None:
    assert succeeds(DELAYED, f"routine one at 0\n{body}") == expected


def test_what_is_missing_after_a_late_jump() -> None:
    assert faults(described(DELAYED), "routine one at 0\n    goto one\n    count 1\n") == []
    assert faults(described(DELAYED), "routine one at 0\n    count 1\n    goto one\n") == [
        "small.micro:3:5: runs-off: from here the hardware can go on to the next address, and `one` ends"]
    assert faults(described(DELAYED), "routine one at 0\n    count 1\n    count 1\n") == [
        "small.micro:3:5: runs-off: from here the hardware can go on to the next address, and `one` ends"]


@pytest.mark.parametrize(("machine", "body", "kept"), [
    (MACHINE, "    call one\n", True),
    (MACHINE, "    maybe one\n", False),
    (DELAYED, "    call one\n    count 1\n", True),
    (DELAYED, "    maybe one\n    count 1\n", False),
])
def test_who_keeps_the_address_behind_the_last_word_is_told(machine: str, body: str, kept: bool) -> None:
    """To name the next word, as a jump does, is no way out where every jump keeps an address to come back to."""
    [found] = compiled(described(machine), f"routine one at 0\n{body}")[1]
    assert ("keeps the next address" in found.message) is kept
    assert [place.label for place in found.places] == ["`link` keeps it"] * kept
    assert ("nobody executes" in found.help) is kept


def walk(steps: list[Steps], delay: int, entries: list[int]) -> set[tuple[int, int]]:
    """Every pair of words that the hardware can obey one after the other, by stepping a pipeline as it is drawn: the
    address that was presented, and those on their way to it."""
    found: set[tuple[int, int]] = set()
    todo = [list(range(entry, entry + delay + 1)) for entry in entries]
    seen: set[tuple[int | None, ...]] = set()
    while todo:
        pipe: list[int | None] = list(todo.pop())
        if tuple(pipe) in seen or pipe[0] is None or pipe[0] >= len(steps):
            continue
        seen.add(tuple(pipe))
        newest = pipe[-1]
        ways: list[int | None] = [None]
        ways += [newest + ahead for ahead in steps[pipe[0]].on] if newest is not None else []
        for way in ways:
            following = [*pipe[1:], way]
            if following[0] is not None:
                found.add((pipe[0], following[0]))
            todo.append(following)  # type: ignore[arg-type]
    return found


@pytest.mark.parametrize("delay", [1, 2])
def test_rows_cover_every_way_through(delay: int) -> None:
    """All programs of five words that go on by one or not at all, entered at the first word or also in the middle."""
    for mask in range(32):
        steps = [Steps((1,) if mask >> at & 1 else (), ()) for at in range(5)]
        for entries in ([0], [0, 2]):
            reach, past = rows(steps, delay, entries)
            for before, after in walk(steps, delay, entries):
                if after < 5:
                    assert 0 < after - before <= reach[before]
                else:
                    assert before in past


LATCHED = """\
machine small
store control 16 words of 6 bits
    address ADDRESS
field op 2 bits
    step 0 idle
    jump 1
field to 4 bits address, idle 0
state here 4 bits, reset 0
    next to if op is jump else here + 1
state word 6 bits, reset 0
    next control
state upc 4 bits, reset 0
    next fetched + 1
signal fetched = word[3:0] if word[5:4] is 1 else upc
"""


LATE = """\
routine start at 0
    op step
    op jump, to other
routine other
    op step
    to other
    op jump, to start
"""
HELD = LATCHED.replace("state word 6 bits, reset 0\n    next control\n", """\
state taken 1 bit, reset 0
    next op is jump
state wanted 4 bits, reset 0
    next to
""").replace("word[3:0] if word[5:4] is 1", "wanted if taken")


@pytest.mark.parametrize("machine", [LATCHED, HELD, HELD.replace("ADDRESS", "{fetched[3:1], fetched[0]}")])
def test_an_address_that_is_chosen_behind_flip_flops(machine: str) -> None:
    """The word says in its own cycle where control goes, though flip-flops carry it to the choice: a jump needs nothing
    behind it."""
    assert succeeds(machine.replace("ADDRESS", "fetched"), LATE) == [1, 0, 1, 1, 0]


@pytest.mark.parametrize("keeps", [
    "state saved 4 bits, reset 0\n    next upc\n",
    "register saved 4 bits, loads upc when op is step\n",
    "bus out 4 bits, floats\n    driven by upc when op is step\n",
    "bus out 4 bits, floats\n    driven by plus = upc + 1 when op is step\n",
])
def test_what_would_be_presented_later_may_be_kept(keeps: str) -> None:
    """Control can come back to the word behind a jump when the counter was saved."""
    for machine in (LATCHED, HELD):
        found = compiled(described(machine.replace("ADDRESS", "fetched") + keeps), LATE)[1]
        assert {each.name for each in found} == {"runs-off"}


def test_a_counter_that_waits_while_another_address_is_presented_is_kept() -> None:
    waiting = HELD.replace("ADDRESS", "fetched").replace("next fetched + 1", "next upc if taken else fetched + 1")
    assert {each.name for each in compiled(described(waiting), LATE)[1]} == {"runs-off"}


def test_a_register_that_takes_the_word_is_told_with_the_way_out() -> None:
    """What the word decides is not seen where the counter is kept, so control seems to go on; with a register of the
    address it is."""
    micro = "routine start at 0\n    op step\n    op jump, to start\n"
    kept = LATCHED + "state saved 4 bits, reset 0\n    next upc\n"
    [found] = compiled(described(kept.replace("ADDRESS", "fetched")), micro)[1]
    assert found.name == "runs-off" and "takes the word" in found.places[0].label and "a state that takes" in found.help
    assert faults(described(kept.replace("ADDRESS", "here")), micro) == []


RING = """\
machine small
store rows 8 words of 4 bits
    address row
field a 1 bit
field b 1 bit
field back 1 bit
spare 1 bit
state ring 4 bits, reset 1
    next 1 if back else {ring[2:0], ring[3]}
signal row = 3 if ring[3] else 2 if ring[2] else 1 if ring[1] else 0b000
"""
NANO = RING.replace("address row", "address pick") + """\
store control 8 words of 4 bits
    address upc
field pick 3 bits, idle 0
spare 1 bit
state upc 3 bits, reset 0
    next upc + 1
"""


@pytest.mark.parametrize(("machine", "said"), [
    (RING, ["no-order"]), (RING.replace("address row", "address row\n    step row"), []), (NANO, [])])
def test_words_whose_order_nothing_says_stand_as_they_are_written(machine: str, said: list[str]) -> None:
    """A ring counter, rows that another word picks by number. With the addresses of the last build, a word that is
    written between two others would stand behind them all."""
    micro = "routine one in rows at 0\n    a\n    b\n    a, b\n    back\n"
    program, findings = compiled(described(machine), micro)
    assert program is not None and [word.succeeds for word in program.words if word.store == "rows"] == [1, 1, 1, 0]
    assert [finding.name for finding in findings] == said


def test_words_that_name_their_next_stand_anywhere() -> None:
    machine = AHEAD.replace("        hold : active if line else target\n", "").replace("reset 1", "reset 0")
    assert succeeds(machine, "routine one at 0\n    goto two\n  two: goto one\n") == [0, 0]


NUMBERED = MACHINE.replace("next choose branch", "next choose BITS").replace("spare 4 bits", """\
field counts 1 bit = not (branch is jump)
spare 3 bits""")
for number, code in enumerate(("step", "jump", "maybe", "call", "back", "skip", "hold")):
    for end in (" ", ":"):
        NUMBERED = NUMBERED.replace(f"        {code}{end}", f"        {number}{end}", 1)


@pytest.mark.parametrize("machine", [
    NUMBERED.replace("BITS", "control[15:13]"),                                 # bits, as on the schematic
    NUMBERED.replace("BITS", "branch").replace(": upc + 1\n", ": upc + 1 if counts else upc\n", 1),
    NUMBERED.replace("BITS", "decoded") + "store decoded 8 words of 3 bits\n    address branch\n    word branch\n",
], ids=["bits", "computed", "decoder"])
def test_what_decides_may_be_read_otherwise_than_by_its_field(machine: str) -> None:
    for line, expected in (("count 1", 1), ("goto one", 0), ("maybe one", 1), ("back", 0), ("branch skip", 2)):
        assert succeeds(machine, f"routine one at 0\n    {line}\n    back\n    back\n")[0] == expected


@pytest.mark.parametrize(("first", "succeeding"), [("after two", [0, 0]), ("after 5", [0, 0]), ("go", [1, 0])])
def test_a_number_names_the_next_word_as_a_label_does(first: str, succeeding: list[int]) -> None:
    """`go` leaves it at its idle code, of which nothing says that it is meant."""
    machine = """\
machine small
store control 8 words of 4 bits
    address pc
field after 3 bits address, idle 0
field go 1 bit
state pc 3 bits, reset 0
    next after
"""
    program, findings = compiled(described(machine), f"routine one at 0\n    {first}\n  two: after one\n")
    assert program is not None and [word.succeeds for word in program.words] == succeeding
    assert [finding.name for finding in findings] == (["no-order"] if sum(succeeding) else [])


OVER_A_BUS = MACHINE.replace("""\
        step : upc + 1
""", "        step : road\n").replace("input line 1 bit\n", """\
input line 1 bit
bus road 6 bits, multiplexed
    driven by adder = upc + 1 when branch is step
    driven by other = target when branch is not step
""")


def test_a_count_that_comes_over_a_bus_is_not_read() -> None:
    """What stands on a bus is data: the words could stand anywhere. One that is only put there to be kept, or that
    comes from there while nobody counts, is as good as any."""
    words = "routine one at 0\n    branch step\n    back\n"
    told = "the next address in `control` comes over bus `road`, and what stands on a bus is data: nothing says that " \
           "control goes on to the word below"
    assert [fault.split(": ", 1)[1] for fault in faults(described(OVER_A_BUS), words)] == [f"no-order: {told}"]
    for right in (OVER_A_BUS.replace("step : road", "step : upc + 1"),
                  OVER_A_BUS.replace("step : road", "step : upc + 1").replace("back : link", "back : road"),
                  OVER_A_BUS.replace("adder = upc + 1", "adder = link")):
        assert faults(described(right), words) == []


@pytest.mark.parametrize(("kept", "back", "expected"), [
    ("upc + 1", "link", 1), ("upc", "link + 1", 1), ("upc", "link", 0), ("upc + 1", "link + 1", 2),
    ("upc", "link + 2", 2), ("0b000000", "link + 1", 0)])
def test_what_is_kept_may_be_counted_up_on_its_way_back(kept: str, back: str, expected: int) -> None:
    text = MACHINE.replace("next upc + 1 if branch is call", f"next {kept} if branch is call").replace(
        "back : link", f"back : {back}")
    assert succeeds(text, "routine one at 0\n    call one\n    back\n    back\n") == [expected, 0, 0]


@pytest.mark.parametrize(("below", "expected"), [("link", 1), ("link + 1", 2), ("0b000000", 1)])
def test_a_stack_of_which_the_return_counts(below: str, expected: int) -> None:
    """In one that counts with every push, too, an address goes on by one with each call that comes before its return.
    Of these one is looked at: with more no word below would ever be enough."""
    text = MACHINE.replace("next upc + 1 if branch is call else link\n", f"""\
next upc if branch is call else under if branch is back else link
state under 6 bits, reset 0
    next {below} if branch is call else under
""").replace("back : link", "back : link + 1")
    assert succeeds(text, "routine one at 0\n    call one\n" + 8 * "    back\n")[0] == expected


def test_what_only_passes_on_the_address_keeps_nothing() -> None:
    """`copy` has the address in every cycle anew: a step does not need the word behind the next one for it."""
    text = MACHINE.replace("back : link", "back : copy + 2") + "state copy 6 bits, reset 0\n    next upc\n"
    assert succeeds(text, "routine one at 0\n    count 1\n    goto one\n") == [1, 0]
