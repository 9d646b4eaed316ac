"""How long things take: cycles of each instruction, a mix of them, what a poll costs, and advice that follows.

In: the machine, its contents and the prover's search. Out: figures as data, for `compare`, `show` and `cli`.
"""
