"""`ordain decode IMAGE...`: where chips are not as built, and what they hold in the source's symbols."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ordain.cli.manner import (
    Manner,
    build_directory,
    build_option,
    exit_status,
    find_machine,
    machine_option,
    page_of,
    print_json,
    say,
    show,
    speaks,
    tell_findings,
)
from ordain.text.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from ordain.rom.contents import Contents
    from ordain.rom.decode import Decoded, DecodedWord
    from ordain.rom.readback import Conflict
    from ordain.show.page import Page


SHOWN = 20
"""Words not as built that are shown without being asked."""


@click.command("decode")
@click.argument("images", nargs=-1, required=True, metavar="IMAGE...")
@machine_option
@build_option
@click.option("--all", "everything", is_flag=True, help="Every word that was read, and every guess about a chip.")
@click.option("--differing", is_flag=True, help=f"All words that are not as built, not only the first {SHOWN}.")
@speaks("text", "json")
def command(images: tuple[str, ...], machine: Path | None, everything: bool, differing: bool, form: str, quiet: bool,
            colour: str) -> int:
    """Hold chip images, or dumps read from real chips, against the build; --all turns them back into microinstructions.

    An IMAGE is a file named after its chip (U21.bin) or CHIP=FILE; raw, Intel HEX, S-record or $readmemh text, told
    apart by content. Says what happened to a chip as a whole (in another socket, lines crossed, inverted or stuck,
    programmed in part, as a smaller part or from a wrong address on), then which words differ, in which chip and on
    which pin. Exit status 1 when something differs.
    """
    from ordain.pipeline import build_model
    from ordain.rom.decode import decode, read_dumps

    manner = Manner(form, quiet, colour)
    path = find_machine(machine)
    built, findings = build_model(path, build_directory(path))
    if built is None:
        return _only_findings(manner, path, findings)
    dumps, more = read_dumps([_named(image) for image in images], built.machine)
    findings += more
    if more or not dumps:
        return _only_findings(manner, path, findings, unusable=True)
    decoded = decode(built.contents, built.stored, built.images, dumps)
    wrong = decoded.differing or decoded.conflicts or decoded.suspicions or decoded.strays
    status = max(exit_status(findings), int(bool(wrong)))
    if form == "json":
        from ordain.show.findings_json import finding_data

        print_json({"command": "decode", "status": status, **_as_data(decoded),
                    "findings": [finding_data(finding) for finding in findings]})
        return status
    tell_findings(findings, manner, beside=path)
    say(manner, _verdict(decoded, len(dumps)))
    faults = Manner(form, False, colour)                # also with --quiet
    for text in _faults(decoded, everything):
        say(faults, text)
    unexplained = [word for word in decoded.differing if not word.explained]
    if everything or differing:
        show(manner, _word_lines(built.contents, decoded.words if everything else decoded.differing, page_of(manner)))
        return status
    show(manner, _differing_lines(built.contents, decoded, unexplained[:SHOWN], page_of(manner)))
    if len(unexplained) > SHOWN:
        say(manner, f"and {len(unexplained) - SHOWN} more words; --differing shows them")
    return status


def _named(given: str) -> tuple[str, Path]:
    """CHIP=FILE, or a file whose name says the chip. A file that exists under the whole name is that file."""
    chip, equals, file = given.partition("=")
    return (chip, Path(file)) if equals and chip and not Path(given).exists() else ("", Path(given))


def _only_findings(manner: Manner, path: Path, findings: list[Finding], unusable: bool = False) -> int:
    status = 2 if unusable else exit_status(findings)
    if manner.format == "json":
        from ordain.show.findings_json import finding_data

        print_json({"command": "decode", "status": status,
                    "findings": [finding_data(finding) for finding in findings]})
    else:
        tell_findings(findings, manner, beside=path)
    return status


def _differing_lines(contents: "Contents", decoded: "Decoded", words: "Sequence[DecodedWord]",
                     page: "Page") -> list[str]:
    """A line for each: where, on which pins as far as no chip as a whole explains it, and what should stand there."""
    from ordain.rom.contents import word_name
    from ordain.show.page import table
    from ordain.show.paint import printable

    whole = {guess.chip for guess in decoded.guesses}
    rows = []
    for word in words:
        pins = [pin for pin in word.pins if pin.chip not in whole]
        said = ", ".join(f"{pin.chip} D{pin.pin} at {pin.cell:X} reads {pin.read}" for pin in pins[:3])
        rows.append((f"  {_digits(contents, word)}", printable(word_name(contents, word.store, word.address)),
                     page.paint("bad", said + (f" and {len(pins) - 3} more" if len(pins) > 3 else "")),
                     printable(word.built_text)))
    return table(rows, page, heads=("  at", "word", "differs on", "built"))


def _digits(contents: "Contents", word: "DecodedWord") -> str:
    return f"{word.address:0{-(-contents.machine.stores[word.store].address_width // 4)}X}"


def _word_lines(contents: "Contents", words: "Iterable[DecodedWord]", page: "Page") -> list[str]:
    """`* 3F1  hold.wait  0001A2  grant, loop ...`; a star marks what is not as built, followed by what was."""
    from ordain.rom.contents import word_name
    from ordain.show.page import fold, table
    from ordain.show.paint import printable

    lines: list[str] = []
    for store in contents.machine.stores.values():
        cell = -(-store.bits // 4)
        rows = []
        for word in words:
            if word.store != store.name:
                continue
            mark = page.paint("bad", "*") if word.pins else " "
            rows.append((f"{mark} {_digits(contents, word)}", printable(word_name(contents, store.name, word.address)),
                         f"{word.word:0{cell}X}", printable(", ".join(word.orders))))
            if word.pins:
                rows.append(("", "  built", "" if word.built is None else f"{word.built:0{cell}X}",
                             printable(word.built_text or "(nothing placed)")))
                places = [f"{pin.chip} D{pin.pin} at {pin.cell:X} reads {pin.read}" for pin in word.pins[:8]]
                places += [f"{len(word.pins) - 8} more"] if len(word.pins) > 8 else []
                rows.append(("", "  differs on", "", page.paint("bad", ", ".join(places))))
        if rows:
            lines += [*fold(f"{store.name}:", page), *table(rows, page)]
    return lines


def _faults(decoded: "Decoded", everything: bool) -> list[str]:
    """What is wrong with whole chips and with what is no placed word."""
    lines = []
    whole = {suspicion.chip for suspicion in decoded.suspicions}
    for suspicion in decoded.suspicions if everything else decoded.guesses:
        lines.append(f"  {suspicion.chip} {suspicion.text} (explains {suspicion.agree} of {suspicion.cells} cells with "
                     f"words; as read {suspicion.before} agree)")
    conflicts = decoded.conflicts if everything else _unexplained(decoded)
    for conflict in conflicts[:10]:
        lines.append(f"  copies disagree: {conflict.one[0]} at {conflict.one[1]:X} and "
                     f"{conflict.other[0]} at {conflict.other[1]:X}")
    if len(conflicts) > 10:
        lines.append(f"  copies disagree in {len(conflicts) - 10} more places")
    for stray in decoded.strays:
        if everything or stray.chip not in whole:
            said = [f"{_many(stray.unused, 'cell')} without the word of unused places"] if stray.unused else []
            said += [f"{_many(stray.others, 'cell')} that hold{'s' * (stray.others == 1)} no word "
                     f"differ{'s' * (stray.others == 1)} from the image"] if stray.others else []
            lines.append(f"  {stray.chip}: {' and '.join(said)}, the first at 0x{stray.first:X}")
    return lines


def _unexplained(decoded: "Decoded") -> "list[Conflict]":
    """Copies that disagree on chips of which nothing else is known."""
    whole = {suspicion.chip for suspicion in decoded.suspicions}
    return [conflict for conflict in decoded.conflicts if not whole & {conflict.one[0], conflict.other[0]}]


def _verdict(decoded: "Decoded", given: int) -> str:
    chips = f"{_many(given, 'chip')} read"
    assumed = f"; taken as built: {', '.join(decoded.assumed)}" if decoded.assumed else ""
    image_of = {guess.chip: guess.image_of for guess in decoded.guesses}
    swapped = [chip for chip, other in image_of.items() if other and image_of.get(other) == chip]
    alone = [guess for guess in decoded.guesses if guess.chip not in swapped]
    parts = []
    if swapped:
        parts.append(f"{' and '.join(swapped)} are in each other's socket" if len(swapped) == 2 else
                     f"{len(swapped)} chips are in each other's sockets")
    if alone:
        parts.append(f"{_many(len(alone), 'chip')} wrong as a whole ({', '.join(guess.chip for guess in alone)})")
    words = sum(not word.explained for word in decoded.differing)
    if words:
        parts.append(f"{_many(words, 'word')} not as built")
    conflicts = _unexplained(decoded)
    if conflicts:
        parts.append(f"copies disagree in {_many(len(conflicts), 'place')}")
    cells = sum(stray.unused + stray.others for stray in decoded.strays if stray.chip not in image_of)
    if cells:
        parts.append(f"{'every placed word as built, but ' if not parts else ''}{_many(cells, 'cell')} without words "
                     f"differ{'s' * (cells == 1)}")
    return f"{chips}: {', '.join(parts) or 'every word as built'}{assumed}"


def _many(count: int, what: str) -> str:
    return f"{count} {what}{'s' * (count != 1)}"


def _as_data(decoded: "Decoded") -> dict[str, Any]:
    return {
        "assumed": list(decoded.assumed),
        "suspicions": [suspicion._asdict() for suspicion in decoded.suspicions],
        "conflicts": [conflict._asdict() for conflict in decoded.conflicts],
        "strays": [stray._asdict() for stray in decoded.strays],
        "words": [{
            "store": word.store, "address": word.address, "label": word.label, "word": f"0x{word.word:X}",
            "orders": list(word.orders), "fields": dict(word.values),
            "built": None if word.built is None else f"0x{word.built:X}", "built_text": word.built_text,
            "differs": [pin._asdict() for pin in word.pins], "explained": word.explained,
        } for word in decoded.words],
    }
