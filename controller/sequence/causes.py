"""What the interlocks look at: one fact a cause, positive and in the present tense."""

from controller.sequence.counters import Counters
from controller.sequence.definition import fact, on_delay, percent
from controller.sequence.steps import (
    CLEAR,
    CONVEY,
    DRAIN,
    DRAW,
    EMPTY,
    OPEN,
    PULSE,
    PURGE,
    RECOVER,
    REOPEN,
    SEAL,
    SETTLE,
    VENT,
)


class Causes(Counters):
    """Causes, and the times and thresholds behind them."""

    overruled = fact[bool]()  # from OUTPUTS

    # ---- flap ----------------------------------------------------------------------------------------
    travel_over = fact(lambda s: s.in_step_ms >= s.set.flap_travel_ms)
    reopen_possible = fact(
        lambda s: (
            s.level_settled
            and not s.vessel_full
            and s.was.on_board == EMPTY
            and s.was.flap_retries < s.set.flap_retries_max
        )
    )
    stays_off_seat = fact(
        lambda s: s.flap_unproven and s.travel_over and s.level_settled and not s.reopen_possible
    )
    off_seat_at_rest = fact(lambda s: s.flap_unproven and not s.was.flap_open_cmd)
    open_late = fact(lambda s: s.was.open_ms + s.dt_ms >= s.set.flap_travel_ms and not s.flap_open_proven)
    open_retry_left = fact(lambda s: s.was.open_retries < 1)
    stays_shut = fact(lambda s: s.open_late and not s.open_retry_left and not s.wait)
    flap_open_lost = fact(lambda s: not s.flap_open_proven)
    flap_off_place = fact(lambda s: s.was.at_its_place and not s.flap_at_place and not s.supply_lost)

    # ---- supply air ----------------------------------------------------------------------------------
    waits_for_air = fact(lambda s: s.set.supply_low_effect == 1)
    low_by_choice = fact(lambda s: s.supply_under_limit and (not s.waits_for_air or s.resume_allowed))
    hunting = fact(lambda s: s.supply_under_limit and s.waits_for_air and not s.resume_allowed)
    open_wait_over = fact(lambda s: s.was.open_wait_ms >= s.set.open_air_wait_ms)

    # ---- vacuum --------------------------------------------------------------------------------------
    proving_over = fact(lambda s: s.in_step_ms >= s.set.proving_ms)
    no_vacuum_yet = fact(lambda s: s.proving_over and not s.was.proved and s.vacuum_pa < s.set.proving_pa)
    vacuum_gone = fact(lambda s: s.was.proved and s.vacuum_pa < s.set.proving_pa)
    vacuum_high = fact(lambda s: s.vacuum_pa >= s.set.vacuum_high_pa)
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
    under_line_empty = fact(lambda s: s.vacuum_pa < s.set.line_empty_pa)
    line_empty = on_delay(lambda s: s.purge_at_air_only or s.clear_at_air_only, by="line_empty_ms")
    purge_blocked = fact(lambda s: s.in_step_ms >= s.purge_limit_ms and s.was.proved and s.vacuum_high)
    clear_blocked = fact(lambda s: s.was.high_batch and s.clear_over and not s.line_empty)
    released = on_delay(lambda s: s.vacuum_good and s.under_release, by="release_settle_ms")
    release_over = fact(lambda s: s.in_step_ms >= s.set.release_limit_ms)
    not_released = fact(lambda s: s.release_over and not s.vacuum_bad and not s.released)
    vacuum_at_rest = fact(
        lambda s: s.vacuum_good and not s.near_zero and s.was.source_off_ms >= s.set.idle_vacuum_ms
    )
    material_missing = fact(
        lambda s: (
            s.vacuum_good and s.vacuum_pa < s.set.no_material_pa and s.in_step_ms >= s.set.no_material_arm_ms
        )
    )

    # ---- cleaning, backstops -------------------------------------------------------------------------
    pulse_air_missing = fact(lambda s: s.was.step == PULSE and not s.was.pulsed and not s.pulse_air)
    pulse_air_late = fact(
        lambda s: s.pulse_air_missing and not s.was.pulse_1_cmd and s.in_step_ms >= s.set.pulse_air_wait_ms
    )
    was_overruled = fact(lambda s: s.was.overruled)
    step_sum_ms = fact(
        lambda s: (
            s.set.flap_travel_ms
            + s.set.tank_charge_ms
            + s.set.level_mask_ms
            + s.set.level_on_ms
            + s.level_unsure_ms
            if s.was.step == SEAL
            else s.set.flap_reopen_ms
            if s.was.step == REOPEN
            else s.set.proving_ms + s.set.transit_ms + s.set.line_empty_ms + s.purge_limit_ms
            if s.was.step == PURGE
            else s.set.proving_ms
            if s.was.step == DRAW
            else s.set.fill_ms
            if s.was.step == CONVEY
            else s.clear_limit_ms + s.set.line_empty_ms
            if s.was.step == CLEAR
            else s.set.release_limit_ms + s.set.release_settle_ms + s.set.vent_min_ms
            if s.was.step == VENT
            else s.set.flap_travel_ms
            if s.was.step == OPEN
            else s.set.drain_ms
            if s.was.step == DRAIN
            else s.set.pulse_ms + s.set.pulse_air_wait_ms + s.set.pulse_off_min_ms
            if s.was.step == PULSE
            else s.set.recovery_ms
            if s.was.step == RECOVER
            else s.set.settle_ms
            if s.was.step == SETTLE
            else 0
        )
    )
    step_limit_ms = fact(lambda s: percent(s.step_sum_ms, s.set.step_bound_percent) + 1_000)
    step_clock_ms = fact(lambda s: s.was.open_ms + s.dt_ms if s.was.step == OPEN else s.in_step_ms)
    step_over_bound = fact(lambda s: s.step_clock_ms >= s.step_limit_ms)
