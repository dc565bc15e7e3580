"""The report of a run of scenarios: one HTML file that can be printed, signed and filed."""
