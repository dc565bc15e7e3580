"""The state of a station as others name it: pure functions of what reporting is told."""
