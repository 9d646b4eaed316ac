"""Control that goes over from one arm into the middle of another, and what looks like it and is none.

The fault is known of machines whose flags are lines of the address: common practice, no source."""

import random
from itertools import permutations, product
from typing import Any

import pytest

from ordain.checks import torn
from ordain.control.system import build_system
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Node, Prior, postorder
from ordain.prover.decide import decide
from ordain.prover.model import Limits
from ordain.rom.contents import Contents
from tests.checks.reports import findings_named, outcomes, report
from tests.planted.plant import Sound
from tests.workshop import contents_of

MACHINE = """\
machine lathe "a lathe that is fed by hand"
microprogram "m.micro"
store control 64 words of 8 bits
    address     {carry, raw, op, step}
    instruction op
    step        step
field last  1 bit
field set   1 bit
field stay  1 bit
field fetch 1 bit
field a     1 bit
field b     1 bit
field c     1 bit
field raise 1 bit
state op 1 bit, reset 1
    next key if fetch else op
state step 3 bits, reset 0
    next 0 if last else step if stay and key else step + 1
state carry 1 bit, reset 0
    next key if set else 1 if raise else carry
state raw 1 bit, reset 0
    next RAW
input key 1 bit, wave 1 bit
home step is 0
"""
RING = MACHINE.replace("step        step", "step        step in (0b000, 0b100, 0b110, 0b111, 0b011, 0b001)").replace(
    "else step + 1", "else {not step[0], step[2:1]}")
"""The same with steps from a ring whose last flip-flop is turned on its way to the first."""
MICRO = """\
instruction 0 "rest"
        last
instruction 1 "turn"
TURN
"""


def lathe(turn: str, raw: str = "raw", micro: str = MICRO) -> Sound:
    body = "".join(f"        {line}\n" for line in turn.split("\n"))
    return Sound(MACHINE.replace("RAW", raw), micro.replace("TURN\n", body))


def arms(first: str, second: str, before: str = "", after: str = "", condition: str = "carry") -> str:
    def words(text: str, indent: str) -> list[str]:
        return [f"{indent}{word.strip()}" for word in text.split("/") if word.strip()]

    lines = [*words(before, ""), f"when {condition}", *words(first, "    ")]
    lines += (["otherwise", *words(second, "    ")] if second else []) + words(after, "")
    return "\n".join(lines)


@pytest.mark.parametrize(("turn", "outcome"), [
    # a flag that is set while its arms are under way, and not while they are
    (arms("a / a, last", "b, set / c, last"), "broken"),
    (arms("a / a, last", "b / c, set, last"), "proved"),
    (arms("a / a, last", "b, raise / c, last"), "broken"),
    (arms("a, raise / a, last", "b / c, last"), "proved"),                  # raises what is up already
    (arms("a, last", "b, set / c, last", before="c"), "proved"),            # nothing stands there: see below
    # set before the arms
    (arms("a / a, last", "b / c, last", before="set"), "proved"),
    # both arms go on alike
    (arms("a / c, last", "b, set / c, last"), None),
    (arms("a / c / c, last", "b, set / c / b, last"), "broken"),
    # both arms have been alike so far
    (arms("a, set / a, last", "a, set / b, last"), None),
    (arms("a, set / b / a, last", "a, set / c / b, last"), "proved"),
    (arms("a, set / b, set / a, last", "a, set / c / b, last"), "broken"),
    # behind the arms
    (arms("a", "b, set", after="c / a, last"), None),
    (arms("a", "b", after="c, set / a / last"), None),
    (arms("a / b", "b", after="c, set / a, last"), "broken"),               # they are not equally long
    (arms("a / b", "b", after="c / a, set, last"), "proved"),
    (arms("a / b", "", after="c, set / a, last"), "broken"),
    (arms("a / b", "", after="c, set, last"), "proved"),                    # over, before the flag shows
    (arms("c / c", "", after="c, set / c / last"), "broken"),               # it is the number that counts
])
def test_flags_that_change_in_an_instruction(turn: str, outcome: str | None) -> None:
    assert outcomes(report(lathe(turn))).get("torn control") == outcome


def test_the_finding_says_which_line_changed_and_where_control_went() -> None:
    [finding] = findings_named("torn", report(lathe(arms("a / a, last", "b, set / c, last"))))
    assert finding.message == ("control goes over from `turn otherwise` (0x08) to `turn+1 when carry` (0x29), which "
                               "does not follow it in the text")
    assert finding.label == "the next word comes out of another arm, because `carry` went from 0 to 1"
    assert finding.span is not None and finding.span.text == "b, set"
    assert [place.span.text for place in finding.places] == ["a, last"]
    assert finding.trace is not None and len(finding.trace.cycles) == 2


def test_where_nothing_stands_it_is_nowhere() -> None:
    found = report(lathe(arms("a, last", "b, set / c, last", before="c")))
    assert outcomes(found)["nowhere control"] == "broken"


@pytest.mark.parametrize(("raw", "turn", "outcome"), [
    # a line that comes straight from outside
    ("wave", arms("a / b, last", "b / c, last", condition="raw"), "broken"),
    ("wave", arms("a", "b", after="c, last", condition="raw"), None),
    ("wave if step is 0 else raw", arms("a / b, last", "b / c, last", condition="raw", before="c"), "proved"),
    ("wave if step is 0 else raw", arms("a / b, last", "b / c, last", condition="raw"), "broken"),
    # waiting for it: chosen anew at the first word of an arm, not at a later one
    ("wave", arms("stay, a", "b", after="c, last", condition="raw", before="c"), None),
    ("wave if stay or step is 0 else raw", arms("stay / a, last", "stay / b, last", condition="raw", before="c"),
     None),
    ("wave if stay or step is 0 else raw", arms("stay, a / a, last", "stay, b / b, last", condition="raw", before="c"),
     "broken"),
    ("wave if stay and key or step is 0 else raw",
     arms("stay, a / a, last", "stay, b / b, last", condition="raw", before="c"), "proved"),
    ("wave if stay and key or step is 0 else raw",
     arms("a / stay, a / a, last", "b / stay, b / b, last", condition="raw", before="c"), "broken"),
    ("wave if stay and key or step is 0 else raw",
     arms("a / stay / a, last", "b / stay / a, last", condition="raw", before="c"), None),
])
def test_lines_from_outside(raw: str, turn: str, outcome: str | None) -> None:
    assert outcomes(report(lathe(turn, raw))).get("torn control") == outcome


NESTED = """\
when carry
    when raw
        a, WORD
        a, last
    otherwise
        b, WORD
        b, last
otherwise
    c
    c, last"""


@pytest.mark.parametrize(("raw", "word", "outcome"), [
    ("raw", "set", "broken"),
    ("raw", "c", "proved"),
    ("wave if b and c else raw", "c", "broken"),
    ("wave if last else raw", "c", "proved"),
])
def test_arms_inside_arms(raw: str, word: str, outcome: str) -> None:
    found = report(lathe(f"c, raise\n{NESTED.replace('WORD', word)}", raw))
    assert outcomes(found)["torn control"] == outcome


PROLOGUE = """\
prologue
        FETCH
instruction 0 "rest"
        b / last
instruction 1 "turn"
        a / c, last
""".replace(" / ", "\n        ")


@pytest.mark.parametrize(("fetch", "raw", "outcome"), [
    ("c / fetch", "wave", None),
    (arms("a / fetch", "b / fetch", condition="raw"), "wave", None),                # equal from there on
    (arms("a / a / fetch", "b / fetch", condition="raw"), "wave", "broken"),
    (arms("a / a / fetch", "b / fetch", condition="raw"), "wave if last else raw", "proved"),
])
def test_a_prologue_with_arms(fetch: str, raw: str, outcome: str | None) -> None:
    micro = PROLOGUE.replace("FETCH", fetch.replace(" / ", "\n        ").replace("\n", "\n        "))
    assert outcomes(report(Sound(MACHINE.replace("RAW", raw), micro))).get("torn control") == outcome


def test_from_the_prologue_into_an_instruction() -> None:
    """The longer arm of the prologue lets its line fall, and leaves out the fetch: the word behind it is the
    instruction's."""
    micro = PROLOGUE.replace("FETCH", arms("b / b / fetch", "b / fetch", condition="raw").replace("\n", "\n        "))
    machine = MACHINE.replace("raw 1 bit, reset 0", "raw 1 bit, reset 1")
    for falls, told in (("b and step is 1", ["`prologue+1 when raw` (0x11) to `rest` (0x02)"]),
                        ("fetch", ["`prologue+2 when raw` (0x12) to `rest+1` (0x03)"]), ("last", [])):
        found = report(Sound(machine.replace("RAW", f"0 if {falls} else raw").replace("op 1 bit, reset 1",
                                                                                      "op 1 bit, reset 0"), micro))
        assert [finding.message.removeprefix("control goes over from ").split(",")[0]
                for finding in findings_named("torn", found)] == told


def test_a_routine_is_no_instruction() -> None:
    """Nothing is known of what may follow its words."""
    micro = MICRO.replace("TURN", "        last") + "routine by at 12\n        a\n        b\n"
    assert "torn control" not in outcomes(report(Sound(MACHINE.replace("RAW", "raw"), micro)))


def test_a_new_opcode_is_a_dispatch() -> None:
    """Both instructions begin with the same fetch, written out; and one goes on in the middle of the other."""
    fetch = 'instruction 0 "rest"\n        c\n        fetch\n        last\ninstruction 1 "turn"\n' \
            "        c\n        fetch\n        when carry\n            a\n        otherwise\n            b, set\n" \
            "        last\n"
    found = report(Sound(MACHINE.replace("RAW", "raw"), fetch))
    assert "torn" not in {finding.name for finding in found.findings}


def test_an_allowance_at_the_word_where_control_goes_on() -> None:
    sound = lathe(arms("a / a, last", "b, set / c, last"))
    for place, outcome in (("turn", "allowed"), ("rest", "broken")):
        allowed = Sound(sound.machine + f'allow torn at "{place}" "the flag is slow"\n', sound.micro)
        assert outcomes(report(allowed))["torn control"] == outcome


# ---------------------------------------------------------------- against the texts themselves

Tree = list[Any]
"""Words (texts), and arms: a line with the trees where it is 1 and where it is 0."""


def a_tree(chance: random.Random, lines: tuple[str, ...], most: int) -> Tree:
    """Below an arm for a line that line is not asked about again."""
    found: Tree = []
    for _ in range(chance.randint(1, most)):
        if lines and chance.random() < 0.4:
            line = chance.choice(lines)
            left = tuple(other for other in lines if other != line)
            found.append((line, a_tree(chance, left, 2), a_tree(chance, left, 2)))
        else:
            found.append(chance.choice(("a", "b", "c", "a, b", "a, c")))
    return found


def text_of(tree: Tree, indent: str = "") -> list[str]:
    lines = []
    for part in tree:
        if isinstance(part, str):
            lines.append(indent + part)
        else:
            line, yes, no = part
            lines += [f"{indent}when {line}", *text_of(yes, indent + "    "), f"{indent}otherwise",
                      *text_of(no, indent + "    ")]
    return lines


def paths(tree: Tree) -> set[tuple[str, ...]]:
    """Every way through the text, an arm chosen anew at each choice."""
    found: set[tuple[str, ...]] = {()}
    for part in tree:
        ways = {(part,)} if isinstance(part, str) else paths(part[1]) | paths(part[2])
        found = {path + way for path in found for way in ways}
    return found


def column(tree: Tree, carry: int, raw: int) -> tuple[str, ...]:
    words: list[str] = []
    for part in tree:
        if isinstance(part, str):
            words.append(part)
        else:
            line, yes, no = part
            words += column(yes if {"carry": carry, "raw": raw}[line] else no, carry, raw)
    return tuple(words)


ORDERS = (("carry", "raw", "op", "step"), ("step", "carry", "raw", "op"), ("carry", "step", "op", "raw"))
"""Address lines, from the highest."""


def cell_of(order: tuple[str, ...], **values: int) -> int:
    cell = 0
    for name in order:
        cell = cell << (3 if name == "step" else 1) | values[name]
    return cell


def is_told(contents: Contents, before: int, now: int) -> bool:
    leaf = contents.machine.terms.leaf("address", "control", 6)
    for asked in torn.ask(contents):
        known: dict[Node, int] = {leaf: now}
        known.update({node: evaluate(node.args[0], {leaf: before}) for node in postorder((asked.node,))
                      if isinstance(node, Prior)})
        return bool(evaluate(asked.node, known))
    return False


def test_what_is_not_told_is_a_way_through_the_text() -> None:
    """Lines that change once, anywhere: what is executed then is, word for word, what some way through the text would
    execute, or it is told. What is told is no such way, unless by the chance that words of a third arm are equal."""
    seen, by_chance = {True: 0, False: 0}, 0
    for seed in range(400):
        chance = random.Random(seed)
        tree = a_tree(chance, ("carry", "raw"), 3)
        columns = {lines: column(tree, *lines) for lines in product((0, 1), (0, 1))}
        if max(map(len, columns.values())) > 8:
            continue
        order = ORDERS[seed % len(ORDERS)]
        machine = MACHINE.replace("RAW", "raw").replace("carry, raw, op, step", ", ".join(order))
        contents = contents_of(machine, MICRO.replace("TURN\n", "\n".join(
            text_of(tree, "        ")) + "\n"))
        ways = paths(tree)
        for (before, here), (after, there) in permutations(columns.items(), 2):
            for step in range(min(len(here), len(there) - 1)):
                executed = here[:step + 1] + there[step + 1:]
                cells = [cell_of(order, carry=carry, raw=raw, op=1, step=at)
                         for (carry, raw), at in ((before, step), (after, step + 1))]
                told = is_told(contents, *cells)
                assert told or executed in ways, (seed, tree, before, after, step)
                seen[told] += 1
                by_chance += told and executed in ways
    assert min(seen.values()) > 200 and by_chance < seen[True] / 20


# ---------------------------------------------------------------- what the chips hold, and what is left open

OPEN = MACHINE.replace("64 words of 8 bits", "64 words of 9 bits").replace(
    "field last ", "field hint  1 bit, idle any\nfield last ", 1).replace("RAW", "raw")


@pytest.mark.parametrize(("executed", "not_executed", "outcome"), [
    ("c", "c", None),
    ("c, hint", "c", "proved"),          # the way back would be torn, but the flag only rises
    ("c", "c, hint", "broken"),          # 1 is asked for there, and 0 is executed
    ("c, hint", "c, hint", None),
])
def test_bits_that_what_is_not_executed_leaves_open(executed: str, not_executed: str, outcome: str | None) -> None:
    """The flag is 0 at first. Words that are not equal stand behind those in question, and in front of them."""
    before = arms(f"{not_executed}, raise / a, last", f"{executed}, raise / b, last")
    after = arms(f"a / {executed}, last", f"b, raise / {not_executed}, last")
    for turn in (before, after):
        assert outcomes(report(Sound(OPEN, lathe(turn).micro))).get("torn control") == outcome


def test_a_wrong_bit_in_a_copy_is_no_tearing() -> None:
    """Both arms begin alike, and stand in two columns each, as `raw` is 0 or 1. What may come after a word is for the
    text to say: with a wrong bit in one of the four control goes where it did before."""
    turn = lathe(arms("a, set / a, last", "a, set / b, last"))
    contents = contents_of(turn.machine, turn.micro)
    words = list(contents.words["control"])
    words[0b11_1_000] ^= 1
    off = contents._replace(words={"control": tuple(words)})
    ways = ((0b00_1_000, 0b10_1_001), (0b01_1_000, 0b11_1_001), (0b10_1_000, 0b11_1_001))
    assert [is_told(contents, *way) for way in ways] == [is_told(off, *way) for way in ways] == [False] * 3
    unlike = lathe(arms("a, set / a, last", "a, set, c / b, last"))
    assert is_told(contents_of(unlike.machine, unlike.micro), *ways[0])


def test_without_a_sequence_it_is_not_said_which_line_changed() -> None:
    [finding] = findings_named("torn", report(lathe(arms("a / a, last", "b, set / c, last")), limits=Limits(traces=0)))
    assert finding.label == "the next word comes out of another arm" and finding.trace is None


@pytest.mark.parametrize(("address", "because"), [
    ("{carry, raw, op, step}", "`carry` went from 0 to 1"),
    ("{carry, raw, op, step[2], step[1:0]}", "`carry` went from 0 to 1"),      # the step in two pieces
    ("{not carry, raw, op, step}", "an address line went from 1 to 0"),
    ("{step, raw, carry, op}", "`carry` went from 0 to 1"),                      # below the step
    ("{carry, step, raw, op}", "`carry` went from 0 to 1"),
    ("{step, carry, raw, op}", "`carry` went from 0 to 1"),                      # right below it, and above
    ("{op, carry, step, raw}", "`carry` went from 0 to 1"),
    ("{both[1], raw, op, step}", "`both[1]` went from 0 to 1"),
    ("{both, op, step}", "`both` went from 0 to 2"),
    ("{both[1:0], op, step}", "`both` went from 0 to 2"),
    ("{pair[2:1], op, step}", "`pair[2:1]` went from 0 to 2"),
    ("{raw, carry, op, step}", "`raw` went from 0 to 1 and `carry` went from 0 to 1"),
])
def test_the_lines_that_changed_are_named_as_the_address_has_them(address: str, because: str) -> None:
    """`both` and `pair` do what `carry` does."""
    both = "state both 2 bits, reset 0\n    next {raise or carry, 0b0}\n" \
           "state pair 3 bits, reset 0\n    next {raise or carry, 0b00}\n"
    turn = arms("a / a, last", "b, raise / c, last",
                condition="both[1]" if "both" in address else "pair[2]" if "pair" in address else "carry")
    text, micro = lathe(turn, "raw or raise" if address.startswith("{raw") else "raw")
    text = text.replace("{carry, raw, op, step}", address).replace("input key", both + "input key")
    [finding] = findings_named("torn", report(Sound(text, micro)))
    assert finding.label == f"the next word comes out of another arm, because {because}"


BESIDE = """\
store clockwork 2 words of 2 bits
    address hour
field tick 1 bit
spare 1 bit
state hour 1 bit, reset 0
    next not hour
store control 64"""


@pytest.mark.parametrize("traces", [1, 0])
def test_in_a_second_store_places_are_those_of_that_store(traces: int) -> None:
    sound = lathe(arms("a / a, last", "b, set / c, last"),
                  micro=f"routine hours in clockwork at 0\n        tick\n        tick 0\n{MICRO}")
    two = Sound(sound.machine.replace("store control 64", BESIDE), sound.micro)
    [finding] = findings_named("torn", report(two, limits=Limits(traces=traces)))
    coming = "`turn otherwise` (0x08)" if traces else "another arm"
    assert finding.message.startswith(f"control goes over from {coming} to `turn+1 when carry` (0x29)")
    assert finding.span is not None and finding.span.text == ("b, set" if traces else "a, last")


@pytest.mark.parametrize("machine", [MACHINE, RING])
@pytest.mark.parametrize("at", range(6))
def test_to_wait_at_any_step_tears_nothing(machine: str, at: int) -> None:
    """In the ring the fourth step has all lines up, and the next one all but the first."""
    turn = "\n".join(("stay, a" if step == at else "a") + ", last" * (step == 5) for step in range(6))
    found = report(Sound(machine.replace("RAW", "raw"), lathe(turn).micro))
    assert "torn control" not in outcomes(found) and not findings_named("torn", found)


def test_a_routine_over_two_columns_is_no_instruction_either() -> None:
    """It stands where the third opcode and the fourth would, with a word of it at every step of the one."""
    machine = MACHINE.replace("{carry, raw, op, step}", "{carry, op, step}").replace("RAW", "raw").replace(
        "state op 1 bit", "state op 2 bits").replace("next key if fetch else op", "next {0b0, key} if fetch else op")
    micro = MICRO.replace("TURN", "        last") + "routine by at 16\n" + "        a\n" * 11 + "        last\n"
    assert "torn control" not in outcomes(report(Sound(machine, micro)))


BUSY = "step if stay and raw"
"""The step waits as long as the line is up."""


@pytest.mark.parametrize("before", ["", "c"])
@pytest.mark.parametrize(("turn", "outcome"), [
    (("stay, a", "b, last"), "proved"),                 # on to the word that is below
    (("stay, a", "stay, b / c, last"), "broken"),       # `b` twice, when the line comes back
    (("stay, a / c", "b, last"), "proved"),             # chosen anew at the first word of the arm
    (("a / stay, c", "b / c, last"), "broken"),         # and not at its second one
])
def test_a_word_that_waits_for_its_line_to_fall_goes_on_to_the_next_one(turn: tuple[str, str], outcome: str,
                                                                        before: str) -> None:
    """With a word in front of the arm, and where the instruction begins with it, alike."""
    sound = lathe(arms(turn[0], "", before=before, after=turn[1], condition="raw"), "wave")
    found = report(sound._replace(machine=sound.machine.replace("step if stay and key", BUSY)))
    assert outcomes(found).get("torn control") == outcome, [finding.message for finding in found.findings]


def test_arms_that_begin_with_equal_bits_are_one_so_far() -> None:
    """`a` above `b` in the one arm, and in the other at once a word with the bits of `a`: behind both control may go
    over."""
    turn = arms("a, set / b", "", after="a, set / c, last", condition="carry")
    found = report(lathe(turn))
    assert [finding.message.split(",")[0] for finding in findings_named("torn", found)] == []


def test_where_nothing_is_known_of_the_text_the_store_is_named() -> None:
    """Of a build that is read from its files; and without a sequence no word is named either."""
    contents = contents_of(*lathe(arms("a / a, last", "b, set / c, last")))
    sites = {at: site._replace(span=None) for at, site in contents.sites["control"].items()}
    read = contents._replace(sites={"control": sites})
    [verdict] = decide(build_system(read), tuple(torn.ask(read))).verdicts
    for found in (verdict.breaks[0], None):
        finding = torn.tell(read, verdict, found)
        assert finding.span is not None and finding.span.text.startswith("store control") and finding.places == ()
        assert finding.label == "the next word comes out of another arm" + (
            ", because `carry` went from 0 to 1" if found else "")


def test_the_step_is_not_named_among_the_lines_that_changed() -> None:
    """From the fourth step to the fifth all its bits change, and it is made of two counters."""
    sound = lathe(arms("a / a / a / a / a, last", "b / b / b / b, raise / c, last"))
    pieces = sound.machine.replace("{carry, raw, op, step}", "{carry, raw, op, half, low}").replace(
        "    step        step\n", "    step        {half, low}\n").replace(
        "state step 3 bits, reset 0\n    next 0 if last else step if stay and key else step + 1\n",
        "state low 2 bits, reset 0\n    next 0 if last else low + 1\n"
        "state half 1 bit, reset 0\n    next 0 if last else not half if low is 3 else half\n").replace(
        "home step is 0", "home low is 0 and half is 0")
    [finding] = findings_named("torn", report(Sound(pieces, sound.micro)))
    assert finding.label == "the next word comes out of another arm, because `carry` went from 0 to 1"


@pytest.mark.parametrize(("word", "told"), [
    ("        stay\n", False),
    ("        when carry\n            stay\n        otherwise\n            stay, c\n", True)])
def test_the_same_word_in_another_column_follows_itself_though_others_are_missing(word: str, told: bool) -> None:
    """In a build every column has all words from its first step on; chips that were read may lack some."""
    turn = MICRO.replace("TURN", f"        a\n{word}        b\n        last")
    contents = contents_of(MACHINE.replace("RAW", "raw"), turn)
    cells = [[cell_of(ORDERS[0], op=1, carry=carry, raw=0, step=step) for step in range(3)] for carry in (0, 1)]
    lacking = {address: site for address, site in contents.sites["control"].items()
               if address not in (cells[0][0], cells[0][2])}
    contents = contents._replace(sites={**contents.sites, "control": lacking})
    assert is_told(contents, cells[0][1], cells[1][1]) == told
