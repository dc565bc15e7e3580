"""Scenarios: what goes wrong when, what must follow and what must not; run, judged and reported."""
