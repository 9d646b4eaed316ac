"""Machines from text, all the way to what their chips hold; for tests above the compiler."""

from ordain.language.machine_file import parse_machine
from ordain.language.micro_file import parse_microprogram
from ordain.machine.redrawn import redrawn
from ordain.machine.resolve import resolve
from ordain.microprogram.compile import compile_program
from ordain.microprogram.dispatching import dispatches
from ordain.microprogram.strays import strays
from ordain.placement.place import place
from ordain.rom.assemble import make_contents, stored_words
from ordain.rom.contents import Contents
from ordain.rom.images import pack
from ordain.text.findings import Finding, Severity, has_errors


def contents_of(machine_text: str, micro_text: str) -> Contents:
    """What the chips hold, of texts in which nothing is wrong for the compiler."""
    contents, findings = compiled(machine_text, micro_text)
    wrong = [f"{found.span}: {found.name}: {found.message}" for found in findings if found.severity is Severity.ERROR]
    assert contents is not None and not wrong, "\n".join(wrong)
    return contents


def compiled(machine_text: str, micro_text: str) -> tuple[Contents | None, list[Finding]]:
    """The same of any texts; None when the compiler finds an error. The microprogram is one file, whatever the machine
    calls it."""
    tree, findings = parse_machine({"m.machine": machine_text}, "m.machine")
    machine, more = resolve(tree) if tree is not None and not has_errors(findings) else (None, [])
    findings += more
    texts, more = parse_microprogram({"m.micro": micro_text}, ["m.micro"])
    findings += more
    if machine is None or texts is None or has_errors(findings):
        return None, findings
    drawn = redrawn(machine)
    program, more = compile_program(drawn, texts)
    findings += more
    if program is None or has_errors(findings):
        return None, findings
    placement, more = place(drawn, program, None)
    findings += more
    if placement is None or has_errors(findings):
        return None, findings
    stored = stored_words(machine, placement)
    return make_contents(machine, program, placement, stored, pack(machine, stored),
                             strays(drawn, program, placement.addresses, placement.words),
                             dispatches(drawn, program, placement.addresses, placement.words)), findings
