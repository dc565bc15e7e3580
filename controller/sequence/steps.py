"""The steps of the sequence, the six states they belong to, and the words of small whole numbers."""

from enum import IntEnum

from controller.sequence.definition import DAY_MS as DAY_MS

Step = IntEnum(
    "Step",
    "REST WARNING SEAL REOPEN PURGE DRAW CONVEY CLEAR VENT OPEN DRAIN PULSE RECOVER SETTLE LEVEL_HOLD FAULT",
    start=0,
)
REST, WARNING, SEAL, REOPEN, PURGE, DRAW, CONVEY, CLEAR = list(Step)[:8]
VENT, OPEN, DRAIN, PULSE, RECOVER, SETTLE, LEVEL_HOLD, FAULT = list(Step)[8:]

IDLE = (REST, WARNING)
SUCTION = (SEAL, REOPEN, PURGE, DRAW, CONVEY, CLEAR)
EMPTYING = (VENT, OPEN, DRAIN)
FILTER_CLEAN = (PULSE, RECOVER, SETTLE)
WORKING = SUCTION + EMPTYING + FILTER_CLEAN
RUNNING = (*WORKING, LEVEL_HOLD)
BUT_FAULT = (*IDLE, *WORKING, LEVEL_HOLD)
AT_REST = (REST, WARNING, LEVEL_HOLD)  # the flap stands where it is
DRAWING = (PURGE, DRAW, CONVEY, CLEAR)  # the source acts on the body

STATES = {
    "IDLE": IDLE,
    "SUCTION": SUCTION,
    "EMPTYING": EMPTYING,
    "FILTER_CLEAN": FILTER_CLEAN,
    "LEVEL_HOLD": (LEVEL_HOLD,),
    "FAULT": (FAULT,),
}

# what is in the receiver
EMPTY, BATCH, UNKNOWN = 0, 1, 2
# what was asked for
NO_ORDER, TO_RUN, TO_CLEAN, TO_EMPTY = 0, 1, 2, 3
# why it holds
NO_REASON, FULL_BELOW, NOT_SEEN_BELOW, NO_PRODUCT, UNWANTED, NO_AIR = 0, 1, 2, 3, 4, 5
# choices of the presets
MOTOR_KIND = 1
COUNTERWEIGHT, VACUUM_HELD = 1, 2
TWO_COIL_VALVE = 1
FEEDBACK_BOTH, FEEDBACK_CLOSED, FEEDBACK_OPEN = 0, 1, 2
BY_TRANSMITTER, BY_SWITCH, BY_TIMES = 0, 1, 2
CLEAN_SIDE = 1
CLEANS_WITH_DRAIN, CLEANS_OFFLINE = 1, 2
HOLD_BATCH = 1

HOUR_MS = 3_600_000
PULSE_MAX_MS = 500  # the last word's own limit, whatever the preset says
FROZEN_PA = 200  # a living transmitter moves more than this over source on and off
