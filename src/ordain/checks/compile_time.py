"""Texts about what is found before anything is proved: in the texts, at placement, in chips and files."""

from ordain.checks.texts import advice, comparison, images, ledger, machine, meanings, microprogram, mix, reading, runs

SUBJECTS = {
    "reading": reading.EXPLANATIONS, "machine file": machine.EXPLANATIONS, "microprogram": microprogram.EXPLANATIONS,
    "chip images": images.EXPLANATIONS, "burn ledger": ledger.EXPLANATIONS, "mix of instructions": mix.EXPLANATIONS,
    "meanings": meanings.EXPLANATIONS, "run": runs.EXPLANATIONS,
    "comparison": comparison.EXPLANATIONS, "advice": advice.EXPLANATIONS,
}

EXPLANATIONS = tuple(text for texts in SUBJECTS.values() for text in texts)
