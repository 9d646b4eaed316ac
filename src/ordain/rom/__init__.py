"""Control words <-> chip images <-> files.

In: a `Machine` and words by address. Out: images, files, and what they say when read back.
`contents.Contents` is all that the prover ever sees of a build."""
