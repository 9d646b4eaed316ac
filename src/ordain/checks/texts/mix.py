"""Findings about a measured mix of instructions."""

from ordain.checks.check import Explanation

EXPLANATIONS = (
    Explanation(
        "mix-line", "a line of a mix cannot be read",
        "A line is a title, or the beginning of titles, and a fraction between 0 and 1.",
        "load a, n                               # and no figure",
        "Write the fraction at the end of the line: 0.25, 25% or 1/4."),
    Explanation(
        "mix-unknown", "a mix names no instruction",
        "Titles are those of the microprogram; the beginning of a title, in whole words, names all that begin so.",
        "laod a, n  0.25",
        "Correct the spelling; `ordain cycles --all` lists the titles."),
    Explanation(
        "mix-twice", "an instruction has two shares in a mix",
        "It would be counted twice.",
        "load a, n  0.25\nload       0.10",
        "Give it one line."),
    Explanation(
        "mix-sum", "the fractions of a mix do not come to 1",
        "Rounding errors of up to a thousandth are accepted.",
        "load  0.25\nadd   0.10                              # and nothing else",
        "Add what is missing, or correct a fraction."),
)
