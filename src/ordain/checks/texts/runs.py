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
        "unknown-sent", "a device takes bits that nothing gave a value",
        "Whoever samples a bus and is no part of the machine, or was named with --device, gets what stands there. Of "
        "some bits of it, or of whether it is taken at all, nothing is known: real hardware would send something, "
        "another time something else. It is told once for each word that sends so.",
        'ordain run --each sent                   # and acc was never loaded',
        "Load what is sent before it is sent; the note says where the bits come from."),
    Explanation(
        "unknown-address", "a memory is written at an address that is not known",
        "The word could go anywhere, so nothing is known of the whole memory from then on.",
        'memory <- acc, write                     # and the pointer was never loaded',
        "Load the register that the address comes from; the note says which it is."),
    Explanation(
        "unknown-word", "a raw file cannot say that a word is not known",
        "Intel HEX, S-record and $readmemh files leave such words out; a raw file has a level for every bit, and a "
        "guess would look like what the program has written.",
        'ordain run --dump ram@0-FF=ram.bin       # and nothing wrote 40',
        "Write another kind of file, or only the words that were written."),
    Explanation(
        "bad-capture", "a file is no capture, or a broken one",
        "Read are sigrok's .sr, VCD and CSV. A file of another kind, one that was cut off, times that go back, columns "
        "that are neither levels nor numbers: nothing is followed then.",
        "ordain follow notes.txt",
        "Export the capture again from the program that made it; docs/formats.md says what is read of each format."),
)
