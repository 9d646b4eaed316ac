"""Findings about the burn ledger and the images beside it."""

from ordain.checks.check import Explanation

EXPLANATIONS = (
    Explanation(
        "torn-ledger", "the last line of the burn ledger has no end",
        "Something stopped while it was written: a power cut, a full disk, a killed process. Nothing before it is "
        "touched. Until it is mended nothing can be added, because a new record would be glued to the torn one.",
        '{"chip": "U21", "sha256": "9f86d081884c7d65',
        "`ordain burned --repair` moves the torn text into `burned.torn` and keeps a line that is whole. Then record "
        "that chip again, if it was burned."),
    Explanation(
        "damaged-ledger", "a line of the burn ledger is no record",
        "It was edited, or a merge left its marks there. The other lines count.",
        "<<<<<<< HEAD                            # in burned.jsonl",
        "Mend the line by hand where you know what it said; `ordain burned --repair` moves what cannot be read into "
        "`burned.torn`. With `burned.jsonl merge=union` in .gitattributes git joins two ledgers by itself."),
    Explanation(
        "lost-image", "the image of a burned chip cannot be restored",
        "The ledger has its sums, but the image itself is not in `burned/` or is damaged.",
        "burned/9f86d081....bin                  # removed",
        "Put the file back from a copy; or build the revision that the ledger names again; or read the chip."),
    Explanation(
        "damaged-build", "a file of the build is not the one that its manifest describes",
        "Which of the two went into the programmer cannot be known, so nothing is recorded.",
        "build/U21.bin                           # edited after the build",
        "Build again, and burn that."),
    Explanation(
        "sources-changed", "the sources are not those from which the build was made",
        "What was recorded is what the build holds; it is older or newer than the texts beside it.",
        "ordain burned U21                       # after an edit, without `ordain build`",
        "If the chip was burned from this build, all is well. Else build, burn and record again."),
    Explanation(
        "earlier-date", "a record is dated before one that is there already",
        "The latest date counts, so it changes nothing about what is in the socket.",
        "ordain burned U21                       # the clock of this computer says 1970",
        "Set the clock, or give the day with --date."),
    Explanation(
        "nothing-recorded", "the ledger knows no chip of this machine",
        "Without records nobody can say which images are in the sockets.",
        "ordain burned --restore old             # in a project that never recorded a chip",
        "Record chips with `ordain burned CHIP...` after burning them."),
)
