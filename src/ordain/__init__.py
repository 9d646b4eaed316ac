"""ordain: control stores compiled, proved and compared.

The packages are listed in the order of the pipeline; each imports only those above it:
text, language, machine, microprogram, placement, rom, logic, prover, checks, compare, show, cli.
"""

__version__ = "0.1.0"
