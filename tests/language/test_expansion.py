"""Families and sequences written out."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ordain.language import tree
from ordain.language.expansion import MOST_WORDS
from ordain.language.families import MOST_MEMBERS
from ordain.language.micro_file import parse_microprogram
from tests.language.test_micro_file import read, words
from tests.language.trees import bare, said


def faults(text: str) -> list[tuple[str, str]]:
    """Name and place of each finding."""
    return said(parse_microprogram({"u": text}, ["u"])[1])


def opcodes(instruction: tree.MicroStatement, width: int = 8) -> set[int]:
    assert isinstance(instruction, tree.Instruction)
    return {opcode for opcode in range(1 << width) for pattern in instruction.patterns
            if opcode & pattern.mask == pattern.value}


# ---------------------------------------------------------------- families


def test_a_family_is_one_instruction_for_each_value() -> None:
    made = read('instruction 0b1_dd_00101 "load {d}, n" for d in (acc, b, c, temp)\n'
                "    mar <- pc\n"
                "  to_{d}: {d} <- memory, read, count pc, load_{d} x{d}y\n")
    assert [(bare(one)[2], bare(one)[3], opcodes(one)) for one in made] == [
        ('"load acc, n"', "load {d}, n", {0b10000101}), ('"load b, n"', "load {d}, n", {0b10100101}),
        ('"load c, n"', "load {d}, n", {0b11000101}), ('"load temp, n"', "load {d}, n", {0b11100101})]
    third = made[2]
    assert isinstance(third, tree.Instruction)
    assert words(third.body) == ["mar <- pc", "to_c: c <- memory | read | count pc | load_c xcy"]
    word = third.body[1]
    assert isinstance(word, tree.Micro) and word.clauses[0].source_span.text == "{d} <- memory"
    assert word.clauses[0].meaning == tree.Transfer("c", "memory", None)
    assert third.title.span.text == '"load {d}, n"' and third.span.text.endswith("temp)")


def test_codes_count_on_from_the_one_given_and_values_may_be_numbers_and_quoted() -> None:
    made = read('instruction 0b0nnn "n {n}" for n in (7, a = 5, "(b)", c = 0b001)\n    x {n}\n')
    assert [(bare(one)[2], opcodes(one, 4)) for one in made] == [
        ('"n 7"', {0}), ('"n a"', {5}), ('"n (b)"', {6}), ('"n c"', {1})]


@pytest.mark.parametrize("joint", [" for d in (a, b), s in (c, e)", " for d in (a, b) for s in (c, e)",
                                   " for d in (a, b) s in (c, e)"])
def test_several_variables_are_all_combinations(joint: str) -> None:
    made = read(f'instruction 0bds00, 0bsd11 "{{d}} {{s}}"{joint} at 3\n    {{d}} <- {{s}}\n')
    assert [(bare(one)[2], opcodes(one, 4), bare(one)[4][1]) for one in made] == [
        ('"a c"', {0b0000, 0b0011}, 3), ('"a e"', {0b0100, 0b1011}, 3), ('"b c"', {0b1000, 0b0111}, 3),
        ('"b e"', {0b1100, 0b1111}, 3)]


def test_a_variable_stands_in_conditions_too() -> None:
    [first, _] = read('instruction 0bc0 "JP {c}" for c in (zero, carry)\n'
                      "    when {c}_flag and {up, {c}}[0]  # why\n        goto {c}\n    otherwise\n        next\n")
    assert isinstance(first, tree.Instruction)
    [arms] = first.body
    assert isinstance(arms, tree.When)
    condition = arms.arms[0].condition
    assert bare(condition) == ("Infix", "and", "zero_flag", ("Slice", ("Join", ("up", "zero")), 0, 0))
    assert condition is not None and condition.span.text == "{c}_flag and {up, {c}}[0]"
    assert words(arms.arms[0].body) == ["goto zero"]


def test_rows_of_a_map_may_be_families() -> None:
    [made] = read("map m\n    0b1dd0 : load_{d} for d in (a, b, c = 3)\n    others : z\n")
    assert isinstance(made, tree.Map)
    assert [([pattern.value for pattern in row.patterns], row.target.text) for row in made.rows] == [
        ([8], "load_a"), ([10], "load_b"), ([14], "load_c"), ([], "z")]


@given(st.text("01xds", min_size=1, max_size=8), st.integers(1, 4), st.integers(1, 4))
def test_the_opcodes_of_members_against_substitution_in_the_digits(digits: str, ds: int, ss: int) -> None:
    """The oracle writes the codes into the digits as text and reads these as numbers."""
    letters = [(letter, count) for letter, count in (("d", ds), ("s", ss)) if letter in digits]
    if any(count > 1 << digits.count(letter) for letter, count in letters):
        return
    values = {letter: [f"{letter}{code}" for code in range(count)] for letter, count in letters}
    family = ", ".join(f"{letter} in ({', '.join(values[letter])})" for letter, _ in letters)
    title = " ".join(f"{{{letter}}}" for letter, _ in letters) or "t"
    made = read(f'instruction 0b{digits} "{title}"{" for " + family if family else ""}\n    a\n')
    wanted = []
    for codes in product(*(range(count) for _, count in letters)):
        text = digits
        for (letter, _), code in zip(letters, codes):
            for bit in format(code, f"0{digits.count(letter)}b"):
                text = text.replace(letter, bit, 1)
        fitting = {int("".join(bits), 2) for bits in product(*("01" if c == "x" else c for c in text))}
        wanted.append((" ".join(f"{letter}{code}" for (letter, _), code in zip(letters, codes)) or "t", fitting))
    assert [(one.title.text, opcodes(one)) for one in made if isinstance(one, tree.Instruction)] == wanted


@pytest.mark.parametrize(("header", "place"), [
    ('instruction 0b0dd "a {d}" for d in (a, b, c, e, f)', "1:49"),        # too many values for the bits
    ('instruction 0b0dd "a {d}" for d in (a, b = 4)', "1:40"),             # a code too large
    ('instruction 0b0dd "a {d}" for d in (a, b = 0)', "1:40"),             # one code twice
    ('instruction 0b0dd "a {d}"', "1:13"),                                 # letters without values
    ('instruction 0b000 "a {d}" for d in (a)', "1:13"),                    # values without letters
    ('instruction 0b0d, 0b1 "a {d}" for d in (a)', "1:19"),                # not in every opcode
    ('instruction 0b0d, 0b1dd "a {d}" for d in (a)', "1:19"),              # another width
    ('instruction 0b0dd "a" for d in (a, b)', "1:19"),                     # one title for two
    ('instruction 0bdd "{d}" for d in (a), d in (b)', "1:38"),             # one variable twice
    ('instruction 0bxx "{x}" for x in (a)', "1:28"),                       # x is any value
    ('instruction others "{d}" for d in (a)', "1:30"),
])
def test_one_finding_for_a_family_that_does_not_fit_its_opcode(header: str, place: str) -> None:
    assert faults(header + "\n    a\n") == [("family", f"u:{place}")]


def test_a_family_of_too_many_members_is_not_written_out() -> None:
    letters = "abcdefghijklmnopq"
    variables = ", ".join(f"{letter} in (y, z)" for letter in letters)
    assert 1 << len(letters) > MOST_MEMBERS
    text = f'instruction 0b{letters} "t" for {variables}\n    a\n'
    assert faults(text) == [("family", "u:1:1")]


def test_a_fault_in_a_family_is_one_finding_not_one_for_each_member() -> None:
    assert faults('instruction 0bdd "{d}" for d in (a, b, c)\n    x ; {d}, {e}\n    when {d} or\n        y\n') == [
        ("syntax", "u:2:7"), ("syntax", "u:3:16"), ("unknown-hole", "u:2:14")]
    assert faults('instruction 0bdd {d} for d in (a)\n    when {d}_x\n        {d}\n') == [("syntax", "u:1:18")]
    assert faults('instruction 0bdd "{d}" for d in (a, "!", "!b")\n    x {d}\n') == [("syntax", "u:2:5")]


# ---------------------------------------------------------------- sequences

PUSH = "sequence push <reg>\n        mar <- sp, count down sp\n        memory <- <reg>, write\n"


def test_a_sequence_stands_where_it_is_called() -> None:
    [routine] = read(PUSH + "routine r\n    a\n  here: push acc\n    b\n    push   console.key\n")
    assert isinstance(routine, tree.Routine)
    assert words(routine.body) == ["a", "here: mar <- sp | count down sp", "memory <- acc | write", "b",
                                   "mar <- sp | count down sp", "memory <- console.key | write"]
    places = [(str(word.span), word.called_from and str(word.called_from)) for word in routine.body
              if isinstance(word, tree.Micro)]
    assert places == [("u:5:5", None), ("u:2:9", "u:6:3"), ("u:3:9", "u:6:3"), ("u:7:5", None), ("u:2:9", "u:8:5"),
                      ("u:3:9", "u:8:5")]
    filled = routine.body[2]
    assert isinstance(filled, tree.Micro) and filled.clauses[0].meaning == tree.Transfer("memory", "acc", None)
    assert filled.clauses[0].source_span.text == "memory <- <reg>"


def test_sequences_may_be_called_before_they_are_defined_and_from_each_other() -> None:
    [routine] = read("routine r\n    save both a 3\n"
                     "sequence save both <x> <n>\n    push <x>\n  mid_<x>: number <n>\n    go pair(<x>, b)\n"
                     "sequence go <place>\n    target <place>\n" + PUSH)
    assert isinstance(routine, tree.Routine)
    assert words(routine.body) == ["mar <- sp | count down sp", "memory <- a | write", "mid_a: number 3",
                                   "target pair(a, b)"]
    assert {str(word.called_from) for word in routine.body if isinstance(word, tree.Micro)} == {"u:2:5"}


def test_a_call_is_told_by_all_its_words() -> None:
    [routine] = read("sequence go <x>\n    a <x>\nsequence go <x> far\n    b <x>\n"
                     "routine r\n    go y\n    go y far\n    go\n    go y near\n")
    assert isinstance(routine, tree.Routine) and words(routine.body) == ["a y", "b y", "go", "go y near"]


def test_families_call_sequences_and_sequences_have_arms() -> None:
    made = read('instruction 0bd "PUSH {d}" for d in (acc, b)\n    put {d}\n'
                "sequence put <x>\n    when <x>_wide is 1\n        high <x>\n    otherwise\n        low <x>\n    end\n")
    assert [words(one.body) for one in made if isinstance(one, tree.Instruction)] == [
        [[(("Infix", "is", "acc_wide", 1), ["high acc"]), (None, ["low acc"])], "end"],
        [[(("Infix", "is", "b_wide", 1), ["high b"]), (None, ["low b"])], "end"]]


@pytest.mark.parametrize(("text", "wanted"), [
    (PUSH + "routine r\n    push acc, b\n", [("sequence-call", "u:5:5")]),
    (PUSH + PUSH + "routine r\n    push acc\n", [("defined-twice", "u:4:1")]),
    ("sequence a\n    b\nsequence b\n    a\nroutine r\n    a\n    b\n", [("sequence-cycle", "u:4:5"),
                                                                       ("sequence-cycle", "u:2:5")]),
    ("sequence a\n    a\nroutine r\n    a\n    a\n", [("sequence-cycle", "u:2:5")]),
    ("sequence a\n  top: b\nroutine r\n  top: a\n", [("sequence-call", "u:4:3")]),
    ("sequence a\n    when c\n        b\nroutine r\n  top: a\n", [("sequence-call", "u:5:3")]),
    ("sequence a <x>\n    b <x>, <y>, {d}\nroutine r\n    c\n", [("unknown-hole", "u:2:12"),
                                                                    ("unknown-hole", "u:2:17")]),
    ("routine r\n    a <x>\n  l_{d}: b\n", [("unknown-hole", "u:2:7"), ("unknown-hole", "u:3:5")]),
    ("sequence a <x>\n    b <x> ; c\nroutine r\n    a y\n    a z\n", [("syntax", "u:2:11")]),
    ("routine r\n    when <x> is 3\n        a\n", [("syntax", "u:2:10")]),
])
def test_findings_about_sequences(text: str, wanted: list[tuple[str, str]]) -> None:
    assert faults(text) == wanted


def test_a_cycle_names_the_whole_way_round() -> None:
    text = "sequence a\n  b 1\nsequence b <n>\n  c\nsequence c\n  b 2\nroutine r\n  a"
    _, [finding] = parse_microprogram({"u": text}, ["u"])
    assert finding.message == "a sequence calls itself: `b <n>` calls `c` calls `b <n>`"


def test_sequences_that_double_each_other_are_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ordain.language.expansion.MOST_WORDS", 1000)
    doubled = "".join(f"sequence s{n}\n    s{n + 1}\n    s{n + 1}\n" for n in range(28))
    found = faults("routine r\n    s0\n" + doubled + "sequence s28\n  a")
    assert [name for name, _ in found] == ["too-many-words"] and MOST_WORDS < 1 << 28


def test_sequences_that_call_each_other_too_deep_are_one_finding() -> None:
    text = "routine r\n    s0\n" + "".join(f"sequence s{n}\n    s{n + 1}\n" for n in range(500)) + "sequence s500\n  a"
    assert [name for name, _ in faults(text)] == ["nested-too-deep"]
