"""
The machine state as a packaging line would ask for it, modelled on ISA-TR88.00.02.

The standard's text was not read: the numbers are those of the public OPC UA companion model of it (OPC
30050); other texts number the same names otherwise, so number and name go together. The six states of the
sequence stay the truth; this is a name for them, and states that pass within a scan are not shown:

- One reset of a fault is both Clear and Reset: from Aborted straight to Idle or Stopped.
- Another batch is not another start: batches follow each other in Execute.
- What holds the receiver comes from outside it and ends by itself: always Suspended, never Held.
"""

from typing import NamedTuple

from controller.reporting.station_now import StationNow

NAMES = {
    1: "Clearing", 2: "Stopped", 3: "Starting", 4: "Idle", 5: "Suspended", 6: "Execute", 7: "Stopping",
    8: "Aborting", 9: "Aborted", 10: "Holding", 11: "Held", 12: "Unholding", 13: "Suspending",
    14: "Unsuspending", 15: "Resetting", 16: "Completing", 17: "Complete",
}  # fmt: skip
STOPPED, STARTING, IDLE, SUSPENDED, EXECUTE, ABORTED, COMPLETING = 2, 3, 4, 5, 6, 9, 16
MODES = {1: "Produce", 2: "Maintenance", 3: "Manual"}
PRODUCE, MAINTENANCE, MANUAL = MODES

BLOCKED_BY = ("vessel full", "vessel not seen", "not wanted")
STARVED_BY = ("no product",)
NEITHER_BY = ("no air",)


class MachineState(NamedTuple):
    """One of the states, with its mode and why it waits."""

    number: int
    mode_number: int
    blocked: bool
    starved: bool

    @property
    def name(self) -> str:
        """Of the state."""
        return NAMES[self.number]

    @property
    def mode(self) -> str:
        """In words."""
        return MODES[self.mode_number]


def machine_state(now: StationNow) -> MachineState:
    """
    The view of a station.

    >>> state = machine_state(StationNow("LEVEL_HOLD", "LEVEL_HOLD", "vessel full", "run", runs_on=True))
    >>> state.number, state.name, state.mode, state.blocked
    (5, 'Suspended', 'Produce', True)
    """
    mode = MANUAL if now.manual else MAINTENANCE if now.order == "clean" else PRODUCE
    holds = now.state == "LEVEL_HOLD"
    return MachineState(
        _number(now), mode, blocked=holds and now.told in BLOCKED_BY, starved=holds and now.told in STARVED_BY
    )


def _number(now: StationNow) -> int:
    if now.state == "FAULT":
        return ABORTED
    if now.state == "LEVEL_HOLD":
        return SUSPENDED
    if now.state == "IDLE":
        if now.manual:
            return EXECUTE if now.held else STOPPED
        return STARTING if now.step == "WARNING" else IDLE if now.ready else STOPPED
    return COMPLETING if now.order == "run" and not now.runs_on else EXECUTE
