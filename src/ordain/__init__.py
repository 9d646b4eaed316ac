"""ordain: control stores compiled, proved and compared.

The packages in the order of the pipeline, each importing only those above it: text, language, machine, microprogram,
placement, rom, audit, logic, control, data, bench, prover, checks, meaning, measure, compare, faults,
show, cli.

From Python:

    built = ordain.build_machine("microcode/heron.machine")     # nothing is written
    report = ordain.prove_machine(built)
    change = ordain.compare_machines(ordain.build_machine("before/heron.machine"), built)

What they return are named tuples, described where they are defined: `ordain.pipeline.Built`,
`ordain.checks.check.Report`, `ordain.compare.comparison.Comparison`. Everything is imported when it is first asked for:
the command line begins here, and from its first line on an interruption ends as it does later.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from pathlib import Path

    from ordain.checks.check import Report
    from ordain.compare.comparison import Comparison
    from ordain.pipeline import Built
    from ordain.prover.model import Limits, Property, Verdicts
    from ordain.text.findings import Finding

__version__ = "0.1.0"


class NotBuilt(Exception):
    """A machine that does not come about. `findings`: why, at least one of them an error."""

    def __init__(self, findings: "tuple[Finding, ...]") -> None:
        super().__init__("; ".join(finding.message for finding in findings))
        self.findings = findings


def build_machine(machine: "str | Path", recorded: "str | Path | None" = None) -> "Built":
    """Everything from a machine file and its microprogram to the contents of the chips, in memory. `recorded`: the
    directory of an earlier build, whose words keep their addresses where they can. Raises NotBuilt."""
    from pathlib import Path

    from ordain.pipeline import build_model

    built, findings = build_model(Path(machine), None if recorded is None else Path(recorded))
    if built is None:
        raise NotBuilt(tuple(findings))
    return built


def prove_machine(built: "Built", limits: "Limits | None" = None) -> "Report":
    """All checks and rules over every sequence that can happen, and what instructions are said to do; nothing is kept
    and nothing kept is used."""
    from ordain.checks.run import prove
    from ordain.control.system import build_system
    from ordain.meaning.run import with_meanings
    from ordain.prover.decide import ProofRounds

    system = build_system(built.contents)
    rounds = ProofRounds(system)

    def decide(asked: "tuple[Property, ...]") -> "Verdicts":
        return rounds.decide(asked, limits)

    return with_meanings(built.contents, decide, prove(built.contents, decide))


def compare_machines(old: "Built", new: "Built") -> "Comparison":
    """What a change touched: behaviour, verdicts (both are proved), chips."""
    from ordain.compare.behaviour import behaviour
    from ordain.compare.comparison import Comparison
    from ordain.compare.correspondence import correspond
    from ordain.compare.declared import demands
    from ordain.compare.joint import join
    from ordain.compare.reach import reach_of_change
    from ordain.compare.verdicts import verdict_changes
    from ordain.meaning.strength import other_meanings
    from ordain.rom.burn_plan import chip_changes

    acts = behaviour(join(old.contents, new.contents))
    asked = demands(old.contents, new.contents, correspond(old.contents, new.contents), other_meanings)
    chips = chip_changes(new.machine.chips, old.machine.chips, old.images, new.images)
    verdicts = verdict_changes(prove_machine(old), prove_machine(new), asked)
    return Comparison("old", "new", acts, reach_of_change(acts), verdicts, None, chips, frozenset(),
                      asked.remarks)
