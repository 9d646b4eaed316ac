"""What a cycle does: the partition of the state, and the transition relation of each class of words."""
