"""Whether what a certificate of a proof claims is so: a second reading of the machine, for those who doubt the first.

In: `rom.contents.Contents` (the machine, and what its chips hold) and a `Certificate` (`certificate`: the file). Out:
a finding for each claim. `board` says what a cycle is, `meanings` what each check and rule asks (`steadiness`: of buses
that hold still; `dependence`: of who takes what), `audit` holds the claims against both. Imports the machine model, the
contents of the chips and a library of decision diagrams, and nothing of what found the proof: nothing of logic,
control, prover or checks.
"""
