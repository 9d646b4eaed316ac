"""The one place where the judge touches what it judges: text in, contents and the prover's answers out."""

from typing import NamedTuple

from ordain.checks.check import Report
from ordain.checks.run import prove, questions
from ordain.control.system import build_system
from ordain.language.machine_file import parse_machine
from ordain.language.micro_file import parse_microprogram
from ordain.language.tree import MachineFile
from ordain.machine.resolve import resolve
from ordain.microprogram.compile import compile_program
from ordain.microprogram.dispatching import dispatches
from ordain.microprogram.strays import strays
from ordain.placement.place import place
from ordain.prover.decide import decide
from ordain.prover.model import Limits, Property, Verdicts
from ordain.rom.assemble import make_contents, stored_words
from ordain.rom.contents import Contents
from ordain.rom.images import pack
from ordain.text.findings import Finding, has_errors


class Text(NamedTuple):
    """A user's two files."""

    machine: str
    micro: str


class Built(NamedTuple):
    file: MachineFile
    contents: Contents
    micro: str


def build(text: Text) -> tuple[Built | None, list[Finding]]:
    """As a build does; None with what is wrong with the text."""
    tree, findings = parse_machine({"m.machine": text.machine}, "m.machine")
    if tree is None or has_errors(findings):
        return None, findings
    machine, more = resolve(tree, findings)
    findings += more
    micro, more = parse_microprogram({"m.micro": text.micro}, ["m.micro"])
    findings += more
    if machine is None or micro is None or has_errors(findings):
        return None, findings
    program, more = compile_program(machine, micro, findings)
    findings += more
    if program is None or has_errors(findings):
        return None, findings
    placement, more = place(machine, program, None)
    findings += more
    if placement is None or has_errors(findings):
        return None, findings
    stored = stored_words(machine, placement)
    contents = make_contents(machine, program, placement, stored, pack(machine, stored),
                             strays(machine, program, placement.addresses, placement.words),
                             dispatches(machine, program, placement.addresses, placement.words))
    return Built(tree, contents, text.micro), findings


def asked(contents: Contents) -> list[Property]:
    """Every question as the checks put it, allowances left aside."""
    return [question for _, question in questions(contents)]


def decided(contents: Contents, properties: list[Property], reduce: bool = True) -> Verdicts:
    return decide(build_system(contents), tuple(properties), Limits(reduce=reduce))


def report(contents: Contents) -> tuple[Report, Verdicts]:
    """What `ordain prove` says, and the answers to its first questions, the coarse ones in front."""
    system = build_system(contents)
    rounds: list[Verdicts] = []

    def answered(properties: tuple[Property, ...]) -> Verdicts:
        rounds.append(decide(system, properties, Limits()))
        return rounds[-1]

    return prove(contents, answered), rounds[0]
