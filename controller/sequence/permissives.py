"""Permissives of the commands, each shown by name, and what was accepted."""

from controller.sequence.causes import Causes
from controller.sequence.definition import fact, on_delay
from controller.sequence.steps import EMPTY, FAULT, REST, TO_CLEAN, TO_EMPTY, WARNING


class Permissives(Causes):
    """What stands against a command."""

    start_refused = fact[bool]()  # from REFUSALS
    clean_refused = fact[bool]()
    empty_refused = fact[bool]()
    reset_refused = fact[bool]()

    not_at_rest = fact(lambda s: s.was.step != REST)
    not_at_rest_or_fault = fact(lambda s: s.was.step != REST and s.was.step != FAULT)
    not_idle_or_fault = fact(lambda s: s.was.step not in (REST, WARNING, FAULT))
    in_fault = fact(lambda s: s.was.step == FAULT)
    in_manual = fact(lambda s: s.was.manual)
    powering_up = fact(lambda s: not s.was.powered)
    no_fault = fact(lambda s: s.was.step != FAULT)
    flap_open_uncalled = fact(
        lambda s: s.driven and not s.two_coils and s.flap_open and not s.was.flap_open_cmd
    )
    vacuum_not_good = fact(
        lambda s: s.vacuum_measured and not s.vacuum_good and not (s.vacuum_bad and s.set.timed_running)
    )
    vacuum_unsure = on_delay(
        lambda s: s.vacuum_not_good and not s.set.timed_running and not s.pulse_near, by="signal_failed_ms"
    )
    not_near_zero = fact(lambda s: not s.near_zero and not s.vacuum_timed)
    batch_perhaps_on_board = fact(lambda s: s.was.on_board != EMPTY)
    line_perhaps_loaded = fact(lambda s: s.was.line_loaded)
    readiness_lost = fact(
        lambda s: (
            s.safety_chain_open
            or s.stop_contact_open
            or s.inputs_old
            or s.supply_not_over_long
            or s.vacuum_missing
            or s.vacuum_unsure
            or s.not_near_zero
            or s.overload
            or s.running
            or s.flap_open_uncalled
            or s.flap_both_long
        )
    )

    start_accepted = fact(lambda s: s.start_wanted and not s.start_refused)
    clean_accepted = fact(lambda s: s.clean_asked and not s.clean_refused)
    empty_accepted = fact(lambda s: s.now.empty_request and not s.empty_refused)
    asked = fact(lambda s: s.start_accepted or s.clean_accepted or s.empty_accepted)
    reset_accepted = fact(lambda s: s.reset_edge and not s.reset_refused)
    fault_at_power_up = fact(lambda s: not s.was.powered and s.was.fault_stored)
    full_for_order = fact(lambda s: s.vessel_full and (s.was.order == TO_CLEAN or s.was.order == TO_EMPTY))
    called_off = fact(lambda s: s.stop or s.halt or s.manual_accepted or s.readiness_lost or s.full_for_order)
    warn_cancelled = fact(lambda s: s.was.step == WARNING and s.called_off)
