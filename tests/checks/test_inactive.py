"""What drives, loads, is written or changes nowhere, each beside a machine one bit away in which it does."""

from collections import Counter
from collections.abc import Sequence
from random import Random

import pytest

from ordain.checks import inactive
from ordain.checks.run import questions
from ordain.checks.wording import about
from ordain.control.system import build_system
from ordain.language import tree
from ordain.prover.decide import decide
from ordain.prover.plain import decide_plainly
from ordain.prover.symbolic import cases
from tests.checks.reports import edited, findings_named, names, outcomes, report
from tests.judge.clocks import clocked, described
from tests.judge.cycle import Cycle, Unsupported
from tests.judge.deciding import answer
from tests.judge.machines import machine
from tests.judge.observer import Observer
from tests.judge.questions import NOTHING, Marks, Question
from tests.judge.search import Graph, TooLarge, explore
from tests.judge.speech import spelt
from tests.judge.tool import Built, build
from tests.planted.plant import Sound
from tests.workshop import contents_of

LOCK = Sound("""\
machine lock "a gate that is lifted, held and let down"
microprogram "m.micro"
clock phi (early, late)
    moves in late
store control 8 words of 8 bits
    address upc
field target 3 bits address, idle following
field from 2 bits
    nobody 0 idle
    gauge  1
    level  2
field take 1 bit
field keep 1 bit
field lift 1 bit
state upc 3 bits, reset 0
    next target
state up 1 bit, reset 0
    next 1 if lift else up
input water 4 bits
register level 4 bits, loads data when take and late
memory log 2 words of 4 bits
    address up
    writes  data when keep and late
bus data 4 bits, floats
    driven by gauge = water when from is gauge
    driven by level when from is level
    sampled by level when take and late
    sampled by log   when keep and late
rule "nothing is kept before the gate is up" never keep and not up
""", """\
routine yard at 0
        from gauge, take, lift
        from level, keep
        target yard
""")


def told(texts: Sound) -> list[str]:
    return [finding.message for finding in findings_named("inactive", report(texts))]


@pytest.mark.parametrize(("old", "new", "said"), [
    ("        from level, keep\n", "        from gauge, keep\n", "`level` never drives `data`"),
    ("when from is level", "when from is level and from is gauge", "`level` never drives `data`"),
    ("loads data when take and late", "loads data when take and keep and late", "`level` never loads"),
    ("loads data when take and late", "loads data when take and late and not up", ""),
    ("loads data when take and late", "changes when take and keep and late", "`level` never changes"),
    ("loads data when take and late", "changes when take and late", ""),
    ("writes  data when keep and late", "writes  data when keep and take", "`log` is never written"),
    ("gauge, take, lift", "gauge, take", "`up` never changes"),
    ("next 1 if lift else up", "next 0 if lift else up", "`up` never changes"),
    ("state up 1 bit, reset 0", "state up 1 bit, reset any", ""),
])
def test_what_never_acts_is_told(old: str, new: str, said: str) -> None:
    found = told(edited(LOCK, (old, new)))
    assert found == ([said + ", whatever happens"] if said else [])


def test_two_loads_are_two_things_and_two_ways_to_one_load_are_one() -> None:
    twice = edited(LOCK, ("register level 4 bits, loads data when take and late",
                          "register level 4 bits\n    loads data when take and late\n    loads 0 when keep and take"))
    assert told(twice) == ["`level` never loads `0`, whatever happens"]
    assert told(edited(twice, ("loads 0 when", "loads data when"))) == []


def test_a_load_that_only_what_holds_the_clock_could_bring_about_is_told() -> None:
    """Its text does not say so: what it asks for is not what holds the clock, but only ever so while that does."""
    held = edited(LOCK, ("clock phi (early, late)", "clock phi (early, late)\n    held while halt"),
                  ("input water", "input stop 1 bit\nsignal halt = stop and up\nsignal stopped = halt and lift\n"
                                  "input water"),
                  ("loads data when take and late", "loads data when stopped and late"))
    assert told(held) == ["`level` never loads, whatever happens"]
    assert told(edited(held, ("signal stopped = halt and lift", "signal stopped = stop and lift"))) == []


@pytest.mark.parametrize(("state", "said"), [
    ("state wide 1 bit, reset any\n    next wide", ""),      # a switch that nobody moves
    ("state wide 1 bit, reset 0\n    next wide and not lift", "`wide` never changes"),
])
def test_a_switch_is_said_to_stay(state: str, said: str) -> None:
    read = 'rule "wide or not" never wide and keep and not up'
    found = told(edited(LOCK, ("input water", f"{state}\n{read}\ninput water")))
    assert found == ([said + ", whatever happens"] if said else [])


STACK = Sound("""\
machine lock "a counter of two halves and a stack of two levels"
microprogram "m.micro"
store control 16 words of 8 bits
    address {high, low}
field target 4 bits address, idle 0
field go   2 bits
    on    0 idle
    jump  1
    call  2
    back  3
spare 2 bits
signal on = {high, low} + 1
signal to = choose go
    on        : on
    back      : top if depth is 1 else below
    otherwise : target
state low 2 bits, reset 0
    next to[1:0]
state high 2 bits, reset 0
    next to[3:2]
state depth 2 bits, reset 0
    next depth + 1 if go is call else depth - 1 if go is back else depth
state top 4 bits, reset 0
    next on if go is call and depth is 0 else top
state below 4 bits, reset 0
    next on if go is call and depth is 1 else below
order jump <there> : go jump, target <there>
order call <there> : go call, target <there>
""", """\
routine main at 0
        call part
        jump main
routine part at 2
        go back
""")


def test_places_that_a_program_has_no_use_for_are_no_fault() -> None:
    """Four words of sixteen, and one level of two; a state beside them that never changes is one."""
    assert told(STACK) == []
    assert told(edited(STACK, ("signal on", "state late 1 bit, reset 0\n    next 1 if depth is 3 else late\n"
                                            "rule \"not late\" never late and go is call\nsignal on"))) == [
        "`late` never changes, whatever happens"]


def test_an_allowance_excuses_it_and_is_stale_where_it_acts() -> None:
    idle = edited(LOCK, ("        from level, keep\n", "        from gauge, keep\n"))
    for on in ("", " on level", " on data"):
        allowed = edited(idle, ("input water", f'allow inactive{on} "no words yet"\ninput water'))
        assert names(report(allowed)) == []
        acts = edited(LOCK, ("input water", f'allow inactive{on} "no words yet"\ninput water'))
        assert names(report(acts)) == ["stale-allowance"]
    other = edited(idle, ("input water", 'allow inactive on up "no words yet"\ninput water'))
    assert sorted(names(report(other))) == ["inactive", "stale-allowance"]


def test_nothing_more_is_followed_for_it() -> None:
    """A counter that nothing reads: sixteen times as many states, were it asked whether it ever loads."""
    beside = edited(LOCK, ("input water", "state ticks 4 bits, reset 0\n    next ticks + 1\n"
                                          "register count 4 bits, loads water when ticks is 3\ninput water"))
    found, sound = report(beside), report(LOCK)
    assert (found.states, found.findings) == (sound.states, sound.findings)
    assert outcomes(found) == outcomes(sound)
    read = edited(beside, ("when from is gauge", "when from is gauge and ticks is ticks and not (ticks is 9 and keep)"))
    assert report(read).states > sound.states
    assert told(edited(read, ("when ticks is 3", "when ticks is 3 and from is level and take"))) == [
        "`count` never loads, whatever happens"]


def test_where_dead_bits_are_held_at_0_nothing_is_said_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """What such a question reads is not kept there, and would look as if it never came."""
    monkeypatch.setattr(cases, "WIDE", 0)
    contents = contents_of(*edited(LOCK, ("gauge, take, lift", "gauge, take")))
    firm = tuple(asked for _, asked in questions(contents))
    asked = (*firm, *inactive.ask(contents))
    found = decide(build_system(contents), asked).verdicts
    assert {one.outcome for one in found[len(firm):]} == {"undecided"}
    assert "undecided" not in {one.outcome for one in found[:len(firm)]}
    monkeypatch.undo()
    assert {one.outcome for one in decide(build_system(contents), asked).verdicts[len(firm):]} == {"proved", "broken"}


# ---------------------------------------------------------------- by chance

LIMIT = 6000


def acting(built: Built, cycle: Cycle) -> list[Question]:
    """One for each driver that is no agent's, and for each load of a register of a thing of its own: whether it ever
    happens, in the order of the text."""
    found = []
    for name, bus in cycle.description.buses.items():
        for driver in bus.drivers:
            if driver.name.text not in cycle.description.agents:
                found.append(_ever(cycle, (driver.name.text, name), [driver.when]))
    for name, register in cycle.description.registers.items():
        width = cycle.description.things[name].width
        groups: dict[str | None, list[tree.Expr | None]] = {}
        for load in register.loads:
            said = None if load.source is None else spelt(load.source, cycle.description, width)
            groups.setdefault(said, []).append(load.when)
        found += [_ever(cycle, (name,), conditions) for conditions in groups.values()]
    found += [_ever(cycle, (name,), [write.when for write in memory.writes])
              for name, memory in cycle.description.memories.items() if memory.writes]
    return found


def _ever(cycle: Cycle, names: tuple[str, ...], conditions: Sequence[tree.Expr | None]) -> Question:
    eye = Observer(cycle)
    numbers = [eye.see(when) for when in conditions]
    return Question("inactive", "/".join(names), "reach", eye, None,
                    lambda seen, memory: (Marks(frozenset([names])) if any(seen[n] for n in numbers) else NOTHING,
                                          memory), names)


def changing(cycle: Cycle, graph: Graph, name: str) -> bool:
    place = cycle._place[f"state {name}"]
    return any(graph.states[edge.after][place] != state[place]
               for state, edges in zip(graph.states, graph.edges) for edge in edges)


def test_a_search_of_every_state_says_the_same() -> None:
    """Machines by chance, with and without a clock: what is said of drivers, loads and states, by both engines."""
    counts: Counter[str] = Counter()
    seed = 4000
    while counts["machines"] < 40:
        seed += 1
        text = machine(Random(seed).choice)
        if seed % 3 == 0:
            text = clocked(Random(seed).choice, text)
        built, _ = build(text)
        if built is None:
            continue
        asked = tuple(inactive.ask(built.contents))
        system = build_system(built.contents)
        every = decide(system, asked).verdicts
        cycle = Cycle(described(built), built.contents)
        wanted = acting(built, cycle)
        try:
            for question in wanted:
                question.eye.compiled()
            graph = explore(cycle, LIMIT)
        except (TooLarge, Unsupported):
            continue
        counts["machines"] += 1
        mine = Counter(question.subject for question in wanted if not answer(graph, question).faults)
        theirs: Counter[str] = Counter()
        for verdict in every:
            counts[verdict.outcome] += 1
            of = about(verdict.property).names
            if verdict.property.subject.endswith("never changes") and of[0] in built.contents.machine.states:
                if verdict.outcome != "undecided" and f"state {of[0]}" in cycle._place:
                    assert (verdict.outcome == "proved") == changing(cycle, graph, of[0]), (seed, verdict.property)
                    counts["states"] += 1
            elif verdict.outcome == "broken":
                theirs["/".join(of)] += 1
            elif verdict.outcome == "undecided":
                mine["/".join(of)] = 0
                theirs["/".join(of)] = 0
        assert +mine == +theirs, seed
        if seed % 4 == 0:
            plainly = decide_plainly(system, asked, most=200_000).verdicts
            assert [one.outcome for one in plainly] == [one.outcome for one in every], seed
    assert counts["broken"] > 20 and counts["proved"] > 150 and counts["states"] > 40, counts


# ---------------------------------------------------------------- what it is not asked of, and what excuses it


def test_a_register_that_changes_in_one_way_and_loads_in_another() -> None:
    both = edited(LOCK, ("register level 4 bits, loads data when take and late",
                         "register level 4 bits\n    changes when take and late\n    loads data when keep and take"))
    assert told(both) == ["`level` never loads `data`, whatever happens"]
    assert told(edited(both, ("changes when take and late", "changes when keep and take and up"),
                       ("loads data when keep and take", "loads data when take and late"))) == [
        "`level` never changes, whatever happens"]


@pytest.mark.parametrize("written", ["", "    writes data when keep and take\n"])
def test_a_memory_to_which_nothing_is_written_at_all_is_not_missed(written: str) -> None:
    chart = edited(LOCK, ("bus data", f"memory chart 2 words of 4 bits\n    address up\n{written}bus data"))
    assert told(chart) == (["`chart` is never written, whatever happens"] if written else [])


def test_of_an_agent_that_never_drives_another_check_speaks() -> None:
    helped = edited(LOCK, ("bus data", "agent clerk\n    input asks 1 bit\nbus data"),
                    ("    driven by level",
                     "    driven by clerk when clerk.asks and keep and take\n    driven by level"))
    assert told(helped) == []
    assert "vacuous" in names(report(helped))


def test_an_allowance_of_another_check_excuses_nothing() -> None:
    idle = edited(LOCK, ("        from level, keep\n", "        from gauge, keep\n"),
                  ("input water", 'allow contention on data "a fuse"\ninput water'))
    assert "inactive" in names(report(idle))


def test_an_allowance_is_not_stale_where_nothing_is_known(monkeypatch: pytest.MonkeyPatch) -> None:
    allowed = edited(LOCK, ("input water", 'allow inactive on level "no words yet"\ninput water'))
    assert names(report(allowed)) == ["stale-allowance"]
    monkeypatch.setattr(cases, "WIDE", 0)
    assert names(report(allowed)) == []
