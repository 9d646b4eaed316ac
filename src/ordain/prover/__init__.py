"""Every state that can be reached, and what that says about each property.

In: `rom.contents.Contents` (the machine, and what its chips hold) and `Property` values made by `checks`.
Out: `Verdicts` (`prover.model`). Relies on machine, rom, logic and control only; never sees the compiler.

The flow, from contents to verdict (`decide`):

1. `control.system` turns the machine and its chips into variables with next values, free leaves, assumptions, and the
   address of every store. `questions` puts the properties over the same leaves; what a question remembers of earlier
   cycles becomes its *monitors*.

relation/  What a cycle does.
2. `cone`: what no condition depends on is left out (cone of influence). `stores`: whose words are known where control
   is. `roles`: what each variable does from word to word, held, moved on, or moving by itself.
3. `partition`: *control* is packed into one integer, explicit bits and bits that are carried along; agents and whatever
   else moves by itself are the *environment*, of which whole sets of valuations are kept. Address lines that are free
   in every cycle are *selectors*. The bits that form addresses are an *entrance*.
4. `residues`: expressions under known words (partial evaluation); words with the same residues are one *word class*
   (`word_classes`). `branching` takes the cycle of a class apart, once: next values of control, and a relation on the
   environment, held as shifts and masks of one big integer (`images`).

search/  What can be reached.
5. `dead_bits`: bits of control that no path reads before they are overwritten are held at 0 (live variables).
   `conditions`: what is left of each condition of the question at an entrance, its *cofactor*; a condition that was not
   there when dead bits were looked for may only be asked where it reads none (`WordClasses.kept`).
6. A *point* is a control state reduced to its explicit bits. `edges`: from a point to the next, each an image of one
   set of states (`state_sets`: value of the carried bits -> set of the environment) to another, remembered by number.
7. `breadth_first`: level n holds what is new after n cycles. `explore` does 2 to 7 for a question.

answers/  What that says.
8. `answers`: conditions meet what was reached. `fixpoints`: from where a goal can be reached, how long one can wait.
   `monitors` and `prior_cycle`: questions with monitors on the search that has none, where that is sound; where it is
   not known to be, they get a search of their own. `presented`: which addresses reachable cycles present.
9. `verdicts`: a verdict for each property; `paths`: single states one after another; `traces`: the inputs with which
   the whole machine, run by the plain evaluator and without any reduction, goes that way. If it does not, that is a
   fault of ours and ends the run.

`plain` answers the same questions state by state, with none of this; the tests hold both together.
"""
