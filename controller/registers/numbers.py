"""
Numbers for names, as registers carry them.

A plant's program is written against these numbers: a name keeps its number for ever. New names go to the end,
one that is no longer used stays; a test holds the tables against a list that is only ever added to.
"""

from collections.abc import Mapping
from types import MappingProxyType

from controller.sequence.logic import Logic

NONE = 0
"""In the tables that begin with 1: none."""


def _from(first: int, names: str) -> Mapping[str, int]:
    return MappingProxyType({name: first + at for at, name in enumerate(names.split())})


STATES = _from(1, "IDLE SUCTION EMPTYING FILTER_CLEAN LEVEL_HOLD FAULT")
STEPS = _from(0, """
    REST WARNING SEAL REOPEN PURGE DRAW CONVEY CLEAR VENT OPEN DRAIN PULSE RECOVER SETTLE LEVEL_HOLD FAULT
""")  # fmt: skip
HOLDS = _from(1, "vessel_full vessel_not_seen no_product not_wanted no_air")
ON_BOARD = _from(0, "no yes unknown")
ORDERS = _from(1, "run clean empty")
INTERLOCKS = _from(1, """
    SAFETY_CHAIN_OPEN IO_LOST SOURCE_OVERLOAD SOURCE_NOT_RUNNING SOURCE_RUNS_UNCOMMANDED SOURCE_NOT_READY
    SUPPLY_AIR_LOST SUPPLY_AIR_LOW SUPPLY_WEAK FLAP_NOT_CLOSED FLAP_DISAGREES FLAP_LOST_CLOSED FLAP_NOT_OPEN
    FLAP_LOST_OPEN FLAP_MOVED FLAP_SLOW LEVEL_HIGH LEVEL_DISAGREES LEVEL_NOT_SEEN LEVEL_CHATTERS
    LEVEL_NEVER_CLEARS BATCH_HELD NO_VACUUM LINE_BLOCKED VACUUM_TOO_HIGH VACUUM_NOT_RELEASED VACUUM_IN_IDLE
    NO_MATERIAL FILL_TOO_FAST FILL_TIME_OVER SHORT_CYCLE FILTER_DP_HIGH FILTER_DP_LOW CLEANING_WEAK
    PULSE_TANK_WEAK RECEIVER_OVERFULL SIGNAL_BAD SCAN_OVERRUN OUTPUT_OVERRIDDEN STEP_TOO_LONG
""")  # fmt: skip
KINDS = _from(1, "batch emptying clean")
RESULTS = _from(1, "complete trip halt stop unfinished")
COMMANDS = _from(1, "start stop halt reset acknowledge clean empty")
ANSWERS = _from(1, "waiting accepted refused")
REASONS = _from(1, """
    powering_up in_fault not_at_rest in_manual safety_chain_open stop_contact_open stop_asked halt inputs_old
    supply_not_over vacuum_not_good not_near_zero running overload flap_open_uncalled flap_both start_was_held
    start_out_of_place request_out_of_place start_edge clean_asked vessel_full batch_perhaps_on_board not_seen
    no_fault reset_out_of_place runs_uncommanded scans_lost vacuum_over_release first_number
    controller_ended another
""")  # fmt: skip
"""Facts that refuse a command; the last three are the map's own."""

FIRST_NUMBER = "the first number of a client may be an old one and is a mark only: count on and ask again"

TABLES: Mapping[str, Mapping[str, int]] = MappingProxyType({
    "states": STATES, "steps": STEPS, "holds": HOLDS, "on_board": ON_BOARD, "orders": ORDERS,
    "interlocks": INTERLOCKS, "kinds": KINDS, "results": RESULTS, "commands": COMMANDS, "answers": ANSWERS,
    "reasons": REASONS,
})  # fmt: skip


class ReasonNumbers:
    """The number of a reason that is said in words."""

    def __init__(self, logic: Logic) -> None:
        lines = [line for line in logic.definition.refusals if line.command in COMMANDS]
        self._numbers = {(line.command, line.reason): REASONS[line.fact.name] for line in lines}

    def of(self, command: str, said: str) -> int:
        """Of these words as the answer to a command; the number of `another` where none is known."""
        if said == FIRST_NUMBER:
            return REASONS["first_number"]
        if said.startswith("the controller has ended"):
            return REASONS["controller_ended"]
        return self._numbers.get((command, said), REASONS["another"])


def meaning_of_reasons(logic: Logic) -> dict[str, str]:
    """Each name of `REASONS` in words."""
    said = {line.fact.name: line.reason for line in reversed(logic.definition.refusals)}
    own = {"first_number": FIRST_NUMBER, "controller_ended": "the controller has ended",
           "another": "another reason: the journal has it in words"}  # fmt: skip
    return {name: own.get(name) or said.get(name, "no longer used") for name in REASONS}
