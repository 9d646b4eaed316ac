"""Microprograms: routines, instructions, arms, maps, clauses; the grammar runs once for each distinct clause."""

from pathlib import Path
from typing import Any

import pytest

from ordain.language import tree
from ordain.language.clauses import ClauseTable, parse_clauses, split_clauses
from ordain.language.micro_file import Reading, parse_microprogram, read_microprogram
from ordain.text.lines import Placed
from ordain.text.source import Source, Span
from tests.language.trees import bare, check_places, said


def read(text: str) -> tuple[tree.MicroStatement, ...]:
    made, findings = parse_microprogram({"u": text}, ["u"])
    assert findings == [] and made is not None
    check_clauses(made)
    return made.statements


def words(body: Any) -> Any:
    """Label and clause texts of every word; arms as (condition, words)."""
    made: list[Any] = []
    for item in body:
        if isinstance(item, tree.When):
            made.append([(bare(arm.condition), words(arm.body)) for arm in item.arms])
        else:
            made.append(((item.label.text + ": ") if item.label else "") + " | ".join(c.text for c in item.clauses))
    return made


def check_clauses(node: Any) -> None:
    """The place of a clause is its text, except where a hole has been filled."""
    if isinstance(node, tree.Clause):
        written = node.source_span.text
        assert written == node.text or "{" in written or "<" in written.replace("<-", "")
        if isinstance(node.meaning, tree.Phrase):
            for part in node.meaning.parts:
                assert node.text[part.start:part.end].strip('"').startswith(part.text)
    elif isinstance(node, tuple) and not isinstance(node, Span):
        for part in node:
            check_clauses(part)


# ---------------------------------------------------------------- statements


def test_a_routine_with_labels_before_the_column_of_its_words() -> None:
    [routine] = read("routine hold at 0x3F0\n"
                     "        release                   # drivers off\n"
                     "  wait: grant, loop while requested, then back\n"
                     "  back: release\n"
                     "        goto fetch\n")
    assert isinstance(routine, tree.Routine)
    assert words(routine.body) == ["release", "wait: grant | loop while requested | then back", "back: release",
                                   "goto fetch"]
    assert bare(routine)[1:4] == ("hold", None, ("PlaceConstraint", 0x3F0, None, None))
    assert routine.span.text == "routine hold at 0x3F0"
    second = routine.body[1]
    assert isinstance(second, tree.Micro) and second.label is not None
    assert second.span.text == "wait: grant, loop while requested, then back" and second.label.span.text == "wait"
    assert str(second.clauses[1].source_span) == "u:3:16"


@pytest.mark.parametrize(("header", "constraint"), [
    ("routine r", (None, None, None)), ("routine r at boot", ("boot", None, None)),
    ("routine r align 4, at 0x10", (16, 4, None)), ("routine r, same page 256 align 2", (None, 2, 256)),
])
def test_where_a_routine_may_stand(header: str, constraint: Any) -> None:
    [routine] = read(header + "\n  a")
    assert bare(routine)[3] == ("PlaceConstraint", *constraint)


def test_a_routine_in_a_store_of_its_own() -> None:
    [routine] = read("routine r in timing at 3\n  a")
    assert isinstance(routine, tree.Routine) and routine.store is not None and routine.store.text == "timing"


def test_a_label_on_a_line_of_its_own_belongs_to_the_next_word() -> None:
    [routine] = read("routine r\n  top:\n      a, b\n  end :c\n")
    assert isinstance(routine, tree.Routine) and words(routine.body) == ["top: a | b", "end: c"]


@pytest.mark.parametrize(("opcodes", "wanted", "fitting"), [
    ("0x3A", 1, {0x3A}), ("58", 1, {58}), ("0b0011_1010", 1, {0x3A}), ("0x2B, 0x2F", 2, {0x2B, 0x2F}),
    ("0b0000_00xx", 1, {0, 1, 2, 3}), ("0b1xx0_0000", 1, {0x80, 0xA0, 0xC0, 0xE0}), ("0b11", 1, {3}),
    ("others", 0, set()),
])
def test_opcode_patterns(opcodes: str, wanted: int, fitting: set[int]) -> None:
    [instruction] = read(f'instruction {opcodes} "load a, n"\n  a')
    assert isinstance(instruction, tree.Instruction)
    assert instruction.title.text == "load a, n" and instruction.family is None
    assert len(instruction.patterns) == wanted
    assert {opcode for opcode in range(256) for pattern in instruction.patterns
            if opcode & pattern.mask == pattern.value} == fitting
    assert ", ".join(pattern.span.text for pattern in instruction.patterns) in opcodes


def test_an_instruction_may_be_constrained_and_a_prologue_has_words() -> None:
    instruction, prologue = read('instruction 3 "x" at 0x40, same page 16\n  a\nprologue\n  b\n  c')
    assert bare(instruction)[4] == ("PlaceConstraint", 64, None, 16)
    assert isinstance(prologue, tree.Prologue) and words(prologue.body) == ["b", "c"]


def test_arms_choose_between_words() -> None:
    [routine] = read("routine r\n"
                     "    when carry\n"
                     "        when zero is 0\n"
                     "            a\n"
                     "        otherwise\n"
                     "            b\n"
                     "        c\n"
                     "    when minus and not zero\n"
                     "        d\n"
                     "    otherwise\n"
                     "        e\n"
                     "        f\n"
                     "    when x\n"
                     "        g\n"
                     "    h\n")
    assert isinstance(routine, tree.Routine)
    assert words(routine.body) == [
        [("carry", [[(("Infix", "is", "zero", 0), ["a"]), (None, ["b"])], "c"]),
         (("Infix", "and", "minus", ("Not", "zero")), ["d"]), (None, ["e", "f"])],
        [("x", ["g"])], "h"]
    first = routine.body[0]
    assert isinstance(first, tree.When) and [arm.span.text for arm in first.arms] == [
        "when carry", "when minus and not zero", "otherwise"]
    check_places(tuple(arm.condition for arm in first.arms))


def test_orders_may_begin_like_words_of_the_language() -> None:
    [routine] = read("routine r\n  whenever x, otherwise_go, routine 3\n")
    assert isinstance(routine, tree.Routine) and words(routine.body) == ["whenever x | otherwise_go | routine 3"]


def test_a_map_and_its_rows() -> None:
    [made] = read("map second_dispatch   # rows\n    0x23       : load_read\n    0x2B, 0x2F : store.write\n"
                  '    0b1xx0: a\n    7: "load a, n"\n    others     : trap\n')
    assert isinstance(made, tree.Map) and made.store.text == "second_dispatch"
    assert [([(p.value, ~p.mask) for p in row.patterns], row.target.text) for row in made.rows] == [
        ([(0x23, 0)], "load_read"), ([(0x2B, 0), (0x2F, 0)], "store.write"), ([(8, 6)], "a"), ([(7, 0)], "load a, n"),
        ([], "trap")]
    assert made.rows[1].span.text == "0x2B, 0x2F : store.write"


# ---------------------------------------------------------------- clauses


@pytest.mark.parametrize(("text", "wanted"), [
    ("ir <- memory", ("Transfer", "ir", "memory", None)),
    ("console.key<-data  via   bus2", ("Transfer", "console.key", "data", "bus2")),
    ("read", ("Phrase", (("PhrasePart", "read", None, None, 0, 4),))),
    ("number  0x1F", ("Phrase", (("PhrasePart", "number", None, None, 0, 6), ("PhrasePart", "0x1F", 31, None, 8, 12)))),
    ('goto "load a, n"',
     ("Phrase", (("PhrasePart", "goto", None, None, 0, 4), ("PhrasePart", "load a, n", None, None, 5, 16)))),
    ("t pair( a, b )",
     ("Phrase", (("PhrasePart", "t", None, None, 0, 1), ("PhrasePart", "pair", None, ("a", "b"), 2, 14)))),
    ("page(table(1, x.y, following)) z",
     ("Phrase", (("PhrasePart", "page", None, ("table(1, x.y, following)",), 0, 30),
                 ("PhrasePart", "z", None, None, 31, 32)))),
])
def test_what_a_clause_says(text: str, wanted: Any) -> None:
    [clause], findings = parse_clauses(Placed(text, Source("u", text), 0))
    assert findings == [] and bare(clause.meaning) == wanted


@pytest.mark.parametrize(("text", "message", "offset"), [
    ("a <- ", "expected the name of the source, found the end of the clause", 4),
    ("a <- b c", "expected `via BUS` or the end of the clause, found `c`", 7),
    ("a <- b via", "expected the name of a bus, found the end of the clause", 10),
    ("a ; b", "expected a word, a number or the end of the clause, found `;`", 2),
    ("a pair(b c)", "expected `)`, found `c`", 9),
    ("a pair()", "expected a label, found `)`", 7),
    ("a 12x", "`12x` is not a number", 2),
    ("= 3", "expected an order, a transfer `a <- b`, or a field and its code, found `=`", 0),
])
def test_a_clause_that_does_not_parse(text: str, message: str, offset: int) -> None:
    meaning = ClauseTable().meaning(text.strip())
    assert meaning == tree.ClauseError(message, offset)


def test_clauses_are_split_at_commas_outside_brackets_and_quotes() -> None:
    assert split_clauses(' a , pair(b, c),"x, (", d', 10) == [("a", 11), ("pair(b, c)", 15), ('"x, ("', 26), ("d", 34)]
    assert split_clauses("a,,b", 0) == [("a", 0), ("", 2), ("b", 3)]


def test_the_grammar_runs_once_for_each_distinct_clause() -> None:
    """The work of reading a microprogram grows with its distinct clauses, not with its words."""
    distinct = [f"r{a} <- r{b}" for a in range(16) for b in range(12)] + [f"field{n} code" for n in range(64)]
    rows = [", ".join(distinct[(5 * line + k) % 256] for k in range(5)) for line in range(4096)]
    reading = Reading()
    reading.file(Source("u", "routine r\n    " + "\n    ".join(rows)))
    assert reading.findings == [] and reading.table.runs == len(reading.table.meanings) == 256
    [routine] = reading.statements
    assert isinstance(routine, tree.Routine) and len(routine.body) == 4096
    by_text: dict[str, tree.ClauseMeaning] = {}
    for micro in routine.body:
        assert isinstance(micro, tree.Micro) and len(micro.clauses) == 5
        for clause in micro.clauses:
            assert by_text.setdefault(clause.text, clause.meaning) is clause.meaning


# ---------------------------------------------------------------- files


def test_files_are_read_in_the_order_named(tmp_path: Path) -> None:
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub" / "a.micro").write_text("routine a\n  x\n")
    (tmp_path / "b.micro").write_text("routine b\n  x\n")
    made, findings = read_microprogram(tmp_path, files("b.micro", "./sub/a.micro"))
    assert findings == [] and made is not None
    assert [bare(routine)[1] for routine in made.statements] == ["b", "a"]
    assert [source.name for source in made.sources] == ["b.micro", "sub/a.micro"]
    assert all(len(source.sha256) == 64 for source in made.sources)


def files(*names: str) -> tuple[tree.Text, ...]:
    """The names as a `microprogram` line has them."""
    text = ", ".join(f'"{name}"' for name in names)
    source = Source("m", text)
    return tuple(tree.Text(name, Span(source, text.index(f'"{name}"'), text.index(f'"{name}"') + len(name) + 2))
                 for name in names)


def test_a_file_that_is_missing_or_named_twice_does_not_hide_the_others(tmp_path: Path) -> None:
    (tmp_path / "b.micro").write_text("routine b\n  x,, y\n")
    made, findings = read_microprogram(tmp_path, files("a.micro", "b.micro", "/x.micro", "sub/../b.micro"))
    assert made is not None and len(made.statements) == 1
    assert said(findings) == [("bad-file-name", "m:1:23"), ("included-twice", "m:1:35"), ("missing-file", "m:1:1"),
                              ("syntax", "b.micro:2:5")]
    assert read_microprogram(tmp_path, files("a.micro"))[0] is None


def test_words_are_read_even_under_a_header_that_cannot_be() -> None:
    text = "routine 3 there\n  a ; b\nrutine go at 4\n  b ; c\nroutine last\n  d"
    made, findings = parse_microprogram({"u": text}, ["u"])
    assert said(findings) == [("syntax", "u:1:9"), ("syntax", "u:2:5"), ("unknown-statement", "u:3:1"),
                              ("syntax", "u:4:5")]
    assert made is not None and [bare(routine)[1] for routine in made.statements] == ["go", "last"]
    assert made.unread == {"routine", "there"}
    assert findings[2].help == "did you mean `routine`?"


# ---------------------------------------------------------------- one finding for each fault

FAULTS: list[tuple[str, str, str]] = [
    ("  a\n", "indentation", "1:3"),
    ("otherwise\n  a", "unknown-statement", "1:1"),
    ("foo: bar\n  a", "unknown-statement", "1:1"),
    ("routine\n  a", "syntax", "1:8"),
    ("routine a at\n  b", "syntax", "1:13"),
    ("routine a at 3 at 4\n  b", "said-twice", "1:16"),
    ("routine a align 0\n  b", "bad-number", "1:17"),
    ("routine a same page\n  b", "syntax", "1:20"),
    ("routine a", "empty-body", "1:1"),
    ("routine a\n  b,,c", "syntax", "2:5"),
    ("routine a\n  b; c", "syntax", "2:4"),
    ("routine a\n  b <-", "syntax", "2:7"),
    ("routine a\n  b,\n  c", "unfinished-line", "2:4"),
    ("routine a\n  b pair(c", "unclosed-bracket", "2:9"),
    ("routine a\n  b pair c)", "unmatched-bracket", "2:11"),
    ('routine a\n  goto "b', "unclosed-quote", "2:8"),
    ("routine a\n  b 0x", "syntax", "2:5"),
    ("routine a\n  x:\n  y: z", "label-of-nothing", "2:3"),
    ("routine a\n  b\n  x:", "label-of-nothing", "3:3"),
    ("routine a\n  x:\n  when c\n    d", "label-of-nothing", "2:3"),
    ("routine a\n  otherwise\n    b", "syntax", "2:3"),
    ("routine a\n  when b\n  c", "empty-body", "2:3"),
    ("routine a\n  when b\n    c\n  otherwise\n  d", "empty-body", "4:3"),
    ("routine a\n  when\n    c", "syntax", "2:7"),
    ("routine a\n  when b:\n    c", "syntax", "2:9"),
    ("routine a\n  when b\n    c\n  otherwise: d\n    e", "syntax", "4:12"),
    ("routine a\n  when b c\n    d", "syntax", "2:10"),
    ("routine a\n" + "".join(" " * n + "when b\n" for n in range(1, 99)) + " " * 100 + "c", "nested-too-deep", "32:32"),
    ('instruction "a"\n  b', "syntax", "1:13"),
    ("instruction 0x3A\n  b", "syntax", "1:17"),
    ('instruction 0x3G "a"\n  b', "bad-number", "1:13"),
    ('instruction 0b0-1 "a"\n  b', "syntax", "1:16"),
    ('instruction 0b_ "a"\n  b', "opcode-pattern", "1:13"),
    ('instruction 0b' + "x" * 999 + ' "a"\n  b', "opcode-pattern", "1:13"),
    ('instruction 1 "a" for d in ()\n  b', "syntax", "1:29"),
    ('instruction 1 "a" for dd in (a)\n  b', "syntax", "1:23"),
    ('instruction 0bd "{d}" for d in (0x)\n  b', "bad-number", "1:33"),
    ("prologue a\n  b", "syntax", "1:10"),
    ("sequence\n  a", "syntax", "1:9"),
    ("sequence <a>\n  a", "syntax", "1:10"),
    ("map\n  0: a", "syntax", "1:4"),
    ("map m\n  a: 0", "syntax", "2:3"),
    ("map m\n  0 a", "syntax", "2:5"),
    ("routine a\n\tb\n\tc", "tab", "2:1"),
]


@pytest.mark.parametrize(("text", "name", "place"), FAULTS, ids=[text[:30] for text, _, _ in FAULTS])
def test_one_fault_is_one_finding_at_its_place(text: str, name: str, place: str) -> None:
    made, findings = parse_microprogram({"u": text + "\nroutine good\n  b\n  = c\n"}, ["u"])
    line = text.count("\n") + 4
    assert said(findings) == [(name, f"u:{place}"), ("syntax", f"u:{line}:3")]
    assert made is not None and bare(made.statements[-1])[1] == "good"


def test_a_line_of_ten_megabytes_is_one_finding() -> None:
    made, findings = parse_microprogram({"u": "routine a\n  b" + ", b" * 3_000_000}, ["u"])
    assert made is None and said(findings) == [("line-too-long", "u:2:1")]
