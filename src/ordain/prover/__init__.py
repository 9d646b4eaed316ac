"""Every state that can be reached, and what that says about each property.

In: `rom.contents.Contents` (the machine, and what its chips hold) and `Property` values made by `checks`.
Out: `Verdicts` (`prover.model`). Relies on machine, rom, logic and control only; never sees the compiler.

The flow, from contents to verdict (`decide`), is over sets of states held as decision diagrams:

1. `control.system` turns the machine and its chips into variables with next values, free leaves, assumptions, and the
   address of every store. `questions` puts the properties over the same leaves; what a question remembers of earlier
   cycles becomes its *monitors*.

symbolic/  Sets of states as diagrams.
2. `cone`: what no condition depends on is left out (cone of influence). Every bit of what is left is an *atom*
   (`reads`); `order` puts the atoms into an order, `space` makes diagrams of expressions, control words being tables
   of the address bits.
3. `relation`: what a cycle does, as a partitioned relation; and, once it is known what is reached, as a graph.
4. `layers`: level n holds what is new after n cycles. `cases`: that for a question and its monitors. Where sets of
   states become large the search begins anew: what holds addresses stands apart in the order (`moves`), and bits are
   held at 0 where nothing reads them (`dead`).
5. `remembered` and `outline`: questions with monitors on the search that has none, where that is enough.
6. `verdicts`: a verdict for each property, conditions met with what was reached, fixpoints on the graph; `paths`:
   single states one after another; `traces`: the inputs with which the whole machine, run by the plain evaluator and
   without any reduction, goes that way. If it does not, that is a fault of ours and ends the run.

`plain` answers the same questions state by state, with none of this; the tests hold both together.

`measure` counts cycles on what a search of its own questions has reached, with the same graphs.
"""
