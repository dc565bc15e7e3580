"""Guards of the rows."""

from controller.sequence.definition import fact
from controller.sequence.permissives import Permissives
from controller.sequence.steps import (
    CONVEY,
    DRAIN,
    EMPTY,
    REST,
    SETTLE,
    TO_CLEAN,
    TO_EMPTY,
    VACUUM_HELD,
)


class Guards(Permissives):
    """When a step is left, and where to."""

    level_not_seen_acts = fact[bool]()  # from INTERLOCKS

    tripped = fact(lambda s: s.trip and not (s.was.manual and s.was.step == REST))

    # ---- idle ----------------------------------------------------------------------------------------
    warned = fact(lambda s: s.in_step_ms >= s.set.warning_ms)
    warned_to_clean = fact(lambda s: s.warned and (s.was.order == TO_CLEAN or s.was.order == TO_EMPTY))
    warned_and_full = fact(lambda s: s.warned and s.level_high_acts)
    warned_with_batch = fact(lambda s: s.warned and s.was.on_board != EMPTY)
    warned_to_wait = fact(lambda s: s.warned and (s.not_wanted or s.feed_low))

    # ---- suction -------------------------------------------------------------------------------------
    stopped = fact(lambda s: not s.run)
    wait_and_stopped = fact(lambda s: s.air_wait and not s.run)
    full_and_closed = fact(lambda s: s.level_high_acts and s.flap_proven)
    off_seat = fact(lambda s: s.flap_unproven and s.travel_over and s.reopen_possible)
    sealed = fact(
        lambda s: (
            (s.flap_proven or s.set.flap_kind == VACUUM_HELD)
            and s.in_step_ms >= s.set.tank_charge_ms
            and s.level_settled
            and not s.vessel_full
            and s.source_ready
        )
    )
    sealed_line_loaded = fact(lambda s: s.sealed and s.was.line_loaded)
    reopened = fact(lambda s: s.in_step_ms >= s.set.flap_reopen_ms)
    stop_feeding = fact(lambda s: not s.run and not s.set.finish_fill_on_stop)
    has_vacuum = fact(
        lambda s: (
            (s.was.proved or s.vacuum_present or (s.vacuum_timed and s.proving_over)) and not s.not_seated
        )
    )
    not_seated = fact(lambda s: s.set.flap_kind == VACUUM_HELD and s.flap_unproven)
    purged = fact(
        lambda s: (
            not s.not_seated and (s.line_empty or (s.in_step_ms >= s.purge_limit_ms and not s.vacuum_high))
        )
    )
    fill_over = fact(lambda s: s.filled_now_ms >= s.set.fill_ms or (s.was.step == CONVEY and s.receiver_full))
    has_vacuum_filled = fact(lambda s: s.has_vacuum and s.fill_over)
    level_ends_batch = fact(lambda s: s.was.step == CONVEY and s.level_high_acts)
    dp_ends_batch = fact(lambda s: s.dp_far_over_long)
    line_is_empty = fact(lambda s: s.no_material_acts)
    batch_too_high = fact(lambda s: s.vacuum_too_high_acts)
    cleared = fact(lambda s: s.line_empty or s.clear_over)

    # ---- emptying and filter clean -------------------------------------------------------------------
    held_before_drop = fact(
        lambda s: (s.level_high_acts or s.level_not_seen_acts) and s.was.on_board != EMPTY
    )
    held_and_stopped = fact(lambda s: s.held_before_drop and not s.run)
    held_with_batch = fact(lambda s: s.held_before_drop and s.run)
    vented = fact(
        lambda s: (
            s.source_quiet
            and (
                (s.released and s.in_step_ms >= s.set.vent_min_ms)
                or s.released_by_time
                or (s.vacuum_bad and s.release_over)
            )
        )
    )
    vented_to_pulse = fact(lambda s: s.vented and s.was.order == TO_CLEAN and (s.offline or s.uncommanded))
    opened = fact(
        lambda s: s.flap_open_proven or (s.uncommanded and s.open_late and s.may_be_empty and not s.wait)
    )
    opened_to_clean = fact(lambda s: s.opened and s.was.order == TO_CLEAN)
    open_again = fact(lambda s: s.open_late and s.open_retry_left and not s.wait)
    starved = fact(lambda s: s.was.short_batches >= s.set.short_batches_max)
    last_clean = fact(lambda s: not s.run or s.vessel_full or s.starved or s.feed_low or s.not_wanted)
    rounds_wanted = fact(lambda s: s.set.pulses_last if s.last_clean else s.set.pulses)
    drain_led = fact(lambda s: s.with_drain and s.was.step == DRAIN and s.in_step_ms >= s.set.clean_lead_ms)
    clean_called = fact(
        lambda s: (
            s.was.batches_since_clean + 1 >= s.set.clean_every
            or s.was.recovery
            or s.was.dp_asked
            or s.dp_bad
            or s.last_clean
            or s.was.too_fast_batches >= s.set.too_fast_in_row
        )
    )
    clean_due = fact(
        lambda s: (s.drain_over or s.drain_led) and ((s.clean_called and s.rounds_wanted > 0) or s.left_over)
    )
    still_emptying = fact(lambda s: s.was.emptying and not s.drain_over)
    pulse_late = fact(lambda s: s.pulse_given_up and not s.still_emptying)
    pulse_over = fact(lambda s: (s.was.pulsed and s.pulse_on_ms >= s.set.pulse_ms) or s.pulse_cut)
    pulse_cut = fact(lambda s: s.was.pulsed and not s.was.pulsing)
    recovered_step = fact(lambda s: s.in_step_ms >= s.set.recovery_ms)
    recovered_next = fact(lambda s: s.recovered_step and s.was.rounds_done < s.rounds_wanted)
    recovered = fact(lambda s: s.recovered_step and not s.still_emptying)
    settled = fact(lambda s: s.was.step == SETTLE and s.in_step_ms >= s.set.settle_ms)
    full_too_soon = fact(
        lambda s: (
            s.batch_over
            and s.driven
            and not s.vessel_full
            and s.was.too_fast_batches == s.set.too_fast_in_row
        )
    )
    over_and_left = fact(
        lambda s: ((s.left_over and not s.hangs_open) or s.full_too_soon) and not s.was.emptied_again
    )
    over_and_stopped = fact(lambda s: s.batch_over and not s.run)
    over_and_full = fact(lambda s: s.batch_over and s.level_high_acts)
    over_and_starved = fact(lambda s: s.batch_over and (s.starved or s.feed_low))
    over_and_unwanted = fact(lambda s: s.batch_over and s.not_wanted)

    # ---- level hold ----------------------------------------------------------------------------------
    hold_over_with_batch = fact(lambda s: s.hold_over and s.was.on_board != EMPTY and not s.was.broken_off)
