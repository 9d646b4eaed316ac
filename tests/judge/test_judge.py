"""A fixed sample of what `python -m tests.judge` does for as long as it is given; and that the judge notices faults."""

from collections import Counter
from pathlib import Path
from random import Random

import pytest

from tests.judge.clocks import clocked
from tests.judge.flip_flops import in_flip_flops
from tests.judge.hunting import examined, hunt
from tests.judge.judging import disagreements, judged
from tests.judge.machines import machine
from tests.judge.search import TooLarge
from tests.judge.shrinking import shrunk
from tests.judge.shuffling import shuffled
from tests.judge.slicing import sliced
from tests.judge.tool import Built, Text, build

SAMPLE = (12, 15, 23, 24, 25, 29, 30, 32, 35, 36, 39, 48, 55, 59, 63, 73, 75, 77, 79, 81, 83, 88, 97, 98, 100, 105,
          108, 109, 115, 118, 119, 123, 133, 136, 143, 144, 145, 150, 153)
"""By `python -m tests.judge.choosing questions prover checks`."""
PAIRS = (301, 303, 308, 312, 318, 321, 328, 335, 340, 347, 355, 367, 368, 375, 377, 379, 387, 388, 394, 395, 409, 410,
         412, 413, 418, 422, 434, 439, 444, 446, 448, 449, 451, 452, 464, 469, 471, 486, 488, 491, 492, 495, 496, 500,
         510, 518, 519, 522, 525, 530, 533, 540, 542)
"""By `python -m tests.judge.choosing pairs compare`."""
CLOCKED = (18, 23, 36, 48, 55, 63, 73, 76, 77, 83, 88, 98, 100, 111, 134, 238, 484)
"""Together they have whatever can be on a phase, and what looks back on a clock that is held and on one that is not."""


@pytest.mark.parametrize("seed", SAMPLE)
def test_the_tool_and_the_plain_search_agree(seed: int) -> None:
    assert examined(machine(Random(seed).choice), seed, Counter()) == []


@pytest.mark.parametrize("seed", (*PAIRS, 213197832908))  # the last: a constant is called like a driver with a value
def test_the_comparison_and_two_machines_side_by_side_agree(seed: int) -> None:
    assert examined(machine(Random(seed).choice), seed, Counter(), "pairs") == []


@pytest.mark.parametrize("seed", (4029, 4040, 4107, 4127))
def test_two_versions_that_differ_in_several_wires_at_once(seed: int) -> None:
    """All of these the comparison once took for the same."""
    counts: Counter[str] = Counter()
    assert examined(machine(Random(seed).choice), seed, counts, "wires") == [] and counts["pairs told apart"]


@pytest.mark.parametrize("seed", (7000012, 7000021, 7000030, 7000050))
def test_two_versions_between_which_several_things_were_changed(seed: int) -> None:
    counts: Counter[str] = Counter()
    assert examined(machine(Random(seed).choice), seed, counts, "several") == [] and counts["pairs"]


@pytest.mark.parametrize("seed", (*CLOCKED, 511874851310))  # the last looks back, and nothing else reads what holds
def test_a_machine_on_a_clock_is_the_one_that_people_would_write_without_it(seed: int) -> None:
    text = clocked(Random(seed + 1).choice, machine(Random(seed).choice))
    assert examined(text, seed, Counter(), "clocks") == []


@pytest.mark.parametrize("seed", range(9977000, 9977024))
def test_no_answer_hangs_on_a_limit_of_effort(seed: int) -> None:
    """A trace of one of these once ended in a fault of our own."""
    counts, cases = hunt(3600, seed, None, most=1, low=True)
    assert counts and cases == []


@pytest.mark.parametrize("seed", (1003, 1006, 1009, 1028))
def test_an_opcode_of_some_bits_of_a_register(seed: int) -> None:
    text = sliced(Random(seed + 1).choice, machine(Random(seed).choice))
    counts: Counter[str] = Counter()
    assert "signal ir = whole" in text.machine
    assert examined(text, seed, counts, "questions") == [] and counts["machines"]


@pytest.mark.parametrize("seed", (5002, 5003, 5007, 5010))
def test_a_counter_of_flip_flops(seed: int) -> None:
    text = in_flip_flops(Random(seed + 2).choice, machine(Random(seed).choice))
    counts: Counter[str] = Counter()
    assert "signal becomes = choose" in text.machine
    assert examined(text, seed, counts, "questions") == [] and counts["machines"]


@pytest.mark.parametrize("seed", (1001, 1016, 1030, 3001, 6469))
def test_every_command_ends_with_an_answer(seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of each of these a command once ended in a fault of our own, or took a minute."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    text = machine(Random(seed).choice)
    assert examined(in_flip_flops(Random(seed + 2).choice, text) if seed == 6469 else text, seed, Counter(),
                    "commands") == []


def test_the_value_of_the_clock_is_noticed() -> None:
    """The tool is asked about a machine whose clock moves in another phase than the one that the plain search has."""
    noticed = 0
    for seed in CLOCKED:
        text = clocked(Random(seed + 1).choice, machine(Random(seed).choice))
        built, _ = build(text)
        if built is None or "moves in" in text.machine:
            continue
        late, early = "(hi, lo)\n", "(hi, lo)\n    moves in hi\n"
        other, _ = build(Text(text.machine.replace(late, early), text.micro))
        if late not in text.machine or other is None:
            continue
        try:
            one = judged(other)
        except TooLarge:
            continue
        noticed += bool(disagreements(one._replace(built=built), reduce=True))
    assert noticed


def test_most_of_the_sample_is_judged() -> None:
    """Machines that cannot be built, or are too large to be looked at state by state, prove nothing."""
    counts: Counter[str] = Counter()
    for seed in PAIRS[:20]:
        examined(machine(Random(seed).choice), seed, counts, "pairs")
    assert counts["pairs"] >= 16 and counts["pairs told apart"] >= 4


def test_a_wrong_bit_in_the_words_is_noticed() -> None:
    """The tool is asked about a machine, the plain search about one that differs in one bit of the words. Machines of
    which the states are not counted are left out."""
    noticed = tried = 0
    for seed in range(15, 99):  # what seed 5 assumes lets nothing happen; in 14 a jump goes where the step goes
        built, _ = build(machine(Random(seed).choice))
        if built is None:
            continue
        try:
            one = judged(_one_bit_off(built))
        except TooLarge:
            continue
        if one.cycle.remembers_more():
            continue
        tried += 1
        noticed += bool(disagreements(one._replace(built=built), reduce=False))
        if tried == 6:
            break
    assert noticed == tried == 6


def _one_bit_off(built: Built) -> Built:
    """The lowest bit of what says where control goes, in every word."""
    contents = built.contents
    store, field = "control", contents.machine.fields["branch"]
    words = tuple(word ^ 1 << field.low for word in contents.words[store])
    return built._replace(contents=contents._replace(words={**contents.words, store: words}))


@pytest.mark.parametrize(("edge", "takes"), [
    ("data xor held", True), ("data xor data", False), ("data is held", True), ("(data) is data", False),
    ("data < held", True), ("data - data is 0", False), ("data + data is 0", True), ("held and prior(data)", False)])
def test_what_looks_at_a_bus_that_nobody_drives(edge: str, takes: bool) -> None:
    """The strobe takes the bus where its value depends on it: by hand, by the tool and by the judge."""
    text = Text(f"""\
machine mole
microprogram "m.micro"
store control 2 words of 1 bit
    address upc
field go 1 bit
state upc 1 bit, reset 0
    next not upc
state held 1 bit, reset 0
    next not held
bus data 1 bit, floats
    driven by lever when go
signal edge = {edge}
strobe edge
order rest :
""", "routine main at 0\n    go\n    rest\n")
    built, findings = build(text)
    assert built is not None, findings
    one = judged(built)
    assert disagreements(one, True) == []
    assert any(key == ("floating", "data") and found.faults for key, found in one.answers.items()) == takes


def test_what_is_found_is_made_small() -> None:
    text = machine(Random(1).choice)
    small = shrunk(text, lambda each: "field pulse" in each.machine and "load" in each.micro, 5)
    assert "field pulse" in small.machine and len(small.machine) + len(small.micro) < 130


def test_shuffling_keeps_every_line_below_its_statement() -> None:
    text = Text("machine m\nstore s 2 words of 2 bits\n    address a\nfield f 1 bit\nspare 1 bit\n"
                "state a 1 bit, reset 0\n    next f\ninput b 1 bit\n", "")
    orders = {shuffled(text, Random(seed)).machine for seed in range(20)}
    assert len(orders) == 2
    assert all("store s 2 words of 2 bits\n    address a\nfield f 1 bit\nspare 1 bit\n" in order for order in orders)
    assert all("state a 1 bit, reset 0\n    next f\n" in order for order in orders)
