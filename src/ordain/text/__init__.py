"""Files, positions and findings. In: file names. Out: `Source`, `Span`, `Finding`. Relies on nothing else."""
