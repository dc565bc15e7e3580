"""Failures of the link between controller and I/O; a scenario says them with `fail` too."""

LINK_FAILURES = {
    "link_silent": "the I/O stands connected and neither answers nor asks",
    "link_drops": "every connection is closed, and none is taken",
    "life_stands": "the I/O answers, and its life counter stands still",
}
"""
What each is. During the first two the I/O holds its outputs for the watchdog time, then they are safe.
"""
