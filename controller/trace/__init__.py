"""The trace: raw inputs and commanded outputs of every scan, so that a run can be scanned again elsewhere."""
