"""The expectations of every failure mode, in the order of the parts."""

from failure_expectations import instruments, machine, process

ROWS = (
    *machine.FLAP, *machine.LINE, *machine.BODY, *machine.SOURCE, *machine.SUPPLY,
    *process.PULSES, *process.FILTERS, *process.VESSEL,
    *instruments.LINES_AND_SWITCHES, *instruments.LEVEL_PROBES, *instruments.FLAP_SWITCHES,
    *instruments.OTHER_CONTACTS, *instruments.SIGNALS,
)  # fmt: skip
