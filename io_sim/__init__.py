"""The simulated vacuum receiver: the world behind the I/O."""
