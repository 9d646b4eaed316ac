"""What is compared with what, where wrong answers were found: what registers hold, what decoders show, what is left
behind for others, and boundaries that stand at several addresses."""

import pytest

from tests.compare.judged import Texts, after, between, edited, moved, unit

# ---------------------------------------------------------------- what a register holds after its loads


LOADED: Texts = ("""machine sluice
microprogram "m.micro"
store control 16 words of 16 bits
    address upc
    unused goto start
field branch 2 bits
    step 0 idle
    jump 1
    wet  2
field target 4 bits address, idle 0
field dry   1 bit
field drown 1 bit
field open  1 bit
field shut  1 bit
spare 6 bits
register level 1 bit
    loads 0b0 when dry
    loads 0b1 when drown
    reset 1
state upc 4 bits, reset 0
    next choose branch
        step : upc + 1
        jump : target
        wet  : target if level else upc + 1
        otherwise : 0
bus gate 1 bit, floats
    driven by winch when open
    driven by brake when shut
home start
order goto <there> : branch jump, target <there>
""", """\
routine start at 0
        dry, drown
        branch wet, target other
        open
        goto start
routine other
        shut
        goto start
""")


def test_two_loads_at_once_are_not_one_load() -> None:
    """Two different loads at once leave any value (docs/language.md); gated, one is left."""
    assert moved(after(LOADED, ("loads 0b1 when drown", "loads 0b1 when dry and drown"))) == {}     # still two
    found = after(LOADED, ("loads 0b1 when drown", "loads 0b1 when drown and not dry"))
    assert moved(found) == {"reset": "changed", "start": "changed"}
    first = unit(found, "start").difference
    assert first is not None and [str(change) for change in first.changes] == ["what `level` loads"]


def test_the_order_of_loads_means_nothing() -> None:
    first, second = "    loads 0b0 when dry\n", "    loads 0b1 when drown\n"
    assert moved(after(LOADED, (first + second, second + first))) == {}


def test_what_a_word_has_loaded_is_known_in_the_next() -> None:
    """After `dry` alone the level is 0: what stands on the other branch makes no difference."""
    dry = edited(LOADED, ("dry, drown", "dry"))
    assert moved(after(dry, ("        shut\n", "        shut, open\n"))) == {}
    wet = edited(LOADED, ("dry, drown", "drown"))
    assert moved(after(wet, ("        shut\n", "        shut, open\n"))) == {"reset": "changed", "start": "changed"}


BOTH = {"reset": "changed", "start": "changed"}


@pytest.mark.parametrize(("first", "told"), [
    ("dry", {}), ("drown", BOTH), ("open", BOTH), ("dry, drown", BOTH),
    ("dry / open", {}), ("dry / open / shut", {}), ("dry / drown", BOTH), ("drown / dry", {}),
    ("drown / dry / open", {}),
    ("dry / dry, drown", BOTH),                                             # any value again
    ("dry / wait: branch rain, target start.wait", {}),                     # waiting makes nothing forgotten
    ("drown / wait: dry, branch rain, target start.wait", {}),
    ("dry / wait: drown, branch rain, target start.wait", BOTH),
    ("dry / branch rain, target start.back / open / back: shut", {}),       # two ways meet that know the same
    ("dry / branch rain, target start.back / drown / back: shut", BOTH),    # or not the same
    ("drown / branch rain, target start.back / dry / back: shut", BOTH),
    ("branch rain, target start.back / dry / back: dry", {}),
    ("branch wet, target start.back / open / back: shut", BOTH),            # asking does not change it
    ("dry / branch wet, target start.back / drown / back: shut", BOTH),
    ("drown / branch wet, target start.back / shut / back: dry", {}),
])
def test_what_is_remembered_from_word_to_word(first: str, told: dict[str, str]) -> None:
    """Whether control can come to the other routine, where a word is another one, by what `level` is known to be."""
    texts = edited(LOADED, ("        otherwise : 0\n", "        rain : target if rain else upc + 1\n"),
                   ("    wet  2\n", "    wet  2\n    rain 3\n"), ("bus gate", "input rain 1 bit\nbus gate"),
                   ("        dry, drown\n", "".join(f"        {word}\n" for word in first.split(" / "))))
    other = edited(texts, ("        shut\n        goto start\n", "        shut, open\n        goto start\n"))
    assert moved(between(texts, other)) == told


@pytest.mark.parametrize("reset", ["", "    reset 0\n", "    reset any\n"])
def test_a_reset_value_that_control_asks_about(reset: str) -> None:
    """The first word asks; only the way from reset has a value that is known."""
    asks = edited(LOADED, ("        dry, drown\n", ""))
    found = after(asks, ("    reset 1\n", reset))
    assert moved(found) == {"reset": "changed"}


# ---------------------------------------------------------------- decoders


DECODED: Texts = ("""machine mole
microprogram "m.micro"
store control 16 words of 10 bits
    address upc
field branch 1 bit
    step 0 idle
    jump 1
field target 4 bits address, idle 0
field source 2 bits
    none  0 idle
    lamp  1
    siren 2
    horn  3
spare 3 bits
store drivers 8 words of 3 bits
    address {night, source}
    word {night or source is 3, source is 2, source is 1}
input night 1 bit
state upc 4 bits, reset 0
    next choose branch
        step : upc + 1
        jump : target
bus data 2 bits, pulled high
    driven by lamp  when drivers[0]
    driven by siren when drivers[1]
    driven by horn  when drivers[2]
home fetch
""", """\
routine fetch at 0
        source lamp
        branch jump, target two
routine two
        source siren
        branch jump, target three
routine three
        source none
        branch jump, target fetch
""")


def test_a_code_that_a_decoder_reads_otherwise() -> None:
    """The field's names are the same, the PROM behind it has not changed: it drives something else now."""
    found = after(DECODED, ("lamp  1", "lamp  2"), ("siren 2\n    horn", "siren 1\n    horn"))
    assert moved(found) == {"reset": "changed", "fetch": "changed"}
    first = unit(found, "fetch").difference
    assert first is not None and {str(change) for change in first.changes} == {
        "`lamp` drives `data`: always -> never", "`siren` drives `data`: never -> always"}
    with_it = after(DECODED, ("lamp  1", "lamp  2"), ("siren 2\n    horn", "siren 1\n    horn"),
                    ("source is 2, source is 1}", "source is 1, source is 2}"))
    assert moved(with_it) == {}


def test_a_cell_of_a_decoder_matters_where_its_code_is() -> None:
    """Nobody orders code 3; code 2 is in the second word."""
    assert moved(after(DECODED, ("source is 2, source is 1}", "source is 2, source in (1, 3)}"))) == {}
    found = after(DECODED, ("source is 2, source is 1}", "source is 2, source in (1, 2)}"))
    first = unit(found, "fetch").difference
    assert first is not None and first.cycle == 3
    assert [str(change) for change in first.changes] == ["`lamp` drives `data`: never -> always"]


def test_a_decoder_may_ask_a_line_as_well() -> None:
    found = after(DECODED, ("{night or source is 3", "{night and source is 1 or source is 3"))
    assert moved(found) == {"reset": "changed", "fetch": "changed"}
    first = unit(found, "fetch").difference
    assert first is not None and first.cycle == 2                   # in the first, `source is 1` is so
    assert [str(change) for change in first.changes] == ["`horn` drives `data`: at times -> never"]


@pytest.mark.parametrize("lines", [9, 12, 15])
def test_decoders_of_any_size(lines: int) -> None:
    """Beyond the size up to which words are written out: alike is alike, unlike is told, if only with less to say."""
    wide = edited(DECODED, ("store drivers 8 words", f"store drivers {4 << lines} words"),
                  ("address {night, source}", "address {nights, source}"), ("{night or source", "{nights[0] or source"),
                  ("input night 1 bit", f"input nights {lines} bits"))
    assert moved(after(wide)) == {}
    first = unit(after(wide, ("source is 2, source is 1}", "source is 2, source in (1, 2)}")), "fetch").difference
    assert first is not None and first.cycle == (3 if lines <= 14 else 1)       # where its words are written out
    elsewhere = after(wide, ("lamp  1", "lamp  2"), ("siren 2\n    horn", "siren 1\n    horn"))
    assert moved(elsewhere) == {"reset": "changed", "fetch": "changed"}


# ---------------------------------------------------------------- what is left behind for those who come later


def left_behind(bits: int) -> Texts:
    return (f"""machine barge
microprogram "m.micro"
store control {1 << bits} words of {bits + 8} bits
    address upc
field branch 3 bits
    step 0 idle
    jump 1
    call 2
    back 3
    look 4
field target {bits} bits address, idle 0
field out 2 bits, idle 0
field load 1 bit
spare 2 bits
store entry 4 words of {bits} bits
    address ir
    word start of instruction
register ir 2 bits, loads data when load
state ret {bits} bits, reset any
    next upc + 1 if branch is call else ret
state upc {bits} bits, reset 0
    next choose branch
        step : upc + 1
        jump : target
        call : target
        back : ret
        look : entry
        otherwise : 0
bus data 2 bits, pulled high
    driven by hold when out is 1
    driven by deck when out is 2
    driven by quay when out is 3
home fetch
""", """\
routine fetch at 0
        load
        branch look
routine cast
        out 3
        branch jump, target fetch
instruction 0 "leave"
        branch call, target cast
        out 1
        branch jump, target fetch
instruction 1 "return"
        branch back
instruction others "stay"
        branch jump, target fetch
""")


@pytest.mark.parametrize("bits", [4, 7])
def test_a_return_address_that_another_instruction_uses(bits: int) -> None:
    """`leave` never comes to its second word itself; `return` does, through what `leave` has left in `ret`."""
    texts = left_behind(bits)
    assert moved(after(texts, ("        out 1\n", "        out 2\n"))) == {"leave": "changed"}
    padded = edited(texts, ("routine cast\n", "routine pad at 9\n        branch jump, target fetch\nroutine cast\n"))
    assert moved(after(texts, ("routine cast\n", "routine pad\n        out 1\n        branch jump, target fetch\n"
                                                 "routine cast\n"))) == {}
    assert moved(after(padded, ("at 9", "at 10"))) == {}
    unused = edited(texts, ("        branch back\n", "        branch jump, target fetch\n"))
    assert moved(after(unused, ("        out 1\n", "        out 2\n"))) == {}


def test_who_asks_after_a_subroutine_which_instruction_it_is() -> None:
    """Both instructions call the same, and then a table says by the opcode how it goes on: the rows are told apart
    though the subroutine itself asks nothing."""
    texts = edited(left_behind(6), ("    look 4\n", "    look 4\n    row  5\n"),
                   ("        look : entry\n", "        look : entry\n        row : table.word\n"),
                   ("register ir 2", "store table 4 words of 6 bits\n    address ir\nregister ir 2"),
                   ("        out 3\n        branch jump, target fetch\n", "        out 3\n        branch back\n"),
                   ("        branch call, target cast\n        out 1\n        branch jump, target fetch\n",
                    "        branch call, target cast\n        branch row\n"),
                   ("        branch back\ninstruction others",
                    "        branch call, target cast\n        branch row\ninstruction others"))
    texts = (texts[0], texts[1] + "routine low\n        out 1\n        branch jump, target fetch\n"
                                  "routine high\n        out 2\n        branch jump, target fetch\n"
                                  "map table\n        0: low\n        1, 2, 3: high\n")
    assert moved(after(texts)) == {}
    assert moved(after(texts, ("        out 1\n", "        out 0\n"))) == {"leave": "changed"}
    assert moved(after(texts, ("        out 2\n", "        out 0\n"))) == {"return": "changed"}
    assert moved(after(texts, ("        1, 2, 3: high\n", "        1: low\n        2, 3: high\n"))) == {
        "return": "changed"}


def test_a_place_that_is_any_at_reset() -> None:
    """Power-up may begin at every address: each word counts, also one that nothing leads to."""
    texts = edited(left_behind(6), ("state upc 6 bits, reset 0", "state upc 6 bits, reset any"))
    lonely = edited(texts, ("routine cast\n", "routine lonely at 60\n        branch jump, target fetch\n"
                                              "routine cast\n"))
    assert moved(after(lonely)) == {}
    assert moved(after(lonely, ("at 60\n        branch", "at 60\n        out 1, branch"))) == {"reset": "changed"}
    known = edited(lonely, ("state upc 6 bits, reset any", "state upc 6 bits, reset 0"))
    assert moved(after(known, ("at 60\n        branch", "at 60\n        out 1, branch"))) == {}


# ---------------------------------------------------------------- a boundary at several addresses


PAIRED: Texts = ("""machine ferry
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
field branch 2 bits
    jump 0 idle
    pair 1
    look 2
field target 4 bits address, idle 0
field row 1 bit
field bail 1 bit
store entry 2 words of 4 bits
    address ir
    word start of instruction
input wet 1 bit
state upc 4 bits, reset 0
    next choose branch
        jump : target
        pair : {target[3:1], wet}
        look : entry
        otherwise : 0
register ir 1 bit, loads data when row
bus data 1 bit, pulled high
home fetch
""", """\
routine fetch at 0
        row, branch pair, target pair(fetch, seen)
  seen: branch look
instruction 0 "cross"
        bail, branch pair, target pair(fetch, more)
  more: bail, branch jump, target fetch
instruction 1 "wait"
        branch jump, target fetch
""")


def test_a_home_word_with_copies() -> None:
    assert moved(after(PAIRED)) == {}
    assert moved(after(PAIRED, ("pair(fetch, more)", "pair(fetch, again)"), ("  more: bail", "  again: bail"))) == {}
    assert moved(after(PAIRED, ("  more: bail,", "  more:"))) == {"cross": "changed"}
    assert moved(after(PAIRED, ("  seen: branch", "  seen: bail, branch"))) == {"fetch": "changed", "reset": "changed"}
    found = after(PAIRED)
    assert [one.title for one in found.units] == ["reset", "fetch", "cross", "wait"]


def test_two_boundaries_that_changed_places_and_names() -> None:
    """Each is found by what is done from it, not by where it stands or what it is called."""
    texts = ("""machine punt
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
field go     1 bit
field up     1 bit
field down   1 bit
field target 4 bits address
spare 1 bit
state upc 4 bits, reset 1
    next target if go else upc + 1
home upc in (0, 8)
""", """\
routine left at 0
        up, go, target right
routine start at 1
        down, up, target left, go
routine right at 8
        down, go, target left
""")
    turned = (texts[0], texts[1].replace("left", "was_left").replace("right", "left").replace("was_left", "right")
              .replace("right at 0", "right at 8").replace("left at 8", "left at 0"))
    found = between(texts, turned)
    assert moved(found) == {}
    assert {(one.title, one.was) for one in found.units if one.kind == "boundary"} == {
        ("right", "left"), ("left", "right")}


def test_where_a_return_goes_is_called_the_caller() -> None:
    """Rain sends control to the caller, or else the sun does."""
    texts = edited(left_behind(6), ("    look 4\n", "    look 4\n    turn 5\n"),
                   ("bus data", "input wet 1 bit\nbus data"),
                   ("        otherwise : 0\n", "        turn : ret if wet else target\n        otherwise : 0\n"),
                   ("        branch back\n", "        branch turn, target fetch\n"))
    first = unit(after(texts, ("ret if wet else target", "target if wet else ret")), "return").difference
    assert first is not None and {first.old_end, first.new_end} == {"the caller (ret)", "the instruction boundary"}
    assert first.changes == () and first.cycle == 2


def test_a_boundary_of_one_side() -> None:
    """Without `home` the fetch is no place of its own any more."""
    texts = left_behind(6)
    homeless = edited(texts, ("home fetch\n", ""))
    for old, new, status in ((texts, homeless, "gone"), (homeless, texts, "new")):
        assert [(one.title, one.status) for one in between(old, new).units if one.kind == "boundary"] == [
            ("fetch", status)]
