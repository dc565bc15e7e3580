"""The soft controller in real time: scans at absolute deadlines, over any I/O port, with its records kept."""
