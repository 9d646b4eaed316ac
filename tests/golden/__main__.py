"""Writes the pages again: `python -m tests.golden`, or with names of subjects only theirs."""

import sys

from tests.golden.pictures import PAGES, SUBJECTS, WIDTHS, page, path_of

PAGES.mkdir(exist_ok=True)
for subject in SUBJECTS:
    if subject.name in sys.argv[1:] or not sys.argv[1:]:
        for width in WIDTHS:
            path_of(subject, width).write_text(page(subject, width), encoding="utf-8")
