"""Texts about what is found before anything is proved: in the texts, at placement, in chips and files."""

from ordain.checks.check import Explanation

EXPLANATIONS: tuple[Explanation, ...] = ()
