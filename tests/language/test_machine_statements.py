"""Every statement of a machine file, read into its tree, with places that show the text that was read."""

from typing import Any

import pytest

from ordain.language import tree
from ordain.language.machine_file import parse_machine
from tests.language.trees import bare, check_places

NONE = None


def read(text: str) -> Any:
    """The statements after the header; no findings."""
    made, findings = parse_machine({"m": "machine m\n" + text}, "m")
    assert findings == [] and made is not None
    check_places(made.statements)
    return made.statements[1:]


STATEMENTS: list[tuple[str, Any]] = [
    # control store and control word
    ("store control 1024 words of 40 bits\n    address upc",
     ("Store", "control", 1024, 40, "upc", NONE, NONE, NONE, (), NONE, NONE)),
    ("store entry 256 words of 1 bit\n    address {carry, zero, ir, step}\n    instruction ir\n    step step\n"
     "    word start of instruction\n    starts at {0b0, ir[3:0], 0b00}",
     ("Store", "entry", 256, 1, ("Join", ("carry", "zero", "ir", "step")), NONE, "ir", "step", (),
      ("StartOfInstruction",),
      ("Join", (0, ("Slice", "ir", 3, 0), 0)))),
    ("store small 16 words of 1 bit\n    address {ir, ring}\n    step ring in (0b00, 0b10)",
     ("Store", "small", 16, 1, ("Join", ("ir", "ring")), NONE, NONE, "ring", (0, 2), NONE, NONE)),
    ("store glue 32 words of 3 bits\n    address src\n    word {not (src is acc), parity(src), 0b1}",
     ("Store", "glue", 32, 3, "src", NONE, NONE, NONE, (),
      ("Join", (("Not", ("Infix", "is", "src", "acc")), ("Parity", "sum", "src"), 1)), NONE)),
    ("store s 1_099_511_627_776 words of 8 bits", ("Store", "s", 2**40, 8, *[NONE] * 4, (), NONE, NONE)),
    ("field source 4 bits\n    none     0 idle\n    acc      1\n    memory   0b0010",
     ("Field", "source", 4, "code", NONE, False, NONE, NONE, NONE,
      (("Code", "none", 0, True), ("Code", "acc", 1, False), ("Code", "memory", 2, False)))),
    ("field write 1 bit, active low", ("Field", "write", 1, "code", NONE, True, NONE, NONE, NONE, ())),
    ("field target 10 bits address, idle 0", ("Field", "target", 10, "address", NONE, False, 0, NONE, NONE, ())),
    ("field next 8 bits address[9:2], idle following, at [39:32]",
     ("Field", "next", 8, "address", (9, 2), False, "following", (39, 32), NONE, ())),
    ("field page 1 bit, address[9], idle any", ("Field", "page", 1, "address", (9, 9), False, "any", NONE, NONE, ())),
    ("field pick 2 bits, idle none\n    none 0\n    one  1",
     ("Field", "pick", 2, "code", NONE, False, "none", NONE, NONE,
      (("Code", "none", 0, False), ("Code", "one", 1, False)))),
    ("field number 8 bits, idle 0x0", ("Field", "number", 8, "number", NONE, False, 0, NONE, NONE, ())),
    ("field n 1 bit number", ("Field", "n", 1, "number", NONE, False, NONE, NONE, NONE, ())),
    ("field parity 1 bit, at [39] = even parity of control[38:0]",
     ("Field", "parity", 1, "code", NONE, False, NONE, (39, 39), ("Parity", "even", ("Slice", "control", 38, 0)), ())),
    ("spare 3 bits", ("Spare", 3, False)),
    ("spare 1 bit ones", ("Spare", 1, True)),
    # chips
    ("chip U21 32768 x 8\n    holds   control[39:32]\n    address {any, 0b0000, upc}\n    erased  zeros\n"
     "    technology flash  sector 128",
     ("Chip", "U21", 32768, 8,
      (("Bank", (("Slice", "control", 39, 32),), ("Join", ("any", 0, "upc")), False),), False, "flash sector 128")),
    ("chip U22 32768x8\n    holds source[0], not write, spare, 1\n    address {any, not upc}\n    repeats a, b\n"
     "    address {0b1, address}\n    technology uv",
     ("Chip", "U22", 32768, 8,
      (("Bank", (("Slice", "source", 0, 0), ("Not", "write"), "spare", 1), ("Join", ("any", ("Not", "upc"))), False),
       ("Bank", ("a", "b"), ("Join", (1, "address")), True)), True, "uv")),
    ("chip U1 0x800 x 8", ("Chip", "U1", 2048, 8, (), True, NONE)),
    # state, inputs, conditions, signals
    ("state upc 10 bits, reset 0\n    next choose branch\n        step    : upc + 1\n        3, jump : target\n"
     "        otherwise: 0x3FF",
     ("State", "upc", 10, (), 0,
      ("Choose", "branch", (("Case", ("step",), ("Infix", "+", "upc", 1)), ("Case", (3, "jump"), "target")), 0x3FF))),
    ("state a 1 bit, reset any\n    next console.asks or b",
     ("State", "a", 1, (), NONE, ("Infix", "or", "console.asks", "b"))),
    ("state mode (idle, busy), reset idle\n    next choose mode\n        idle: choose go\n            0: idle\n"
     "            1: busy\n        busy: idle",
     ("State", "mode", NONE, ("idle", "busy"), "idle",
      ("Choose", "mode", (("Case", ("idle",), ("Choose", "go", (("Case", (0,), "idle"), ("Case", (1,), "busy")), NONE)),
                          ("Case", ("busy",), "idle")), NONE))),
    ("register mar 16 bits, loads data_path when load is mar",
     ("Register", "mar", 16, (("Load", "data_path", ("Infix", "is", "load", "mar")),), NONE, False)),
    ("latch flags 2 bits, loads data[1:0] when a, changes when b or c, reset 0",
     ("Register", "flags", 2,
      (("Load", ("Slice", "data", 1, 0), "a"), ("Load", NONE, ("Infix", "or", "b", "c"))), 0, True)),
    ("register pc 16 bits\n    loads address when load_pc\n    loads pc + 1 when count_pc\n    reset any",
     ("Register", "pc", 16,
      (("Load", "address", "load_pc"), ("Load", ("Infix", "+", "pc", 1), "count_pc")), NONE, False)),
    ("input interrupt 1 bit", ("Inputs", (("Declared", "interrupt", 1, ()),))),
    ("input want 1 bit, key 8 bits, dial (off, low, high)",
     ("Inputs", (("Declared", "want", 1, ()), ("Declared", "key", 8, ()),
                 ("Declared", "dial", 2, ("off", "low", "high"))))),
    ("condition zero 1 bit = alu is 0", ("Condition", "zero", 1, ("Infix", "is", "alu", 0))),
    ("condition carry 1 bit", ("Condition", "carry", 1, NONE)),
    ("signal strobe = write or console.pulse", ("Signal", "strobe", ("Infix", "or", "write", "console.pulse"))),
    ("signal wide = choose a\n    b: 1\n    otherwise: 0",
     ("Signal", "wide", ("Choose", "a", (("Case", ("b",), 1),), 0))),
    ("constant hold_vector = 0x3F0", ("Constant", "hold_vector", 0x3F0)),
    ("assume not (a and console.mode is writing)",
     ("Assume", ("Not", ("Infix", "and", "a", ("Infix", "is", "console.mode", "writing"))))),
    ("home fetch", ("Home", "fetch")),
    ("home step is 0", ("Home", ("Infix", "is", "step", 0))),
    # buses, strobes, keeping
    ("bus address 16 bits, floats\n    driven by mar when drive_address\n    driven by b\n"
     "    driven by console when owns, steady while mode is writing\n    driven by m, follows data\n"
     "    sampled by acc when load is acc\n    sampled by x",
     ("Bus", "address", 16, "floats", 0,
      (("Driver", "mar", "drive_address", NONE, NONE), ("Driver", "b", NONE, NONE, NONE),
       ("Driver", "console", "owns", NONE, ("Infix", "is", "mode", "writing")), ("Driver", "m", NONE, "data", NONE)),
      (("Sampler", "acc", ("Infix", "is", "load", "acc")), ("Sampler", "x", NONE)))),
    ("bus data 8 bits, wired or\n    driven by a", ("Bus", "data", 8, "wired-or", 0,
                                                    (("Driver", "a", NONE, NONE, NONE),), ())),
    ("bus data 8 bits, turnaround 1, wired  and", ("Bus", "data", 8, "wired-and", 1, (), ())),
    ("bus data 8 bits, pulled high, turnaround 2 cycles", ("Bus", "data", 8, "pulled-high", 2, (), ())),
    ("strobe go\n    address steady 1 cycle before, 2 cycles after\n    data steady 1 cycle after",
     ("Strobe", "go", (("SteadyNeed", "address", 1, 2), ("SteadyNeed", "data", 0, 1)))),
    ("strobe console.pulse", ("Strobe", "console.pulse", ())),
    ("keep acc, pc, console.mode while granted", ("Keep", ("acc", "pc", "console.mode"), "granted")),
    ("exclusive count_pc, load is pc", ("Exclusive", ("count_pc", ("Infix", "is", "load", "pc")))),
    # agents
    ('agent console "service console"\n    input want 1 bit\n    state mode (idle, asking), reset idle\n'
     "        next asking if want else idle\n    signal asks = mode is not idle\n    signal b = want\n    assume want",
     ("Agent", "console", '"service console"', (("Inputs", (("Declared", "want", 1, ()),)),),
      (("State", "mode", NONE, ("idle", "asking"), "idle", ("If", "want", "asking", "idle")),),
      (("Signal", "asks", ("Infix", "is-not", "mode", "idle")), ("Signal", "b", "want")), (("Assume", "want"),))),
    ("agent reader", ("Agent", "reader", NONE, (), (), (), ())),
    # the clock, and what is on it
    ("clock clk (first, second)\n    moves in first\n    held while stopped or slow",
     ("Clock", "clk", ("first", "second"), "first", ("Infix", "or", "stopped", "slow"))),
    ("clock clk", ("Clock", "clk", (), NONE, NONE)),
    ("state step 2 bits, on first, reset 0\n    next 0", ("State", "step", 2, (), 0, 0, "first")),
    ("register ir 8 bits, on clk, loads data when get", ("Register", "ir", 8, (("Load", "data", "get"),), NONE, False,
                                                          "clk")),
    ("latch ir 8 bits\n    loads data when get", ("Register", "ir", 8, (("Load", "data", "get"),), NONE, True)),
    ("input ready 1 bit on clk, key (a, b) on own  clock, x 2 bits",
     ("Inputs", (("Declared", "ready", 1, (), "clk"), ("Declared", "key", 1, ("a", "b"), "own clock"),
                 ("Declared", "x", 2, ())))),
    ('agent panel "front panel", on own clock', ("Agent", "panel", '"front panel"', (), (), (), (), "own clock")),
    ("agent wait, on oscillator", ("Agent", "wait", NONE, (), (), (), (), "oscillator")),
    ("strobe write on second\n    a steady 1 phase before, 2 cycles after\n    b steady 3 phases after",
     ("Strobe", "write", (("SteadyNeed", "a", 1, 2, frozenset({"before"})),
                          ("SteadyNeed", "b", 0, 3, frozenset({"after"}))), "second")),
    ("bus data 8 bits, floats, turnaround 1 phase", ("Bus", "data", 8, "floats", 1, (), (), True)),
    ('rule "r" when a then b within 3 phases unless c', ("Rule", '"r"', ("WhenThen", "a", "b", 3, "c", True))),
    # rules and allowances
    ('rule "r" never granted and drive', ("Rule", '"r"', ("Never", ("Infix", "and", "granted", "drive")))),
    ('rule "r" reach a', ("Rule", '"r"', ("Reach", "a", False))),
    ('rule "r" always reach a', ("Rule", '"r"', ("Reach", "a", True))),
    ('rule "r" when a then b within 40 cycles', ("Rule", '"r"', ("WhenThen", "a", "b", 40, NONE))),
    ('rule "r" when a and b then at fetch within 1 cycle unless c or d',
     ("Rule", '"r"', ("WhenThen", ("Infix", "and", "a", "b"), ("At", "fetch"), 1, ("Infix", "or", "c", "d")))),
    ('rule "r" between at fetch and at fetch never memory_access after commit',
     ("Rule", '"r"', ("BetweenNever", ("At", "fetch"), ("At", "fetch"), "memory_access", "commit"))),
    ('rule "r" between (a or b) and c and d never e',
     ("Rule", '"r"', ("BetweenNever", ("Infix", "or", "a", "b"), ("Infix", "and", "c", "d"), "e", NONE))),
    ('rule "r" after a never b until in "load a, n"', ("Rule", '"r"', ("AfterNever", "a", "b", ("In", '"load a, n"')))),
    ('allow contention on data at hold.release "R11..R18, measured 4 mA"',
     ("Allow", "contention", "data", "hold.release", '"R11..R18, measured 4 mA"')),
    ('allow missing-hold "why"', ("Allow", "missing-hold", NONE, NONE, '"why"')),
    ('allow race at "load a, n" "why"', ("Allow", "race", NONE, "load a, n", '"why"')),
    # orders
    ("order read : memory_op read, drive_address",
     ("Order", ("read",), (("Setting", "memory_op", "read"), ("Setting", "drive_address", NONE)))),
    ("order if zero goto <there>: branch if_zero, target <there>",
     ("Order", ("if", "zero", "goto", "<there>"),
      (("Setting", "branch", "if_zero"), ("Setting", "target", "<there>")))),
    ("order fork <yes> <no> on zero: test zero, target pair(<no>, <yes>)",
     ("Order", ("fork", "<yes>", "<no>", "on", "zero"),
      (("Setting", "test", "zero"), ("Setting", "target", ("Address", "pair", ("<no>", "<yes>"), "zeros"))))),
    ("order go <a>: target page(<a>), count 3, back page(pair(<a>, 7)), next following, t table(a, b.c, d, e)",
     ("Order", ("go", "<a>"),
      (("Setting", "target", ("Address", "label", ("<a>",), "page")), ("Setting", "count", 3),
       ("Setting", "back", ("Address", "pair", ("<a>", 7), "page")),
       ("Setting", "next", ("Address", "following", (), "zeros")),
       ("Setting", "t", ("Address", "table", ("a", "b.c", "d", "e"), "zeros"))))),
    ("order nothing:", ("Order", ("nothing",), ())),
    ('microprogram "a.micro", "b.micro"', ("Microprogram", ('"a.micro"', '"b.micro"'))),
]


@pytest.mark.parametrize(("text", "wanted"), STATEMENTS, ids=[text.splitlines()[0] for text, _ in STATEMENTS])
def test_a_statement_and_its_tree(text: str, wanted: Any) -> None:
    [statement] = read(text)
    assert bare(statement) == wanted
    assert statement.span.text == text.splitlines()[0] and str(statement.span) == "m:2:1"


def test_the_places_of_all_that_has_a_place_in_a_block() -> None:
    [store, chip, bus, strobe, field, state] = read(
        "store c 4 words of 8 bits\n    address   a  # why\n    unused  b,  c 3\n"
        "chip U1 4 x 8\n    holds c,\n          d  # low\n    address  a\n"
        "bus b 8 bits, kept\n    driven  by x  when y\n    sampled by  z\n"
        "strobe s\n    b  steady 1 cycle after\n"
        "field f 2 bits\n    code  3  idle\n"
        "state q 2 bits, reset 0\n    next choose f\n        code :  q\n        otherwise: 1")
    assert store.address.span.text == "a"
    assert [clause.source_span.text for clause in store.unused] == ["b", "c 3"]
    assert chip.banks[0].span.text == "holds c,\n          d"
    assert bus.drivers[0].span.text == "driven  by x  when y" and bus.samplers[0].span.text == "sampled by  z"
    assert strobe.needs[0].span.text == "b  steady 1 cycle after"
    assert field.codes[0].span.text == "code  3  idle"
    assert state.next.span.text == "choose f" and state.next.cases[0].span.text == "code :  q"


def test_the_places_inside_a_line() -> None:
    [register, inputs, order, header] = read(
        "register r 8 bits, loads  a when b , changes when c\n"
        "input  x 1 bit\n"
        "order go <a>: t  pair( <a>,  b ), flag\n"
        "home  x")
    assert [load.span.text for load in register.loads] == ["loads  a when b", "changes when c"]
    assert inputs.names[0].span.text == "x"
    assert [setting.span.text for setting in order.settings] == ["t  pair( <a>,  b )", "flag"]
    assert order.settings[0].value.span.text == "pair( <a>,  b )" and order.phrase[1].span.text == "<a>"
    assert header.span.text == "home  x"


def test_the_orders_of_an_unused_word_are_clauses() -> None:
    [store] = read("store c 4 words of 8 bits\n    unused branch pair(a, b), stop")
    assert [clause.text for clause in store.unused] == ["branch pair(a, b)", "stop"]
    assert store.unused[0].meaning == tree.Phrase((
        tree.PhrasePart("branch", None, None, 0, 6), tree.PhrasePart("pair", None, ("a", "b"), 7, 17)))


def test_the_header_and_the_files() -> None:
    made, findings = parse_machine({"m": 'machine heron "loom"\nspare 1 bit\n'}, "m")
    assert findings == [] and made is not None
    assert bare(made.statements[0]) == ("MachineHeader", "heron", '"loom"')
    assert made.sources == (tree.SourceFile("m", ""),) and made.unread == frozenset()


def test_words_of_the_language_are_names_where_they_are_not_expected() -> None:
    made = read("field field 2 bits\n    idle 0 idle\n    address 1\nfield address 3 bits, idle 0\n"
                "signal signal = field is idle\nbus bus 8 bits, kept\n    driven by driven when when\n"
                'input at 1 bit, x 1 bit\nrule "x" when at then when within 3 cycles')
    assert bare(made[0])[-1] == (("Code", "idle", 0, True), ("Code", "address", 1, False))
    assert bare(made[1])[1:4] == ("address", 3, "number")
    assert bare(made[3])[5] == (("Driver", "driven", "when", None, None),)
    assert bare(made[5])[2] == ("WhenThen", "at", "when", 3, None)
