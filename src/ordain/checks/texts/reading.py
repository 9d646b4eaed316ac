"""Findings about files and their layout, before anything in them is understood."""

from ordain.checks.check import Explanation

EXPLANATIONS = (
    Explanation(
        "missing-file", "a file that is named does not exist",
        "File names in `include` and `microprogram` lines are taken from the directory of the machine file.",
        'include "consol.machine"              # the file is called console.machine',
        "Correct the name, or create the file."),
    Explanation(
        "unreadable-file", "a file cannot be read",
        "The operating system refuses it; the message gives its reason.",
        "ordain build weir.machine               # ... whose permissions forbid reading",
        "See to the permissions of the file and of its directory."),
    Explanation(
        "not-a-file", "something that is named is a directory or a device",
        "Only ordinary files are read.",
        'include "parts"                        # a directory',
        "Name the file in it that is meant."),
    Explanation(
        "file-too-large", "a text file is larger than any machine needs",
        "A limit, so that a wrong name (an image, a disk) ends in a message and not in a long wait.",
        'microprogram "disk.img"',
        "Correct the name, or split the text into several files."),
    Explanation(
        "binary-file", "a text file holds zero bytes",
        "Machine and microprogram files are UTF-8 text; what was found is an image or an archive.",
        'microprogram "U21.bin"',
        "Name the text file. Images go to `ordain decode`."),
    Explanation(
        "not-utf-8", "a text file is not UTF-8",
        "Some editor has saved it in another encoding; often only a comment or a title is affected.",
        'machine weir "Wehr am M\\xfchlbach"      # saved as Latin-1',
        "Save the file as UTF-8."),
    Explanation(
        "control-character", "a text holds a character that is not seen and acts on what shows it",
        "Control characters and marks that turn the direction of writing make a terminal or an editor show something "
        "else than what is read. Tabs and line ends are no such characters.",
        "# end of page\\x0c",
        "Take the character out."),
    Explanation(
        "line-too-long", "a line is longer than anybody writes",
        "A limit, so that a damaged file ends in a message.",
        "# ten thousand characters without an end of line",
        "Break the line: a statement goes on after a comma and while a bracket is open."),
    Explanation(
        "bad-file-name", "a name cannot be that of a file",
        "Names are relative to the machine file's directory, written with /, and stay printable.",
        'include "/home/me/console.machine"',
        "Give a name relative to the directory of the machine file."),
    Explanation(
        "file-elsewhere", "a machine file names a file outside of its directory",
        "A machine file may come from somebody else, and what it names is shown in messages. So it may name files in "
        "its own directory, in the work tree of git that holds it, in the working directory, and in those that the "
        "environment variable ORDAIN_READ_FROM lists (as PATH does). Links are followed "
        "first. A working directory that has your home directory in it does not count.",
        'include "../../parts/console.machine"',
        "Keep the file beside the machine file, or list its directory in ORDAIN_READ_FROM."),
    Explanation(
        "included-twice", "a file is named twice",
        "Everything in it would be declared twice.",
        'include "console.machine"\ninclude "console.machine"',
        "Remove one of the two lines."),
    Explanation(
        "include-cycle", "a file includes itself, directly or through others",
        "The message shows the circle.",
        'include "weir.machine"                 # in weir.machine itself',
        "Remove one of the `include` lines of the circle."),
    Explanation(
        "nested-too-deep", "blocks, conditions, includes or sequences are nested deeper than is sensible",
        "A limit, so that a runaway text ends in a message.",
        "sequence a\n        b                       # ... which calls c, which calls d, a hundred times",
        "Write it flatter."),
    Explanation(
        "tab", "a tab where blanks are wanted",
        "Blocks are told by their indentation, and a tab has no width that everybody agrees on.",
        "state upc 4 bits\n\\tnext upc + 1",
        "Use blanks; most editors can replace all tabs at once."),
    Explanation(
        "indentation", "a line is indented to no block",
        "What belongs to a statement stands indented under it, all lines of one block equally deep; some "
        "statements take "
        "no block at all.",
        "state upc 4 bits, reset 0\n    next upc + 1\n  next 0                                # between two levels",
        "Indent the line like its neighbours, or move it under the statement it belongs to."),
    Explanation(
        "syntax", "a line cannot be read",
        "The message says what was expected at that place. The other lines are read all the same, so a run "
        "reports every "
        "broken line.",
        "state upc 4 bits reset 0                # a comma is missing",
        "Correct the line; docs/language.md shows every statement."),
    Explanation(
        "unknown-statement", "a line begins with a word that begins no statement here",
        "Statements of machine files and of microprograms are different; some words are statements only inside a "
        "block.",
        "stat upc 4 bits, reset 0",
        "Correct the spelling, or move the line to the file or block it belongs to."),
    Explanation(
        "said-twice", "something that can be said once is said twice",
        "The two may disagree, and then one of them would be ignored in silence.",
        "state upc 4 bits, reset 0, reset 1",
        "Leave the one that is right."),
    Explanation(
        "no-machine", "the file does not say which machine it describes",
        "A machine file has one line `machine NAME \"title\"`.",
        "store control 16 words of 8 bits        # ... as the first line of the file",
        "Begin the file with a `machine` line. An included file has none and is not built by itself."),
    Explanation(
        "reserved", "a name that the language needs for itself",
        "A few words cannot be names, because a line with them would have two meanings.",
        "field in 2 bits",
        "Choose another name."),
    Explanation(
        "unclosed-quote", "a quoted text is not closed",
        "A text ends on the line on which it begins.",
        'rule "one guest at a time   never console.owns and reader.owns',
        "Put the closing quote where the text ends."),
    Explanation(
        "unclosed-bracket", "a bracket is not closed",
        "A statement goes on while a bracket is open, as long as its lines are indented further than the first; "
        "here the "
        "next line is not, so the statement was taken to end.",
        "signal tested = (zero or carry\nstate upc 4 bits, reset 0",
        "Close the bracket."),
    Explanation(
        "unmatched-bracket", "a closing bracket closes nothing, or something else",
        "Brackets come in pairs of the same kind.",
        "signal both = {upc, page)",
        "Remove it, or correct its kind."),
    Explanation(
        "unfinished-line", "a line ends in a comma, and nothing follows",
        "A statement goes on after a comma, on a line that is indented further.",
        "keep acc, pc,\nexclusive read, write",
        "Remove the comma, or write down what was to follow."),
)
