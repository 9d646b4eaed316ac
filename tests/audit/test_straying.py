"""Words that control must not come to by way of an address that another holds, said a second time."""

import pytest

from tests.audit.kept import boasting, kept, outcomes, proved
from tests.checks.test_strays import CARD, LOOM
from tests.workshop import contents_of

DELAYED = LOOM.replace("    address upc", "    address active").replace("idle 0\nfield", "idle following\nfield") \
    .replace("step: upc + 1", "step: target").replace("step 0 idle", "step 0").replace("jump 1", "jump 1 idle") \
    + "state active 4 bits, reset 0\n    next upc\n"
"""The counter, and behind it the register that the store is shown: two cycles from a word to the next."""
SHORT = CARD.replace("        seq step\n", "") + "routine fill at 1\n        goto start\n"
QUIET = "state feeler 1 bit, reset 0\n    next feeler\n"


@pytest.mark.parametrize(("machine", "micro"), [(LOOM, CARD), (DELAYED, SHORT)])
@pytest.mark.parametrize(("instead", "said"), [("input feeler 1 bit\n", "refused"), (QUIET, "confirmed"),
                                               (QUIET.replace("reset 0", "reset 1"), "refused")])
def test_what_is_proved_is_confirmed_and_what_is_broken_is_refused(machine: str, micro: str, instead: str,
                                                                   said: str) -> None:
    contents = contents_of(machine.replace("input feeler 1 bit\n", instead), micro)
    assert outcomes(contents, kept(contents, boasting(proved(contents))))["strays", "control"] == said


def test_an_allowance_at_the_word_where_control_goes_on() -> None:
    for place, said in (("beside", "confirmed"), ("mark", "refused")):
        contents = contents_of(f'{LOOM}allow strays at {place} "the feeler is not built yet"\n', CARD)
        assert outcomes(contents, kept(contents, boasting(proved(contents))))["strays", "control"] == said


@pytest.mark.parametrize(("machine", "micro"), [(LOOM, CARD), (DELAYED, SHORT)])
def test_a_word_that_another_one_names_is_remembered_apart(machine: str, micro: str) -> None:
    """`beside` is executed, after `mark` that names it: which word was left decides."""
    contents = contents_of(machine.replace("input feeler 1 bit\n", QUIET), micro.replace(
        "routine mark at 2\n        goto start", "routine mark at 2\n        goto beside"))
    claims = outcomes(contents, kept(contents, boasting(proved(contents))))
    assert claims["strays", "control"] == "confirmed"
