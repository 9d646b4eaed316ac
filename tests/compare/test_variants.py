"""Many variants of one build compared in one go, held against a comparison of each by itself."""

from itertools import product
from pathlib import Path
from random import Random
from typing import Any

import pytest

from ordain.compare.behaviour import ComparedUnit, behaviour
from ordain.compare.graph import Bare
from ordain.compare.joint import join
from ordain.compare.places import Vector
from ordain.compare.roots import Entered
from ordain.compare.variants import Variants
from ordain.faults.listing import bit_faults
from ordain.faults.model import Fault, with_changes
from ordain.pipeline import build_model
from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import edited
from tests.compare.test_rare_sequencers import SLEDGE, sledge
from tests.compare.test_what_is_known import left_behind
from tests.meaning import till
from tests.workshop import contents_of

ROOT = Path(__file__).parent.parent.parent


@pytest.mark.parametrize(("path", "many"), [
    ("examples/stepper/carillon.machine", 24), ("examples/slices/orrery.machine", 8),
    ("examples/paired/tideclock.machine", 24), ("examples/two-masters/signalbox.machine", 24)])
def test_it_says_the_same_of_words_with_a_wrong_bit(path: str, many: int) -> None:
    built, _ = build_model(ROOT / path)
    assert built is not None
    contents = built.contents._replace(meanings={})
    variants = Variants(contents)
    every, seen = list(bit_faults(contents)), set()
    for fault in Random(3).sample(every, many):
        faulty = with_changes(contents, fault.changes)
        alone, found = behaviour(join(contents, faulty)), variants.of(fault.changes, faulty)
        statuses = [(unit.kind, unit.title, unit.status, unit.opcodes, unit.differing) for unit in alone.units
                    if unit.status != "same"]
        assert [(unit.kind, unit.title, unit.status, unit.opcodes, unit.differing) for unit in found.units] == statuses
        assert found.machine == alone.machine
        seen.add(bool(statuses))
    assert True in seen


def test_nothing_is_otherwise_where_nothing_rests_on_the_word() -> None:
    built, _ = build_model(ROOT / "examples/two-masters/signalbox.machine")
    assert built is not None
    word = built.contents.words["control"][31]
    changes = {"control": {31: word ^ 1}}
    assert Variants(built.contents).of(changes, with_changes(built.contents, changes)).units == ()


SELECTED = """\
store decoder 4 words of 2 bits
    address place[3:2]
    word    {place[3:2] is 3, place[3:2] < 2}
bus place 4 bits, pulled low
    driven by pc  when by_pc
    driven by mar when not by_pc
    sampled by memory when write or put is memory
"""
STARTING = till.MACHINE.replace("    temp    4\nfield load", "    temp    4\n    start   5\nfield load").replace(
    "    driven by temp   when put is temp\n",
    "    driven by temp   when put is temp\n    driven by start = {0b00, entry.word} when put is start\n")
PROGRAM = till.FETCH + """\
instruction 1 "load"
        fetched, load mar
        put memory, load acc, branch home
instruction 2 "where"
        fetched, load ir
        put {0}, load acc, branch home
"""


def told(units: tuple[ComparedUnit, ...]) -> list[object]:
    return [(unit.kind, unit.title, unit.status, unit.opcodes, unit.differing) for unit in units
            if unit.status != "same"]


def wrong(contents: Contents, variants: Variants, faults: list[Fault]) -> list[str]:
    """The faults of which something else is said than by a comparison alone."""
    found = []
    for fault in faults:
        faulty = with_changes(contents, fault.changes)
        alone, of = behaviour(join(contents, faulty)), variants.of(fault.changes, faulty)
        if told(of.units) != told(alone.units) or of.machine != alone.machine:
            found.append(fault.text)
    return found


def of_stores(contents: Contents) -> dict[str, list[Fault]]:
    found: dict[str, list[Fault]] = {}
    for fault in bit_faults(contents):
        found.setdefault(fault.store, []).append(fault)
    return found


def chip(store: str, words: int, bits: int) -> str:
    return f"chip U{bits} {words} x {bits}\n    holds {store}[{bits - 1}:0]\n    address address\n    erased ones\n"


def test_a_decoder_that_control_does_not_ask_and_a_store_of_starts() -> None:
    """What is selected is another in every instruction that puts an address there, and in no other; where the store
    were taken for one that control does not ask, or that says nothing else, it would be wrong."""
    contents = contents_of(till.MACHINE + SELECTED + chip("decoder", 4, 2), PROGRAM.format("temp"))
    faults = of_stores(contents)
    assert {*faults} == {"control", "entry", "decoder"} and len(faults["decoder"]) == 8
    variants, some = Variants(contents), Random(5).sample(faults["control"], 8) + faults["entry"][::7]
    assert wrong(contents, variants, faults["decoder"]) == [] == wrong(contents, variants, some)
    assert len(variants._known) < 8 + len(some)
    changed = variants.of(faults["decoder"][0].changes, with_changes(contents, faults["decoder"][0].changes))
    assert {unit.status for unit in changed.units} == {"changed"}
    careless = Variants(contents)
    careless._asked = frozenset()
    assert wrong(contents, careless, some)


def test_a_store_of_starts_that_is_read_as_data_as_well() -> None:
    contents = contents_of(STARTING, PROGRAM.format("start"))
    faults = of_stores(contents)["entry"]
    assert wrong(contents, Variants(contents), faults[::5]) == []
    careless = Variants(contents)
    careless._starts = frozenset(("entry",))
    assert wrong(contents, careless, faults[::5])


CHIME = SLEDGE.replace("NEXT", "to").replace("bell when ring", "bell when chime").replace(
    "state upc", "store chime 4 words of 1 bit\n    address {ring, hum}\nstate upc")


@pytest.mark.parametrize("order", [(1, 0, 3), (0, 1, 3)])
def test_of_a_decoder_only_the_words_that_are_shown_matter(order: tuple[int, ...]) -> None:
    """Both words show address 0 of it. Whichever is tried first, what was told of that is not told of another."""
    contents = burned(resolved(CHIME), {0: Word("start", {"to": 5}), 5: Word("far", {"to": 0})}, tables={"chime": {}})
    variants = Variants(contents)
    for address in order:
        changes = {"chime": {address: 1}}
        found = variants.of(changes, with_changes(contents, changes))
        assert [unit.title for unit in found.units] == ([] if address else ["reset", "start"])


@pytest.mark.parametrize("first", ["chime", "control"])
def test_words_of_two_stores_at_once(first: str) -> None:
    """A word of the decoder that nothing shows does not hide what another word does, whichever is said first."""
    contents = burned(resolved(CHIME), {0: Word("start", {"to": 5}), 5: Word("far", {"to": 0})}, tables={"chime": {}})
    variants, hum = Variants(contents), 1 << contents.machine.fields["hum"].low
    for address, titles in ((9, []), (5, ["reset", "start"]), (8, [])):
        changes = {"chime": {3: 1}, "control": {address: contents.words["control"][address] ^ hum}}
        changes = {store: changes[store] for store in sorted(changes, key=lambda store: store != first)}
        assert [unit.title for unit in variants.of(changes, with_changes(contents, changes)).units] == titles


SETTING = till.MACHINE.replace("20 bits", "25 bits").replace(
    "field put", "field set 1 bit\nfield code 4 bits, idle 0\nfield put").replace(
    "register ir   4 bits, loads data[3:0] when load is ir",
    "register ir 4 bits\n    loads data[3:0] when load is ir\n    loads code when set")


def test_a_start_of_an_instruction_that_a_word_names() -> None:
    """Instruction 3 goes on as instruction 1 does, wherever that begins."""
    contents = contents_of(SETTING, PROGRAM.format("temp") + """\
instruction 3 "as 1"
        set, code 1
        branch dispatch
""")
    variants, faults = Variants(contents), of_stores(contents)["entry"]
    assert wrong(contents, variants, faults[:6 * 4]) == []
    found = [variants.of({"entry": {1: start}}, with_changes(contents, {"entry": {1: start}}))
             for start in contents.words["entry"][1:3]]
    assert [{unit.title for unit in each.units} for each in found] == [set(), {"load", "as 1"}]


def test_the_old_side_is_followed_again_where_a_return_awaits_what_it_leaves() -> None:
    """No word of the sound machine returns, so it does not matter what `leave` leaves behind. One wrong bit makes a
    return of a jump: then it does, on both sides, and `return` alone is another."""
    contents = contents_of(*edited(left_behind(6), ("        branch back\n", "        branch jump, target fetch\n")))
    faults = [one for one in bit_faults(contents) if one.text.startswith("return at ") and ": branch" in one.text]
    assert len(faults) == 3 and wrong(contents, Variants(contents), faults) == []
    careless = Variants(contents)
    careless._walked = AnythingAwaited(careless._walked)
    assert wrong(contents, careless, faults)


class AnythingAwaited(dict[tuple[Vector, ...], tuple[Entered, Bare]]):
    """The first graph, whatever is awaited."""

    def get(self, key: object, default: object = None) -> Any:
        return next(iter(self.values()), default)


TREADLE = """\
machine treadle
microprogram "m.micro"
store control 16 words of 3 bits
    address {ir, step}
    instruction ir
field end  1 bit
field load 1 bit
field ring 1 bit
register ir 2 bits, loads data when load
state step 2 bits, reset 0
    next 0 if end else step + 1
bus data 2 bits, floats
    driven by memory
bus rope 1 bit, pulled low
    driven by drum when ring
home step is 0
"""


def test_one_word_makes_a_step_the_same_for_all_instructions_or_no_longer() -> None:
    """Step 0 is so, and the word of instruction 2 at step 1 alone keeps that from being: there every instruction begins
    until it does what the others do."""
    steps: tuple[dict[str, int | str], ...] = ({"load": 1}, {"ring": 1}, {"end": 1}, {"end": 1})
    placed = {at: Word(f"of {at >> 2}", {} if at == 0b1001 else steps[at & 3]) for at in range(16)}
    contents = burned(resolved(TREADLE), placed)
    variants, seen = Variants(contents), set()
    for address, bit in product(range(16), range(3)):
        changes = {"control": {address: contents.words["control"][address] ^ 1 << bit}}
        changed = with_changes(contents, changes)
        alone, found = behaviour(join(contents, changed)), variants.of(changes, changed)
        assert (told(found.units), found.machine) == (told(alone.units), alone.machine), (address, bit)
        seen.add((sum(unit.status == "gone" for unit in found.units), address))
    assert {(gone, address) for gone, address in seen if gone} == {(4, 0b1001)}


SCULL = """\
machine scull
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
field up   1 bit
field down 1 bit
field ring 1 bit
field to   4 bits address
spare 1 bit
state upc 4 bits, reset 0
    next to
bus rope 1 bit, pulled low
    driven by drum when up
    driven by cask when down
    driven by bell when ring
home upc in (0, 8)
"""


def test_boundaries_that_do_what_others_did_are_not_boundaries_that_do_what_none_did() -> None:
    """Each is found by what is done from it: where they change places it is the way to them that is another."""
    both: dict[str, int | str] = {"up": 1, "down": 1}
    contents = burned(resolved(SCULL), {
        0: Word("left", {"up": 1, "to": 1}), 1: Word("left", {**both, "to": 8}),
        8: Word("right", {"down": 1, "to": 9}), 9: Word("right", {**both, "to": 0})})
    variants, seen = Variants(contents), []
    low, to = (contents.machine.fields[name].low for name in ("ring", "to"))
    for left, right in product(range(8), range(8)):
        changes = {"control": {0: left << low | 1 << to, 8: right << low | 9 << to}}
        changed = with_changes(contents, changes)
        alone, found = behaviour(join(contents, changed)), variants.of(changes, changed)
        assert (told(found.units), found.machine) == (told(alone.units), alone.machine), (left, right)
        seen.append(told(found.units))
    assert seen.count([]) == 1 == seen.count([("reset", "reset", "changed", (), ())])


def test_every_other_word_of_a_small_machine() -> None:
    """Each field of each of three words has each value, with what was told of the ones before kept: a word that does
    what another does, what none does, or goes elsewhere."""
    contents = sledge("to", 5)
    variants, field = Variants(contents), contents.machine.fields
    seen = set()
    for address, to, ring, hum in product((0, 5, 9), (0, 5, 9), (0, 1), (0, 1)):
        word = to << field["to"].low | ring << field["ring"].low | hum << field["hum"].low
        changes = {"control": {address: word}}
        changed = with_changes(contents, changes)
        alone, found = behaviour(join(contents, changed)), variants.of(changes, changed)
        assert (told(found.units), found.machine) == (told(alone.units), alone.machine), (address, to, ring, hum)
        seen.add(bool(found.units))
    assert seen == {True, False}
