"""Runs of small machines, worked by hand."""

from collections.abc import Callable, Mapping
from itertools import islice

import pytest

from ordain.data.datapath import Datapath
from ordain.data.model import Memories
from ordain.data.partial import Ternary, exactly
from ordain.data.record import recorded
from ordain.data.run import Ran, run
from tests.workshop import contents_of

MACHINE = """\
machine dial
store control 4 words of 6 bits
    address upc
field put 2 bits
    nothing 0 idle
    count   1
    ram     2
    both    3
field keep 1 bit
field write 1 bit
field target 2 bits address, idle following
state upc 2 bits, reset 0
    next target
register count 4 bits, loads data + 1 when keep, reset 3
bus data 4 bits, floats
    driven by count when put in (count, both)
    driven by ram   when put in (ram, both)
memory ram 4 words of 4 bits
    address count[1:0]
    writes data when write
allow contention on data "the test is about what it gives"
"""


def ran(micro: str, cycles: int, machine: str = MACHINE, memories: Memories | None = None,
        outside: Callable[[int], Mapping[str, int]] = lambda cycle: {}) -> tuple[list[Ran], Datapath, Memories]:
    path = Datapath(contents_of(machine, micro))
    memories = {name: {} for name in path.machine.memories} if memories is None else memories
    return list(islice(run(path, memories, outside), cycles)), path, memories


def level(one: Ran, path: Datapath, bus: str = "data") -> Ternary:
    return one.moment.value(path.terms.leaf("bus", bus, path.machine.buses[bus].width))


def held(one: Ran, path: Datapath, name: str) -> Ternary:
    return one.held[path.terms.leaf("register", name, path.machine.registers[name].width)]


def test_a_register_on_a_bus_into_itself_and_into_memory() -> None:
    """count stands on data (3), is loaded with 4, and the word at 3, the address of that cycle, becomes 3."""
    steps, path, memories = ran("routine main\n    put count, keep, write, target main\n", 2)
    assert [level(step, path) for step in steps] == [exactly(3, 4), exactly(4, 4)]
    assert [held(step, path, "count") for step in steps] == [exactly(4, 4), exactly(5, 4)]
    assert memories == {"ram": {3: exactly(3, 4)}}


def test_what_nobody_wrote_is_not_known_and_spreads_bit_by_bit() -> None:
    """The word at 3 has a known lowest bit only: its sum with 1 has one too."""
    steps, path, _ = ran("routine main\n    put ram, keep, target main\n", 2, memories={"ram": {3: Ternary(1, 1)}})
    assert held(steps[0], path, "count") == Ternary(0, 1)
    assert level(steps[1], path) == Ternary(0, 0), "at an address that is not known nothing is"


def test_a_floating_bus_is_not_known_and_a_pulled_one_is() -> None:
    idle = "routine main\n    target main\n"
    steps, path, _ = ran(idle, 1)
    assert level(steps[0], path) == Ternary(0, 0)
    steps, path, _ = ran(idle, 1, MACHINE.replace("floats", "pulled high"))
    assert level(steps[0], path) == exactly(15, 4)


def test_a_kept_bus_has_what_stood_there() -> None:
    micro = "routine main\n    put count\n    target main\n"
    steps, path, _ = ran(micro, 2, MACHINE.replace("floats", "kept"))
    assert [level(step, path) for step in steps] == [exactly(3, 4), exactly(3, 4)]


@pytest.mark.parametrize("kind, value", [("wired and", 0b0001), ("wired or", 0b1011)])
def test_wired_buses_join_what_is_driven(kind: str, value: int) -> None:
    """count is 0011, the word at 3 is 1001."""
    steps, path, _ = ran("routine main\n    put both, target main\n", 1, MACHINE.replace("floats", kind),
                         {"ram": {3: exactly(0b1001, 4)}})
    assert level(steps[0], path) == exactly(value, 4) and not steps[0].fights


def test_fighting_drivers_are_known_where_they_agree() -> None:
    steps, path, _ = ran("routine main\n    put both, target main\n", 1, memories={"ram": {3: exactly(0b1001, 4)}})
    assert level(steps[0], path) == Ternary(0b0001, 0b0101)
    assert [(fight.bus, fight.drivers) for fight in steps[0].fights] == [("data", ("count", "ram"))]


def test_a_write_at_an_address_that_is_not_known_leaves_nothing_known() -> None:
    machine = MACHINE.replace(", reset 3", "")
    _, _, memories = ran("routine main\n    put count, write, target main\n", 2, machine,
                         {"ram": {0: exactly(1, 4)}})
    assert memories == {"ram": {}}


def test_a_way_through_two_buses_is_a_loop_only_where_it_closes() -> None:
    """Two gates join two buses, one each way. One open: the level passes. Both open: a loop, and nothing is known."""
    machine = MACHINE.replace("driven by ram   when put in (ram, both)", "driven by back = far when put in (ram, both)")
    machine += """bus far 4 bits, floats
    driven by forth = data when keep
    driven by three = 0x3 when not keep
"""
    steps, path, _ = ran("routine main\n    put ram, target main\n", 1, machine)
    assert level(steps[0], path) == exactly(3, 4) and not steps[0].moment.loops
    steps, path, _ = ran("routine main\n    put ram, keep, target main\n", 1, machine)
    assert level(steps[0], path) == Ternary(0, 0)
    assert set(steps[0].moment.loops[0]) == {"data", "far"}


def test_an_open_latch_shows_what_comes_and_a_closed_one_keeps_it() -> None:
    machine = MACHINE.replace("register count 4 bits, loads data + 1 when keep, reset 3",
                              "latch count 4 bits, loads far when keep, reset 3\nbus far 4 bits, pulled high")
    steps, path, _ = ran("routine main\n    put count, keep\n    put count, target main\n", 3, machine)
    assert [level(step, path) for step in steps] == [exactly(15, 4)] * 3
    steps, path, _ = ran("routine main\n    put count, target main\n", 1, machine)
    assert level(steps[0], path) == exactly(3, 4)


def test_inputs_come_by_cycles() -> None:
    machine = MACHINE.replace("driven by ram   when put in (ram, both)", "driven by keys when put in (ram, both)")
    machine += "input keys 4 bits\n"
    steps, path, _ = ran("routine main\n    put ram, target main\n", 3, machine,
                         outside=lambda cycle: {"keys": 9} if cycle == 2 else {})
    assert [level(step, path).value for step in steps] == [0, 9, 0]


def test_a_never_rule_is_watched_with_what_it_remembers() -> None:
    machine = MACHINE + 'rule "no change of level" never data is not prior(data) and keep\n'
    steps, _, _ = ran("routine main\n    put count, keep, target main\n", 2, machine)
    assert [step.broken for step in steps] == [("no change of level",), ("no change of level",)]
    steps, _, _ = ran("routine main\n    put count, target main\n", 2, machine)
    assert [step.broken for step in steps] == [(), ()]


@pytest.mark.parametrize("first, second, left", [
    ("write", "keep", Ternary(0b0001, 0b0101)), ("write", "write and keep", Ternary(0b0001, 0b0101)),
    ("write", "not keep", exactly(3, 4)), ("not write", "keep", exactly(9, 4))])
def test_two_writes_at_once_leave_what_both_would(first: str, second: str, left: Ternary) -> None:
    """0011 from count and 1001: the first and the third bit from below are the same."""
    machine = MACHINE.replace("writes data when write", f"writes count when {first}\n    writes 0x9 when {second}")
    _, _, memories = ran("routine main\n    write, keep, target main\n", 2, machine)
    assert memories["ram"][3] == left


def test_a_word_that_all_columns_have_is_known_though_its_address_is_not() -> None:
    """The address has a line that nothing gave a value; the words of main are the same in both columns."""
    machine = MACHINE.replace("store control 4 words", "store control 8 words").replace(
        "address upc\n", "address {late, upc}\n", 1) + "register late 1 bit\n"
    micro = "\n".join(("routine main at 0", "    put count, keep, target main", "routine other at 4",
                       "    put count, keep, target main", ""))
    steps, path, _ = ran(micro, 2, machine)
    assert [level(step, path) for step in steps] == [exactly(3, 4), exactly(4, 4)]
    other = micro.replace("at 4\n    put count, keep", "at 4\n    put count")
    steps, path, _ = ran(other, 2, machine)
    assert [level(step, path) for step in steps] == [exactly(3, 4), Ternary(0, 0b1000)], "0100 if kept, else 0011"


@pytest.mark.parametrize(("driver", "told", "way_out"), [
    ("driven by count when put is count", "nothing says what `count` puts on the 2 lines of `data`",
     "say in the machine"),
    ("driven by count when put is count\n    driven by part when write",
     "nothing says what `count` puts on the 2 lines of `data`", "say in the machine"),
    ("driven by part when put in (count, both)\n    driven by count when put is count",
     "nothing says what `part` or `count` puts on the 2 lines of `data`", "say in the machine"),
    ("driven by other = count[1:0] when put is ram", "`data` floats", "give memory")])
def test_why_control_is_lost_on_a_bus(driver: str, told: str, way_out: str) -> None:
    """A register of four bits on a bus of two says nothing; a bus that nobody drives has no level. What counts is who
    drove when the bits were taken, in the cycle before, and not who drives where they are missed."""
    machine = MACHINE[:MACHINE.index("bus data")] + f"bus data 2 bits, floats\n    {driver}\n"
    machine = machine.replace("loads data + 1 when keep", "loads {0b00, data} when keep").replace(
        "next target", "next count[1:0] if write else target")
    path = Datapath(contents_of(machine, "routine main at 0\n    put count, keep\n    write, target main\n"))
    found = recorded(path, {}, lambda cycle: {}, None, 10, None, ())
    assert found.ending == "lost" and found.cycles == 2
    assert found.findings[0].notes == (f"`upc` got it in cycle 2, because `count` got it in cycle 1, because {told}",)
    assert found.findings[0].help is not None and found.findings[0].help.startswith(way_out)


@pytest.mark.parametrize("steady", [None, 0])
def test_a_clock_that_stands_still_for_good_ends_a_run(steady: int | None) -> None:
    machine = MACHINE + """clock clk (one, two)
    held while key and clk is two
input key 1 bit
register seen 1 bit, loads 1 when keep, on one
"""
    contents = contents_of(machine, "routine main\n    put count, keep, target main\n")
    path = Datapath(contents)
    ran_, held_ = (recorded(path, {"ram": {}}, lambda cycle, key=key: {"key": key}, None, 500, None, (),
                            # type: ignore[misc]
                            kept="nothing", steady=steady) for key in (0, 1))
    assert (ran_.ending, ran_.cycles) == ("cycles", 500) and (held_.ending, held_.cycles) == ("held", 1)


def test_a_home_that_looks_back_is_remembered() -> None:
    """upc is 0, 1, 2, 0: home comes in the cycle after that of `over`."""
    machine = MACHINE + "home prior(upc is 2)\n"
    path = Datapath(contents_of(machine, "routine main at 0\n    keep\n    keep\n    put count, target main\n"))
    found = recorded(path, {"ram": {}}, lambda cycle: {}, None, 8, None, ())
    assert [line.cycle for line in found.lines if line.boundary] == [4, 7]
