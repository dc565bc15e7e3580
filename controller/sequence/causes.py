"""What the interlocks look at: one fact a cause, positive and in the present tense."""

from controller.sequence.definition import fact, on_delay, percent
from controller.sequence.holds import Holds
from controller.sequence.steps import (
    BATCH,
    CLEAR,
    CONVEY,
    DRAIN,
    DRAW,
    EMPTY,
    FILTER_CLEAN,
    FULL_BELOW,
    HOLD_BATCH,
    OPEN,
    PULSE,
    PURGE,
    RECOVER,
    REOPEN,
    SEAL,
    SUCTION,
    VACUUM_HELD,
    VENT,
)


class Causes(Holds):
    """Causes, and the times and thresholds behind them."""

    overruled = fact[bool]()  # from OUTPUTS
    flap_close_cmd = fact[bool]()

    # ---- flap ----------------------------------------------------------------------------------------
    travel_over = fact(lambda s: s.in_step_ms >= s.closing_limit_ms)
    reopen_possible = fact(
        lambda s: (
            s.driven
            and s.level_settled
            and not s.vessel_full
            and s.was.on_board == EMPTY
            and s.was.flap_retries < s.set.flap_retries_max
        )
    )
    stays_off_seat = fact(
        lambda s: (
            s.flap_unproven
            and s.travel_over
            and s.level_settled
            and not s.reopen_possible
            and (s.set.flap_kind != VACUUM_HELD or s.vessel_full)
        )
    )
    off_seat_at_rest = fact(
        lambda s: (
            s.driven
            and s.flap_unproven
            and not s.was.flap_open_cmd
            and (s.was.flap_close_cmd or not s.two_coils)
        )
    )
    open_late = fact(lambda s: s.worked_ms >= s.opening_limit_ms and not s.flap_open_proven)
    open_retry_left = fact(lambda s: s.was.open_retries < 1)
    stays_shut = fact(
        lambda s: (
            s.open_late and not s.open_retry_left and not s.wait and not (s.uncommanded and s.may_be_empty)
        )
    )
    flap_open_lost = fact(
        lambda s: s.driven and not s.flap_open_proven and not (s.offline and s.was.step in FILTER_CLEAN)
    )
    flap_off_place = fact(
        lambda s: (
            s.was.at_its_place
            and not s.flap_at_place
            and not s.supply_lost
            and (s.now.supply_air_ok or not s.supply_switched)
        )
    )
    batch_over = fact(lambda s: s.settled or (s.was.step == DRAIN and s.drain_over))
    left_over = fact(lambda s: s.batch_over and s.was.on_board != EMPTY and not s.emptied)
    hangs_open = fact(lambda s: s.left_over and s.uncommanded and s.flap_unproven)
    still_covered = fact(
        lambda s: s.left_over and not s.hangs_open and (s.was.emptied_again or s.column_below)
    )
    offline_off_seat = fact(lambda s: s.offline and s.flap_unproven and s.in_step_ms >= s.closing_limit_ms)

    # ---- supply air ----------------------------------------------------------------------------------
    waits_for_air = fact(lambda s: s.set.supply_low_effect == 1)
    low_by_choice = fact(
        lambda s: not s.motor and s.supply_under_limit and (not s.waits_for_air or s.resume_allowed)
    )
    hunting = fact(
        lambda s: not s.motor and s.supply_under_limit and s.waits_for_air and not s.resume_allowed
    )
    low_for_motor = fact(lambda s: s.motor and s.supply_under_limit)
    open_wait_over = fact(lambda s: s.was.waited_ms >= s.set.open_air_wait_ms)

    # ---- vacuum --------------------------------------------------------------------------------------
    proving_over = fact(lambda s: s.in_step_ms >= s.set.proving_ms)
    no_vacuum_yet = fact(
        lambda s: s.proving_over and not s.was.proved and not s.vacuum_present and not s.vacuum_timed
    )
    vacuum_gone = fact(lambda s: s.was.proved and not s.vacuum_present and not s.vacuum_timed)
    vacuum_high = fact(
        lambda s: s.vacuum_measured and not s.vacuum_timed and s.vacuum_pa >= s.set.vacuum_high_pa
    )
    high_batches = fact(lambda s: 1 + (1 if s.was.high_before else 0) + (1 if s.was.high_before_that else 0))
    vacuum_high_again = fact(lambda s: s.vacuum_high and s.high_batches >= s.set.vacuum_high_repeats)
    purge_limit_ms = fact(
        lambda s: (
            s.set.clear_ms if s.set.clear_ms > 0 else s.set.transit_ms + s.set.transit_ms + s.set.transit_ms
        )
    )
    clear_limit_ms = fact(lambda s: s.purge_limit_ms if s.was.high_batch else s.set.clear_ms)
    clear_over = fact(lambda s: s.in_step_ms >= s.clear_limit_ms)
    transit_over = on_delay(lambda s: s.was.step == PURGE and s.was.proved, by="transit_ms")
    purge_at_air_only = fact(
        lambda s: s.was.step == PURGE and s.transit_over and s.vacuum_good and s.under_line_empty
    )
    clear_at_air_only = fact(lambda s: s.was.step == CLEAR and s.vacuum_good and s.under_line_empty)
    under_line_empty = fact(lambda s: s.dirty_side_pa < s.set.line_empty_pa)
    line_empty = on_delay(lambda s: s.purge_at_air_only or s.clear_at_air_only, by="line_empty_ms")
    purge_blocked = fact(lambda s: s.in_step_ms >= s.purge_limit_ms and s.was.proved and s.vacuum_high)
    clear_blocked = fact(lambda s: s.was.high_batch and s.clear_over and not s.line_empty)
    released = on_delay(lambda s: s.vacuum_good and s.under_release, by="release_settle_ms")
    vent_time_over = fact(lambda s: s.was.source_off_ms >= s.set.vent_timed_ms)
    released_by_time = fact(
        lambda s: not s.vacuum_measured and s.vent_time_over and (s.under_release or not s.vacuum_by_switch)
    )
    release_over = fact(lambda s: s.in_step_ms >= s.set.release_limit_ms)
    not_released = fact(
        lambda s: (
            s.release_over
            and (
                (s.vacuum_by_switch and s.vent_time_over and not s.under_release)
                or (s.vacuum_measured and not s.vacuum_bad and not s.released)
            )
        )
    )
    vacuum_at_rest = fact(
        lambda s: (
            (s.vacuum_good or s.vacuum_by_switch)
            and not s.near_zero
            and s.was.source_off_ms >= s.set.idle_vacuum_ms
        )
    )
    material_missing = fact(
        lambda s: (
            s.vacuum_good
            and s.dirty_side_pa < s.no_material_limit_pa
            and s.in_step_ms >= s.set.no_material_arm_ms
        )
    )

    # ---- fill, level, motor --------------------------------------------------------------------------
    fills_too_fast = fact(lambda s: s.was.too_fast_batches > s.set.too_fast_in_row)
    fills_ever_too_fast = fact(lambda s: s.was.too_fast_batches > s.set.too_fast_in_row + 1)
    time_ends_it = fact(lambda s: s.was.time_over_batches >= s.set.time_over_in_row)
    too_short = fact(lambda s: s.was.short_cycles >= s.set.short_cycles_max)
    full_and_held = fact(lambda s: s.vessel_full and s.set.level_policy == HOLD_BATCH)
    not_seen_to_drop = fact(lambda s: s.not_seen and s.was.on_board != EMPTY)
    held_full = fact(lambda s: s.was.hold_reason == FULL_BELOW)
    held_on_board = fact(lambda s: s.was.on_board == BATCH)
    runs_uncommanded = on_delay(lambda s: s.runs_by_itself, by="run_down_ms")
    dp_bad_in_use = fact(lambda s: s.dp_bad and s.was.step == CONVEY)

    # ---- cleaning, backstops -------------------------------------------------------------------------
    pulse_ready = fact(lambda s: s.pulse_air and (s.flap_proven or not s.offline))
    pulse_air_missing = fact(lambda s: s.was.step == PULSE and not s.was.pulsed and not s.pulse_air)
    pulse_wait_over = fact(
        lambda s: not s.was.pulsing and s.in_step_ms >= max(s.set.pulse_air_wait_ms, s.closing_limit_ms)
    )
    pulse_air_late = fact(lambda s: s.pulse_air_missing and s.pulse_wait_over)
    pulse_given_up = fact(
        lambda s: s.was.step == PULSE and not s.was.pulsed and not s.pulse_ready and s.pulse_wait_over
    )
    was_overruled = fact(lambda s: s.was.overruled)
    seal_sum_ms = fact(
        lambda s: (
            s.closing_limit_ms
            + s.set.tank_charge_ms
            + s.set.level_mask_ms
            + s.set.level_on_ms
            + s.level_unsure_ms
            + (s.set.spin_up_ms + s.set.run_feedback_on_ms if s.bypassed else 0)
        )
    )
    purge_sum_ms = fact(
        lambda s: s.set.proving_ms + s.set.transit_ms + s.set.line_empty_ms + s.purge_limit_ms
    )
    vent_sum_ms = fact(
        lambda s: (
            max(s.set.release_limit_ms + s.set.release_settle_ms + s.set.vent_min_ms, s.set.vent_timed_ms)
            + (s.set.run_down_ms if s.motor else 0)
        )
    )
    pulse_sum_ms = fact(
        lambda s: (
            s.set.pulse_ms
            + max(s.set.pulse_air_wait_ms, s.closing_limit_ms)
            + s.set.pulse_off_min_ms
            + (s.set.drain_ms if s.was.emptying else 0)
        )
    )
    suction_sum_ms = fact(
        lambda s: (
            s.seal_sum_ms
            if s.was.step == SEAL
            else s.set.flap_reopen_ms
            if s.was.step == REOPEN
            else s.purge_sum_ms
            if s.was.step == PURGE
            else s.set.proving_ms
            if s.was.step == DRAW
            else s.set.fill_ms
            if s.was.step == CONVEY
            else s.clear_limit_ms + s.set.line_empty_ms
        )
    )
    step_sum_ms = fact(
        lambda s: (
            s.suction_sum_ms
            if s.was.step in SUCTION
            else s.vent_sum_ms
            if s.was.step == VENT
            else s.opening_limit_ms
            if s.was.step == OPEN
            else s.set.drain_ms
            if s.was.step == DRAIN
            else s.pulse_sum_ms
            if s.was.step == PULSE
            else s.set.recovery_ms + (s.set.drain_ms if s.was.emptying else 0)
            if s.was.step == RECOVER
            else s.set.settle_ms
        )
    )
    step_limit_ms = fact(lambda s: percent(s.step_sum_ms, s.set.step_bound_percent) + 1_000)
    step_over_bound = fact(lambda s: s.worked_ms >= s.step_limit_ms)
