"""What is looked for in a machine, one module a check, and what to say when it is found.

In: `rom.contents.Contents` and a `decide` function (the prover's, or any other with the same contract). Out:
`check.Report`: findings with traces, and a row for everything that was asked. May rely on machine, rom and logic,
and on `prover.model`; never sees the compiler.
"""
