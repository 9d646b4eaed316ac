"""`ordain run`: machine code on the microcode, values and all."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ordain.cli.manner import (
    Manner,
    build_directory,
    build_option,
    exit_status,
    find_machine,
    machine_argument,
    print_json,
    say,
    speaks,
    tell_beside,
    tell_findings,
)
from ordain.text.findings import Finding, has_errors

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ordain.data.model import Taker
    from ordain.data.outside import Outside
    from ordain.rom.contents import Contents


@click.command("run")
@machine_argument
@build_option
@click.option("--put", "words", multiple=True, metavar="MEMORY@ADDRESS=WORDS|NAME=VALUE",
              help="Words in hexadecimal, with blanks or commas between, from an address on; or what a register or "
              "state holds at power-up where the machine file does not say. May be repeated.")
@click.option("--load", "files", multiple=True, metavar="MEMORY[@ADDRESS]=FILE",
              help="A file into a memory: raw, Intel HEX, S-record or $readmemh text. May be repeated.")
@click.option("--script", type=click.Path(path_type=Path), metavar="FILE",
              help="What inputs do meanwhile, line by line: at cycle N, when CONDITION, for N cycles.")
@click.option("--with", "given", multiple=True, metavar="NAME=VALUE[@CYCLES]",
              help="An input or condition; in every cycle, or only in those after @: 3, 2-5, 4- (from 4 on). Else "
              "inputs are 0. May be repeated.")
@click.option("--until", default="", metavar="CONDITION", help="Stop after the first cycle in which this holds.")
@click.option("--cycles", type=click.IntRange(1), default=10_000, show_default=True, metavar="N",
              help="Stop after N cycles.")
@click.option("--instructions", type=click.IntRange(1), default=None, metavar="N", help="Stop after N instructions.")
@click.option("--each", type=click.Choice(["instruction", "cycle", "sent", "nothing"]), default="instruction",
              show_default=True, help="What a line is written for; `sent`: what a device takes.")
@click.option("--device", "more_devices", multiple=True, metavar='"NAME = VALUE when CONDITION"',
              help="A device beside those that sample a bus and are no part of the machine. May be repeated.")
@click.option("--dump", "dumps", multiple=True, metavar="MEMORY@FROM-TO[=FILE]",
              help="Words of a memory at the end, in hexadecimal, or into a file: .bin, .hex, .s19, .mem. May be "
              "repeated.")
@click.option("--vcd", type=click.Path(path_type=Path), metavar="FILE",
              help="Every line in every cycle as a value change dump.")
@click.option("--expect", "expected", multiple=True, metavar="NAME=VALUE",
              help="What a register, a state or MEMORY@ADDRESS has to hold at the end, in hexadecimal; else exit "
              "status 1. May be repeated.")
@speaks("text", "json")
def command(machine: Path | None, words: tuple[str, ...], files: tuple[str, ...], script: Path | None,
            given: tuple[str, ...], until: str, cycles: int, instructions: int | None, each: str,
            more_devices: tuple[str, ...], dumps: tuple[str, ...], vcd: Path | None, expected: tuple[str, ...],
            form: str, quiet: bool, colour: str) -> int:
    """Run MACHINE on its microprogram: memories, registers and buses with their values, from reset on.

    Bits that nothing gives a value are followed as unknown, `x`: never-written memory, floating buses, registers that
    were never loaded. The run ends early where control depends on such a bit, where two drivers fight, where a bus is
    not held around a strobe, or where a rule is broken. Nothing is proved here: `ordain prove` looks at every sequence.
    """
    from ordain.cli.run_asked import condition_of, dump_of, expected_value, held_value, memories_given, write_dump
    from ordain.cli.run_put import held_and_words, with_held
    from ordain.pipeline import build_model

    manner = Manner(form, quiet, colour)
    path = find_machine(machine)
    built, findings = build_model(path, build_directory(path))
    if built is None:
        return _only_findings(manner, path, findings)
    model = built.machine
    held, words = held_and_words(model, words)
    contents = with_held(built.contents, held)
    memories, more = memories_given(model, path.parent, files, words)
    findings += more
    stop = condition_of(contents, until)
    wanted = [expected_value(model, text) for text in expected]
    asked = [dump_of(model, text) for text in dumps]
    outside, devices, of_script = _from_outside(contents, script, given, more_devices, form)
    if has_errors([*findings, *of_script]):
        return _only_findings(manner, path, findings, of_script)
    from ordain.cli.run_telling import Watching, tell, tell_json, tell_missed
    from ordain.cli.run_watching import faults_of, questions_of, watches_of
    from ordain.cli.settings import steady_from
    from ordain.data.datapath import Datapath
    from ordain.data.model import Listener
    from ordain.data.record import recorded

    questions = questions_of(contents)
    datapath = Datapath(contents, watches_of(questions))
    with Watching(datapath, vcd, quiet, cycles) as watching:
        made = recorded(datapath, memories, outside.given, stop, cycles, instructions,
                        {body.name for body in built.program.bodies if body.kind == "instruction"}, devices=devices,
                        listeners=[Listener(outside.nodes, outside.heard), *watching.listeners],
                        kept="cycles" if each == "cycle" or form == "json" else
                        "changes" if each == "instruction" else "nothing",
                        steady=None if outside.nodes or script is not None else steady_from(given))
    faults = [*made.findings, *faults_of(contents, questions, made)]
    for dump in asked:
        faults += write_dump(model, dump, made) if dump.file is not None else []
    missed = [(name, value, found) for name, value in wanted if (found := held_value(made, name)) != value]
    status = 130 if made.ending == "interrupted" else int(bool(faults or missed))
    if form == "json":
        tell_json(contents, made, held, status, missed, [*findings, *faults])
        return status
    tell(manner, path, contents, made, held, each, faults, asked)
    if vcd is not None:
        say(manner, f"wrote {vcd}: {made.cycles} cycle{'' if made.cycles == 1 else 's'}")
    tell_missed(colour, missed)
    tell_beside(findings, manner, beside=path)
    return status


def _only_findings(manner: Manner, path: Path, findings: list[Finding], of_script: "Sequence[Finding]" = ()) -> int:
    """Those of the machine's files, and of what stands elsewhere."""
    status = exit_status([*findings, *of_script])
    if manner.format == "json":
        from ordain.show.findings_json import finding_data

        print_json({"command": "run", "status": status,
                    "findings": [finding_data(finding) for finding in (*findings, *of_script)]})
    else:
        tell_findings(findings, manner, beside=path)
        tell_findings(list(of_script), manner)
    return status


# ---------------------------------------------------------------- what goes in


def _from_outside(contents: "Contents", script: Path | None, given: tuple[str, ...],
                  named: tuple[str, ...], form: str) -> "tuple[Outside, list[Taker], list[Finding]]":
    """Inputs as script and options say, the devices of the machine and those that were named."""
    from ordain.cli.run_script import devices_declared, devices_named, script_of, settable
    from ordain.cli.settings import in_cycles
    from ordain.data.outside import Outside

    over = in_cycles(contents.machine, given, settable(contents.machine))
    doings, devices, findings = ([], [], []) if script is None else \
        script_of(contents, script, script.name if form == "json" else str(script))
    others, more = devices_named(contents, named, "--device")
    return Outside(doings, over), [*devices_declared(contents.machine), *devices, *others], [*findings, *more]
