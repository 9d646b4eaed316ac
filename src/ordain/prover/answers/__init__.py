"""From what was reached to verdicts: conditions, fixpoints, monitors, paths and traces."""
