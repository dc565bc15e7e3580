"""The detection matrix: a failure mode that begins in a step, what must tell it and when, and what does."""
