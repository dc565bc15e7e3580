"""A simulated receiver for tests of a rig's own code, and the pytest fixture `receiver`."""
