"""The engine and the plain search side by side."""

from collections.abc import Sequence

from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.prover.model import Limits, Property
from ordain.rom.contents import Contents
from tests import oracle


def disagreements(contents: Contents, asked: Sequence[Property], reduce: bool = True) -> list[str]:
    """Everything in which the two differ: verdicts, worst cases, where and how early each question breaks, what is
    executed, whether assumptions run out, the counts of states and transitions (without reduction), and traces that
    are no runs of the machine or not the shortest."""
    found = decide(build_system(contents), tuple(asked), Limits(reduce=reduce))
    plain = oracle.decide(contents, asked)
    wrong = []
    if not reduce and (found.states, found.transitions) != (plain.states, plain.transitions):
        wrong.append(f"states and transitions: {found.states}, {found.transitions}; "
                     f"{plain.states}, {plain.transitions}")
    for store, addresses in found.executed.items():
        if addresses != plain.executed[store]:
            wrong.append(f"executed in {store}: {sorted(addresses)}; {sorted(plain.executed[store])}")
    pairs = [(found.over_assumed, plain.over_assumed), *zip(found.verdicts, plain.verdicts, strict=True)]
    for ours, other in pairs:
        name = f"{ours.property.check}: {ours.property.subject}"
        if (ours.outcome, ours.worst) != (other.outcome, other.worst):
            wrong.append(f"{name}: {ours.outcome} {ours.worst}; {other.outcome} {other.worst}")
        elif ours.property.kind != "within":
            mine = {(each.address, each.cycles) for each in ours.breaks}
            theirs = {(each.address, each.cycles) for each in other.breaks}
            if not mine <= theirs or by_word(contents, ours.property, mine) != by_word(contents, ours.property, theirs):
                wrong.append(f"{name}: breaks {mine}; {theirs}")
        if ours.property.kind in ("bad", "reach"):
            for each in ours.breaks:
                if each.trace is not None and len(each.trace.cycles) != each.cycles:
                    wrong.append(f"{name}: a trace of {len(each.trace.cycles)} cycles for {each.cycles}")
        for trace in (*(each.trace for each in ours.breaks), ours.witness):
            if trace is not None and trace.cycles:
                try:
                    runs_only = ours is found.over_assumed  # the state after its last cycle is what it shows
                    asked_of_it = ours.property._replace(kind="always") if runs_only else ours.property
                    oracle.replay(contents, asked_of_it, trace)
                except AssertionError as error:
                    wrong.append(f"{name}: {error}")
        if ours.property.kind == "reach" and ours.property.shown and ours.outcome == "proved":
            length = oracle.shortest(contents, ours.property)
            if ours.witness is None or len(ours.witness.cycles) != length:
                wrong.append(f"{name}: no shortest witness")
    return wrong


def by_word(contents: Contents, asked: Property, breaks: set[tuple[int | None, int]]) -> set[tuple[int | None, int]]:
    """Word and length of each break: of addresses that hold the same word and that nothing tells apart, the engine
    tells one."""
    if not asked.per_word:
        return breaks
    words = contents.words[asked.per_word]
    return {(None if address is None else words[address], cycles) for address, cycles in breaks}
