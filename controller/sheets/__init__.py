"""Sheets of a station for the folder in the cabinet: I/O list, cause and effect."""
