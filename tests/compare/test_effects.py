"""One effect of a cycle after another: on a machine with some of each kind, one that is described otherwise is told, by
its name, and nothing else is."""

from itertools import product

import pytest

from ordain.compare.behaviour import Behaviour
from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import compared, moved, unit
from tests.compare.test_entrances import QUAY

CELLAR = """\
machine cellar
microprogram "m.micro"
constant five = 5
store control 8 words of 12 bits
    address upc
field go     1 bit
field target 3 bits address, idle 0
field pull   1 bit
field push   1 bit
field spin   1 bit
spare 5 bits
store press 4 words of 4 bits
    address pump
    word {pump is 3, 0b0, pump}
store gauge 4 words of 2 bits
    address pump
field mark 2 bits
    low  0 idle
    full 3
input night 1 bit
state upc 3 bits, reset 0
    next target if go else upc + 1
state count 2 bits, reset 0
    next count + 1 if spin else count
register pump 2 bits, reset any
    loads rope[1:0] when pull
register vat 3 bits
    loads rope when push
    loads 0b001 when spin
latch tap 3 bits
    loads rope when spin
memory chest 4 words of 3 bits
    address pump
    writes rope when pull
    writes 0b010 when spin
bus rope 3 bits, pulled low
    driven by five when pull
    driven by cask = {0b0, pump} when push
    driven by vat when spin
    sampled by dial when pull
bus cord 1 bit, pulled low
    driven by bell when night
    sampled by ear when night
strobe tick
    rope steady 1 cycle after
signal tick = pull and not push
home upc is 0
"""


def cellar(*edits: tuple[str, str], press: tuple[int, ...] = (0, 1, 2, 11), full: int = 3) -> Contents:
    """Three words: `pull`, then `push`, then `spin` and back; the gauge, of which one word is `full`, is filled by the
    microprogram, and never executed."""
    text = CELLAR
    for old, new in edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return burned(resolved(text), {0: Word("fetch", {"pull": 1}), 1: Word("second", {"push": 1}),
                                   2: Word("third", {"spin": 1, "go": 1, "target": 0})},
                  tables={"press": dict(enumerate(press)), "gauge": {full: 3}})


def told(found: Behaviour) -> tuple[int, list[str]]:
    """The first cycle that differs, counted from the fetch, and in what."""
    first = unit(found, "fetch").difference
    return (0, []) if first is None else (first.cycle, [str(change) for change in first.changes])


@pytest.mark.parametrize(("old", "new", "cycle", "change"), [
    # who drives, and how often
    ("by five when pull", "by five when pull and night", 1, "`five` drives `rope`: always -> at times"),
    ("by vat when spin", "by vat when pull or spin", 1, "`vat` drives `rope`: never -> always"),
    ("by vat when spin", "by vat when spin and push", 3, "`vat` drives `rope`: always -> never"),
    # what it puts there, while it drives
    ("five = 5", "five = 4", 1, "what `five` puts on `rope`"),
    ("{0b0, pump} when", "{0b1, pump} when", 2, "what `cask` puts on `rope`"),
    # who takes
    ("by dial when pull", "by dial when pull and not push", 0, ""),
    ("by dial when pull", "by dial when push", 1, "`dial` takes `rope`: always -> never"),
    ("by dial when pull", "by dial when pull and night", 1, "`dial` takes `rope`: always -> at times"),
    # memories: whether, what, and where
    ("rope when pull\n    writes", "rope when pull and night\n    writes", 1,
     "memory `chest` is written: always -> at times"),
    ("writes rope when", "writes 0b011 when", 1, "what is written to `chest`, and where"),
    ("writes 0b010 when", "writes 0b011 when", 3, "what is written to `chest`, and where"),
    ("3 bits\n    address pump\n    writes", "3 bits\n    address count\n    writes", 1,
     "what is written to `chest`, and where"),
    ("writes 0b010 when spin", "writes 0b010 when spin and push", 3, "memory `chest` is written: always -> never"),
    # strobes, registers, latches, states
    ("tick = pull and not push", "tick = pull", 0, ""),
    ("tick = pull and not push", "tick = push", 1, "strobe `tick`: always -> never"),
    ("loads rope when push", "loads rope when pull", 1, "what `vat` loads"),
    ("loads 0b001 when", "loads 0b011 when", 3, "what `vat` loads"),
    ("loads rope when spin", "loads rope when spin and night", 3, "what `tap` loads"),
    ("loads rope[1:0] when", "loads rope[2:1] when", 1, "what `pump` loads"),
    ("count + 1 if spin", "count + 2 if spin", 3, "how `count` steps"),
    ("count + 1 if spin", "count + 1 if pull", 1, "how `count` steps"),
])
def test_one_effect_that_is_another(old: str, new: str, cycle: int, change: str) -> None:
    now = cellar((old, new))
    for one, other in ((cellar(), now), (now, cellar())):
        found = compared(one, other)
        assert (moved(found) == {}) == (cycle == 0) and found.machine == ()
        at, changes = told(found)
        assert at == cycle
        if cycle and one is not now:
            assert change in changes and {text.split("`")[1] for text in changes} == {change.split("`")[1]}


def test_what_happens_at_other_times_is_said_so() -> None:
    """By night before, by day now: both are at times."""
    found = compared(cellar(("by dial when pull", "by dial when pull and night")),
                     cellar(("by dial when pull", "by dial when pull and not night")))
    assert told(found) == (1, ["`dial` takes `rope`: at times -> at other times"])


def test_lines_that_are_shown_and_of_which_the_machine_says_nothing() -> None:
    """Of a computed store, of one that the microprogram fills: they lead somewhere all the same."""
    shows = cellar(("{pump is 3, 0b0, pump}", "{pump is 2, 0b0, pump}"), press=(0, 1, 10, 3))
    for now, change in ((shows, "what `press` shows"), (cellar(full=2), "what `mark` says")):
        assert told(compared(cellar(), now)) == (1, [change]) == told(compared(now, cellar()))
    assert moved(compared(shows, shows)) == {}


@pytest.mark.parametrize(("name", "lines", "cell", "changes"), [
    ("bolt", "{pump is 3, 0b0, pump}", 3, []), ("rod", "{pump is 3, 0b0, pump}", 3, []),
    ("bolt", "{pump is 2, 0b0, pump}", 2, ["what `press` shows"]),
    ("rod", "{pump is 2, 0b0, pump}", 2, ["what `press` shows"])])
def test_fields_of_a_store_that_is_computed_are_lines_that_it_shows(name: str, lines: str, cell: int,
                                                                    changes: list[str]) -> None:
    """Nothing reads them; it is told once, whatever they are called."""
    def having(name: str, lines: str, cell: int) -> Contents:
        return cellar(("    word {pump is 3, 0b0, pump}\n",
                       f"    word {lines}\nfield {name} 1 bit\nfield pin 3 bits\n"),
                      press=tuple(at | (at == cell) << 3 for at in range(4)))

    old, new = having("bolt", "{pump is 3, 0b0, pump}", 3), having(name, lines, cell)
    for one, other in ((old, new), (new, old)):
        found = compared(one, other)
        assert told(found) == ((1, changes) if changes else (0, [])) and found.machine == ()


@pytest.mark.parametrize(("edits", "machine"), [
    ((("by bell when night", "by bell when not night"),),
     "`bell` drives `cord` has changed, whatever word is executed"),
    ((("by ear when night", "by ear when not night"),), "`ear` takes `cord` has changed, whatever word is executed"),
    ((("by bell when night", "by bell when (night or fog) and (night or not fog)"),), ""),
    ((("by bell when night", "by bell when night or fog"),),
     "`bell` drives `cord` has changed, whatever word is executed"),
])
def test_what_no_word_can_change_is_told_once(edits: tuple[tuple[str, str], ...], machine: str) -> None:
    """And is no matter of any instruction."""
    fog = ("input night 1 bit", "input night 1 bit, fog 1 bit")
    for old, new in ((cellar(fog), cellar(fog, *edits)), (cellar(fog, *edits), cellar(fog))):
        found = compared(old, new)
        assert moved(found) == {} and found.machine == ((machine,) if machine else ())


@pytest.mark.parametrize(("when", "changed"), [("pull", True), ("night", True), ("extra", True), ("not extra", True),
                                               ("extra or push", False), ("extra or pull", True)])
def test_what_only_one_machine_has(when: str, changed: bool) -> None:
    """The other is taken to do what a word does that orders nothing of what it has not got itself; that only one side
    has it is told once. The second word, which pushes, then orders `extra`: a field of which the machine says nothing
    counts by itself."""
    added = (("spare 5 bits", "field extra 1 bit, idle 0\nspare 4 bits"),
             ("    sampled by dial when pull\n", f"    sampled by dial when pull\n    sampled by clerk when {when}\n"))
    more = cellar(*added)
    lit = more._replace(words={**more.words, "control": (
        more.words["control"][0], more.words["control"][1] | 1 << 4, *more.words["control"][2:])})
    for now, told_of in ((more, set[str]()), (lit, {"reset", "fetch"} if changed else set())):
        for side, found in (("new", compared(cellar(), now)), ("old", compared(now, cellar()))):
            assert set(moved(found)) == told_of
            assert found.machine == (f"`clerk` takes `rope`: only in the {side} machine; elsewhere words that order "
                                     "nothing about it are taken to leave it alone",)


@pytest.mark.parametrize("lines", [*product(("pull", "push"), repeat=3)])
def test_which_line_belongs_to_which_effect(lines: tuple[str, str, str]) -> None:
    """What is asked together is worked out together, and that may be other effects on either side: `ear` asks as before
    in other words, and `dial` and `clerk` may have changed their lines."""
    def asking(ear: str, dial: str, clerk: str, often: str) -> Contents:
        return cellar(("input night 1 bit", "input night 1 bit, fog 1 bit"),
                      ("by ear when night", f"by ear when {ear} and ({often})"),
                      ("by dial when pull\n", f"by dial when {dial}\n    sampled by clerk when {clerk}\n"))

    old = asking("pull", "pull", "push", "night or fog")
    for new in (asking(*lines, "night or fog"), asking(*lines, "fog or night")):
        for one, other in ((old, new), (new, old)):
            assert (moved(compared(one, other)) == {}) == (lines == ("pull", "pull", "push"))


def test_two_writes_of_one_thing_at_once_write_it() -> None:
    """Two different ones leave anything (docs/language.md)."""
    writes = "    writes rope when pull\n    writes 0b010 when spin\n"
    once = cellar((writes, "    writes rope when pull or push\n"))
    for second, same in (("rope", True), ("0b010", False)):
        twice = cellar((writes, f"    writes rope when pull\n    writes {second} when pull or push\n"))
        assert told(compared(once, twice)) == ((0, []) if same else (1, ["what is written to `chest`, and where"]))


@pytest.mark.parametrize(("reader", "cycle"), [
    (("    driven by vat when spin\n", "    driven by vat when spin\n    driven by chest when push\n"), 2),
    (("    driven by vat when spin\n", "    driven by vat when spin\n    driven by chest when night\n"), 2),
    (("    driven by vat when spin\n", "    driven by vat when spin\n    driven by chest when spin\n"), 0),
    (("by bell when night", "by bell when chest is 3"), 2), (("count + 1 if spin", "count + 1 if chest is 3"), 2),
    (("input night 1 bit", "input night 1 bit\ncondition full 1 bit = chest is 3"), 2),
    (("input night 1 bit", "input night 1 bit\nmemory sack 8 words of 1 bit\n    address chest"), 2),
    (("input night 1 bit", "input night 1 bit, fog 1 bit"), 0)])
def test_where_a_memory_is_read(reader: tuple[str, str], cycle: int) -> None:
    """In the second word it is read at the count, and was at the pump; it is written in the first and third. It counts
    where a bus or a term shows what stands there."""
    place = "    address pump\n    writes"
    elsewhere = (f"3 bits\n{place}", "3 bits\n" + place.replace("pump", "pump if pull or spin else count"))
    for old, new in ((cellar(reader), cellar(reader, elsewhere)), (cellar(reader, elsewhere), cellar(reader))):
        assert told(compared(old, new)) == (cycle, ["where `chest` is read"] if cycle else [])


def test_a_line_without_an_idle_code_stays_open() -> None:
    """Nobody knows of it what a word does that orders nothing, so nobody says that the old words did that."""
    added = (("spare 5 bits", "field extra 1 bit IDLE\nspare 4 bits"),
             ("    sampled by dial when pull\n", "    sampled by dial when pull\n    sampled by clerk when extra\n"))
    for idle, told_of in ((", idle 0", set[str]()), (", idle any", {"reset", "fetch"})):
        more = cellar((added[0][0], added[0][1].replace(" IDLE", idle)), added[1])
        assert set(moved(compared(cellar(), more))) == told_of == set(moved(compared(more, cellar())))


def test_a_register_that_becomes_a_latch_is_another_thing() -> None:
    """It shows in the same cycle what it loads; nothing that a word orders has changed."""
    latched, clocked = cellar(), cellar(("latch tap", "register tap"))
    for old, new, sides in ((latched, clocked, ("old", "new")), (clocked, latched, ("new", "old"))):
        found = compared(old, new)
        assert moved(found) == {} and [text.split(";")[0] for text in found.machine] == [
            f"what `tap` loads: only in the {side} machine" for side in sides]


def test_a_decoder_field_with_another_name_and_other_numbers() -> None:
    """`mark` is `sign`, and its codes have changed their numbers: what it says is the same, or it is not."""
    named = (("field mark 2 bits\n    low  0 idle\n    full 3", "field sign 2 bits\n    low  3\n    full 0 idle"),)
    now = cellar(*named)
    for gauge, told_of in (((3, 3, 3, 0), []), ((3, 3, 0, 3), ["what `sign` says"])):
        other = now._replace(words={**now.words, "gauge": gauge})
        assert told(compared(cellar(), other)) == ((1, told_of) if told_of else (0, []))


def test_a_line_that_one_machine_reads_is_still_shown() -> None:
    """The press has four lines. One of the machines says what the highest does; of the others both say nothing."""
    read = (("bus cord 1 bit", "bus twine 1 bit, pulled low\n    driven by bobbin when press[3]\nbus cord 1 bit"),)
    assert moved(compared(cellar(), cellar(*read))) == {}
    for lines, cell in (("{pump is 2, 0b0, pump}", (0, 1, 10, 3)), ("{pump is 3, pump[1], pump}", (0, 1, 6, 15))):
        new = cellar(*read, ("{pump is 3, 0b0, pump}", lines), press=cell)
        for one, other in ((cellar(), new), (new, cellar())):
            assert set(moved(compared(one, other))) == {"reset", "fetch"}


def test_a_strobe_that_follows_a_cycle_later() -> None:
    """What a strobe looks back on is a value of its own, whatever else is known."""
    def told_after(old: str, new: str) -> dict[str, str]:
        def late(term: str) -> Contents:
            text = QUAY.replace("ASK", "0").replace("bus rope", f"strobe chime\nsignal chime = {term}\nbus rope")
            return burned(resolved(text), {40: Word("start", {"flow": "jump", "target": 0, "up": 1})})
        found = compared(late(old), late(new))
        return {**moved(found), **dict.fromkeys(found.machine, "machine")}

    assert told_after("prior(up)", "prior(up)") == {} == told_after("prior(up) and not dial[0]",
                                                                   "not (dial[0] or not prior(up))")
    for other in ("prior(down)", "up", "prior(up) or dial[1]"):
        assert told_after("prior(up)", other) != {}


def test_a_decoder_field_that_only_one_machine_has_says_no_more_than_what_it_does() -> None:
    """A code for a lamp, or a line for it; in which cells of the decoder it is on, counts."""
    old = cellar(("    driven by bell when night", "    driven by bell when mark is full"))
    new = cellar(("field mark 2 bits\n    low  0 idle\n    full 3", "field lamp 1 bit\nspare 1 bit"),
                 ("    driven by bell when night", "    driven by bell when lamp"))
    for gauge, same in (((0, 2, 0, 2), True), ((1, 3, 0, 2), True), ((0, 2, 2, 0), False)):
        lit = old._replace(words={**old.words, "gauge": (0, 3, 0, 3)})
        other = new._replace(words={**new.words, "gauge": gauge})
        for one, two in ((lit, other), (other, lit)):
            found = compared(one, two)
            assert (moved(found) == {} and not found.machine) == same


@pytest.mark.parametrize(("line", "now", "number", "same"), [
    ("mark[0]", "mark[0]", 1, True), ("mark[0]", "mark[0]", 2, False), ("mark[1]", "mark[1]", 1, False),
    ("mark[1]", "mark[1]", 2, True), ("mark[0]", "mark[1]", 1, False), ("mark[0]", "mark[1]", 2, True),
    ("mark[0] and night", "night and mark[0]", 1, True), ("mark[0] and night", "mark[0] and night", 2, False)])
def test_a_condition_that_is_a_line_of_a_decoder_whose_codes_have_other_names_and_numbers(
        line: str, now: str, number: int, same: bool) -> None:
    """What rings is the same: the code that rang was 3, and is another number; and so may be the line that is asked."""
    def asking(line: str, *more: tuple[str, str]) -> Contents:
        return cellar(("go else upc + 1", "go else upc + 1 if whole else 0"), (
            "input night 1 bit", f"input night 1 bit\ncondition damp 1 bit\ncondition whole 1 bit = {line}"), *more)

    old = asking(line, ("by bell when night", "by bell when mark is full"))
    new = asking(now, ("by bell when night", "by bell when mark is brim"), ("full 3", f"brim {number}"))
    new = new._replace(words={**new.words, "gauge": (0, 0, 0, number)})
    for one, other in ((old, new), (new, old)):
        at, changes = told(compared(one, other))
        assert (at == 0) == same and changes == ([] if same else ["what condition `whole` is"])


@pytest.mark.parametrize(("was", "now", "told_of"), [
    ("", " = mark[0]", True), ("", " = night", True), (" = night", " = not night", True),
    (" = night", " = night", False), (" = mark[0]", " = not not mark[0]", False), ("", "", False)])
def test_a_condition_that_means_something_else_is_told_once(was: str, now: str, told_of: bool) -> None:
    """Said of nothing, of a line from outside, of a decoder. What only one side has is nothing to tell."""
    def having(means: str) -> Contents:
        return cellar(("input night 1 bit", f"input night 1 bit\ncondition whole 1 bit{means}"))

    for old, new in ((was, now), (now, was)):
        assert compared(having(old), having(new)).machine == (
            ("condition `whole` means something else; it is taken for the same line",) if told_of else ())
        assert compared(having(old), cellar()).machine == () == compared(cellar(), having(old)).machine


CHART = "store chart 4 words of 2 bits\n    address pump\n"


@pytest.mark.parametrize(("means", "pairs"), [
    # a line of a store that a `map` fills, that of the words that are executed, a place, and what is said outside
    ("chart[0]", {(0, 0, 0, 2): True, (0, 0, 0, 1): False}), ("chart[1]", {(0, 0, 0, 2): False, (0, 0, 0, 1): True}),
    ("chart[1] or night", {(0, 0, 0, 2): False}), ("chart[1] and pull", {(0, 0, 0, 2): False}),
    ("night", {(0, 0, 0, 3): True}), ("pull", {(0, 0, 0, 3): True})])
def test_a_condition_that_a_store_says_that_nothing_else_reads(means: str, pairs: dict[tuple[int, ...], bool]) -> None:
    def filled(cells: tuple[int, ...]) -> Contents:
        made = cellar(("input night 1 bit", f"input night 1 bit\ncondition whole 1 bit = {means}"),
                      ("store gauge", CHART + "store gauge"))
        return made._replace(words={**made.words, "chart": cells})

    for cells, same in pairs.items():
        for one, other in ((filled((0, 0, 0, 0)), filled(cells)), (filled(cells), filled((0, 0, 0, 0)))):
            assert told(compared(one, other)) == ((0, []) if same else (1, ["what condition `whole` is"]))


@pytest.mark.parametrize(("means", "same"), [("upc is 0", True), ("upc is 1", False), ("upc is 1 and night", False),
                                             ("upc is 3 or night", False), ("upc is 2", True), ("night", True)])
def test_a_condition_that_asks_where_control_is(means: str, same: bool) -> None:
    """The second of three words stood at 1, and stands at 3."""
    text = CELLAR.replace("input night 1 bit", f"input night 1 bit\ncondition whole 1 bit = {means}")

    def placed(second: int) -> Contents:
        return burned(resolved(text), {0: Word("fetch", {"pull": 1, "go": 1, "target": second}),
                                       second: Word("second", {"push": 1, "go": 1, "target": 2}),
                                       2: Word("third", {"spin": 1, "go": 1, "target": 0})},
                      tables={"press": dict(enumerate((0, 1, 2, 11)))})

    assert moved(compared(placed(1), placed(1))) == {} == moved(compared(placed(3), placed(3)))
    for one, other in ((placed(1), placed(3)), (placed(3), placed(1))):
        assert told(compared(one, other)) == ((0, []) if same else (2, ["what condition `whole` is"]))
