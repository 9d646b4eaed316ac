"""`ordain decode IMAGE...`: what chips hold, in the source's symbols, and where that is not what was built."""

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
    print_json,
    say,
    speaks,
    tell_findings,
)
from ordain.text.findings import Finding

if TYPE_CHECKING:
    from ordain.rom.decode import Decoded, DecodedWord


@click.command("decode")
@click.argument("images", nargs=-1, required=True, metavar="IMAGE...")
@machine_option
@build_option
@click.option("--differing", is_flag=True, help="Only the words that are not as built.")
@speaks("text", "json")
def command(images: tuple[str, ...], machine: Path | None, differing: bool, form: str, quiet: bool,
            colour: str) -> int:
    """Turn chip images, or dumps read from real chips, back into microinstructions, address by address.

    An IMAGE is a file named after its chip (U21.bin) or CHIP=FILE; raw, Intel HEX, S-record or $readmemh text, told
    apart by content. Says which placed words differ from the build, in which chip and on which pin, and when a whole
    chip looks swapped, rotated or inverted, that. Exit status 1 when something differs.
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
    status = max(exit_status(findings), int(bool(decoded.differing or decoded.conflicts or decoded.suspicions)))
    if form == "json":
        from ordain.show.findings_json import finding_data

        print_json({"command": "decode", "status": status, **_as_data(decoded),
                    "findings": [finding_data(finding) for finding in findings]})
        return status
    tell_findings(findings, manner, beside=path)
    words = decoded.differing if differing else decoded.words
    for line in _word_lines(words, {store.name: (-(-store.address_width // 4), -(-store.bits // 4))
                                    for store in built.machine.stores.values()}):
        say(manner, line)
    for text in _faults(decoded):
        click.echo(text)
    say(manner, _verdict(decoded, len(dumps)))
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


def _word_lines(words: "tuple[DecodedWord, ...]", digits: dict[str, tuple[int, int]]) -> list[str]:
    """`* 3F1  hold.wait  0001A2  grant, loop ...`; a star marks what is not as built, followed by what was."""
    lines: list[str] = []
    store = ""
    width = max((len(word.label) for word in words), default=0)
    for word in words:
        if word.store != store:
            store = word.store
            lines.append(f"{store}:")
        address, cell = digits[store]
        mark = "*" if word.pins else " "
        lines.append(f"{mark} {word.address:0{address}X}  {word.label:{width}}  {word.word:0{cell}X}  "
                     f"{', '.join(word.orders)}".rstrip())
        if word.pins:
            text = word.built_text or "(nothing placed)"
            built = f"{word.built:0{cell}X}  " if word.built is not None else ""
            lines.append(f"    built: {built}{text}")
            places = ", ".join(f"{pin.chip} D{pin.pin} at {pin.cell:X} reads {pin.read}" for pin in word.pins[:8])
            lines.append(f"    differs on {places}" + (f" and {len(word.pins) - 8} more" if len(word.pins) > 8 else ""))
    return lines


def _faults(decoded: "Decoded") -> list[str]:
    """What is wrong with whole chips."""
    lines = []
    for suspicion in decoded.suspicions:
        lines.append(f"{suspicion.chip}: {suspicion.text}: then {suspicion.agree} of {suspicion.cells} placed cells "
                     f"agree, as it is {suspicion.before}")
    for conflict in decoded.conflicts[:10]:
        lines.append(f"copies disagree: {conflict.one[0]} at {conflict.one[1]:X} and "
                     f"{conflict.other[0]} at {conflict.other[1]:X}")
    if len(decoded.conflicts) > 10:
        lines.append(f"copies disagree in {len(decoded.conflicts) - 10} more places")
    return lines


def _verdict(decoded: "Decoded", given: int) -> str:
    chips = f"{given} chip{'s' if given != 1 else ''} read"
    if decoded.assumed:
        chips += f", {len(decoded.assumed)} taken as built ({', '.join(decoded.assumed)})"
    count = len(decoded.differing)
    verdict = "every word as built" if not count else f"{count} word{'s' if count != 1 else ''} not as built"
    return f"{chips}: {verdict}"


def _as_data(decoded: "Decoded") -> dict[str, Any]:
    return {
        "assumed": list(decoded.assumed),
        "suspicions": [suspicion._asdict() for suspicion in decoded.suspicions],
        "conflicts": [conflict._asdict() for conflict in decoded.conflicts],
        "words": [{
            "store": word.store, "address": word.address, "label": word.label, "word": f"{word.word:#x}",
            "orders": list(word.orders), "fields": dict(word.values),
            "built": None if word.built is None else f"{word.built:#x}", "built_text": word.built_text,
            "differs": [pin._asdict() for pin in word.pins],
        } for word in decoded.words],
    }
