"""The two languages. In: `Source`s. Out: the trees of `tree.py` and findings. Knows text, nothing of machines."""
