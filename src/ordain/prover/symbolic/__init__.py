"""Sets of states as decision diagrams: the second engine, for machines whose states do not split into points.

Every bit of a variable, of a monitor and of what is free is a variable of the diagrams. The flow, from system to
verdicts (`decide`): `reads` says which bits an expression can depend on, `order` puts them into an order, `space` makes
diagrams of expressions, `relation` says what a cycle does, `layers` finds what can be reached, one cycle after
another, `cases` does that for questions, `verdicts` answers them, `traces` plays what is to be shown in the whole
machine by plain evaluation.

The literature: Bryant, *Graph-based algorithms for Boolean function manipulation*, IEEE Transactions on Computers,
1986; Burch, Clarke, Long, *Symbolic model checking with partitioned transition relations*, VLSI 1991; Clarke, Grumberg,
Peled, *Model Checking*, MIT Press 1999, chapter 6.
"""
