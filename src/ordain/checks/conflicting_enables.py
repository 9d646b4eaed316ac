"""Two signals declared `exclusive` active in one cycle."""

from collections.abc import Iterator
from itertools import combinations

from ordain.checks import owners
from ordain.checks.check import About, Check, Explanation, Known
from ordain.checks.wording import about, fault, names, spot
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding

EXPLANATION = Explanation(
    name="conflicting-enables",
    fault="two signals declared `exclusive` are active in one cycle",
    about="""\
The machine file says with `exclusive a, b` that the hardware has no sensible answer when both are active: a
counter told to load and to count, a memory told to read and to write.""",
    example="""\
exclusive read_enable, write_strobe

mar <- pc, read, write                        # one word that asks for both""",
    repair="""\
Split the microinstruction in two, or make the two enables codes of one field, so that no word can ask for both.""",
)


def ask(contents: Contents) -> Iterator[Property]:
    """One question for each `exclusive` line."""
    machine = contents.machine
    for index, line in enumerate(machine.exclusives):
        yield Property(EXPLANATION.name, ", ".join(line.names), "bad", owners.several(machine.terms, line.signals),
                       per_word=owners.main_store(machine), data=About((), line.span, (index, ())))


def narrow(contents: Contents, asked: Property, known: Known) -> tuple[Property, ...]:
    """One question for each pair of the line."""
    index, _ = about(asked).detail
    line = contents.machine.exclusives[index]
    return tuple(
        asked._replace(node=contents.machine.terms.and_((one, other)),
                       data=About((first, second), line.span, (index, (first, second))))
        for (first, one), (second, other) in combinations(zip(line.names, line.signals, strict=True), 2))


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    asked = verdict.property
    index, pair = about(asked).detail
    both = names(pair or contents.machine.exclusives[index].names)
    at = spot(contents, found)
    label = f"{both} are both active in this cycle" if pair else f"more than one of {both} is active in this cycle"
    return fault(asked, f"exclusive signals are active together {at.phrase}".rstrip() + f": {both}", at, label, found,
                 help="give the two jobs to two microinstructions, or gate one signal with the other")


CHECK = Check(EXPLANATION, ask, tell, narrow)
