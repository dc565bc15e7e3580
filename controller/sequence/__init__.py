"""The logic of the receiver, pure: facts, memory and four tables. No clock, no I/O, no randomness."""
