"""The images that were burnt, kept beside the ledger under the SHA-256 of their bytes."""
