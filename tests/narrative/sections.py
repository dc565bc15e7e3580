"""All sections of the control narrative, in order."""

from narrative import section_1, section_2, section_3, section_4, section_5, section_6
from narrative.rules import Section

SECTIONS = (
    Section("1.1", "The equipment", section_1.EQUIPMENT),
    Section("1.2", "Options", section_1.OPTIONS),
    Section("2.1", "Points", section_2.POINTS),
    Section("2.2", "Memory", section_2.MEMORY),
    Section("3.1", "Steps", section_3.STEPS),
    Section("3.2", "Level hold", section_3.HOLD),
    Section("3.3", "Place of the flap", section_3.FLAP),
    Section("3.4", "Level, line and freeboard", section_3.LEVEL),
    Section("3.5", "Stop and halt", section_3.STOP_AND_HALT),
    Section("4.1", "Commands", section_4.COMMANDS),
    Section("4.2", "Permissives of start, clean and empty", section_4.PERMISSIVES),
    Section("4.3", "Places, horn and lamps", section_4.PLACES),
    Section("4.4", "Manual mode", section_4.MANUAL),
    Section("4.5", "Waiting for supply air", section_4.WAIT),
    Section("5.1", "Effects and first-out", section_5.EFFECTS),
    Section("5.2", "Interlocks", section_5.ROWS),
    Section("5.3", "Bad signals, and what takes their place", section_5.SIGNALS),
    Section("5.4", "Last word on the outputs", section_5.LAST_WORD),
    Section("6", "Records", section_6.RECORDS),
    Section("7", "Limits of this software", section_6.LIMITS),
    Section("8", "How it is proved", section_6.PROOFS),
)
