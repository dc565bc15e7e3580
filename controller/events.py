"""
The event dictionary: whatever the journal, the page and the reports can say, defined once.

One row for each interlock id of the tables (a test holds both ways), then commands and moves. An *alarm*
is a row that needs the operator: its priority is over INFO. The words are for the person at the machine;
what can be isolated is isolated before anybody reaches into it.
"""

from enum import IntEnum
from typing import NamedTuple


class Priority(IntEnum):
    """How soon the operator is needed."""

    INFO = 0  # not at all
    LOW = 1  # at the next round
    MEDIUM = 2  # the receiver waits, or soon will
    HIGH = 3  # the receiver stands


class EventDef(NamedTuple):
    """One row of the dictionary."""

    id: str
    priority: Priority
    text: str  # what is the case
    cause: str  # what it usually comes from, the commonest first
    action: str  # what the operator does


INFO, LOW, MEDIUM, HIGH = Priority
E = EventDef

_INTERLOCKS = (
    E("SAFETY_CHAIN_OPEN", HIGH, "the hardwired safety circuit is open",
      "emergency stop pressed, guard open, or the circuit not reset",
      "look why it was opened; reset the circuit at its own button, then reset here"),
    E("IO_LOST", HIGH, "the inputs are too old to act on",
      "remote I/O without power or network, or a loose plug",
      "see that the remote I/O is alive, then reset"),
    E("SUPPLY_AIR_LOST", HIGH, "supply air is so low that the flap can no longer be trusted",
      "isolating valve shut, air dumped by the safety circuit, hose burst, compressor down",
      "bring the air back and find out who took it; the flap may move when it returns; then reset"),
    E("SUPPLY_AIR_LOW", MEDIUM, "supply air is under its low limit",
      "isolating valve half shut, air filter clogged, line too thin, a neighbour drawing",
      "read the gauge at rest and while drawing: good at rest and low while drawing is a throttled line"),
    E("FLAP_NOT_CLOSED", HIGH, "the flap is not proven closed",
      "product on the seat; heap of the vessel under the flap; switch out of place; no air at the valve",
      "isolate; look under the flap and at the seat; check the closed switch; then reset"),
    E("FLAP_LOST_CLOSED", HIGH, "the flap is no longer proven closed while vacuum is drawn",
      "string or lump on the seat, loose switch or bracket, spring or supply weak",
      "read the vacuum at the trip: if it stood, suspect the switch, if it fell, the seat; isolate; look at "
      "both; then reset"),
    E("FLAP_NOT_OPEN", HIGH, "the flap did not open in its time, the second try included",
      "seal sticking after a long stand, vacuum left in the body, open switch out of place, no air",
      "isolate; free the seal, check the open switch and the cylinder's air; then reset"),
    E("FLAP_LOST_OPEN", HIGH, "the flap left its open place while the batch dropped or the filter was pulsed",
      "supply fell, the open switch came loose, something moves the flap from below",
      "isolate; check air and switch before anything is pulsed again; then reset"),
    E("FLAP_DISAGREES", HIGH, "the flap switches contradict each other",
      "both on: a switch stuck or a cable crossed; neither: flap between its ends, or a wire broken",
      "isolate; move the flap by hand and watch both switches; then reset"),
    E("FLAP_MOVED", HIGH, "the flap left its place without a command",
      "air came back, somebody worked at the valve, a switch moved",
      "isolate; see who is at the machine, check valve and switches; then reset"),
    E("LEVEL_HIGH", LOW, "the vessel below is full",
      "normal when it consumes less than is delivered; else probe caked, or outlet stopped",
      "none while the vessel empties; if it is not full, clean the probe"),
    E("NO_VACUUM", HIGH, "the body does not come to vacuum, or lost it",
      "hose off or leaking, flap seat dirty, vent valve open, source dead; transmitter frozen or "
      "its zero drifted",
      "see if supply dips when the source starts: a dip, and the source works: look for the leak at hose, "
      "couplings, seat, vent; no dip, and the source is dead; compare the transmitter with a "
      "gauge; then reset"),
    E("LINE_BLOCKED", HIGH, "the conveying line does not clear",
      "plug at the pick-up or in the foot bend, lance buried; vessel below full or its probe failed, product "
      "backed up into the receiver",
      "isolate; open the foot of the riser and the pick-up, the riser's content will fall; then reset"),
    E("VACUUM_TOO_HIGH", MEDIUM, "body vacuum is over its high limit",
      "line filling up: too much feed, too little air; a liner on the lance; vessel below full or its probe "
      "failed, product backed up into the receiver",
      "take feed away or give air at the pick-up; after two of three batches the receiver trips"),
    E("VACUUM_NOT_RELEASED", HIGH, "the body stays under vacuum with the source off and the vent open",
      "vent valve stuck or its filter blocked, source valve passing, line plugged; transmitter frozen or its "
      "zero drifted",
      "do not open the flap by hand: let air in at the vent first; check vent, source valve and, against a "
      "gauge, the transmitter; then reset"),
    E("VACUUM_IN_IDLE", LOW, "body vacuum is not near zero at rest",
      "transmitter zero moved, source valve passing, shared extraction, vessel below under pressure",
      "compare with a gauge; set the zero or find the leak; start stays refused until it is near zero"),
    E("NO_MATERIAL", LOW, "the line runs empty before the fill time is over",
      "sack or bin empty, lance lifted, product bridging above the pick-up, false air at the feed",
      "refill or free the feed point; after some short batches the receiver pauses and tries again"),
    E("PULSE_TANK_WEAK", LOW, "supply air is too low for a cleaning pulse",
      "supply near its limit, tank fill line throttled",
      "raise the supply; the cycle went on without the pulse, so watch the filter"),
    E("SIGNAL_BAD", MEDIUM, "an instrument signal is outside what a living transmitter gives",
      "wire broken, plug wet, transmitter without power, impulse hole caked (reading does not move)",
      "check the loop current at the transmitter: 4-20 mA good, under 3.6 or over 21 mA failed (NE 43)"),
    E("OUTPUT_OVERRIDDEN", HIGH, "the last word held an output back for too long",
      "a step asks for what its guards forbid: usually a switch or signal that changed at the wrong moment",
      "read the first facts below; if they look right, it is a fault of the program: keep the run folder"),
    E("STEP_TOO_LONG", HIGH, "a step took longer than the sum of all its limits",
      "a wait that nothing ends; presets that do not fit each other",
      "read what the step waited for; check the presets of that step; then reset"),
)  # fmt: skip

_MOVES = (
    E("STEP_CHANGED", INFO, "the sequence moved on", "", ""),
    E("HOLD_REASON_CHANGED", INFO, "the reason of the hold changed", "", ""),
    E("COMMAND_ACCEPTED", INFO, "a command was accepted", "", ""),
    E("COMMAND_REFUSED", LOW, "a command was refused", "a permissive is missing", "see the reason given"),
    E("POWER_UP", INFO, "the controller started", "", ""),
    E("FAILURE_SET", INFO, "a failure mode was put into the simulated plant", "", ""),
    E("FAILURE_ENDED", INFO, "a failure mode of the simulated plant ended", "", ""),
)

EVENTS = {row.id: row for row in (*_INTERLOCKS, *_MOVES)}
"""Every event by its id."""

ALARM_IDS = tuple(row.id for row in _INTERLOCKS)
"""The ids that are interlocks, in the order of the dictionary."""
