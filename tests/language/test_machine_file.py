"""Files and includes of a machine, and one finding, at its place, for everything that can be wrong in them."""

from pathlib import Path

import pytest

from ordain.language import tree
from ordain.language.machine_file import DEEPEST_INCLUDE, parse_machine, read_machine
from tests.language.trees import bare, said

BOARD = {
    "board.machine": 'machine board\ninclude "bus.machine"\nsignal last = 1\n',
    "bus.machine": 'bus data 8 bits, kept\ninclude "parts/more.machine"\nsignal after = 0\n',
    "parts/more.machine": "signal inner = 1\n",
}


def faults(text: str) -> list[tuple[str, str]]:
    """Name and place of each finding in a machine file that begins with its header in line 1."""
    return said(parse_machine({"m": "machine m\n" + text}, "m")[1])


# ---------------------------------------------------------------- includes


def test_includes_are_read_in_place() -> None:
    made, findings = parse_machine(BOARD, "board.machine")
    assert findings == [] and made is not None
    assert [bare(statement)[:2] for statement in made.statements] == [
        ("MachineHeader", "board"), ("Bus", "data"), ("Signal", "inner"), ("Signal", "after"), ("Signal", "last")]
    assert [source.name for source in made.sources] == ["board.machine", "bus.machine", "parts/more.machine"]


def test_the_same_from_disk_with_sums(tmp_path: Path) -> None:
    (tmp_path / "parts").mkdir()
    for name, text in BOARD.items():
        (tmp_path / name).write_text(text)
    made, findings = read_machine(tmp_path / "board.machine")
    assert findings == [] and made is not None and [len(source.sha256) for source in made.sources] == [64, 64, 64]
    in_memory, _ = parse_machine(BOARD, "board.machine")
    assert in_memory is not None and bare(made.statements) == bare(in_memory.statements)


def test_a_file_that_includes_itself_shows_the_way_round() -> None:
    files = {"a": 'machine a\ninclude "b"\n', "b": 'spare 1 bit\ninclude "c"\n', "c": 'include "b"\n'}
    _, [finding] = parse_machine(files, "a")
    assert said([finding]) == [("include-cycle", "c:1:9")]
    assert finding.message == "a file includes itself: `b` includes `c` includes `b`"
    assert [str(place.span) for place in finding.places] == ["a:2:9"]
    assert said(parse_machine({"a": 'machine a\ninclude "./a"\n'}, "a")[1]) == [("include-cycle", "a:2:9")]


def test_a_file_included_twice_shows_both_places() -> None:
    _, [finding] = parse_machine({"a": 'machine a\ninclude "b"\ninclude "x/../b"\n', "b": ""}, "a")
    assert said([finding]) == [("included-twice", "a:3:9")]
    assert [str(place.span) for place in finding.places] == ["a:2:9"]


def test_includes_nested_too_deep_are_one_finding() -> None:
    files = {f"f{n}": f'include "f{n + 1}"\n' for n in range(1000)} | {"m": 'machine m\ninclude "f0"\n'}
    [(name, place)] = said(parse_machine(files, "m")[1])
    assert name == "nested-too-deep" and place == f"f{DEEPEST_INCLUDE - 1}:1:9"


@pytest.mark.parametrize("file", ["/etc/passwd", "C:/x", ""])
def test_names_that_lead_out_of_the_directory_by_themselves(file: str) -> None:
    assert [name for name, _ in faults(f'include "{file}"\n')] == ["bad-file-name"]


def test_a_missing_include_does_not_hide_what_follows(tmp_path: Path) -> None:
    (tmp_path / "m.machine").write_text('machine m\ninclude "nothing.machine"\nsignal a =\ninclude "sub"\n')
    (tmp_path / "sub").mkdir()
    made, findings = read_machine(tmp_path / "m.machine")
    assert made is not None and len(made.statements) == 1
    assert sorted(said(findings)) == [("missing-file", "m.machine:2:9"), ("not-a-file", "m.machine:4:9"),
                                      ("syntax", "m.machine:3:11")]


def test_a_machine_file_that_cannot_be_read(tmp_path: Path) -> None:
    made, findings = read_machine(tmp_path / "m.machine")
    assert made is None and said(findings) == [("missing-file", "None")]
    (tmp_path / "m.machine").write_bytes(b"machine \0")
    assert read_machine(tmp_path / "m.machine")[0] is None


def test_a_file_without_header() -> None:
    made, findings = parse_machine({"m": "# nothing\nspare 1 bit\n"}, "m")
    assert made is not None and said(findings) == [("no-machine", "m:1:1")]
    assert said(parse_machine({"m": ""}, "m")[1]) == [("no-machine", "m:1:1")]
    assert said(parse_machine({"m": "machine\n"}, "m")[1]) == [("syntax", "m:1:8")]
    assert said(parse_machine({"m": "machin a\n"}, "m")[1]) == [("unknown-statement", "m:1:1")]


# ---------------------------------------------------------------- one finding for each fault


FAULTS: list[tuple[str, str, str]] = [
    # statement, name of the finding, place
    ("field", "syntax", "2:6"),
    ("field a", "syntax", "2:8"),
    ("field a 3", "syntax", "2:10"),
    ("field a.b 3 bits", "syntax", "2:7"),
    ("field a 3 bits foo", "syntax", "2:16"),
    ("field a 3 bits, foo", "syntax", "2:17"),
    ("field a 3 bits, idle", "syntax", "2:21"),
    ("store s 4 words of 2 bits\n    address a\n    step a in (0, b)", "syntax", "4:10"),
    ("store s 4 words of 2 bits\n    address a\n    step a not in (0, 1)", "syntax", "4:10"),
    ("field a 3 bits, idle 0, idle 1", "said-twice", "2:25"),
    ("field a 3 bits, at [3:5]", "syntax", "2:20"),
    ("field a 0x bits", "bad-number", "2:9"),
    ("field a 3 bits\n    none", "syntax", "3:9"),
    ("field a 3 bits\n    none 0 idel", "syntax", "3:12"),
    ("spare", "syntax", "2:6"),
    ("store c 10 words", "syntax", "2:17"),
    ("store c many words of 8 bits", "syntax", "2:9"),
    ("store c 10 words of 8 bits\n    adress a", "unknown-statement", "3:5"),
    ("store c 10 words of 8 bits\n    adress", "unknown-statement", "3:5"),
    ("store c 10 words of 8 bits\n    address a\n    address b", "said-twice", "4:5"),
    ("store c 10 words of 8 bits\n    unused a, ; b", "syntax", "3:15"),
    ("store c 10 words of 8 bits\n    unused a,, b", "syntax", "3:14"),
    ("chip U1 2048 8", "syntax", "2:14"),
    ("chip U1 2048 x 8\n    holds", "syntax", "3:10"),
    ("chip U1 2048 x 8\n    address a\n    holds b", "syntax", "3:5"),
    ("chip U1 2048 x 8\n    holds b\n    address a\n    address b", "said-twice", "5:5"),
    ("chip U1 2048 x 8\n    erased half", "syntax", "3:12"),
    ("chip U1 2048 x 8\n    technology flash", "syntax", "3:16"),
    ("state a 3 bits", "syntax", "2:1"),
    ("state a, reset 0", "syntax", "2:8"),
    ("state a 3 bits, reset", "syntax", "2:22"),
    ("state a 3 bits, reset 0\n    next a +", "syntax", "3:13"),
    ("state a 3 bits, reset 0\n    next a\n    next b", "said-twice", "4:5"),
    ("state a 3 bits, reset 0\n    next choose b", "syntax", "3:10"),
    ("state a 3 bits, reset 0\n    next choose b\n        c = 3\n        otherwise: 0", "syntax", "4:11"),
    ("state a 3 bits, reset 0\n    next choose b\n        otherwise: 1\n        otherwise: 0", "said-twice", "5:9"),
    ("state a 3 bits, reset 0\n    next b\n        c: 3", "indentation", "4:9"),
    ("register a 8 bits, loads b", "syntax", "2:27"),
    ("register a 8 bits, reset 0, reset 1", "said-twice", "2:29"),
    ("input a", "syntax", "2:8"),
    ("input a ()", "syntax", "2:10"),
    ("condition a = b", "syntax", "2:13"),
    ("signal a b", "syntax", "2:10"),
    ("signal a = b\n    c", "indentation", "3:5"),
    ("constant a", "syntax", "2:11"),
    ("constant a = 1.5", "syntax", "2:15"),
    ("keep a", "syntax", "2:7"),
    ("exclusive a,", "unfinished-line", "2:12"),
    ("assume", "syntax", "2:7"),
    ("bus b 8 bits", "syntax", "2:1"),
    ("bus b 8 bits, float", "syntax", "2:15"),
    ("bus b 8 bits, kept, floats", "said-twice", "2:21"),
    ("bus b 8 bits, kept\n    driven acc", "syntax", "3:12"),
    ("bus b 8 bits, kept\n    driven by a, steady b", "syntax", "3:18"),
    ("bus b 8 bits, kept\n    sampled by a, when b", "syntax", "3:17"),
    ("strobe s\n    b steady 1 cycle", "syntax", "3:21"),
    ("strobe s\n    b steady 1 cycle before, 2 cycles before", "said-twice", "3:39"),
    ("agent a\n    bus b 8 bits, kept", "unknown-statement", "3:5"),
    ('rule "r" newer a', "syntax", "2:10"),
    ("rule never a", "syntax", "2:6"),
    ('rule "r" when a then b', "syntax", "2:23"),
    ('rule "r" when a then b within c cycles', "syntax", "2:31"),
    ('rule "r" between a or b and c never d', "syntax", "2:20"),
    ('rule "r" after a never b', "syntax", "2:25"),
    ("allow contention on data", "syntax", "2:25"),
    ('allow Contention "x"', "syntax", "2:7"),
    ("order read", "syntax", "2:11"),
    ("order : a", "syntax", "2:7"),
    ("order read: a b c", "syntax", "2:17"),
    ("order read: t pair(a b)", "syntax", "2:22"),
    ("microprogram a", "syntax", "2:14"),
    ("when a", "unknown-statement", "2:1"),
    ("é = 3", "unknown-statement", "2:1"),
    ("signal é = 3", "syntax", "2:8"),
    ("signal a = b ? c", "syntax", "2:14"),
    ("signal a = (b", "unclosed-bracket", "2:12"),
    ("signal a = b)", "unmatched-bracket", "2:13"),
    ('rule "r never a', "unclosed-quote", "2:6"),
    ("signal a = " + "(" * 4000 + "b" + ")" * 4000, "nested-too-deep", "2:112"),
    ("signal a = " + "not " * 400 + "b", "nested-too-deep", "2:1012"),
    ("state a 1 bit, reset 0\n  next choose b\n" + "".join(" " * (n + 3) + "c: choose d\n" for n in range(300)),
     "nested-too-deep", "33:33"),
    ("signal a\t= 3\n#\tfine", "tab", "2:9"),
    ("signal a = 1\n\tsignal b = 2", "tab", "3:1"),
    ("  signal a = 1", "indentation", "2:3"),
    ("constant a = 0b" + "1" * 5000, "bad-number", "2:14"),
]


@pytest.mark.parametrize(("text", "name", "place"), FAULTS, ids=[text[:40] for text, _, _ in FAULTS])
def test_one_fault_is_one_finding_at_its_place(text: str, name: str, place: str) -> None:
    assert faults(text + "\nspare 1 bit\n") == [(name, f"m:{place}")]


@pytest.mark.parametrize(("text", "name", "place"), FAULTS, ids=[text[:40] for text, _, _ in FAULTS])
def test_a_fault_hides_neither_the_statement_before_nor_the_one_after(text: str, name: str, place: str) -> None:
    made, findings = parse_machine({"m": f"machine m\n{text}\nsignal good = 1\nsignal = 2\n"}, "m")
    assert made is not None and len(findings) == 2 and findings[1].name == "syntax"
    assert bare(made.statements[-1])[:2] == ("Signal", "good")


def test_a_line_of_ten_megabytes_is_one_finding() -> None:
    made, findings = parse_machine({"m": "machine m\nsignal a = " + "b or " * 2_000_000 + "b\n"}, "m")
    assert made is None and said(findings) == [("line-too-long", "m:2:1")]


def test_findings_stand_in_the_order_of_the_text() -> None:
    files = {"m": 'machine m\nsignal a = (\ninclude "n"\nsignal = b\n', "n": "spare\nspare x\n"}
    assert said(parse_machine(files, "m")[1]) == [("unclosed-bracket", "m:2:12"), ("syntax", "m:4:8"),
                                                  ("syntax", "n:1:6"), ("syntax", "n:2:7")]


def test_a_misspelt_keyword_is_read_as_the_word_that_was_meant() -> None:
    made, findings = parse_machine({"m": "machine m\nsingal a = 1\nfeild b 2 bits\n    c 1\n"}, "m")
    assert said(findings) == [("unknown-statement", "m:2:1"), ("unknown-statement", "m:3:1")]
    assert [finding.help for finding in findings] == ["did you mean `signal`?", "did you mean `field`?"]
    assert made is not None and [bare(statement)[1] for statement in made.statements] == ["m", "a", "b"]
    signal = made.statements[1]
    assert isinstance(signal, tree.Signal) and signal.name.span.text == "a" and str(signal.name.span) == "m:2:8"


def test_names_on_lines_that_cannot_be_read_are_remembered() -> None:
    made, _ = parse_machine({"m": "machine m\nfield branch 3 bitss\n    step 0\n    jump 1\nsignal fine = 1\n"}, "m")
    assert made is not None and made.unread >= {"branch", "step", "jump"} and "fine" not in made.unread


def test_a_case_that_cannot_be_read_does_not_leave_its_code_uncovered() -> None:
    made, findings = parse_machine({"m": "machine m\nsignal a = choose b\n    c : 1 +\n    d : 0\n"}, "m")
    assert said(findings) == [("syntax", "m:3:12")] and made is not None
    assert bare(made.statements[1]) == ("Signal", "a", ("Choose", "b", (("Case", ("d",), 0),), 0))


def test_a_line_says_how_its_statement_is_written() -> None:
    _, [finding] = parse_machine({"m": "machine m\nhome\n"}, "m")
    assert finding.message == "expected a value after `home`, found the end of the line"
    _, [finding] = parse_machine({"m": "machine m\nstate a 3 bits, rest 0\n"}, "m")
    assert finding.help == ("it is written `state NAME N bits, reset VALUE [, on PHASE]` or "
                            "`state NAME (CODE, CODE), reset CODE`")
    assert finding.message == "expected `reset VALUE`, `reset any` or `on PHASE`, found `rest`"
    assert finding.label == "not expected here"


def test_where_instructions_start_is_no_part_of_a_word() -> None:
    _, [finding] = parse_machine({"m": "machine m\nstore s 2 words of 8 bits\n    address ir\n"
                                  "    word {0b00, start of instruction}\n"}, "m")
    assert finding.message == "`start of instruction` is the whole word of a store" and finding.span is not None
    assert (finding.span.text, said([finding])) == ("start of instruction", [("syntax", "m:4:17")])
    for word in ("start  of instruction", "{a, b}", "{a, b_start}"):
        text = f"machine m\nstore s 2 words of 8 bits\n    address ir\n    word {word}\n"
        assert not parse_machine({"m": text}, "m")[1]


def test_a_statement_goes_on_where_a_reader_expects_it() -> None:
    """The same statements on one row each."""
    spread = """\
machine m
store control 16 words of 8 bits
    address
        upc
field function 3 bits
    then 1
    and 2
    when 3
state upc 4 bits, reset 0
    next
        0 if go
          else upc + 1
signal b =
    function in (and, when)
    and not half        # a comment
bus data 4 bits, floats
    driven by acc
        when b or
          go
        , follows data
    sampled by q
        when go
bus call 1 bit, wired or
    driven by horn
bus calls 1 bit, wired  and
    driven by horn
rule "in time"
    when b then go

    # and so on
    within 6 cycles
    unless half
rule "window" between b and go
    never half
"""
    flat = """\
machine m
store control 16 words of 8 bits
    address upc
field function 3 bits
    then 1
    and 2
    when 3
state upc 4 bits, reset 0
    next 0 if go else upc + 1
signal b = function in (and, when) and not half
bus data 4 bits, floats
    driven by acc when b or go, follows data
    sampled by q when go
bus call 1 bit, wired or
    driven by horn
bus calls 1 bit, wired and
    driven by horn
rule "in time" when b then go within 6 cycles unless half
rule "window" between b and go never half
"""
    one, two = (parse_machine({"m.machine": text}, "m.machine") for text in (spread, flat))
    assert one[1] == two[1] == [] and one[0] is not None and two[0] is not None
    assert bare(one[0].statements) == bare(two[0].statements)


@pytest.mark.parametrize(("text", "help"), [
    ("never a and b", 'a rule begins with its own words: `rule "what it says" never ...`'),
    ("when a then b within 3 cycles", 'a rule begins with its own words: `rule "what it says" when ...`'),
    ("nevre a and b", "it may hold `machine`, `microprogram`"),
])
def test_a_rule_without_its_own_words_is_told_what_is_missing(text: str, help: str) -> None:
    _, findings = parse_machine({"m.machine": f"machine m\n{text}\n"}, "m.machine")
    assert [finding.name for finding in findings] == ["unknown-statement"]
    assert (findings[0].help or "").startswith(help)


def test_a_row_that_should_carry_on_and_is_not_indented_says_how() -> None:
    _, findings = parse_machine({"m.machine": 'machine m\nrule "x" never a\nand b\n'}, "m.machine")
    assert [finding.name for finding in findings] == ["unknown-statement"]
    assert findings[0].help == "a line that carries on is indented further than the one where the statement begins"


@pytest.mark.parametrize(("line", "help"), [
    ("condition a 1 bit, b 1 bit", "begin a line with `condition` for each"),
    ("strobe load is ram", "name it first: `signal pulse = ...`, and `strobe pulse`"),
    ("strobe load[2]", "name it first: `signal pulse = ...`, and `strobe pulse`")])
def test_what_people_try_gets_the_way_out(line: str, help: str) -> None:
    _, [finding] = parse_machine({"m": f"machine m\n{line}\n"}, "m")
    assert (finding.name, finding.help) == ("syntax", help)


def test_a_part_where_a_number_is_wanted_is_told_how_the_statement_is_written() -> None:
    """Where there are several ways to write it, only how numbers are written is said."""
    [finding] = parse_machine({"m": "machine m\nchip U1 27C64\n"}, "m")[1]
    assert finding.name == "bad-number" and finding.help.endswith("; it is written `chip NAME WORDS x BITS`")
    [finding] = parse_machine({"m": "machine m\nhome 12x\n"}, "m")[1]
    assert finding.help == "numbers are written `12`, `0x2F` or `0b0110`, with `_` between digits where wanted"
