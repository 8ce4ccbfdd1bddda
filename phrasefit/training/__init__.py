"""Training of the learned observation model."""
