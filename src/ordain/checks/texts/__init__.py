"""What `explain` says about findings of the stages before the prover, stage by stage. Data only."""
