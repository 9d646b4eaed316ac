"""Two builds side by side. In: `rom.contents.Contents`, chip images and verdicts of each. Out: what behaves
differently, what may execute a changed word, which verdicts and cycle counts moved, and what each chip needs.

Relies on machine, rom and prover only; never sees the compiler: what is compared is what the chips hold.
"""
