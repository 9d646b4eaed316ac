"""Every state that can be reached, and what that says about each property.

In: `rom.contents.Contents` (the machine, and what its chips hold) and `Property` values made by `checks`.
Out: `Verdicts` (`prover.model`). Relies on machine, rom, logic and control only; never sees the compiler.

The flow, from contents to verdict (`decide`), is over sets of states held as decision diagrams:

1. `control.system` turns the machine and its chips into variables with next values, free leaves, assumptions, and the
   address of every store. `questions` puts the properties over the same leaves; what a question remembers of earlier
   cycles becomes its *monitors*. `relation.cone`: what no condition depends on is left out (cone of influence).

symbolic/  Sets of states as diagrams.
2. Every bit of what is left is an *atom* (`reads`); `order` puts the atoms into an order, `space` makes diagrams of
   expressions, control words being tables of the address bits.
3. `relation`: what a cycle does, as a partitioned relation; and, once it is known what is reached, as a graph.
4. `layers`: level n holds what is new after n cycles. `cases`: that for a question and its monitors.
5. `remembered` and `outline`: questions with monitors on the search that has none, where that is enough.
6. `verdicts`: a verdict for each property, conditions met with what was reached, fixpoints on the graph; `paths`:
   single states one after another; `traces`: the inputs with which the whole machine, run by the plain evaluator and
   without any reduction, goes that way. If it does not, that is a fault of ours and ends the run.

`plain` answers the same questions state by state, with none of this; the tests hold both together.

For counting cycles (`measure`) there is a search in which control is explicit (`search.explore`):

relation/  What a cycle does.
`stores`: whose words are known where control is. `roles`: what each variable does from word to word, held, moved on,
or moving by itself. `partition`: *control* is packed into one integer, explicit bits and bits that are carried along;
agents and whatever else moves by itself are the *environment*, of which whole sets of valuations are kept. Address
lines that are free in every cycle are *selectors*. The bits that form addresses are an *entrance*. `residues`:
expressions under known words (partial evaluation); words with the same residues are one *word class*
(`word_classes`). `branching` takes the cycle of a class apart, once: next values of control, and a relation on the
environment, held as shifts and masks of one big integer (`images`).

search/  What can be reached.
`dead_bits`: bits of control that no path reads before they are overwritten are held at 0 (live variables).
`conditions`: what is left of each condition of the question at an entrance, its *cofactor*. A *point* is a control
state reduced to its explicit bits. `edges`: from a point to the next, each an image of one set of states
(`state_sets`: value of the carried bits -> set of the environment) to another, remembered by number. `breadth_first`:
level n holds what is new after n cycles.

answers/  What that says.
`answers`: conditions meet what was reached. `fixpoints`: the edges, forwards and backwards. `paths`, `traces`: as
above.
"""
