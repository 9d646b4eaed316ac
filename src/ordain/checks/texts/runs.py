"""Findings about a run of machine code, and about a capture."""

from ordain.checks.check import Explanation

EXPLANATIONS = (
    Explanation(
        "unknown-branch", "where control goes depends on bits that nothing gave a value",
        "Memory that nobody wrote, a bus that floats, a register that was never loaded: their bits are unknown, and so "
        "is what is made of them. Here that is the address of the next word. Real hardware would go somewhere, another "
        "way every time.",
        'ordain run --put "ram@0=38 05"          # and no byte that stops after them',
        "Give memory its contents, load the register first, or end the run before with `--until`."),
    Explanation(
        "bad-capture", "a file is no capture, or a broken one",
        "Read are sigrok's .sr, VCD and CSV. A file of another kind, one that was cut off, times that go back, columns "
        "that are neither levels nor numbers: nothing is followed then.",
        "ordain follow notes.txt",
        "Export the capture again from the program that made it; docs/formats.md says what is read of each format."),
)
