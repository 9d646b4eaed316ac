"""Everything that a machine file can declare, changed in one place: what a comparison says of it.

`NOTICED`, `UNNOTICED` and, for what instructions are said to do, `test_meant.CHANGES` together have every field of
every named tuple of the machine model. A declaration that is added to the model fails here until somebody says
which change of it has to be noticed, or why none has.
"""

from collections.abc import Iterator
from typing import Any, NamedTuple, get_args, get_type_hints

import pytest

from ordain.checks.check import Report
from ordain.checks.run import EVERYTHING
from ordain.cli.proving import run
from ordain.compare.correspondence import correspond
from ordain.compare.declared import demands
from ordain.compare.verdicts import LESS_ASKED, VerdictChanges, verdict_changes, worse
from ordain.machine import model
from ordain.machine.expression import Node
from ordain.meaning.strength import other_meanings
from ordain.prover.model import Limits
from ordain.rom.contents import Contents
from tests.compare import test_meant
from tests.compare.judged import Texts, compared, edited, moved
from tests.workshop import contents_of

LOCK: Texts = ("""machine lock "a lock on a canal"
microprogram "m.micro"
constant first = 2
store control 16 words of 24 bits
    address upc
    unused idle, goto start
field branch 2 bits
    step 0 idle
    jump 1
    look 2
    next 3
field target 4 bits address, idle 0
field source 2 bits
    none 0 idle
    level 1
    depth 2
field open   1 bit
field shut   1 bit, active low
field fill   1 bit
field count  2 bits, idle 0
field loads  1 bit
field tells  1 bit
spare 9 bits
store entry 4 words of 4 bits
    address kind
    word start of instruction
store marks 4 words of 2 bits
    address kind
    word kind xor 0b01
map_store
state upc 4 bits, reset 0
    next choose branch
        step: upc + 1
        jump: target
        look: entry
        next: upc
state mode (low, rising, high), reset low
    next choose mode
        low   : rising if fill else low
        rising: high if full else rising
        high  : low if open else high
state latched 1 bit, reset 0
    next full
register kind 2 bits, loads water[1:0] when loads
register level 4 bits
    loads water when loads and tells
    reset 1
register depth 4 bits
    loads level + 1 when count is 1
latch shown 4 bits, loads water when tells
input     full 1 bit, dial (slow, fast)
condition wet 1 bit = level is 0
signal    moving = open or shut
assume    not (full and dial is fast)
home      start
bus water 4 bits, floats, turnaround 1
    driven by level when source is level
    driven by depth when source is depth, steady while not loads
    driven by pump  when pump.runs, follows wall
    sampled by level when loads
bus wall 4 bits, pulled high
    driven by mark when tells and wet
    sampled by tally when marks[1]
bus lamp 1 bit, floats
    driven by moving when open
bus far 4 bits, floats
    driven by gap = level when open
memory pond 4 words of 4 bits
    address level[1:0]
    writes depth when fill
    holds "pond.bin" at 1
strobe gate
    water steady 1 cycle before, 1 cycle after
signal gate = open
keep level, depth while mode is high
exclusive open, fill
agent pump "a pump"
    input lever 1 bit
    state runs 1 bit, reset 0
        next lever and not open
rule "one gate"      never open and shut and moving
rule "it rises"      reach mode is high
rule "it comes down" always reach mode is low
rule "it answers"    when fill then mode is rising within 3 cycles unless wet
rule "no bump"       between at start and at start never open after fill
rule "no slip"       after open never fill until at start
allow contention on water at start "the pump has a fuse"
order idle :
order goto <there> : branch jump, target <there>
chip U1 16 x 24
    holds control
    address upc
""".replace("map_store\n", ""), """\
routine start at 0
        fill, tells
        source level, loads
        branch look
instruction 0 "up"
        fill
        branch next, open
instruction 1 "down"
        source depth, count 1
        shut, tells, goto start
instruction others "rest"
        goto start
""")


class Noticed(NamedTuple):
    """`edits`: pieces of the texts. `told`: "machine" or a unit's title, or (kind, check, subject) of a verdict."""

    edits: tuple[tuple[str, str], ...]
    told: str | tuple[str, str, str]


def one(old: str, new: str, told: str | tuple[str, str, str]) -> Noticed:
    return Noticed(((old, new),), told)


NOTICED: dict[str, list[Noticed]] = {
    "Machine.stores": [one("    word kind xor 0b01", "    word kind xor 0b11", "start")],
    "Machine.fields": [one("shut, tells, goto", "tells, goto", "down")],
    "Machine.states": [one("        high  : low if open else high", "        high  : low", "start")],
    "Machine.registers": [one("loads level + 1 when count is 1", "loads level - 1 when count is 1", "down")],
    "Machine.inputs": [one("dial (slow, fast)", "dial (slow, fast, wild)", "machine")],
    "Machine.conditions": [one("= level is 0", "= level is 1", "machine")],
    "Machine.assumptions": [one("assume    not (full and dial is fast)\n",
                                "assume    not full\n", ("promised", "assume", "not full"))],
    "Machine.home": [one("home      start", 'home      at "rest"', ("weaker", "stuck", "home")),
                     one("home      start\n", "", ("dropped", "stuck", "home"))],
    "Machine.buses": [one("    driven by level when source is level\n", "", "machine")],
    "Machine.strobes": [one("signal gate = open", "signal gate = open and full", "up")],
    "Machine.keeps": [one("keep level, depth while mode is high\n", "",
                          ("dropped", "lost-state", "level, depth while mode is high"))],
    "Machine.exclusives": [one("exclusive open, fill\n", "", ("dropped", "conflicting-enables", "open, fill"))],
    "Machine.agents": [Noticed((("        next lever and not open", "        next lever"),), "up")],
    "Machine.rules": [one('rule "it rises"      reach mode is high\n', "", ("dropped", "reach", "it rises"))],
    "Machine.allowances": [one(' at start "the pump', ' "the pump', ("allows", "contention", "the pump has a fuse"))],
    "Field.high": [one("field open   1 bit\nfield shut   1 bit, active low\nfield fill   1 bit",
                            "field fill   1 bit\nfield shut   1 bit, active low\nfield open   1 bit", "nothing")],
    "Field.active_low": [one("field open   1 bit", "field open   1 bit, active low", "nothing")],
    "Field.codes": [one("    level 1\n    depth 2", "    level 2\n    depth 1", "nothing")],
    "Store.address": [one("    address kind\n    word kind xor 0b01",
                          "    address level[1:0]\n    word level[1:0] xor 0b01", "start")],
    "State.reset": [one("state mode (low, rising, high), reset low", "state mode (low, rising, high), reset high",
                        "machine"),
                    one("state latched 1 bit, reset 0", "state latched 1 bit, reset any", "machine"),
                    one("state upc 4 bits, reset 0", "state upc 4 bits, reset 1", "reset")],
    "State.next": [one("    next full\n", "    next not full\n", "machine")],
    "State.codes": [Noticed((("state mode (low, rising, high)", "state mode (low, rising, high, broken)"),
                             ("        high  : low if open else high", "        otherwise: low if open else high")),
                            "machine")],
    "State.width": [one("state latched 1 bit, reset 0\n    next full", "state latched 2 bits, reset 0\n"
                        "    next {full, full}", "machine")],
    "Load.when": [one("loads water when tells\n", "loads water when tells and full\n", "start")],
    "Load.source": [one("loads water when loads and tells", "loads depth when loads and tells", "nothing"),
                    one("loads level + 1 when", "loads level + 2 when", "down")],
    "Register.loads": [one("    loads level + 1 when count is 1\n",
                           "    loads level + 1 when count is 1\n    loads water when tells\n", "start")],
    "Register.reset": [one("    reset 1\n", "    reset 2\n", "machine"), one("    reset 1\n", "", "machine")],
    "Register.transparent": [one("latch shown", "register shown", "machine")],
    "Input.codes": [one("dial (slow, fast)", "dial (slow, fast, wild)", "machine")],
    "Condition.value": [one("= level is 0", "= level is 1", "machine")],
    "Assumption.condition": [one("assume    not (full and dial is fast)\n",
                                 "assume    not full\n", ("promised", "assume", "not full"))],
    "Driver.when": [one("driven by pump  when pump.runs", "driven by pump  when pump.runs and not full", "machine"),
                    one("driven by depth when source is depth", "driven by depth when source is depth and full",
                        "down")],
    "Driver.follows": [one(", follows wall", "", "machine")],
    "Driver.steady": [one("steady while not loads", "steady while not wet", ("promised", "steady", "depth on water"))],
    "Driver.value": [one("gap = level when", "gap = depth when", "up"),
                     one("gap = level when", "gap = level and level when", "nothing")],
    "Memory.words": [one("memory pond 4 words", "memory pond 3 words", "machine")],
    "Memory.bits": [Noticed((("memory pond 4 words of 4 bits", "memory pond 4 words of 5 bits"),
                             ("writes depth when", "writes {0b0, depth} when")), "machine")],
    "Memory.address": [one("    address level[1:0]\n    writes", "    address depth[1:0]\n    writes", "start")],
    "Memory.writes": [one("    writes depth when fill\n", "    writes depth when fill\n    writes level when tells\n",
                          "start")],
    "Memory.holds": [one('"pond.bin"', '"lake.bin"', "machine"),
                     one('holds "pond.bin" at 1', "holds zeros", "machine")],
    "Memory.offset": [one('"pond.bin" at 1', '"pond.bin" at 2', "machine")],
    "Write.when": [one("writes depth when fill", "writes depth when fill and full", "start")],
    "Write.source": [one("writes depth when fill", "writes level when fill", "start")],
    "Sampler.when": [one("sampled by level when loads", "sampled by level when loads and full", "start")],
    "Bus.undriven": [one("bus wall 4 bits, pulled high", "bus wall 4 bits, kept", "machine")],
    "Bus.turnaround": [one("turnaround 1", "turnaround 2", ("stronger", "turnaround", "water")),
                       one(", turnaround 1", "", ("dropped", "turnaround", "water"))],
    "Bus.samplers": [one("    sampled by level when loads\n", "", "machine")],
    "SteadyNeed.before": [one("steady 1 cycle before", "steady 2 cycles before",
                              ("stronger", "missing-hold", "water before gate"))],
    "SteadyNeed.after": [one(", 1 cycle after", "", ("dropped", "missing-hold", "water after gate"))],
    "SteadyNeed.bus": [one("    water steady", "    wall steady", ("dropped", "missing-hold", "water before gate"))],
    "Strobe.active": [one("signal gate = open", "signal gate = open and full", "up")],
    "Strobe.needs": [one("    water steady 1 cycle before, 1 cycle after\n",
                         "    water steady 1 cycle before, 1 cycle after\n"
                         "    wall steady 0 cycles before, 0 cycles after\n",
                         ("added", "missing-hold", "wall during gate"))],
    "Keep.names": [one("keep level, depth while", "keep level while", ("dropped", "lost-state",
                                                                       "level, depth while mode is high"))],
    "Keep.condition": [one("while mode is high\n", "while mode is high and full\n",
                           ("dropped", "lost-state", "level, depth while mode is high"))],
    "Exclusive.signals": [one("exclusive open, fill", "exclusive open, tells", ("dropped", "conflicting-enables",
                                                                               "open, fill"))],
    "Never.condition": [one("never open and shut and moving", "never open and shut and moving and full",
                            ("weaker", "never", "one gate")),
                        one("never open and shut and moving", "never open and full",
                            ("weaker", "never", "one gate")),
                        one("never open and shut and moving", "never open or shut",
                            ("stronger", "never", "one gate"))],
    "Reach.condition": [one("reach mode is high\n", "reach mode is high or full\n", ("weaker", "reach", "it rises")),
                        one("always reach mode is low", "always reach mode is low and full",
                            ("stronger", "always-reach", "it comes down"))],
    "Reach.always": [one("always reach", "reach", ("dropped", "always-reach", "it comes down"))],
    "WhenThen.trigger": [one("when fill then", "when fill and full then", ("weaker", "when-then", "it answers"))],
    "WhenThen.response": [one("then mode is rising", "then mode is not low", ("weaker", "when-then", "it answers"))],
    "WhenThen.cycles": [one("within 3", "within 4", ("weaker", "when-then", "it answers")),
                        one("within 3", "within 2", ("stronger", "when-then", "it answers"))],
    "WhenThen.unless": [one("unless wet", "unless wet or full", ("weaker", "when-then", "it answers"))],
    "BetweenNever.start": [one("between at start and at", "between (at start and full) and at",
                               ("weaker", "between-never", "no bump"))],
    "BetweenNever.end": [one("and at start never open after", "and in start never open after",
                             ("weaker", "between-never", "no bump"))],
    "BetweenNever.forbidden": [one("never open after fill", "never open and full after fill",
                                   ("weaker", "between-never", "no bump"))],
    "BetweenNever.after": [one("after fill\n", "after fill and full\n", ("weaker", "between-never", "no bump"))],
    "AfterNever.start": [one("after open never fill", "after open and full never fill",
                             ("weaker", "after-never", "no slip"))],
    "AfterNever.forbidden": [one("after open never fill", "after open never fill and full",
                                 ("weaker", "after-never", "no slip"))],
    "AfterNever.until": [one("until at start\n", "until in start\n", ("weaker", "after-never", "no slip"))],
    "Signal.value": [one("moving = open or shut", "moving = open and shut", "up")],
    "Allowance.check": [one("allow contention on water", "allow turnaround on water",
                            ("allows", "turnaround", "the pump has a fuse"))],
    "Allowance.on": [one("contention on water at", "contention at", ("allows", "contention", "the pump has a fuse"))],
    "Allowance.at": [one("at start \"the", "at \"up\" \"the", ("allows", "contention", "the pump has a fuse"))],
}

TEXT = "text for people, or where it stands"
PART = "part of what is compared under its owner"
SHAPE = "fixed by what is declared beside it; a change of it changes a word, a term or the chips"
CHIPS = "what the chips hold and what they need is compared chip by chip"
UNNOTICED: dict[str, str] = {
    **dict.fromkeys(("Machine.components", "Machine.wires", "Component.name", "Component.type", "Component.pins",
                     "Wire.name", "Wire.low", "Wire.width", "Wire.kind", "Wire.pins"),
                    "says where nets are on the board"),
    **dict.fromkeys(("Machine.lamps", "Machine.probes", "LampRow.title", "LampRow.lamps", "LampRow.active_low",
                     "Lamp.line", "Lamp.lit", "BoardLine.name", "BoardLine.level", "ProbeSet.name", "ProbeSet.title",
                     "ProbeSet.probes", "ProbeSet.clock", "ProbeSet.edge", "Probe.channel", "Probe.line"),
                    "says where lamps and clips are on the board"),
    "Machine.understand": "stands in the meanings that it reads",
    "Machine.memories": "compared one by one",
    "Field.derived": "compared over the other fields, where nothing acts on it: `test_machine_told`",
    **dict.fromkeys(("Machine.name", "Machine.title", "Machine.microprogram", "Machine.orders", "Machine.labels",
                     "Machine.home_name", "Machine.broken", "Machine.lower", "Agent.name", "Agent.title", "Code.name",
                     "Code.value",
                     "Order.phrase", "Order.settings", "Assumption.text", "Keep.text", "Exclusive.names", "Rule.text",
                     "Rule.source", "Part.text", "Part.condition", "Never.parts", "Allowance.reason"), TEXT),
    **dict.fromkeys(("Machine.signals", "Machine.constants", "Machine.terms", "Signal.name", "Signal.agent"),
                    "stands in the terms that use it"),
    **dict.fromkeys(("Machine.clock", "Machine.released", "Clock.name", "Clock.phases", "Clock.moves", "Clock.held",
                     "Clock.steps"),
                    "stands in what moves with it: next values, loads and lengths, and a state that says the phase"),
    **dict.fromkeys(("Machine.chips", "Chip.name", "Chip.words", "Chip.bits", "Chip.erased", "Chip.technology",
                     "Chip.sector", "Chip.banks", "Bank.store", "Bank.pins", "Bank.address", "Bank.repeats", "Pin.bit",
                     "Pin.inverted", "Pin.level", "AddressPin.bit", "AddressPin.inverted", "AddressPin.level"), CHIPS),
    **dict.fromkeys(("Field.name", "Store.name", "State.name", "Register.name", "Input.name", "Condition.name",
                     "Driver.name", "Sampler.name", "Bus.name", "Strobe.name",
                     "Memory.name"), "another name is paired, or alone"),
    **dict.fromkeys(("Field.store", "Field.low", "Field.holds", "Field.idle", "Field.address_bits",
                     "Store.words", "Store.bits", "Store.address_width", "Store.fill", "Store.computed",
                     "Store.instruction", "Store.step", "Store.steps", "Store.opcode_width", "Store.opcode",
                     "Store.starts_at", "Store.unused", "Store.fields", "State.agent", "Register.width", "Input.width",
                     "Input.agent", "Condition.width", "Driver.kind", "Effect.kind", "Bus.width", "Bus.drivers",
                     "Rule.form"), SHAPE),
}


def fields_of_the_model() -> Iterator[str]:
    """Every field of every named tuple that a machine is made of, but for places in the text."""
    def is_tuple(kind: object) -> bool:
        return isinstance(kind, type) and issubclass(kind, tuple) and hasattr(kind, "_fields")

    waiting: list[Any] = [model.Machine]
    seen: set[object] = set()
    while waiting:
        kind = waiting.pop()
        if isinstance(kind, list):                      # the parameters of a function
            waiting += kind
            continue
        if kind in seen or kind in get_args(Node):
            continue
        seen.add(kind)
        waiting += get_args(kind)
        if is_tuple(kind) and kind.__module__ == model.__name__:
            for name, hint in get_type_hints(kind).items():
                if name != "span":
                    yield f"{kind.__name__}.{name}"
                    waiting.append(hint)


def test_no_declaration_is_forgotten() -> None:
    assert set(fields_of_the_model()) == {*NOTICED, *test_meant.CHANGES, *UNNOTICED}
    assert not (NOTICED.keys() | test_meant.CHANGES.keys()) & UNNOTICED.keys()


_reports: dict[Texts, Report] = {}


def report(texts: Texts) -> tuple[Contents, Report]:
    contents = contents_of(*texts)
    if texts not in _reports:
        _reports[texts] = run(contents, EVERYTHING, Limits(), True)
    return contents, _reports[texts]


def verdicts(old: Texts, new: Texts) -> VerdictChanges:
    (before, was), (now, is_) = report(old), report(new)
    return verdict_changes(was, is_, demands(before, now, correspond(before, now), other_meanings))


CHANGES = [(name, noticed) for name, cases in NOTICED.items() for noticed in cases]


@pytest.mark.parametrize(("name", "noticed"), CHANGES, ids=[f"{name}-{one.told}" for name, one in CHANGES])
def test_what_is_noticed(name: str, noticed: Noticed) -> None:
    new = edited(LOCK, *noticed.edits)
    found = compared(contents_of(*LOCK), contents_of(*new))
    told = {*moved(found), *(("machine",) if found.machine else ())}
    if noticed.told == "nothing":
        assert told == set()
    elif isinstance(noticed.told, str):
        assert noticed.told in told
    else:
        changes = verdicts(LOCK, new)
        assert noticed.told in {one[:3] for one in changes.moved}
        counted = {one[:3] for one in worse(changes)}
        assert (noticed.told in counted) == (noticed.told[0] in LESS_ASKED)
        assert noticed.told not in {one[:3] for one in worse(changes, {noticed.told[2]})}


# ---------------------------------------------------------------- the clock


CLOCK = "clock clk (dawn, dusk)\n    held while full\n"
CLOCKED = edited(LOCK, ("microprogram", CLOCK + "microprogram"))


@pytest.mark.parametrize(("old", "new"), [
    (CLOCK, ""), ("    held while full\n", ""), ("held while full", "held while not full"),
    ("    held while full\n", "    moves in dawn\n    held while full and dawn\n")])
def test_a_clock_that_is_held_otherwise_is_noticed(old: str, new: str) -> None:
    found = compared(contents_of(*CLOCKED), contents_of(*edited(CLOCKED, (old, new))))
    assert found.machine or moved(found)


def test_what_is_to_happen_in_time_is_less_where_a_clock_can_be_held() -> None:
    """Cycles in which it stands still do not count. One that nothing holds is like none."""
    free = edited(CLOCKED, ("    held while full\n", ""))
    for old, new, told in ((free, CLOCKED, ["weaker"]), (CLOCKED, free, ["stronger"]), (free, free, []),
                           (CLOCKED, CLOCKED, [])):
        before, after = contents_of(*old), contents_of(*new)
        found = demands(before, after, correspond(before, after), other_meanings).redefined
        assert [one.kind for one in found if (one.check, one.subject) == ("when-then", "it answers")] == told


@pytest.mark.parametrize(("rule", "same"), [
    ("", ""), ('rule "half" reach clk is dusk\n', 'rule "half" reach beat is late\n')])
def test_other_names_for_a_clock_and_its_phases_are_no_change(rule: str, same: str) -> None:
    """Also where it is a state, as something depends on which phase it is; another one that is called so is none."""
    old, (text, micro) = CLOCKED, edited(CLOCKED, ("clock clk (dawn, dusk)", "clock beat (early, late)"))
    before = contents_of(old[0] + rule, old[1])
    found = compared(before, contents_of(text + same, micro))
    assert not found.machine and not moved(found)
    found = compared(before, contents_of(text + same + "state clk 1 bit, reset 0\n    next not clk\n", micro))
    assert found.machine and not moved(found)


# ---------------------------------------------------------------- the same in other words


@pytest.mark.parametrize("edits", [
    (('rule "one gate"      never', 'rule "one door"      never'),),
    (("never open and shut and moving", "never moving and shut and open"),),
    (("never open and shut and moving", "never not (not open or not shut)"),),
    (("keep level, depth while mode is high", "keep depth, level while mode in (high)"),),
    (("exclusive open, fill", "exclusive fill, open"),),
    (("not (full and dial is fast)", "not full or dial is not fast"),),
    (("steady while not loads", "steady while loads is 0"),),
    (("home      start", "home      at start"),),
    (("    level 1\n    depth 2", "    level 2\n    depth 1"),),
    (("field source 2 bits", "field origin 2 bits"), ("when source is level\n", "when origin is level\n"),
     ("when source is depth", "when origin is depth"), ("source level,", "origin level,"),
     ("source depth,", "origin depth,")),
    (("bus wall 4 bits", "bus side 4 bits"), ("follows wall", "follows side")),
    (("= level is 0", "= not (level is not 0)"),),
])
def test_the_same_in_other_words(edits: tuple[tuple[str, str], ...]) -> None:
    """Nothing behaves differently, nothing is asked less, whatever words it is said in."""
    new = edited(LOCK, *edits)
    found = compared(contents_of(*LOCK), contents_of(*new))
    changes = verdicts(LOCK, new)
    assert moved(found) == {} and found.machine == ()
    assert changes.moved == () and worse(changes) == ()


def test_rules_speak_of_codes_by_their_names() -> None:
    asks = edited(LOCK, ("never open and shut and moving", "never source is level and shut"))
    renumbered = edited(asks, ("    level 1\n    depth 2", "    level 2\n    depth 1"))
    assert verdicts(asks, renumbered).moved == ()
    other = edited(renumbered, ("never source is level", "never source is depth"))
    assert {one[:3] for one in verdicts(asks, other).moved} == {("weaker", "never", "one gate")}


def test_a_label_with_another_name() -> None:
    asks = edited(LOCK, ("        shut, tells, goto start", "  last: shut, tells, goto start"),
                  ("never open and shut and moving", "never open and at last"))
    renamed = edited(asks, ("  last: shut", "  late: shut"), ("at last", "at late"))
    assert verdicts(asks, renamed).moved == ()
    other = edited(asks, ("  last: shut", "  late: fill\n        shut"), ("at last", "at late"))
    assert ("weaker", "never", "one gate") in {one[:3] for one in worse(verdicts(asks, other))}


def test_a_demand_that_another_stands_for() -> None:
    """A rule is taken out, and a stronger one of its form is there."""
    both = edited(LOCK, ('rule "it rises"', 'rule "never both" never open and (shut or full)\nrule "it rises"'))
    fewer = edited(both, ('rule "one gate"      never open and shut and moving\n', ""))
    assert {one[:4] for one in worse(verdicts(both, fewer))} == {     # that is broken, and was before: it says nothing
        ("dropped", "never", "one gate", "proved")}
    holds = edited(both, ("(shut or full)", "shut"))
    assert worse(verdicts(holds, edited(holds, ('rule "one gate"      never open and shut and moving\n', "")))) == ()
    assert {one[:3] for one in worse(verdicts(fewer, LOCK))} == {("dropped", "never", "never both")}
    neither = edited(fewer, ('rule "never both" never open and (shut or full)\n', ""))
    assert {one[:3] for one in worse(verdicts(both, neither))} == {
        ("dropped", "never", "one gate"), ("dropped", "never", "never both")}


def test_a_demand_that_became_weaker_beside_one_that_stands_for_it() -> None:
    """Its own words demand less than they did, whoever else demands it."""
    both = edited(LOCK, ('rule "it rises"', 'rule "never both" never open and (shut or full)\nrule "it rises"'))
    less = edited(both, ("never open and shut and moving", "never open and shut and moving and full"))
    before, after = contents_of(*both), contents_of(*less)
    found = demands(before, after, correspond(before, after), other_meanings)
    assert [(one.kind, one.subject) for one in found.redefined] == [("weaker", "one gate")]
    assert found.met["never", "one gate"] == ("never", "never both")


def test_a_demand_that_became_stronger_beside_one_that_was_as_strong() -> None:
    """Its own words demand more than they did, whoever else demanded it."""
    both = edited(LOCK, ('rule "it rises"', 'rule "never both" never open and (shut or full)\nrule "it rises"'))
    more = edited(both, ("never open and shut and moving", "never open and shut or shut and full and open"),
                  ("never open and (shut or full)", "never open and (full or shut)"))
    full = edited(both, ("never open and shut and moving", "never open and (shut or full and wet)"))
    for new, told in ((more, []), (full, [("stronger", "one gate")])):
        before, after = contents_of(*both), contents_of(*new)
        found = demands(before, after, correspond(before, after), other_meanings)
        assert [(one.kind, one.subject) for one in found.redefined] == told, new


def test_a_verdict_that_broke_counts_though_it_was_named() -> None:
    broken = edited(LOCK, ("        branch next, open", "        branch next, open, shut"))
    changes = verdicts(LOCK, broken)
    assert ("newly-broken", "never", "one gate") in {one[:3] for one in changes.moved}
    assert ("newly-broken", "never", "one gate") in {one[:3] for one in worse(changes, {"one gate", "never"})}


def test_broken_in_more_places() -> None:
    once = edited(LOCK, ("        branch next, open", "        branch next, open, shut"))
    twice = edited(once, ("        shut, tells, goto start", "        open, shut, tells, goto start"))
    (found,) = [one for one in verdicts(once, twice).moved if one.subject == "one gate"]
    assert found.kind == "broken-elsewhere" and found in worse(verdicts(once, twice)) and len(found.more) == 1
    assert [one for one in verdicts(twice, once).moved if one.subject == "one gate"] == []


def test_a_fault_that_has_moved_to_another_address_is_the_same_fault() -> None:
    once = edited(LOCK, ("        branch next, open", "        branch next, open, shut"))
    away = edited(once, ('instruction 0 "up"\n',
                         'routine pad at 3\n        goto start\ninstruction 0 "up" at 12\n'))
    assert [one for one in verdicts(once, away).moved if one.subject == "one gate"] == []


def test_an_allowance_more_beside_others() -> None:
    """Each of the new ones has to be covered by one of the old ones, whichever."""
    line = 'allow contention on water at start "the pump has a fuse"\n'
    two = edited(LOCK, (line, line + 'allow race "slow valves"\n'))
    three = edited(two, (line, line + 'allow turnaround on water at start "so has the drain"\n'))
    for old, new, more in ((LOCK, LOCK, 0), (two, two, 0), (LOCK, two, 1), (two, three, 1), (three, two, 0)):
        before, after = contents_of(*old), contents_of(*new)
        found = demands(before, after, correspond(before, after), other_meanings).redefined
        assert sum(one.kind == "allows" for one in found) == more


# ---------------------------------------------------------------- labels, and what is assumed

QUERN: Texts = ("""machine quern "a quern that is turned by hand"
microprogram "m.micro"
store control 8 words of 5 bits
    address upc
field last  1 bit
field grind 1 bit
field lift  1 bit
field sift  1 bit
field turn  1 bit
state upc 3 bits, reset 0
    next 0 if last else upc + 1
input key 1 bit
order idle :
assume not (at mill.wait and key)
rule "the stone lies" never at mill.wait and turn
keep upc while at mill.wait and key
allow nowhere at mill.wait "it creaks"
""", """\
routine mill at 0
        lift
  wait: grind
        sift
        turn, last
""")
SPEAK_OF_IT = {("promised", "assume"), ("weaker", "never"), ("weaker", "lost-state"), ("allows", "nowhere")}


@pytest.mark.parametrize(("edits", "label", "elsewhere"), [
    ((("  wait: grind", "        grind"), ("        sift", "  wait: sift")), "mill.wait", True),    # to the next word
    ((("  wait: grind", "  wait: idle\n        grind"),), "mill.wait", True),    # a word came between, not its label
    ((("  wait: grind", "        lift\n  wait: grind"),), "mill.wait", False),   # and before both
    ((("  wait: grind", "  wait: grind, turn"),), "mill.wait", False),           # the word itself is another one
    ((("  wait: grind\n        sift\n", "        sift\n  wait: grind\n"),), "mill.wait", False),    # both went together
    ((("  wait: grind", "  hold: grind"),), "mill.hold", False),
    ((("routine mill", "routine barn"),), "barn.wait", False),
])
def test_what_speaks_of_a_label_that_stands_at_another_word(edits: tuple[tuple[str, str], ...], label: str,
                                                            elsewhere: bool) -> None:
    """The words of rules and assumptions are as they were; what they speak of is not."""
    machine, micro = edited(QUERN, *edits)
    before, after = contents_of(*QUERN), contents_of(machine.replace("mill.wait", label), micro)
    found = demands(before, after, correspond(before, after), other_meanings)
    assert {one[:2] for one in found.redefined} == (SPEAK_OF_IT if elsewhere else set())
    assert found.remarks == (("label `mill.wait` stands at another word than before: what names it speaks of another "
                              "place",) if elsewhere else ())


@pytest.mark.parametrize(("grind", "word", "elsewhere"), [
    ("", "grind", False), ("        grind\n", "grind", True), ("        grind\n", "sift", True), ("", "sift", False)])
def test_a_label_that_stands_in_another_routine(grind: str, word: str, elsewhere: bool) -> None:
    """Its word went along, or is still where it was. Where it is gone, nothing says of what was spoken."""
    wait = QUERN[0].replace("mill.wait", "wait")
    mill = f"routine mill at 0\n        lift\n{grind}        sift\n        turn, last\n"
    before, after = contents_of(wait, QUERN[1]), contents_of(wait, f"{mill}routine bin\n  wait: {word}\n        last\n")
    found = demands(before, after, correspond(before, after), other_meanings).redefined
    assert {one[:2] for one in found} == (SPEAK_OF_IT if elsewhere else set())


def test_of_equal_words_it_is_the_place_in_the_text_that_counts() -> None:
    """Three words alike, the label at the second or at the third; with a word more it is not sure which is which."""
    three = edited(QUERN, ("        sift", "        grind\n        grind"))
    third = edited(three, ("  wait: grind", "        grind"),
                   ("        grind\n        turn", "  wait: grind\n        turn"))
    more = edited(third, ("        lift\n", "        lift\n        sift\n"))
    for new, elsewhere in ((three, False), (third, True), (more, False)):
        before, after = contents_of(*three), contents_of(*new)
        found = demands(before, after, correspond(before, after), other_meanings).redefined
        assert {one[:2] for one in found} == (SPEAK_OF_IT if elsewhere else set())


def test_a_label_that_nobody_speaks_of_may_stand_anywhere() -> None:
    quern = (QUERN[0].split("assume")[0], QUERN[1])
    new = edited(quern, ("  wait: grind", "        grind"), ("        sift", "  wait: sift"))
    before, after = contents_of(*quern), contents_of(*new)
    assert demands(before, after, correspond(before, after), other_meanings)[::3] == ((), ())


def test_what_only_an_assumption_rules_out_is_a_difference() -> None:
    """A comparison is about what the machines do, whatever their surroundings promise; and the promise is no
    difference between them."""
    quern = edited(QUERN, ("next 0 if last else upc + 1", "next 0 if last or key else upc + 1"),
                   ("assume not (at mill.wait and key)", "assume not key"))
    away = edited(quern, ("        sift", "        sift, turn"))
    deaf = edited(quern, ("0 if last or key else", "0 if last else"))
    assert moved(compared(contents_of(*quern), contents_of(*away)))
    assert moved(compared(contents_of(*quern), contents_of(*deaf)))
    assert not moved(compared(contents_of(*quern), contents_of(*edited(quern, ("assume not key\n", "")))))
