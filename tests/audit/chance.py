"""Certificates of machines by chance: what holds has to be confirmed and nothing that is broken, whatever is said."""

from collections import Counter
from random import Random

from ordain.certifying import NotKept
from tests.audit.kept import boasting, kept, outcomes, proved
from tests.generated import machine_text
from tests.judge.machines import machine as any_machine
from tests.judge.tool import build
from tests.workshop import compiled


def tried(seed: int, judged: bool) -> tuple[Counter[str], list[str]]:
    """What the audit says of each claim, and what it says wrongly. Claimed is that everything broken is proved, too."""
    choose = Random(seed).choice
    if judged:
        built, _ = build(any_machine(choose))
        contents = None if built is None else built.contents
    else:
        made = machine_text(choose)
        contents, _ = compiled(made.machine, made.micro)
    if contents is None:
        return Counter({"machines that are not built": 1}), []
    report = proved(contents)
    try:
        found = outcomes(contents, kept(contents, boasting(report)))
    except NotKept:
        return Counter({"machines that are not audited": 1}), []
    counts, wrong = Counter({"machines": 1}), []
    for row in report.rows:
        said = found[row.check, row.subject]
        counts[f"{row.outcome} {said}"] += 1
        if said == ("confirmed" if row.outcome in ("broken", "vacuous") else "refused"):
            wrong.append(f"seed {2 * seed + judged}: {row.check} {row.subject} is {row.outcome}, and {said}")
    return counts, wrong
