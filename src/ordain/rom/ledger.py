"""The burn ledger: which image each chip was last burnt with, as lines that are only ever added to a file."""
