"""
The I/O list of R-101 as somebody else wrote it off: address and sense of every point, nothing else.

Addresses count from 0, as they stand in a frame.
"""

START, RESET, ACKNOWLEDGE, STOP_NOT_PRESSED, SAFETY_CLOSED, LEVEL_FREE, FLAP_CLOSED, FLAP_OPEN = range(8)
"""Contacts, discrete inputs: 1 is current."""
CONTACTS = 8

VACUUM, SUPPLY = 0, 1
"""Signals, input registers: microamperes of a 4-20 mA loop. 0 to 100 kPa of vacuum, 0 to 1,000 kPa of air."""
DEVICE_LIFE = 2
"""Input register: the device counts it up."""
REGISTERS = 3

SOURCE, OPEN_FLAP, CLOSE_VENT, PULSE, PURGE, FEED, RUN_LAMP, FAULT_LAMP, HORN = range(9)
"""Valves and lamps, coils."""
COILS = 9

OUR_LIFE = 0
"""Holding register: we count it up, after the coils, so that the device takes them together."""
