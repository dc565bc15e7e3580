"""Station check: what a station should do, worked out without simulating it, against what is set."""
