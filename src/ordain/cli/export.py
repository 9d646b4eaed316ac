"""`ordain export`: the model and its traces in open formats, for tools that know nothing of this project."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ordain.cli.manner import (
    Manner,
    build_directory,
    exit_status,
    find_machine,
    machine_argument,
    say,
    speaks,
    tell_findings,
)
from ordain.cli.proving import prove_built
from ordain.cli.writing import write_file

if TYPE_CHECKING:
    from ordain.control.model import Trace
    from ordain.meaning.model import Question
    from ordain.pipeline import Built


@click.group("export")
def command() -> None:
    """Write the model or a trace in an open format: aiger (AIGER 1.9), smt (SMT-LIB 2.6), vcd and verilog (IEEE 1364),
    wires (CSV)."""


@command.command("aiger")
@machine_argument
@click.option("--out", type=click.Path(path_type=Path), help="The file, `-` for standard output; else NAME.aig.")
@speaks("text")
def aiger_command(machine: Path | None, out: Path | None, quiet: bool, colour: str) -> int:
    """Write MACHINE, its checks and its rules in AIGER 1.9: every safety question is a bad state with its name.

    A `reach` rule is its negation there: safe means that it is never reached.
    """
    from ordain.checks.run import questions
    from ordain.control.system import build_system
    from ordain.prover.questions import lower_properties
    from ordain.show.aiger import aiger

    manner = Manner("text", quiet, colour)
    built, status = _built(manner, machine)
    if built is None:
        return status
    system = build_system(built.contents)
    asked = tuple(question for _, question in questions(built.contents))
    written = aiger(system, lower_properties(system, asked))
    left_out = sorted({one.subject or one.check for one in asked if one.kind == "always"})
    told = _write(manner, out or Path(f"{built.machine.name}.aig"), written.data, f"{len(written.bad)} bad states")
    if told and left_out:
        say(manner, f"left out, no safety property: {', '.join(left_out)}")
    return status


@command.command("smt")
@machine_argument
@click.option("--out", type=click.Path(path_type=Path), help="The file, `-` for standard output; else NAME.smt2.")
@speaks("text")
def smt_command(machine: Path | None, out: Path | None, quiet: bool, colour: str) -> int:
    """Write what is asked about the meanings of MACHINE in SMT-LIB 2.6, for a solver that knows nothing of this
    project: it has to answer `unsat` to every question.

    Which paths there are, and what everything holds on them, is for us to say; so is what the prover found of agents
    and requests meanwhile.
    """
    from ordain.show.smt import SmtQuestion, smt

    manner = Manner("text", quiet, colour)
    built, status = _built(manner, machine)
    if built is None:
        return status
    found = _about_meanings(built, quiet)
    asked = [SmtQuestion(f"{title}: {about}", question) for title, one in found.items() if not isinstance(one, str)
             for about, question in one]
    left_out = [f"{title}: {why}" for title, why in found.items() if isinstance(why, str)]
    lines = smt(built.machine.name, asked, [f"left out: {line}" for line in left_out])
    if _write(manner, out or Path(f"{built.machine.name}.smt2"), "".join(f"{line}\n" for line in lines).encode(),
              f"{len(asked)} questions about {len(found) - len(left_out)} instructions") and left_out:
        say(manner, "\n".join(f"left out: {line}" for line in left_out))
    return status


def _about_meanings(built: "Built", quiet: bool) -> "dict[str, list[tuple[str, Question]] | str]":
    """By title what is asked, or why it cannot be said."""
    from ordain.cli.progress import ProgressLine
    from ordain.control.system import build_system
    from ordain.meaning.following import Following, NotFollowed
    from ordain.meaning.guessing import under_guesses
    from ordain.meaning.proof import questions
    from ordain.prover.decide import ProofRounds

    meanings, line = built.contents.meanings, ProgressLine(quiet)
    rounds = ProofRounds(build_system(built.contents), line)

    def asked(following: Following, title: str) -> "list[tuple[str, Question]] | str":
        try:
            return questions(following, title, meanings[title])
        except NotFollowed as why:
            return str(why)

    try:
        found, unsure, _ = under_guesses(built.contents, rounds.decide, meanings, asked)
    finally:
        line.clear()
    return {title: "the prover did not come to an end" if title in unsure else one for title, one in found.items()}


@command.command("wires")
@machine_argument
@click.option("--out", type=click.Path(path_type=Path), help="The file, `-` for standard output; else NAME.csv.")
@speaks("text")
def wires_command(machine: Path | None, out: Path | None, quiet: bool, colour: str) -> int:
    """Write the wire list of MACHINE's control section as CSV (RFC 4180): chip, pin, number, net, what it is."""
    from ordain.machine.wire_list import joints
    from ordain.machine.wording import code_names
    from ordain.show.wires import wires_csv

    manner = Manner("text", quiet, colour)
    built, status = _built(manner, machine)
    if built is None:
        return status
    found = joints(built.machine, code_names(built.machine))
    _write(manner, out or Path(f"{built.machine.name}.csv"), wires_csv(found).encode(),
           f"{len(found)} pins of {len({joint.part for joint in found})} parts")
    return status


@command.command("verilog")
@machine_argument
@click.option("--out", type=click.Path(path_type=Path), help="The directory; else `verilog`.")
@click.option("--bench", type=click.IntRange(1), default=None, metavar="N",
              help="A bench of N cycles beside it, with inputs at 0 and a dump of everything.")
@speaks("text")
def verilog_command(machine: Path | None, out: Path | None, bench: int | None, quiet: bool, colour: str) -> int:
    """Write MACHINE in Verilog (IEEE 1364-2005): control and data, its chips as $readmemh files, buses with their
    drivers, inputs as ports."""
    from ordain.data.datapath import Datapath
    from ordain.rom.mem import write_mem
    from ordain.show.verilog import bench_text, unchipped, verilog_text

    manner = Manner("text", quiet, colour)
    built, status = _built(manner, machine)
    if built is None:
        return status
    model, directory = built.machine, out or Path("verilog")
    files = {f"{model.name}.v": verilog_text(Datapath(built.contents))}
    if bench is not None:
        files["bench.v"] = bench_text(model, bench)
    for chip in model.chips.values():
        files[f"{chip.name}.mem"] = write_mem(built.images[chip.name], chip.bits, f"{model.name} {chip.name}")
    for store in unchipped(model):
        digits = (store.bits + 3) // 4
        files[f"{store.name}.mem"] = "".join(f"{word:0{digits}x}\n" for word in built.contents.words[store.name])
    directory.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        write_file(directory / name, text.encode())
    say(manner, f"wrote {len(files)} files to {directory}: {model.name}.v and what it reads")
    return status


@command.command("vcd")
@machine_argument
@click.option("--of", "wanted", default="", metavar="TEXT",
              help="Which trace: part of a finding's name or message, or of a `reach` rule's text. Default: the first.")
@click.option("--out", type=click.Path(path_type=Path), help="The file, `-` for standard output; else NAME.vcd.")
@speaks("text")
def vcd_command(machine: Path | None, wanted: str, out: Path | None, quiet: bool, colour: str) -> int:
    """Prove MACHINE and write one trace as a value change dump: that of a finding, or the witness of a `reach` rule."""
    from ordain.control.phases import cycles_in
    from ordain.show.vcd import vcd

    manner = Manner("text", quiet, colour)
    built, status = _built(manner, machine)
    if built is None:
        return status
    traces = _traces(built, manner)
    chosen = [(name, trace) for name, trace in traces if wanted.casefold() in name.casefold()]
    if not chosen:
        known = "\n".join(f"  {name}" for name, _ in traces) or "  none: everything is proved and no rule says `reach`"
        raise click.UsageError(f"no trace is about `{wanted}`; there are\n{known}")
    name, trace = chosen[0]
    _write(manner, out or Path(f"{built.machine.name}.vcd"), vcd(built.contents, trace).encode(),
           f"{cycles_in(built.machine, trace)} cycles, {name}")
    return status


def _write(manner: Manner, target: Path, data: bytes, told: str) -> bool:
    """Into a file, of which something is told; or as it is to standard output."""
    if str(target) == "-":
        sys.stdout.buffer.write(data)
        return False
    write_file(target, data)
    say(manner, f"wrote {target}: {told}")
    return True


def _built(manner: Manner, machine: Path | None) -> "tuple[Built | None, int]":
    """The build, or None and an exit status. Findings go to standard error: standard output may be the file."""
    from ordain.pipeline import build_model

    path = find_machine(machine)
    built, findings = build_model(path, build_directory(path))
    tell_findings(findings, manner, beside=path, stream=sys.stderr)
    return built, exit_status(findings) if built is None else 0


def _traces(built: "Built", manner: Manner) -> "list[tuple[str, Trace]]":
    """All traces of a proof with a name each: the findings', then the witnesses'."""
    from ordain.checks.run import EVERYTHING
    from ordain.prover.model import Limits

    report = prove_built(built, EVERYTHING, Limits(), quiet=manner.quiet, keep=True)
    found = [(f"{finding.name}: {finding.message}", finding.trace) for finding in report.findings
             if finding.trace is not None]
    return found + [(f"{row.check}: {row.subject}", row.witness) for row in report.rows if row.witness is not None]
