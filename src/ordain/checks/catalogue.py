"""Every check, in the order in which reports show them, and every text that `explain` knows."""

from ordain.checks import (
    allowances,
    compile_time,
    conflicting_enables,
    contention,
    double_load,
    floating,
    inactive,
    lost_state,
    meaning,
    missing_hold,
    nowhere,
    over_assumed,
    race,
    rules,
    strays,
    stuck,
    torn,
    turnaround,
    undefined_code,
    unreachable,
    vacuous,
)
from ordain.checks.check import Explanation

CHECKS = (
    contention.CHECK,
    conflicting_enables.CHECK,
    floating.CHECK,
    turnaround.CHECK,
    missing_hold.CHECK,
    lost_state.CHECK,
    double_load.CHECK,
    race.CHECK,
    torn.CHECK,
    strays.CHECK,
    nowhere.CHECK,
    stuck.CHECK,
    over_assumed.CHECK,
    vacuous.CHECK,
)
"""The checks that put questions to the prover and follow from the description alone."""

RULES = rules.CHECKS
"""One check for each form of rule."""

BY_INSPECTION = (undefined_code.EXPLANATION, unreachable.EXPLANATION, inactive.EXPLANATION, allowances.EXPLANATION,
                 meaning.EXPLANATION)
"""What is read off the contents, the set of executed words and what acts in them, and what follows values."""

SUBJECTS: dict[str, tuple[Explanation, ...]] = {
    "checks": (*(check.explanation for check in CHECKS), *BY_INSPECTION),
    "rules": tuple(check.explanation for check in RULES),
    **compile_time.SUBJECTS,
}
"""Everything that can be found, by what it is about."""

EXPLANATIONS: tuple[Explanation, ...] = tuple(text for texts in SUBJECTS.values() for text in texts)


def explain(name: str) -> Explanation | None:
    """The text about a check or message of that name; None when nothing is called so."""
    return next((text for text in EXPLANATIONS if text.name == name), None)


def names() -> tuple[str, ...]:
    """Everything that `explain` knows."""
    return tuple(text.name for text in EXPLANATIONS)


def provable() -> tuple[str, ...]:
    """What `ordain prove --only` may name."""
    return tuple(text.name for text in (*(check.explanation for check in CHECKS), *BY_INSPECTION,
                                        *(check.explanation for check in RULES)))
