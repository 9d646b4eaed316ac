"""A field value without a name, and allowances that are about one field of the words only."""

import pytest

from tests.checks.reports import findings_named, report
from tests.planted.plant import Sound

SOUND = Sound("""\
machine tuner "an erased cell is presented: ones in all fields"
microprogram "m.micro"
store control 2 words of 4 bits
    address turn
chip U1 2 x 4
    holds control[3:0]
    address {address}
    erased ones
field band 2 bits
    low 0 idle
    high 1
field range 2 bits
    near 0 idle
    far 1
state turn 1 bit, reset 0
    next not turn
home turn is 0
""", "routine only at 0\n        band high\n")


@pytest.mark.parametrize(("allowance", "fields"), [
    ("", ["band", "range"]),
    ('allow undefined-code "erased"', []),
    ('allow undefined-code on band "erased"', ["range"]),
    ('allow undefined-code on range "erased"', ["band"]),
    ('allow undefined-code on band at only "not there"', ["band", "range"]),
])
def test_an_allowance_for_one_field_says_nothing_of_another(allowance: str, fields: list[str]) -> None:
    found = report(Sound(f"{SOUND.machine}{allowance}\n", SOUND.micro))
    assert [finding.message.split("`")[1] for finding in findings_named("undefined-code", found)] == fields


@pytest.mark.parametrize(("level", "erased"), [("", "ones"), (", active low", "zeros")])
def test_the_value_is_that_of_the_field_alone(level: str, erased: str) -> None:
    """Ones beside it are another field's; on active low lines erased zeros say 3 as well."""
    machine = SOUND.machine.replace("field range 2 bits", f"field range 2 bits{level}").replace("ones", erased)
    found = findings_named("undefined-code", report(Sound(machine, SOUND.micro)))
    assert "field `range` holds 3, which has no name, at 0x1, where nothing was placed" in [
        finding.message for finding in found]
