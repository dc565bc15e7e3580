"""The panel socket of a running rig: commands, held outputs, failures and the check-out of its points."""
