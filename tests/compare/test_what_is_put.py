"""What stands on a bus, and which bits of a word say more than where control goes."""

import pytest

from tests.compare.judged import Texts, after, between, edited, moved, unit
from tests.compare.side_by_side import parting
from tests.workshop import contents_of

LOOM: Texts = ("""machine shuttle
microprogram "m.micro"
store control 8 words of 8 bits
    address upc
field go     1 bit
field target 3 bits address, idle 0
field out    3 bits
    none    0 idle
    sum     1
    literal 2
    table   3
    fixed   4
    picks   5
field picks  1 bit
store shed 2 words of 3 bits
    address picks
    word {picks, 0b01}
state upc 3 bits, reset 0
    next target if go else upc + 1
register warp 3 bits, loads yarn when picks
register weft 3 bits, loads yarn when not picks
signal sum = warp xor weft
constant fixed = 5
bus yarn 3 bits, floats
    driven by sum when out is sum
    driven by target when out is literal
    driven by shed when out is table
    driven by fixed when out is fixed
    driven by out when out is picks
home upc is 0
""", """\
routine first at 0
        out WHAT
        go, target first
routine other
        go, target first
""")


@pytest.mark.parametrize(("what", "old", "new"), [
    ("sum", "signal sum = warp xor weft", "signal sum = warp and weft"),
    ("literal, target other", "target other", "target first"),
    ("table", "word {picks, 0b01}", "word {picks, 0b11}"),
    ("fixed", "constant fixed = 5", "constant fixed = 4"),
    ("picks", "picks   5\n", "picks   6\n"),
])
def test_what_a_driver_puts_on_its_bus(what: str, old: str, new: str) -> None:
    machine, micro = LOOM[0], LOOM[1].replace("WHAT", what)
    assert moved(after((machine, micro), (old, new))) == {"reset": "changed", "first": "changed"}
    idle = (machine, LOOM[1].replace("out WHAT", "picks"))
    if old in idle[0]:
        assert moved(after(idle, (old, new))) == {}


def test_a_register_that_puts_something_else_than_itself() -> None:
    """`warp` is on the bus turned over; then the other of its bits is."""
    warped = (LOOM[0].replace("driven by sum when", "driven by warp = warp xor 1 when"),
              LOOM[1].replace("out WHAT", "out sum"))
    assert moved(after(warped, ("warp xor 1", "warp xor 2"))) == {"reset": "changed", "first": "changed"}
    assert moved(after(warped, ("warp xor 1", "1 xor warp"))) == {}


@pytest.mark.parametrize(("name", "declared"), [
    ("warp", ""), ("dial", "input dial 3 bits\n"), ("turns", "state turns 3 bits, reset 0\n    next turns + 1\n"),
    ("chest", "memory chest 8 words of 3 bits\n    address warp\n    writes yarn when picks\n")])
def test_what_a_thing_holds_or_something_else_is_put_under_its_name(name: str, declared: str) -> None:
    """On one side nothing more is said of the driver than its name: that is what it holds, and nothing unknown."""
    itself = edited((LOOM[0], LOOM[1].replace("out WHAT", "out sum")), ("driven by sum when", f"driven by {name} when"),
                    ("signal sum", f"{declared}signal sum"))
    for value, same in ((name, True), (f"{name} xor 0", True), (f"{name} xor 1", False), ("weft", False)):
        other = edited(itself, (f"driven by {name} when", f"driven by {name} = {value} when"))
        for old, new in ((itself, other), (other, itself)):
            found = between(old, new)
            assert found.machine == ()
            assert moved(found) == ({} if same else {"reset": "changed", "first": "changed"})
    silent = edited(itself, (f"driven by {name} when out is sum", f"driven by {name} when out is 7"),
                    ("routine first at 0\n        out sum\n", "routine first at 0\n        picks\n"))
    assert moved(between(silent, edited(silent, (f"driven by {name} when", f"driven by {name} = weft when")))) == {}


def test_where_a_place_is_no_number() -> None:
    """A target that only says where control goes may be another one, as long as the same is done there."""
    texts = (LOOM[0], LOOM[1].replace("out WHAT", "go, target other"))
    assert moved(after(texts, ("routine other\n", "routine again\n        go, target again\nroutine other\n"))) == {}


def test_a_line_that_is_a_bit_of_the_address_as_well() -> None:
    """`lift` picks one of a pair of words, and it is a control line: it counts though both words are equal."""
    texts = ("""machine heddle
microprogram "m.micro"
store control 8 words of 4 bits
    address upc
field target 3 bits address
field lift   1 bit
state upc 3 bits, reset 0
    next {target[2:1], lift}
home upc is 0
""", "routine first at 0\n        target first\nroutine second at 1\n        target first\n")
    assert moved(after(texts, ("first at 0\n        target first", "first at 0\n        target first, lift"))) == {
        "reset": "changed", "first": "changed"}


def test_a_target_that_is_left_open() -> None:
    """In the lowest bits of the word, and nothing goes there: it says nothing whether it is set. A lamp that is left
    open is not one that is dark."""
    texts = ("""machine treadle
microprogram "m.micro"
store control 8 words of 8 bits
    address upc
field go     1 bit
field lift   1 bit
field lamp   1 bit, idle any
spare 2 bits
field target 3 bits address, idle any
state upc 3 bits, reset 0
    next target if go else upc + 1
home upc is 0
""", "routine first at 0\n        lift\n        go, target first\n")
    assert moved(after(texts, ("        lift\n", "        lift, target first\n"))) == {}
    assert moved(after(texts, ("        lift\n        go,", "        lift, target more\n  more: go,"))) == {}
    assert moved(after(texts, ("        lift\n", "        lift, lamp 0\n"))) == {"reset": "changed", "first": "changed"}
    wired = ("spare 2 bits", "spare 1 bit\nfield bell 1 bit")       # words that are no longer divided alike
    assert moved(after(texts, wired)) == {}
    assert moved(after(texts, wired, ("        lift\n", "        lift, target first\n"))) == {}
    assert moved(after(texts, wired, ("        lift\n", "        lift, lamp 0\n"))) == {
        "reset": "changed", "first": "changed"}
    pad = ("routine first at 0", "routine pad at 1\n        go, target pad\nroutine first at 0")
    jump = ("        lift\n        go, target first\n", "        lift, go, target more\nroutine more\n"
                                                        "        go, target first\n")
    assert moved(after(edited(texts, jump), wired, pad)) == {}


# ---------------------------------------------------------------- words that are shown beside those that are executed

DOBBY: Texts = ("""machine dobby
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
field go     1 bit
field target 4 bits address, idle 0
field load   1 bit
spare 2 bits
store decode 4 words of 4 bits
    address ir
field sum 2 bits
    none 0 idle
    add  1
    sub  2
field glow 1 bit
spare 1 bit
register ir 2 bits, reset START, loads yarn when load
state upc 4 bits, reset 0
    next target if go else upc + 1
bus yarn 2 bits, pulled high
    driven by reel when load
home upc is 0
""", """\
routine fetch in control at 0
        go, target fetch
routine table in decode at 0
        sum none
        sum add
        sum sub
        sum add, glow
""")
"""The lines of a decoder of the opcode: nothing says what `sum` and `glow` do, and they count all the same."""


def dobby(start: str, *edits: tuple[str, str]) -> Texts:
    return edited((DOBBY[0].replace("START", start), DOBBY[1]), *edits)


@pytest.mark.parametrize("start", ["any", "1"])
@pytest.mark.parametrize(("old", "new", "cell"), [
    ("        sum add\n", "        sum sub\n", 1), ("        sum add, glow\n", "        sum add\n", 3),
    ("        sum add, glow\n", "        sum sub, glow\n", 3), ("        sum none\n", "        sum none\n", None)])
def test_what_a_decoder_says_that_nothing_reads(start: str, old: str, new: str, cell: int | None) -> None:
    """With an opcode that nothing loads only its own cell is ever shown."""
    texts, other = dobby(start), dobby(start, (old, new))
    shown = cell is not None and start in ("any", str(cell))
    apart = any(parting(contents_of(*texts), contents_of(*other), frozenset(("upc",)), seed) for seed in range(9))
    assert apart == shown
    assert (moved(between(texts, other)) != {}) == shown or start == "1"
    if shown:
        first = unit(between(texts, other), "fetch").difference
        assert first is not None and [str(change) for change in first.changes] == [
            "what `glow` says" if "glow" not in new and "glow" in old else "what `sum` says"]


def test_what_a_computed_decoder_shows_on_lines_that_nothing_reads() -> None:
    """Line 1 is read: what it does is compared, and it may lie elsewhere. Nobody says where line 0 leads."""
    table = DOBBY[1][:DOBBY[1].index("routine table")]
    machine = DOBBY[0].replace("START", "any").replace(DOBBY[0][DOBBY[0].index("field sum"):DOBBY[0].index("register")],
                                                       "    word {ir is 3, ir[0]}\n")
    texts = edited((machine.replace("of 4 bits\n    address ir", "of 2 bits\n    address ir"), table),
                   ("reel when load", "reel when decode[1]"))
    assert moved(after(texts)) == {}
    assert set(moved(after(texts, ("ir is 3, ir[0]", "ir is 3, ir[1]")))) == {"reset", "fetch"}
    assert moved(after(texts, ("ir is 3, ir[0]", "ir is 3, ir in (1, 3)"))) == {}
    elsewhere = edited(texts, ("decode 4 words of 2 bits", "decode 4 words of 3 bits"),
                       ("{ir is 3, ", "{ir is 3, 0b0, "), ("when decode[1]", "when decode[2]"))
    said = ("what `decode` shows on lines that nothing reads has changed, whatever word is executed",)
    for one, other in ((texts, elsewhere), (elsewhere, texts)):         # nobody can say which line is which
        assert moved(between(one, other)) == {} and between(one, other).machine == said
    bare = edited(texts, ("reel when decode[1]", "reel when ir[0]"))
    gone = edited(bare, ("store decode 4 words of 2 bits\n    address ir\n    word {ir is 3, ir[0]}\n", ""))
    for one, other in ((bare, gone), (gone, bare)):
        assert moved(between(one, other)) == {} and between(one, other).machine == said
    whole = edited(texts, ("home upc", "bus twine 1 bit, pulled low\n    driven by bobbin when decode[0]\nhome upc"))
    wired = edited(whole, ("bobbin when decode[0]", "bobbin when ir[0]"), ("reel when decode[1]", "reel when ir is 3"),
                   ("store decode 4 words of 2 bits\n    address ir\n    word {ir is 3, ir[0]}\n", ""))
    for one, other in ((whole, wired), (wired, whole)):                 # all that it says is said otherwise
        assert moved(between(one, other)) == {} and between(one, other).machine == ()
    read = edited(texts, ("home upc", "bus twine 1 bit, pulled low\n    driven by bobbin when decode[0]\nhome upc"))
    assert "shows" not in " ".join(between(texts, read).machine)


def test_what_a_decoder_says_is_compared_by_the_names_of_its_codes() -> None:
    texts = dobby("any")
    numbered = edited(texts, ("    add  1\n    sub  2", "    add  2\n    sub  1"))
    assert moved(between(texts, numbered)) == {} and moved(between(numbered, texts)) == {}
    worse = edited(numbered, ("        sum sub\n", "        sum add\n"))
    assert set(moved(between(texts, worse))) == {"reset", "fetch"}
    renamed = (texts[0].replace("glow", "gleam"), texts[1].replace("glow", "gleam"))
    assert moved(between(texts, renamed)) == {}


# ---------------------------------------------------------------- an opcode in a latch


LATCHED: Texts = ("""machine warper
microprogram "m.micro"
store control 8 words of 8 bits
    address upc
field branch 2 bits
    step 0 idle
    go   1
    row  2
field target 3 bits address, idle 0
field fetch  1 bit
field beat   1 bit
spare 1 bit
store entry 2 words of 3 bits
    address op
    word start of instruction
store table 2 words of 3 bits
    address op
state upc 3 bits, reset 0
    next choose branch
        step: upc + 1
        go  : entry
        row : table.word
        otherwise: target
KIND op 1 bit, reset 1
    loads data when fetch
bus data 1 bit, pulled low
    driven by reader when fetch
home upc is 0
""", """\
routine start at 0
        branch go
routine low
        branch go
routine high
        branch go
instruction 0 "rest"
        branch go
instruction 1 "run"
        branch row, fetch
map table
        0: low
        1: high
""")


@pytest.mark.parametrize(("kind", "rows"), [("latch", {"low", "high"}), ("register", {"high"})])
def test_a_latch_shows_what_it_loads_in_the_same_cycle(kind: str, rows: set[str]) -> None:
    """`run` fetches and dispatches in one cycle: a latch says by then where to; a register still says 1."""
    texts = (LATCHED[0].replace("KIND", kind), LATCHED[1])
    for row in ("low", "high"):
        found = moved(after(texts, (f"routine {row}\n        branch go", f"routine {row}\n        branch go, beat")))
        assert (row in found or "run" in found) == (row in rows), (row, found)


@pytest.mark.parametrize("before", ["", "register pace 1 bit, reset 0\n    loads data when beat\n"])
@pytest.mark.parametrize(("fetch", "rows"), [
    ("fetch", {"low", "high"}), ("not fetch", {"low", "high"}), ("beat", {"high"}),
    ("not fetch and held", {"low", "high"}), ("beat and held", {"high"})])
def test_a_latch_that_may_be_open(fetch: str, rows: set[str], before: str) -> None:
    """`run` fetches as it dispatches, or it may, as far as an input says; what does not fetch leaves the latch shut."""
    machine, words = LATCHED
    for old, new in (("loads data when fetch\n", f"loads data when {fetch}\n"), ("KIND op", f"{before}latch op"),
                     ("home upc", "input held 1 bit\nhome upc"), ("spare 1 bit", "field mark 1 bit")):
        assert machine.count(old) == 1
        machine = machine.replace(old, new)
    if "not" in fetch:
        words = words.replace("row, fetch", "row").replace("        branch go\n", "        branch go, fetch\n")
    for row in ("low", "high"):
        found = moved(after((machine, words), (f"routine {row}\n        branch go",
                                              f"routine {row}\n        branch go, mark")))
        assert (row in found or "run" in found) == (row in rows), (row, found)


# ---------------------------------------------------------------- names of lines


PICKED: Texts = (LOOM[0], LOOM[1].replace("out WHAT", "picks"))


@pytest.mark.parametrize(("edit", "same"), [
    ("picks  1 bit\n", True),
    ("pecks  1 bit\n", True),                     # the line in the same place, whatever it is called
    ("pecks  1 bit, active low\n", False),        # the same bits now mean the other thing
    ("pecks  1 bit, at [0]\n", True),
])
def test_a_line_of_another_name_is_the_same_line(edit: str, same: bool) -> None:
    """A field without codes, of which the machine says nothing else: `picks` is compared by its bit of the word."""
    machine = PICKED[0].replace("    address picks\n", "    address go\n").replace("{picks, 0b01}", "{go, 0b01}")
    machine = machine.replace("yarn when picks", "yarn when go").replace("yarn when not picks", "yarn when not go")
    plain = (machine, PICKED[1])
    assert plain[0].count("picks  1 bit\n") == 1
    new = (plain[0].replace("picks  1 bit\n", edit), plain[1].replace("picks", edit.split()[0]))
    assert (moved(between(plain, new)) == {}) == same


def test_a_dispatch_beside_a_line_of_which_nothing_is_known() -> None:
    """A register that counts, one bit of which is an address line, does not hide what the instructions do."""
    texts = ("""machine jacquard
microprogram "m.micro"
store control 32 words of 4 bits
    address {step, tally[0], op}
    instruction op
    step step
field over 1 bit
field lift 1 bit
field more 1 bit
spare 1 bit
state step 2 bits, reset 0
    next 0 if over else step + 1
register op 2 bits
    loads yarn when over
register tally 2 bits
    loads yarn + 1 when more
bus yarn 2 bits, pulled low
""", 'instruction 0b0x "low"\n        lift, over\ninstruction others "rest"\n        more\n        over\n')
    assert moved(after(texts, ("lift, over", "over"))) == {"low": "changed"}
    assert moved(after(texts, ("        more\n", "        lift\n"))) == {"rest": "changed"}
