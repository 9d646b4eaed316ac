"""What instructions do: words followed symbolically from an instruction's first to the next boundary, over every path.

Relies on machine, rom, logic, control and data; the prover knows nothing of it, but for the questions it is asked about
what the surroundings do meanwhile. `follow`: the paths of an instruction. `said`: what its text says of them.
`normal`: terms in normal form. `solver`: a bit-vector solver, where that is not enough. `proof`: the two held together.
`strength`: which of two texts says more.
"""
