"""The rows of the dictionary that are no interlocks: moves, commands, work on the machine."""

from controller.events.definition import EventDef as E
from controller.events.definition import Priority

INFO, LOW, _, _ = Priority

MOVES = (
    E("STEP_CHANGED", INFO, "the sequence moved on", "", ""),
    E("HOLD_REASON_CHANGED", INFO, "the reason of the hold changed", "", ""),
    E("COMMAND_ACCEPTED", INFO, "a command was accepted", "", ""),
    E("COMMAND_REFUSED", LOW, "a command was refused", "a permissive is missing", "see the reason given"),
    E("POWER_UP", INFO, "the controller started", "", ""),
    E("FAILURE_SET", INFO, "a failure mode was put into the simulated plant", "", ""),
    E("FAILURE_ENDED", INFO, "a failure mode of the simulated plant ended", "", ""),
    E("INPUT_FORCED", LOW, "an input reads what a person set, not what the wire carries", "check-out",
      "release it before the receiver runs"),
    E("FORCE_ENDED", INFO, "an input reads its wire again", "", ""),
    E("OUTPUT_HELD", INFO, "an output is held by hand in manual mode", "", ""),
    E("OUTPUT_LET_GO", INFO, "an output is no longer held by hand", "", ""),
    E("CONTROL_CHANGED", INFO, "another place has control", "", ""),
    E("LINK_CHANGED", INFO, "the link to the remote I/O changed", "", ""),
    E("PRESET_CHANGED", INFO, "a setting is not what it was in the run before", "", ""),
    E("CLOCK_CHANGED", INFO, "the clock of the machine was set: dates before are wrong by so much", "", ""),
    E("RECORDS_REMOVED", LOW, "lines of the journal were removed before they were told",
      "nobody took them for long", "see why the broker takes none"),
    E("REPORTER_RESTARTED", LOW, "the process that writes the records and tells others was started again",
      "it was ended, or hung", "see why, where it happens again"),
    E("RECORDS_LOST", LOW, "records were never written", "the disk was full or gone for long",
      "make room on the disk"),
    E("CONTROLLER_ENDED", INFO, "the controller ended", "", ""),
    E("MAINTENANCE_DUE", INFO, "a counter reached its limit", "wear", "do the work, then reset the counter"),
    E("COUNTER_RESET", INFO, "a counter was set back to zero", "", ""),
)  # fmt: skip
