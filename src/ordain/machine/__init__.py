"""What hardware is. In: `language.tree.MachineFile`. Out: a `model.Machine`, names resolved and widths known.

Knows text and the trees of language; nothing of microprograms, addresses or images.
"""
