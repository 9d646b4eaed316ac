"""Advice after a change: what could be shared, what is not used, what is left; never an error."""
