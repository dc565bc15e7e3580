"""
The I/O list of R-101 as somebody else wrote it off: where every point stands, and nothing else.

Addresses count from 0, as they stand in a frame.
"""

START, RESET, ACKNOWLEDGE, STOP_NOT_PRESSED, SAFETY_CLOSED, LEVEL_FREE, FLAP_CLOSED, FLAP_OPEN = range(8)
"""Contacts, discrete inputs from 0: 1 is current."""
CONTACTS = 8

IDENTITY, DEVICE_LIFE, VACUUM, SUPPLY = range(4)
"""Input registers from 0. Signals in uA of a 4-20 mA loop: 0 to 100 kPa of vacuum, 0 to 1,000 kPa of air."""
REGISTERS = 4
RIGHT_IDENTITY = 4101

SOURCE, OPEN_FLAP, CLOSE_VENT, PULSE, PURGE, FEED, RUN_LAMP, FAULT_LAMP, HORN = range(9)
"""Valves and lamps: bits of the holding register COMMANDS."""
BITS = 9

COMMANDS, OUR_LIFE = range(2)
"""Holding registers from 0, written in one request; the device drops all when OUR_LIFE stands still."""

UNIT = 255
"""Of the device; it hears no other."""
