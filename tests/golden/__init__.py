"""What the commands say about heron and the examples, kept as they said it; see `pictures`."""
