"""Instructions that are begun, and come to words that are not theirs."""

from collections.abc import Callable, Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.checks import strays
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.rom.contents import Contents
from tests.audit.kept import boasting, kept, outcomes, proved
from tests.checks.reports import findings_named, report
from tests.planted.plant import Sound
from tests.workshop import compiled, contents_of

SORTER = """\
machine sorter "a letter sorter: a PROM says where each of four codes begins"
microprogram "m.micro"
store control 32 words of 8 bits
    address upc
field seq 2 bits
    step 0 idle
    begin 1
    jump 2
field target 5 bits address, idle 0
field read 1 bit
store entry 4 words of 4 bits
    address code
    word start of instruction
register code 2 bits, loads letters when read
bus letters 2 bits, floats
    driven by reader when read
state upc 5 bits, reset 0
    next choose seq
        step: upc + 1
        begin: BEGIN
        otherwise: target
home first
"""
FREE, NEVER, ALWAYS = ("input belt 1 bit\n", "state belt 1 bit, reset 0\n    next belt\n",
                       "state belt 1 bit, reset 1\n    next belt\n")
LETTERS = """\
routine main at 0
 first: read
        seq begin
instruction 0 "drop"
        seq jump, target first
instruction 1 "hold"
        read
        seq jump, target first
instruction others "pass"
        read
        seq jump, target first
routine beside
        seq jump, target first
"""
OR_LINE = "{entry, 0b0} or {0b0000, belt}"
PROM = """store mix 32 words of 4 bits
    address {entry, belt}
    word entry or {0b000, SET}
"""


def broken_at(contents: Contents) -> set[int | None]:
    asked = tuple(strays.ask(contents))
    return {found.address for found in decide(build_system(contents), asked).verdicts[0].breaks} if asked else set()


@pytest.mark.parametrize(("begin", "belt", "wrong"), [
    # `drop` has one word, and with the belt the hardware goes to the one behind it; the others go on to their second
    (OR_LINE, FREE, {"beside"}),
    (OR_LINE, ALWAYS, {"beside"}),
    (OR_LINE, NEVER, set()),
    ("{entry, 0b0}", FREE, set()),
    ("{entry, belt}", FREE, {"beside"}),
    ("{entry, belt}", NEVER, set()),
    # 6 and 4 are taken for each other, and 2 for 0, which was put where it stands
    ("{entry, 0b0} xor {0b000, belt, 0b0}", FREE, {"drop", "pass"}),
    ("{entry, 0b0} xor {0b000, belt, 0b0}", NEVER, set()),
    # two addresses that are both made of the start
    ("{entry[3:1], 0b00} if belt else {entry, 0b0}", FREE, {"pass"}),
    # an address that is forced has nothing of the start
    ("0b00000 if belt else {entry, 0b0}", FREE, set()),
    ("{entry, 0b0} and {not belt, not belt, not belt, not belt, not belt}", FREE, set()),
    # a PROM on the way, which sets the second line of the address: with it, `pass` comes to `drop`
    ("{mix, 0b0}", FREE + PROM.replace("SET", "belt"), {"drop"}),
    ("{mix, 0b0}", NEVER + PROM.replace("SET", "belt"), set()),
    ("{mix, 0b0}", FREE + PROM.replace("SET", "0b0"), set()),
])
def test_what_is_put_to_a_start(begin: str, belt: str, wrong: set[str]) -> None:
    contents = contents_of(SORTER.replace("BEGIN", begin) + belt, LETTERS)
    found = {contents.sites["control"][address].name for address in broken_at(contents) if address is not None}
    assert {address: contents.sites["control"][address].name for address in (2, 4, 6, 7)} == {
        2: "hold", 4: "pass", 6: "drop", 7: "beside"}
    assert found == wrong
    claims = outcomes(contents, kept(contents, boasting(proved(contents))))
    assert claims.get(("strays", "control"), "confirmed") == ("refused" if found else "confirmed")


@pytest.mark.parametrize(("first", "wrong"), [("seq jump, target first", {"drop"}), ("read", set())])
def test_a_word_behind_one_that_jumps_is_not_gone_on_to(first: str, wrong: set[str]) -> None:
    """With the belt `drop` begins at its second word. Where the first goes on to that, it was meant sooner or later."""
    contents = contents_of(SORTER.replace("BEGIN", OR_LINE) + FREE, LETTERS.replace(
        '"drop"\n', f'"drop"\n        {first}\n').replace("routine beside\n        seq jump, target first\n", ""))
    assert {contents.sites["control"][address].owner for address in broken_at(contents) if address is not None} == wrong


SIDE = """store side 32 words of 8 bits
    address lane
field hoot 3 bits, idle 0
field to 5 bits address, idle following
state lane 5 bits, reset 0
    next to
"""


@pytest.mark.parametrize("at", [7, 9])
def test_what_stands_in_another_store_is_neither_meant_nor_come_to(at: int) -> None:
    """With the belt `drop` begins at 7, on purpose or not, something stands there in the other store."""
    machine = SORTER.replace("BEGIN", OR_LINE).replace("state upc", SIDE + "state upc") + FREE
    other = f"routine near in side at 0\n        to far\nroutine far in side at {at}\n        to near\n"
    assert broken_at(contents_of(machine, LETTERS + other)) == {7}
    nothing_there = contents_of(machine, LETTERS.partition("routine beside")[0] + other)
    assert nothing_there.dispatches == () and 7 not in nothing_there.sites["control"]


def test_it_says_from_where_and_whither() -> None:
    found = report(Sound(SORTER.replace("BEGIN", OR_LINE) + FREE, LETTERS))
    [told] = findings_named("strays", found)
    assert told.message == "`entry` sends control to `drop`, and it comes to `beside` (0x07)"
    assert told.span is not None and told.span.line == 4 and [place.span.line for place in told.places] == [13]
    assert told.trace is not None and [cycle.addresses["control"] for cycle in told.trace.cycles] == [0, 1, 7]


def test_a_word_that_was_put_there_on_purpose_is_meant() -> None:
    assert broken_at(contents_of(SORTER.replace("BEGIN", OR_LINE) + FREE, LETTERS)) == {7}
    assert broken_at(contents_of(SORTER.replace("BEGIN", OR_LINE) + FREE,
                                 LETTERS.replace("beside", "beside at 7"))) == set()


@pytest.mark.parametrize("behind", ["state shown 5 bits, reset 0\n    next upc\n",
                                    "register shown 5 bits, loads upc when 0b1, reset 0\n"])
def test_behind_flip_flops_it_takes_two_cycles(behind: str) -> None:
    """The counter is loaded with the start, and a cycle later the store is shown it: every word names the next."""
    late = SORTER.replace("address upc", "address shown").replace("step: upc + 1", "step: target").replace(
        "home first", behind + "home first").replace("step 0 idle", "step 0").replace(
        "jump 2", "jump 2 idle").replace("5 bits address, idle 0", "5 bits address, idle following")
    letters = LETTERS.replace("seq jump, ", "").replace("seq begin", "seq begin, target first")
    for belt, breaks in ((FREE, True), (NEVER, False)):
        contents = contents_of(late.replace("BEGIN", OR_LINE) + belt, letters)
        assert [cycles for _, _, cycles, _ in contents.dispatches] == [2]
        assert bool(broken_at(contents)) == breaks
        claims = outcomes(contents, kept(contents, boasting(proved(contents))))
        assert claims["strays", "control"] == ("refused" if breaks else "confirmed")


OPEN, HUSHED = "latch shown 5 bits, loads upc when WHEN\n", "input hush 1 bit\n"


MANY = "latch l0 5 bits, loads upc when 0b1\nlatch l1 5 bits, loads l0 when 0b1\n" + "".join(
    f"latch l{n} 5 bits, loads l{n - 1} when hush\n    loads l{n - 2} when not hush\n" for n in range(2, 28))
"""Each shows one of the two before it: there are as many ways through them as there are numbers to write."""


@pytest.mark.parametrize("latches", [
    HUSHED + MANY + OPEN.replace("upc", "l27").replace("WHEN", "0b1"), OPEN.replace("WHEN", "0b1"),
    HUSHED + OPEN.replace("WHEN", "not hush"),
    OPEN.replace("upc", "most").replace("WHEN", "0b1") + OPEN.replace("shown", "most").replace("WHEN", "0b1")])
@pytest.mark.parametrize(("begin", "belt", "breaks"), [(OR_LINE, FREE, True), (OR_LINE, NEVER, False),
                                                       ("{entry, 0b0}", FREE, False)])
def test_a_latch_on_the_way_shows_the_start_in_the_same_cycle(latches: str, begin: str, belt: str,
                                                              breaks: bool) -> None:
    """Every word names the next; behind a latch, or one behind another, `drop` comes to `beside` all the same."""
    machine = SORTER.replace("address upc", "address shown").replace("step: upc + 1", "step: target").replace(
        "home first", latches + "home first").replace("step 0 idle", "step 0").replace(
        "jump 2", "jump 2 idle").replace("5 bits address, idle 0", "5 bits address, idle following")
    letters = LETTERS.replace("seq jump, ", "").replace("seq begin", "seq begin, target first")
    contents = contents_of(machine.replace("BEGIN", begin) + belt, letters)
    assert bool(broken_at(contents)) == breaks
    assert contents.labels["beside"][1] == {3} and (not breaks or 3 in broken_at(contents))
    claims = outcomes(contents, kept(contents, boasting(proved(contents))))
    assert claims.get(("strays", "control"), "confirmed") == ("refused" if breaks else "confirmed")


@pytest.mark.parametrize("behind", [OPEN.replace("WHEN", "0b1"),
                                    "register shown 5 bits, loads upc when 0b1, reset 0\n"])
@pytest.mark.parametrize(("belt", "wrong"), [(FREE, {2, 3, 5, 7}), (NEVER, set())])
def test_a_label_goes_through_a_latch_as_through_a_register(behind: str, belt: str, wrong: set[int]) -> None:
    """With the belt the words that lead to 0, 1, 5 and 7 lead to 2, 3, 7 and 5."""
    machine = SORTER.replace("address upc", "address shown").replace("step: upc + 1", "step: target").replace(
        "home first", behind + "home first").replace("step 0 idle", "step 0").replace(
        "jump 2", "jump 2 idle").replace("5 bits address, idle 0", "5 bits address, idle following").replace(
        "otherwise: target", "otherwise: target xor {0b000, belt, 0b0}").replace("BEGIN", "{entry, 0b0}")
    letters = LETTERS.replace("seq jump, ", "").replace("seq begin", "seq begin, target first")
    contents = contents_of(machine + belt, letters)
    assert broken_at(contents) == wrong
    claims = outcomes(contents, kept(contents, boasting(proved(contents))))
    assert claims.get(("strays", "control"), "confirmed") == ("refused" if wrong else "confirmed")


WIRED = """\
machine wired "codes that are a part of the address themselves"
microprogram "m.micro"
store control 32 words of 8 bits
    address upc
    instruction code
    starts at {0b1, code, 0b00}
field seq 2 bits
    step 0 idle
    begin 1
    jump 2
field target 5 bits address, idle 0
field read 1 bit
register code 2 bits, loads letters when read
bus letters 2 bits, floats
    driven by reader when read
state upc 5 bits, reset 0
    next choose seq
        step: upc + 1
        begin: BEGIN
        otherwise: target
home first
"""


FULL = "".join(f"routine fill_{at} at {at}\n        seq jump, target first\n" for at in (*range(2, 16), 0x12))


@pytest.mark.parametrize(("begin", "wrong"), [
    ("{0b1, code, 0b00}", set()),
    ("{0b1, code, 0b0, belt}", {0x11}),                 # `drop` has one word, and behind it stands `beside`
    ("{0b1, code[1], code[0] or belt, 0b00}", {0x14}),  # `pass` stands at 0x1C, too
    ("{0b1, code[1], code[0] or belt and code[1], 0b00}", set()),
])
def test_a_code_that_is_wired_to_the_address(begin: str, wrong: set[int]) -> None:
    contents = contents_of(WIRED.replace("BEGIN", begin) + FREE, LETTERS + FULL)
    assert contents.labels["beside"][1] == {0x11}
    assert broken_at(contents) == wrong
    claims = outcomes(contents, kept(contents, boasting(proved(contents))))
    assert claims.get(("strays", "control"), "confirmed") == ("refused" if wrong else "confirmed")


@pytest.mark.parametrize(("free", "wrong"), [(0x19, {0x19}), (0x1E, set())])
def test_words_of_a_code_that_stand_apart(free: int, wrong: set[int]) -> None:
    """Every word names the next. `pass` begins at 0x18 and at 0x1C, and goes on at 0x1D from both: what is behind the
    first of these is no word of it."""
    machine = WIRED.replace("BEGIN", "{0b1, code, 0b0, belt}").replace("step: upc + 1", "step: target").replace(
        "address, idle 0", "address, idle following").replace("step 0 idle", "step 0").replace("jump 2", "jump 2 idle")
    letters = LETTERS.replace("seq begin", "seq begin, target first").replace("seq jump, ", "").replace(
        '"drop"\n', '"drop"\n        read\n')
    taken = [0, 1, 0x10, 0x11, 0x14, 0x15, 0x18, 0x1C, 0x1D]
    filled = "".join(f"routine fill_{at} at {at}\n        target first\n"
                     for at in range(32) if at not in (*taken, free))
    contents = contents_of(machine + FREE, letters + filled)
    assert contents.labels["pass"][1] == {0x18, 0x1C} and contents.labels["beside"][1] == {free}
    assert broken_at(contents) == wrong


def test_a_code_of_a_store_is_said_with_its_instruction() -> None:
    found = report(Sound(WIRED.replace("BEGIN", "{0b1, code, 0b0, belt}") + FREE, LETTERS + FULL))
    [told] = findings_named("strays", found)
    assert told.message == "an instruction is begun, and it comes to `beside` (0x11)"
    assert told.span is not None and told.span.line == 13 and told.label == "this is no word of it"


ADDED = """\
machine adder "a PROM says where an instruction begins, and a counter that is added how far it is"
microprogram "m.micro"
store control 32 words of 8 bits
    address {entry, 0b00} + {0b000, step}
field last 1 bit
field read 1 bit
field act 6 bits, idle 0
store entry 4 words of 3 bits
    address code
    word start of instruction
register code 2 bits, loads letters when read
bus letters 2 bits, floats
    driven by reader when read
state step 2 bits, reset 0
    next 0 if last else step + 1
"""


@pytest.mark.parametrize("formed", ["{entry, 0b00} + {0b000, step}", "{entry, 0b00} or {0b000, step}"])
@pytest.mark.parametrize(("second", "wrong"), [("act 1\n        last, read", set()),
                                               ("act 1\n        act 2", {2})])
def test_a_counter_beside_the_start_goes_through_its_words(formed: str, second: str, wrong: set[int]) -> None:
    """And where nothing sets it back, on to those of another one."""
    contents, _ = compiled(ADDED.replace("{entry, 0b00} + {0b000, step}", formed), (
        f'instruction 0 "one"\n        last, read\ninstruction 1 "two"\n        {second}\n'
        'instruction others "more"\n        last, read\nroutine other\n        last, read\n'))
    assert contents is not None and contents.labels["two"][1] == {0} and contents.labels["other"][1] == {2}
    assert broken_at(contents) == wrong


def test_a_counter_joined_with_the_start_goes_through_its_words() -> None:
    """Here the build sees that one that nothing sets back runs off."""
    machine = ADDED.replace("{entry, 0b00} + {0b000, step}", "{entry, step}")
    letters = ('instruction 0 "one"\n        last, read\ninstruction 1 "two"\n        act 1\n        act 2\n'
               '        last, read\ninstruction others "more"\n        last, read\n')
    contents = contents_of(machine, letters)
    assert contents.words["entry"] == (1, 0, 2, 2) and contents.labels["more"][1] == {8}
    assert broken_at(contents) == set()
    found = compiled(machine, letters.replace("        act 2\n        last, read\n", "        act 2\n"))[1]
    assert [wrong.name for wrong in found] == ["runs-off"]


BEGINS: Mapping[str, Callable[[int, int, int], int]] = {
    "{entry, 0b0} or {0b0000, belt}": lambda start, belt, horn: start | belt,
    "{entry, 0b0} xor {0b00, belt, horn, 0b0}": lambda start, belt, horn: start ^ belt << 2 ^ horn << 1,
    "{entry, 0b0} + {0b0000, belt}": lambda start, belt, horn: start + belt & 31,
    "{entry, 0b0} and {not belt, 0b111, not horn}": lambda start, belt, horn: start & ~(belt << 4 | horn),
    "{entry[2:0], entry[3], 0b0} if belt and horn else {entry, 0b0}":
        lambda start, belt, horn: start << 1 & 28 | start >> 3 & 2 if belt and horn else start,
    "(not {entry, 0b0}) if belt else {entry, 0b0}": lambda start, belt, horn: start ^ 31 if belt else start,
}


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_it_agrees_with_a_walk_through_the_chips(data: st.DataObject) -> None:
    begin = data.draw(st.sampled_from(list(BEGINS)))
    belts = data.draw(st.sampled_from([(0, 1), (0,), (1,)]))
    horns = data.draw(st.sampled_from([(0, 1), (0,), (1,)]))
    said = "".join(f"input {name} 1 bit\n" if len(levels) > 1 else
                   f"state {name} 1 bit, reset {levels[0]}\n    next {name}\n"
                   for name, levels in (("belt", belts), ("horn", horns)))
    lengths = data.draw(st.lists(st.integers(1, 3), min_size=4, max_size=4))
    bodies = [f"instruction {number}\n" + "        read\n" * (length - 1) + "        seq jump, target first\n"
              for number, length in enumerate(lengths)]
    bodies += [f"routine loose_{number}{data.draw(st.sampled_from(['', f' at {20 + number}']))}\n"
               "        seq jump, target first\n" for number in range(data.draw(st.integers(0, 8)))]
    contents, _ = compiled(SORTER.replace("BEGIN", begin) + said, LETTERS.partition("instruction")[0] + "".join(
        data.draw(st.permutations(bodies))))
    if contents is None:                                # where no line can make it right, it is refused
        return
    words, sites = contents.words["control"], contents.sites["control"]
    seq, target, read = (contents.machine.fields[name] for name in ("seq", "target", "read"))
    seen, waiting, wrong = {(0, code) for code in range(4)}, [(0, code) for code in range(4)], set()
    while waiting:
        upc, code = waiting.pop()
        start = contents.words["entry"][code] << 1
        right = set(range(start, start + lengths[code])) | {0} | {
            at for at, site in sites.items() if site.owner == f"loose_{at - 20}"}
        for belt in belts:
            for horn in horns:
                match seq.read(words[upc]):
                    case 0:
                        to = upc + 1 & 31
                    case 1:
                        to = BEGINS[begin](start, belt, horn)
                        if to not in right and to in sites:
                            wrong.add(to)
                    case _:
                        to = target.read(words[upc])
                for after in {(to, loaded) for loaded in (range(4) if read.read(words[upc]) else (code,))} - seen:
                    seen.add(after)
                    waiting.append(after)
    assert broken_at(contents) == wrong
