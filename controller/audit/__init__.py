"""The audit log: who did what, in lines that are chained, so that a change of the past shows."""
