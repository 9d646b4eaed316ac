"""Faults put into the program one at a time, to see whether its tests notice: `python -m tests.mutants PACKAGE`."""
