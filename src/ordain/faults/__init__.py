"""Single faults of a board, one after another, and who notices them.

In: the machine and what its chips hold. Out: faults as data (`model`), which of them there are (`listing`), what each
comes to (`classes`), and what is told of them all together (`summary`). The proofs and comparisons that the classes
rest on are put together in `faulting`.
"""
