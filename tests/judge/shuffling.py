"""The order of statements means nothing, but for the stores and the fields below them."""

from random import Random

from ordain.checks.check import Report
from tests.judge.judging import Judged
from tests.judge.tool import Text, build, report


def shuffled(text: Text, rng: Random) -> Text:
    """The same machine with its statements in another order."""
    blocks: list[list[str]] = []
    for line in text.machine.splitlines():
        if line.startswith((" ", "field ", "spare ")) and blocks:
            blocks[-1].append(line)
        else:
            blocks.append([line])
    fixed = [number for number, block in enumerate(blocks) if block[0].startswith(("machine", "microprogram", "store"))]
    others = [block for number, block in enumerate(blocks) if number not in fixed]
    rng.shuffle(others)
    order = [blocks[number] if number in fixed else others.pop() for number in range(len(blocks))]
    return text._replace(machine="\n".join(line for block in order for line in block) + "\n")


def shuffled_disagreements(text: Text, one: Judged, found: Report, rng: Random) -> list[str]:
    """`found`: what is said of the machine as it stands."""
    built, findings = build(shuffled(text, rng))
    if built is None:
        return [f"shuffled: not built: {findings[0].message}"]
    if built.contents.words != one.built.contents.words:
        return ["shuffled: other words"]
    ours, theirs = ({(row.check, row.subject): (row.outcome, row.worst) for row in each.rows}
                    for each in (found, report(built.contents)[0]))
    return [f"shuffled: {key}: {ours.get(key)}; {theirs.get(key)}" for key in {*ours, *theirs}
            if ours.get(key) != theirs.get(key)]
