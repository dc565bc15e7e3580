"""Guards of the rows, permissives of the commands, and the last word on the outputs."""

from controller.sequence.causes import Causes
from controller.sequence.definition import fact
from controller.sequence.steps import (
    DRAIN,
    EMPTY,
    FAULT,
    FULL_BELOW,
    LEVEL_HOLD,
    PULSE_MAX_MS,
    REOPEN,
    REST,
    SETTLE,
    TO_CLEAN,
    TO_EMPTY,
    WARNING,
)


class Facts(Causes):
    """The facts of the receiver, whole."""

    start_refused = fact[bool]()  # from REFUSALS
    clean_refused = fact[bool]()
    empty_refused = fact[bool]()
    reset_refused = fact[bool]()
    level_high_acts = fact[bool]()  # from INTERLOCKS
    end_batch = fact[bool]()

    # ---- permissives, each shown by name ---------------------------------------------------------------
    not_at_rest = fact(lambda s: s.was.step != REST)
    in_fault = fact(lambda s: s.was.step == FAULT)
    powering_up = fact(lambda s: not s.was.powered)
    no_fault = fact(lambda s: s.was.step != FAULT)
    flap_open_uncalled = fact(lambda s: s.flap_open and not s.was.flap_open_cmd)
    vacuum_not_good = fact(lambda s: not s.vacuum_good)
    not_near_zero = fact(lambda s: not s.near_zero)
    clean_asked = fact(lambda s: s.now.clean_request)
    batch_perhaps_on_board = fact(lambda s: s.was.on_board != EMPTY)
    vacuum_over_release = fact(lambda s: s.vacuum_good and not s.under_release)
    readiness_lost = fact(
        lambda s: (
            s.safety_chain_open
            or s.stop_contact_open
            or s.image_too_old
            or s.supply_not_over_long
            or s.vacuum_bad
            or s.not_near_zero
            or s.flap_open_uncalled
            or s.flap_both_long
        )
    )

    # ---- commands --------------------------------------------------------------------------------------
    start_accepted = fact(lambda s: s.start_wanted and not s.start_refused)
    clean_accepted = fact(lambda s: s.clean_asked and not s.clean_refused)
    empty_accepted = fact(lambda s: s.now.empty_request and not s.empty_refused)
    asked = fact(lambda s: s.start_accepted or s.clean_accepted or s.empty_accepted)
    reset_accepted = fact(lambda s: s.reset_edge and not s.reset_refused)
    fault_at_power_up = fact(lambda s: not s.was.powered and s.was.fault_stored)

    # ---- idle ------------------------------------------------------------------------------------------
    full_for_order = fact(lambda s: s.vessel_full and (s.was.order == TO_CLEAN or s.was.order == TO_EMPTY))
    warn_cancelled = fact(
        lambda s: s.was.step == WARNING and (s.stop or s.halt or s.readiness_lost or s.full_for_order)
    )
    warned = fact(lambda s: s.in_step_ms >= s.set.warning_ms)
    warned_to_clean = fact(lambda s: s.warned and (s.was.order == TO_CLEAN or s.was.order == TO_EMPTY))
    warned_and_full = fact(lambda s: s.warned and s.level_high_acts)
    warned_with_batch = fact(lambda s: s.warned and s.was.on_board != EMPTY)

    # ---- suction ---------------------------------------------------------------------------------------
    stopped = fact(lambda s: not s.run)
    wait_and_stopped = fact(lambda s: s.wait and not s.run)
    full_and_closed = fact(lambda s: s.level_high_acts and s.flap_proven)
    off_seat = fact(lambda s: s.flap_unproven and s.travel_over and s.reopen_possible)
    sealed = fact(
        lambda s: (
            s.flap_proven and s.in_step_ms >= s.set.tank_charge_ms and s.level_settled and not s.vessel_full
        )
    )
    sealed_line_loaded = fact(lambda s: s.sealed and s.was.line_loaded)
    reopened = fact(lambda s: s.in_step_ms >= s.set.flap_reopen_ms)
    stop_feeding = fact(lambda s: not s.run and not s.set.finish_fill_on_stop)
    purged = fact(lambda s: s.line_empty or (s.in_step_ms >= s.purge_limit_ms and not s.vacuum_high))
    has_vacuum = fact(lambda s: s.was.proved or s.vacuum_pa >= s.set.proving_pa)
    fill_over = fact(lambda s: s.filled_now_ms >= s.set.fill_ms)
    has_vacuum_filled = fact(lambda s: s.has_vacuum and s.fill_over)
    line_is_empty = fact(lambda s: s.no_material_acts)
    batch_too_high = fact(lambda s: s.vacuum_too_high_acts)
    cleared = fact(lambda s: s.line_empty or s.clear_over)

    # ---- emptying and filter clean -----------------------------------------------------------------------
    vented = fact(
        lambda s: (s.released and s.in_step_ms >= s.set.vent_min_ms) or (s.vacuum_bad and s.release_over)
    )
    opened_to_clean = fact(lambda s: s.flap_open_proven and s.was.order == TO_CLEAN)
    open_again = fact(lambda s: s.open_late and s.open_retry_left and not s.wait)
    drained = fact(lambda s: s.was.step == DRAIN and s.in_step_ms >= s.set.drain_ms and s.flap_open_proven)
    starved = fact(lambda s: s.was.short_batches >= s.set.short_batches_max)
    last_clean = fact(lambda s: not s.run or s.vessel_full or s.starved)
    pulses_wanted = fact(lambda s: s.set.pulses_last if s.last_clean else s.set.pulses)
    clean_due = fact(
        lambda s: (
            s.drained
            and s.pulses_wanted > 0
            and (s.was.batches_since_clean + 1 >= s.set.clean_every or s.was.recovery or s.last_clean)
        )
    )
    pulse_over = fact(lambda s: (s.was.pulsed and s.pulse_on_ms >= s.set.pulse_ms) or s.pulse_cut)
    pulse_cut = fact(lambda s: s.was.pulsed and not s.was.pulse_1_cmd)
    recovered = fact(lambda s: s.in_step_ms >= s.set.recovery_ms)
    recovered_next = fact(lambda s: s.recovered and s.was.pulses_done < s.pulses_wanted)
    settled = fact(lambda s: s.was.step == SETTLE and s.in_step_ms >= s.set.settle_ms)
    batch_over = fact(lambda s: s.drained or s.settled)
    over_and_stopped = fact(lambda s: s.batch_over and not s.run)
    over_and_full = fact(lambda s: s.batch_over and s.level_high_acts)
    over_and_starved = fact(lambda s: s.batch_over and s.starved)

    # ---- level hold --------------------------------------------------------------------------------------
    full_stands = fact(
        lambda s: s.vessel_full or (s.was.hold_reason == FULL_BELOW and not s.level_clear_long)
    )
    starved_stands = fact(
        lambda s: s.starved and not (s.was.step == LEVEL_HOLD and s.in_step_ms >= s.set.starved_pause_ms)
    )
    air_stands = fact(
        lambda s: (
            (s.was.air_hold or s.wait)
            and (s.supply_under_limit or s.was.step != LEVEL_HOLD or s.in_step_ms < s.set.resume_stop_ms)
        )
    )
    hold_over = fact(lambda s: not s.full_stands and not s.starved_stands and not s.air_stands)
    hold_over_with_batch = fact(lambda s: s.hold_over and s.was.on_board != EMPTY and not s.was.broken_off)

    # ---- outputs: what is wanted, and the last word --------------------------------------------------------
    flap_frozen_open = fact(lambda s: s.halted and s.was.flap_open_cmd)
    release_known = fact(
        lambda s: s.under_release if s.vacuum_good else s.was.source_off_ms >= s.set.release_limit_ms
    )
    flap_open_barred = fact(
        lambda s: not s.was.flap_open_cmd and (not s.release_known or s.source_cmd or s.full_for_order)
    )
    pulse_rested = fact(lambda s: s.pulse_off_ms >= s.set.pulse_off_min_ms)
    pulse_called = fact(lambda s: s.was.pulsed or s.was.pulse_1_cmd or (s.pulse_air and s.pulse_rested))
    reopen_pulse_called = fact(
        lambda s: (
            s.was.step == REOPEN
            and s.flap_open_proven
            and (s.was.pulse_1_cmd or (s.pulse_air and s.pulse_rested and not s.was.pulsed))
            and s.pulse_on_ms < s.set.pulse_ms
        )
    )
    pulse_barred = fact(
        lambda s: (
            not s.flap_open_proven
            or s.source_cmd
            or s.pulse_on_ms >= min(s.set.pulse_ms, PULSE_MAX_MS)
            or (not s.was.pulse_1_cmd and s.pulse_off_ms < s.set.pulse_off_min_ms)
        )
    )
    nothing_yet = fact(lambda s: s.in_step_ms < 0)
    lamp_on = fact(lambda s: s.flash_ms < 500)
    horn_wanted = fact(lambda s: not s.horn_silenced)
    waiting_armed = fact(lambda s: s.step == LEVEL_HOLD and s.lamp_on)
