"""Two builds side by side: where a return goes that nobody here called, a place that cannot be told, and what one build
beside itself is."""

from itertools import product

import pytest

from ordain.compare.behaviour import Behaviour, behaviour
from ordain.compare.joint import common_of, join, joined
from ordain.compare.variants import Variants
from ordain.faults.listing import bit_faults
from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import between, compared, edited, moved
from tests.compare.test_sequencers import LINKED, POINTS
from tests.compare.test_variants import wrong
from tests.workshop import contents_of

GIG = """\
machine gig
microprogram "m.micro"
store control 32 words of 12 bits
    address upc
field flow 3 bits
    jump  0
    near  1
    far   2
    left  3
    right 4
field target 5 bits address
field up   1 bit
field down 1 bit
spare 2 bits
state upc 5 bits, reset 0
    next choose flow
        jump : target
        near : target
        far  : target
        left : port
        right: star
        otherwise: 0
state port 5 bits, reset 1
    next upc + 1 if flow is near else port
state star 5 bits, reset 2
    next upc + 1 if flow is far else star
bus rope 5 bits, pulled low
    driven by drum when up
    driven by cask when down
home upc is 0
"""
SHOWN = edited((GIG, ""), ("driven by drum when up", "driven by port when up"))[0]


def gig(text: str = GIG, spare: int = 0, **home: int | str) -> Contents:
    """The boundary, to which control comes back with any return address; `spare` is in a word that nothing leads to."""
    return burned(resolved(text), {0: Word("home", home), 1: Word("one", {"up": 1}), 2: Word("two", {"down": 1}),
                                   9: Word("spare", {"up": spare})})


def test_by_which_address_control_returns() -> None:
    """From reset to words that differ; from the boundary to callers of which nothing is known."""
    for here, there in product(("left", "right"), repeat=2):
        found = moved(compared(gig(flow=here), gig(flow=there)))
        assert found == ({} if here == there else {"reset": "changed", "home": "changed"})


def test_the_same_word_may_return_by_another_address() -> None:
    """What says which it is has changed in the machine, and no word."""
    crossed = edited((GIG, ""), ("left : port\n        right: star", "left : star\n        right: port"))[0]
    for flow in ("left", "right"):
        assert moved(compared(gig(flow=flow), gig(crossed, flow=flow))) == {"reset": "changed", "home": "changed"}


def test_a_return_address_that_is_not_known_is_shown_on_a_bus() -> None:
    """Whoever set it may stand elsewhere in another build; in one and the same it is what it is."""
    home: dict[str, int | str] = {"flow": "jump", "target": 0, "up": 1}
    assert moved(compared(gig(SHOWN, **home), gig(SHOWN, **home))) == {}
    assert moved(compared(gig(SHOWN, **home), gig(SHOWN, 1, **home))) == {"home": "changed"}
    assert moved(compared(gig(GIG, **home), gig(GIG, 1, **home))) == {}


HELD_IN_A_REGISTER = edited((SHOWN, ""), (
    "state port 5 bits, reset 1\n    next upc + 1 if flow is near else port",
    "register port 5 bits, reset 1\n    loads upc + 1 when flow is near"))[0]


@pytest.mark.parametrize(("text", "flow", "told"), [
    (SHOWN, "jump", {"reset": "changed", "home": "changed"}), (GIG, "jump", {}), (GIG, "left", {"reset": "changed"}),
    (HELD_IN_A_REGISTER, "jump", {"reset": "changed", "home": "changed"})])
def test_a_return_address_that_nobody_has_set_is_the_one_of_reset(text: str, flow: str, told: dict[str, str]) -> None:
    """All else is the same: a bus shows it, or a return goes there."""
    home: dict[str, int | str] = {"flow": flow, "target": 0, "up": 1}
    other = text.replace("port 5 bits, reset 1", "port 5 bits, reset 9")
    for old, new in ((text, other), (other, text)):
        assert moved(compared(gig(old, **home), gig(new, **home))) == told
        assert moved(compared(gig(new, **home), gig(new, **home))) == {}


def test_a_return_address_is_not_what_a_plain_register_of_its_name_holds() -> None:
    """Nobody returns by `port` in the other machine: there it is a number that is counted on."""
    plain = edited((SHOWN, ""), ("left : port", "left : star"))[0]
    home: dict[str, int | str] = {"flow": "jump", "target": 0, "up": 1}
    for old, new in ((SHOWN, plain), (plain, SHOWN)):
        assert moved(compared(gig(old, **home), gig(new, **home)))["home"] == "changed"
        assert moved(compared(gig(new, **home), gig(new, 1, **home))) == ({} if new == plain else {"home": "changed"})


def test_what_is_left_for_a_return_that_one_machine_alone_has() -> None:
    """`lift` returns by `star`; in the other machine, which has no such register, it goes on at the boundary. Who comes
    to the boundary leaves something in it for `lift`, or has nowhere to leave it."""
    less = edited((GIG, ""), ("state star 5 bits, reset 2\n    next upc + 1 if flow is far else star\n", ""),
                  ("        right: star\n", ""))[0]

    def lifting(text: str, flow: str) -> Contents:
        return burned(resolved(text.replace("home upc is 0", "home upc in (0, 4)")), {
            0: Word("home", {"flow": "jump", "target": 4}), 4: Word("lift", {"flow": flow, "target": 0})})

    both = lifting(GIG, "right"), lifting(less, "jump")
    for old, new in (both, both[::-1]):
        assert moved(compared(old, new)) == {"reset": "changed", "home": "changed", "lift": "changed"}
    assert moved(compared(lifting(GIG, "jump"), lifting(less, "jump"))) == {}


@pytest.mark.parametrize("turned", [False, True])
def test_whose_return_went_is_told_and_not_who_left_it_something(turned: bool) -> None:
    """`lift` alone returns by what the fetch has set; in the other build nobody does."""
    texts = (LINKED[0], LINKED[1].replace("        down, branch back\n", "        down, branch jump, target wait\n"))
    other = edited((texts[0], texts[1]), ("up, branch back", "up, branch jump, target wait"))
    old, new = (texts, other)[::-1] if turned else (texts, other)
    assert moved(between((old[0], old[1]), (new[0], new[1]))) == {"lift": "changed"}


# ---------------------------------------------------------------- a place that cannot be told

DRIFT = """\
machine drift
microprogram "m.micro"
store control 32 words of 4 bits
    address upc
field go   1 bit
field up   1 bit
field down 1 bit
spare 1 bit
input dial 5 bits
state upc 5 bits, reset 0
    next dial if go else 0
home upc is 0
"""


def drift(text: str = DRIFT, spare: int = 0, **home: int) -> Contents:
    return burned(resolved(text), {0: Word("home", home), 9: Word("spare", {"up": spare})})


@pytest.fixture
def few_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """The dial says where control goes: too many words to look at each, as if there were thousands."""
    monkeypatch.setattr("ordain.compare.places.MOST_WORDS", 16)


@pytest.mark.usefixtures("few_words")
def test_a_place_that_cannot_be_told_is_the_same_in_one_build_alone() -> None:
    one = drift(go=1)
    assert moved(compared(one, one)) == {}
    assert moved(compared(one, drift(spare=1, go=1))) == {"reset": "changed"}
    assert moved(compared(drift(), drift(spare=1))) == {}


@pytest.mark.usefixtures("few_words")
@pytest.mark.parametrize("edit", [
    ("dial if go else 0", "dial if go else 1"),                     # the way on
    ("home upc is 0", "home upc is 0 or upc is 1"),                 # the boundary
    ("field down 1 bit\n", "field down 1 bit, active low\n"),       # what the words say
    ("input dial", "state wheel 1 bit, reset 0\n    next up\ninput dial"),
    ("input dial", "bus rope 1 bit, floats\n    driven by drum when up\ninput dial"),
])
def test_one_machine_with_the_same_words_is_another_where_it_is_another(edit: tuple[str, str]) -> None:
    other = edited((DRIFT, ""), edit)[0]
    words = drift(go=1).words
    one, two = (contents._replace(words=words) for contents in (drift(go=1), drift(other, go=1)))
    assert moved(compared(one, two)) != {} != moved(compared(two, one))
    assert moved(compared(two, two)) == {}


LOTS = edited((DRIFT, ""), ("dial if go else 0", "{entry[0], dial} if go else 0"), ("input dial", """\
store entry 2 words of 4 bits
    address op
register op 1 bit, loads rope when upc is 0
bus rope 1 bit, floats
    driven by memory
input dial"""))[0].replace("control 32", "control 64").replace("upc 5 bits", "upc 6 bits")


def lots(spare: int = 0, **lift: int) -> Contents:
    return burned(resolved(LOTS), {0: Word("home", {"go": 1}), 9: Word("spare", {"up": spare}),
                                   **{at: Word("lift", lift) for at in range(32, 64)}}, tables={"entry": {0: 1, 1: 1}})


def test_a_dispatch_of_which_it_is_not_known_where_it_leads_is_another() -> None:
    """The dial is a part of the start: what stands at all these places is held against nothing, so who leads there is
    told."""
    assert moved(compared(lots(up=1), lots(up=1))) == {}
    for other in (lots(down=1), lots(1, up=1)):
        assert moved(compared(lots(up=1), other)) == {"reset": "changed"}


# ---------------------------------------------------------------- stores with too many lines to be written out


DECODER = edited((DRIFT, ""), ("input dial", """\
store decoder 4 words of 1 bit
    address {breeze, wind}
input breeze 1 bit, wind 1 bit
bus rope 1 bit, floats
    driven by drum when decoder
input dial"""))[0]


@pytest.mark.parametrize(("words", "same"), [((0, 1, 0, 1), True), ((0, 1, 1, 1), False)])
def test_a_decoder_that_is_too_wide_to_be_written_out(words: tuple[int, ...], same: bool,
                                                      monkeypatch: pytest.MonkeyPatch) -> None:
    """As if it had dozens of lines: one that reads alike is the same, of another that is not said."""
    monkeypatch.setattr("ordain.compare.shown.WIDEST_TABLE", 1)
    monkeypatch.setattr("ordain.compare.shown.WRITTEN_OUT", 1)
    old, new = (burned(resolved(DECODER), {0: Word("home", {})}, tables={"decoder": dict(enumerate(rows))})
                for rows in ((0, 1, 0, 1), words))
    assert moved(compared(old, new)) == ({} if same else {"reset": "changed", "home": "changed"})


def test_a_decoder_that_is_too_wide_is_another_where_its_words_are_read_otherwise(
        monkeypatch: pytest.MonkeyPatch) -> None:
    """The chips hold the same; a line of one of them is turned."""
    monkeypatch.setattr("ordain.compare.shown.WIDEST_TABLE", 1)
    monkeypatch.setattr("ordain.compare.shown.WRITTEN_OUT", 1)
    text = edited((DECODER, ""), ("driven by drum when decoder", "driven by drum when lit"),
                  ("address {breeze, wind}\n", "address {breeze, wind}\nfield lit 1 bit\n"))[0]
    rows = {"decoder": {0: 1, 1: 0, 2: 1, 3: 0}}
    plain, turned = (burned(resolved(each), {0: Word("home", {})}, tables=rows) for each in (
        text, edited((text, ""), ("lit 1 bit", "lit 1 bit, active low"))[0]))
    assert moved(compared(plain, plain)) == {} == moved(compared(turned, turned))
    for old, new in ((plain, turned), (turned, plain)):
        assert moved(compared(old, new)) == {"reset": "changed", "home": "changed"}


# ---------------------------------------------------------------- one build beside itself


@pytest.mark.usefixtures("few_words")
def test_a_build_beside_itself_counts_as_two_where_that_is_asked_for() -> None:
    """What is not known is then unlike on both sides, as if some other word of one of them were another."""
    def told(contents: Contents, apart: bool) -> dict[str, str]:
        found: Behaviour = behaviour(joined(common_of(contents, contents, apart=apart)))
        return moved(found)

    one = drift(go=1)
    assert told(one, False) == {} == moved(behaviour(join(one, one)))
    assert told(one, True) == moved(compared(one, drift(spare=1, go=1))) != {}


@pytest.mark.parametrize("late", [False, True])
def test_variants_of_a_build_in_which_an_opcode_is_loaded_while_it_is_asked_about(late: bool) -> None:
    """What is asked about once more is not known, and is unlike in a build and its variant."""
    machine = POINTS[0].replace("ADDRESS", "now" if late else "upc").replace("RESET", "1" if late else "0")
    contents = contents_of(machine, POINTS[1].replace("FIRST", "load").replace("SECOND", "load"))
    faults = list(bit_faults(contents))
    assert wrong(contents, Variants(contents), [one for one in faults if one.store != "control"]) == []
    assert wrong(contents, Variants(contents), [one for one in faults if one.store == "control"][::9]) == []


# ---------------------------------------------------------------- a field that has a code more

CODED = """\
machine coded
microprogram "m.micro"
store control 4 words of 4 bits
    address upc
field sound 2 bits
    none 0 idle
    bell 1
    drum 2
field to 2 bits address, idle 0
state upc 2 bits, reset 0
    next to
bus rope 1 bit, pulled low
    driven by bell when sound is bell
    driven by drum when sound is drum
home upc is 0
"""


@pytest.mark.parametrize("second", ["bell", "drum", "none"])
def test_what_a_field_with_a_code_more_brings_about_is_looked_at(second: str) -> None:
    """By its codes it is no longer compared: so what it does is, though that is said in the same words."""
    old, new = (burned(resolved(text), {0: Word("home", {"to": 1}), 1: Word("one", {"sound": sound})})
                for text, sound in (
                    (CODED, "bell"), (edited((CODED, ""), ("    drum 2\n", "    drum 2\n    gong 3\n"))[0], second)))
    for found in (compared(old, new), compared(new, old)):
        assert moved(found) == ({} if second == "bell" else dict.fromkeys(("reset", "home"), "changed"))
