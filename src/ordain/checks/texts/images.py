"""Findings about image files and records of builds."""

from ordain.checks.check import Explanation

EXPLANATIONS = (
    Explanation(
        "not-text", "an image in a text format is not text",
        "Intel HEX, S-record and $readmemh files are ASCII.",
        "ordain decode U21.hex                   # which is a raw image with the wrong name",
        "Give the file the ending of what it is: .bin for a raw image."),
    Explanation(
        "not-raw", "a file for a memory is called or reads like text, and has nothing that tells it from raw bytes",
        "Intel HEX and S-records are told by their content, $readmemh text by the ending .mem. Anything else is raw "
        "bytes, and text taken for these would fill the memory with the codes of its digits.",
        'holds "monitor.hex"                     # and the file has lines like `3E 05 D3`',
        "Give the file the ending of what it is: .mem for $readmemh text, .bin for raw bytes."),
    Explanation(
        "bad-record", "a record of an image file is damaged",
        "Its start, length, type or checksum is wrong; the line is shown. A record with a wrong checksum is never "
        "used.",
        ":0800400013164A03010E0F1219",
        "Get the file again from where it came; a text-mode transfer may have changed it."),
    Explanation(
        "end-record-missing", "an image file stops without its end record",
        "The rest may be missing.",
        ":030048001A1B4C34                       # and no :00000001FF",
        "Get the whole file."),
    Explanation(
        "data-overlap", "an image file gives a byte twice",
        "Which of the two is meant cannot be known.",
        "two records for address 0x0100",
        "Find out which tool wrote it, or which two files were joined."),
    Explanation(
        "image-too-long", "an image file has data beyond the end of the device",
        "The file is for a larger chip, or has an offset.",
        "ordain decode U21.hex                   # 4096 bytes for a device of 2048",
        "Take the file of the right chip, or correct the size in the `chip` line."),
    Explanation(
        "image-size", "a raw image does not have the size of the device",
        "A raw image has no addresses, so its size must be exact.",
        "ordain decode U21.bin                   # 2047 bytes",
        "Read the chip again, with the right device selected in the programmer."),
    Explanation(
        "damaged-record", "the record of an earlier build cannot be used",
        "The manifest in the build directory was changed or cut. Without it every word may move to another "
        "address, and "
        "every chip has to be burned.",
        "build/heron.json, edited by hand",
        "Take the manifest from your version control, or remove it and burn all chips."),
    Explanation(
        "unknown-chip", "an image is given for a chip that the machine does not have",
        "Files are matched with chips by their names.",
        "ordain decode U99.bin",
        "Rename the file, or say which chip it is: `U21=file.bin`."),
    Explanation(
        "chip-given-twice", "two images are given for one chip",
        "Which of them is in the socket cannot be known.",
        "ordain decode U21.bin old/U21.bin",
        "Give one of them."),
)
