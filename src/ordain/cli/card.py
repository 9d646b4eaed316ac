"""`ordain card`: a step card, for a bench and a hand on the clock."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ordain.cli import completing
from ordain.cli.manner import (
    Manner,
    build_directory,
    build_option,
    exit_status,
    find_machine,
    glyphs,
    machine_option,
    page_of,
    say,
    show,
    speaks,
    tell_beside,
    tell_findings,
)
from ordain.cli.writing import write_file
from ordain.text.findings import Finding, has_errors

if TYPE_CHECKING:
    from ordain.bench.model import BenchStep, Card
    from ordain.control.model import System, Trace
    from ordain.pipeline import Built


@click.command("card")
@click.argument("instruction", required=False, default="", shell_complete=completing.instructions)
@machine_option
@build_option
@click.option("--with", "given", multiple=True, metavar="NAME=VALUE[@CYCLES]",
              help="An input, condition or bus; in every cycle, or only in those after @: 3, 2-5, 4- (from 4 on). Else "
              "it is 0. May be repeated.")
@click.option("--from", "states", multiple=True, metavar="NAME=VALUE",
              help="A state or register at the beginning of INSTRUCTION. May be repeated.")
@click.option("--put", "words", multiple=True, metavar="MEMORY@ADDRESS=WORDS|NAME=VALUE",
              help="Run a program from reset on, with these words in memory; or with what a register or state holds at "
              "power-up where the machine file does not say. May be repeated.")
@click.option("--load", "files", multiple=True, metavar="MEMORY[@ADDRESS]=FILE",
              help="Run a program from reset on, with this file in memory. May be repeated.")
@click.option("--finding", "finding", default="", metavar="NAME", shell_complete=completing.checks,
              help="The sequence that breaks a check or, by a piece of its text, a rule.")
@click.option("--cycles", type=click.IntRange(1, 100_000), default=64, show_default=True, help="At most N clocks.")
@click.option("--page", "page", type=click.Path(path_type=Path), metavar="FILE",
              help="Write it as a page to print (HTML), `-` for standard output.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Its size.")
@speaks("text")
def command(instruction: str, machine: Path | None, given: tuple[str, ...], states: tuple[str, ...],
            words: tuple[str, ...], files: tuple[str, ...], finding: str, cycles: int, page: Path | None, paper: str,
            quiet: bool, colour: str) -> int:
    """Write a card to step the machine by hand: for each clock what the lamps must show and what to set before it.

    Without INSTRUCTION it goes from reset to the second beginning of an instruction, which is what a bring-up begins
    with. INSTRUCTION is a title ("load a, n"), routine or label; --put and --load give a program in memory, --finding
    the sequence of something that is broken. Where a lamp depends on data that nothing says, the card leaves it open.
    """
    from ordain.control.system import build_system
    from ordain.pipeline import build_model
    from ordain.show.card import ASCII, UNICODE, card_lines
    from ordain.show.diagram import UNICODE as WAVES

    if bool(instruction) + bool(finding) + bool(words or files) > 1:
        raise click.UsageError("one card at a time: INSTRUCTION, --finding, or a program with --put and --load")
    if states and not instruction:
        raise click.UsageError("--from says how INSTRUCTION begins; name one")
    manner = Manner("text", quiet, colour)
    path = find_machine(machine)
    built, findings = build_model(path, build_directory(path))
    if built is None:
        tell_findings(findings, manner, beside=path)
        return exit_status(findings)
    if words or files:
        made, more = _of_program(built, path.parent, given, words, files, cycles)
        findings += more
    else:
        system = build_system(built.contents)
        made = _of_finding(built, finding, quiet) if finding else \
            _of_instruction(built, system, instruction, given, states, cycles) if instruction else \
            _of_reset(built, system, given, cycles)
    if made is None:
        tell_findings(findings, manner, beside=path)
        return exit_status(findings)
    if page is not None:
        from ordain.show.card_page import card_page

        text = card_page(built.contents, made, paper).encode()
        if str(page) == "-":
            click.echo(text, nl=False)
        else:
            write_file(page, text)
            say(manner, f"wrote {page}")
    else:
        show(manner, card_lines(built.contents, made, page_of(manner), UNICODE if glyphs() is WAVES else ASCII))
    tell_beside(findings, manner, beside=path, stream=sys.stderr if str(page) == "-" else None)
    return 0


# ---------------------------------------------------------------- from reset


def _of_reset(built: "Built", system: "System", given: tuple[str, ...], most: int) -> "Card":
    from ordain.bench.model import Card
    from ordain.cli.settings import in_cycles
    from ordain.control.phases import instants
    from ordain.control.play import Start, play

    chosen = in_cycles(built.machine, given, {one.name: one.values for one in system.free})
    trace = play(system, Start({}), chosen, most, None).trace
    home = _homes(system, trace)
    arrivals = [at for at, here in enumerate(home) if here and not (at and home[at - 1])]
    end = arrivals[1] + 1 if len(arrivals) > 1 else len(trace.cycles)
    ending = "Here the loop begins again." if len(arrivals) > 1 else \
        "The card ends here; see on with --cycles." if trace.loop is None else \
        f"Then again from clock {instants(built.machine, trace)[trace.loop].cycle} on."
    part = trace._replace(cycles=trace.cycles[:end], loop=None)
    return Card("reset and the fetch loop", tuple(_steps(built, system, part, from_reset=True)), ending)


def _homes(system: "System", trace: "Trace") -> list[bool]:
    """In which cycles control is at the boundary of instructions."""
    from ordain.control.cycle import Running
    from ordain.logic.evaluate import evaluate
    from ordain.machine.expression import substitute

    home = system.contents.machine.home
    if home is None:
        return [False] * len(trace.cycles)
    node = substitute(system.terms, (home,), system.lowering)[0]
    running = Running(system)
    found = []
    for cycle in trace.cycles:
        values = {variable.leaf: cycle.states[variable.name] for variable in system.variables}
        values.update((one.leaf, cycle.free[one.name]) for one in system.free)
        found.append(bool(evaluate(node, running.values(values))))
    return found


def _steps(built: "Built", system: "System", trace: "Trace", from_reset: bool) -> "list[BenchStep]":
    from ordain.bench.steps import begun, steps_of
    from ordain.control.sequencing import sequencing
    from ordain.data.datapath import Datapath
    from ordain.data.run import power_up

    path = Datapath(built.contents)
    if from_reset or not trace.cycles:
        return steps_of(path, system, trace, power_up(path))
    return steps_of(path, system, trace, begun(path, trace.cycles[0], sequencing(built.machine, system.terms).opcodes))


# ---------------------------------------------------------------- an instruction, a finding, a program


def _of_instruction(built: "Built", system: "System", name: str, given: tuple[str, ...], states: tuple[str, ...],
                    most: int) -> "Card":
    from ordain.bench.model import Card
    from ordain.cli.settings import in_cycles, settings
    from ordain.cli.step import last_of, never_reached, place_of, reached
    from ordain.control.play import Start, play

    title, store, addresses = place_of(built.contents, name)
    wanted = settings(built.machine, states, "--from", {one.name: one.values for one in system.variables})
    chosen = in_cycles(built.machine, given, {one.name: one.values for one in system.free})
    begin = reached(system, store, addresses, wanted, chosen(1))
    if begin is None:
        raise click.UsageError(never_reached(system, store, addresses, title, wanted, chosen(1)))
    played = play(system, Start(begin), chosen, most, built.machine.home, last_of(system))
    ending = {"until": "Then the next instruction begins.", "loop": "With these inputs it goes round for ever.",
              "assumption": "In the last clock an assumption of the machine file is broken: set inputs with --with.",
              "cycles": "The card ends here; see on with --cycles."}[played.ending]
    return Card(title, tuple(_steps(built, system, played.trace._replace(loop=None), from_reset=False)), ending,
                tuple((one, value) for one, value in begin.items() if one in built.machine.states))


def _of_finding(built: "Built", name: str, quiet: bool) -> "Card":
    from ordain.bench.model import Card
    from ordain.checks.catalogue import provable
    from ordain.checks.run import Selection
    from ordain.cli.proving import prove_built
    from ordain.control.system import build_system, released
    from ordain.prover.model import Limits

    rules = [rule for rule in built.machine.rules if name.casefold() in rule.text.casefold()]
    if name not in provable() and not rules:
        raise click.BadParameter(f"`{name}` is no check, and in the text of no rule; checks: {', '.join(provable())}",
                                 param_hint="--finding")
    selection = Selection(frozenset((name,)), "") if name in provable() else Selection(frozenset(), name)
    report = prove_built(built, selection, Limits(), quiet=quiet, keep=True)
    found = next((one for one in report.findings if one.trace is not None), None)
    if found is None or found.trace is None:
        raise click.UsageError(f"nothing breaks `{name}`: there is no sequence to step through")
    system = build_system(built.contents)
    names = {variable.name for variable in system.variables}
    if found.trace.cycles and not names <= found.trace.cycles[0].states.keys():
        system = released(system)
    return Card(f"{found.name}: {found.message}",
                tuple(_steps(built, system, found.trace._replace(loop=None), from_reset=True)),
                "The fault is in the last clock." if found.trace.loop is None else "From here on it goes round.")


def _of_program(built: "Built", directory: Path, given: tuple[str, ...], words: tuple[str, ...],
                files: tuple[str, ...], most: int) -> "tuple[Card | None, list[Finding]]":
    from itertools import islice

    from ordain.bench.model import Card
    from ordain.bench.steps import step_of, watched
    from ordain.cli.run_asked import memories_given
    from ordain.cli.run_put import held_and_words, with_held
    from ordain.cli.settings import in_cycles
    from ordain.control.phases import Instant
    from ordain.data.datapath import Datapath
    from ordain.data.run import run

    machine = built.machine
    held, words = held_and_words(machine, words)
    contents = with_held(built.contents, held)
    memories, findings = memories_given(machine, directory, files, words)
    if has_errors(findings):
        return None, findings
    sizes = {name: 1 << one.width for name, one in machine.inputs.items()}
    sizes.update((name, 1 << one.width) for name, one in machine.conditions.items())
    outside = in_cycles(machine, given, sizes)
    path = Datapath(contents)
    clock = machine.clock if machine.steps > 1 else None
    phase = None if clock is None else path.terms.leaf("state", clock.name, machine.states[clock.name].width)
    steps: list[BenchStep] = []
    lost = False
    for ran in islice(run(path, memories, outside, watched(machine)), most * machine.steps):
        at = Instant(ran.cycle, 0 if phase is None else ran.moment.held[phase].value)
        step = step_of(contents, at, ran.seen, outside(ran.cycle))
        steps.append(step)
        lost = any(address is None and store not in step.near for store, address in step.addresses.items())
        if lost:
            break
    return Card(", ".join(("a program from reset", *(f"{one} at power-up" for one in held))), tuple(steps),
                "Here control depends on what nothing says: give memory and registers what they hold." if lost else
                "The card ends here; see on with --cycles."), findings
