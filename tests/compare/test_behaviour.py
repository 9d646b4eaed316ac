"""What behaves differently: against an independent simulator, and on small machines read in one place."""

from collections.abc import Mapping

from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.compare.behaviour import Behaviour, behaviour
from ordain.compare.joint import join
from ordain.rom.contents import Contents
from tests.compare.generated import Build, builds, entrances, kept, one_field_changed, simulators, starts
from tests.compare.simulator import differ, returns_to_nobody


def compared(old: Contents, new: Contents) -> Behaviour:
    return behaviour(join(old, new))


@given(st.data())
@settings(max_examples=80)
def test_what_keeps_its_behaviour_compares_as_same(data: st.DataObject) -> None:
    old = data.draw(builds())
    change = data.draw(kept(old))
    found = compared(old.contents, change.build.contents)
    assert {unit.status for unit in found.units} == {"same"}, [unit for unit in found.units if unit.status != "same"]


def differing_opcodes(found: Behaviour) -> set[int]:
    return {opcode for unit in found.units if unit.kind == "instruction" for opcode in unit.differing}


def simulated(old: Build, new: Build, bodies: Mapping[str, str], names: Mapping[str, str] | None = None) -> set[int]:
    """The opcodes whose instructions differ when both builds are run."""
    ours, theirs = simulators(old, new, names)
    held = next((fresh for fresh, name in (names or {}).items() if name == "held"), "held")
    homes = (old.places["fetch"], new.places["fetch"])
    returning = (returns_to_nobody(ours, *entrances(old), homes[0])
                 or returns_to_nobody(theirs, *entrances(new, held), homes[1]))
    return {opcode for opcode, body in enumerate(old.starts)
            if differ(ours, theirs, starts(old, new, body, bodies.get(body, body), opcode, held), homes, returning)}


@given(st.data())
@settings(max_examples=35)
def test_a_changed_word_changes_exactly_the_instructions_that_run_differently(data: st.DataObject) -> None:
    old = data.draw(builds())
    new = data.draw(one_field_changed(old))
    found = compared(old.contents, new.contents)
    assert differing_opcodes(found) == simulated(old, new, {})


@given(st.data())
@settings(max_examples=35)
def test_a_changed_word_is_found_through_renaming_and_moving(data: st.DataObject) -> None:
    old = data.draw(builds())
    change = data.draw(kept(old))
    new = data.draw(one_field_changed(change.build))
    found = compared(old.contents, new.contents)
    assert differing_opcodes(found) == simulated(old, new, change.bodies, change.names)


@given(st.data())
@settings(max_examples=20)
def test_the_simulator_agrees_that_behaviour_was_kept(data: st.DataObject) -> None:
    old = data.draw(builds())
    change = data.draw(kept(old))
    assert simulated(old, change.build, change.bodies, change.names) == set()
