"""Texts about what is found before anything is proved: in the texts, at placement, in chips and files."""

from ordain.checks.texts import advice, comparison, images, ledger, machine, microprogram, mix, reading

EXPLANATIONS = (*reading.EXPLANATIONS, *machine.EXPLANATIONS, *microprogram.EXPLANATIONS, *images.EXPLANATIONS,
                *ledger.EXPLANATIONS, *mix.EXPLANATIONS, *comparison.EXPLANATIONS, *advice.EXPLANATIONS)
