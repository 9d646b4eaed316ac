"""What a machine is in one cycle and what follows: the only place that says it.

In: `rom.contents.Contents` (the machine, and what its chips hold). Out: a `System` (`model`): variables with their next
values, what is free, the address of every store, over terms that plain evaluation, searches, comparisons and exports
all read. `cycle` evaluates one cycle plainly, `play` one after another; `sequencing` says what holds control addresses.
"""
