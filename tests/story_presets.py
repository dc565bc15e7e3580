"""Presets of the random stories: each choice both ways, times so short and counts so small that all comes up soon."""

from controller.sequence.presets import Presets

SHORT = Presets(
    run_feedback_on_ms=200, run_feedback_lost_ms=50, spin_up_ms=100, run_down_ms=200, motor_on_min_ms=200,
    motor_off_min_ms=100, start_spacing_ms=60_000, run_on_ms=300,
    flap_travel_ms=500, flap_both_ms=50, flap_lost_ms=30, flap_reopen_ms=500, flap_pull_in_ms=300,
    flap_shut_ms=200, flap_slow_in_row=1, contact_debounce_ms=10,
    supply_low_ms=100, supply_lost_ms=20, supply_weak_pa=50_000, open_air_wait_ms=5_000, resume_stop_ms=5_000,
    warning_ms=100, tank_charge_ms=50, jog_renew_ms=100, manual_idle_ms=60_000,
    proving_ms=400, no_vacuum_ms=200, fill_ms=1_500, fill_min_ms=500, short_cycles_max=2, receiver_full_ms=50,
    too_fast_in_row=1, time_over_in_row=2, no_material_arm_ms=300, no_material_ms=200, starved_pause_ms=2_000,
    feed_low_ms=100, vacuum_high_ms=100, clear_ms=600, line_empty_ms=200, transit_ms=200,
    vent_timed_ms=500, release_settle_ms=20, vent_min_ms=40, release_limit_ms=1_000, drain_ms=500,
    clean_lead_ms=100, pulse_ms=60, recovery_ms=200, pulse_off_min_ms=50, pulse_air_wait_ms=1_000, settle_ms=60,
    dp_mask_ms=200, dp_ms=100, cleaning_weak_in_row=2,
    level_on_ms=100, level_mask_ms=60, level_clear_ms=500, level_disagree_ms=1_000, level_never_clears_ms=60_000,
    batch_held_ms=60_000, level_chatter_spacing_ms=15_000,
    signal_failed_ms=60, signal_hold_ms=200, idle_vacuum_ms=1_000, io_lost_ms=50, scans_late_warn=2,
    scans_late_trip=5, override_ms=60,
)  # fmt: skip

_REMOTE = {"remote_start_allowed": True}
_FEED = {"feed_low_fitted": True, "plant_enable_fitted": True}
_PROBE = {"receiver_full_fitted": True}
_LOW = {"level_low_fitted": True, "refill_on_low": True}
_MOTOR = {"source_kind": 1, "run_feedback_fitted": True, "overload_fitted": True}

SETS = (
    SHORT,
    SHORT._replace(supply_low_effect=1, resumes_in_row_max=1, clean_every=3, resume_spacing_ms=1_900_000, clear_ms=1_700, **_PROBE),
    SHORT._replace(
        finish_fill_on_stop=True, clear_ms=0, flap_retries_max=0, pulses=0, pulses_last=1, flap_feedback=1,
        supply_by=1, **_REMOTE,
    ),
    SHORT._replace(
        supply_low_effect=1, resumes_in_row_max=5, resume_spacing_ms=300_000, vacuum_high_repeats=1,
        level_policy=1, supply_by=2, **_LOW, **_FEED,
    ),
    SHORT._replace(
        flap_retries_max=2, pulses=3, vacuum_high_repeats=3, short_batches_max=1, warning_ms=0, settle_ms=0,
        pulse_groups=3, dp_fitted=True, pulse_dip_pa=10_000, clean_every=2,
    ),
    SHORT._replace(
        supply_low_effect=1, no_material_ms=600, vacuum_high_repeats=3, fill_ms=2_500, no_material_relative=True,
        vacuum_side=1, dp_fitted=True, dp_low_effect=1, io_life_watched=True, too_fast_in_row=2, **_PROBE,
    ),
    SHORT._replace(**_MOTOR, **_PROBE, motor_off_min_ms=600, selector_fitted=True, **_REMOTE),
    SHORT._replace(
        **_MOTOR, bypass_fitted=True, flap_valve=1, clean_mode=1, fluidise_on_ms=50, fluidise_off_ms=50,
        pulse_groups=2, start_spacing_ms=1_200_000, **_FEED,
    ),
    SHORT._replace(flap_kind=1, pulse_groups=2, dp_fitted=True, cleaning_weak_in_row=1, **_PROBE, **_LOW),
    SHORT._replace(flap_kind=2, vacuum_by=1, supply_by=1, supply_low_effect=1, fluidise_on_ms=100, **_PROBE),
    SHORT._replace(flap_feedback=2, vacuum_by=2, clean_mode=2, flap_retries_max=2, **_PROBE, **_FEED),
    SHORT._replace(
        timed_running=True, pulse_groups=2, pulse_dip_pa=20_000, selector_fitted=True, flap_valve=1, clean_mode=2,
        dp_fitted=True, **_REMOTE, **_LOW,
    ),
    SHORT._replace(
        level_policy=1, not_seen_batches=1, batch_use_ms=4_000, flap_feedback=1, vacuum_by=1, clean_mode=1,
        fluidise_on_ms=20, io_life_watched=True, **_PROBE, **_LOW,
    ),
    SHORT._replace(
        not_seen_batches=2, not_seen_effect=1, flap_slow_percent=110, level_low_fitted=True, clean_every=50,
        pulses_last=0, fill_min_ms=1_400, short_cycles_max=3, dp_fitted=True, cleaning_fall_percent=0, **_MOTOR,
    ),
    SHORT._replace(
        **_MOTOR, flap_kind=1, bypass_fitted=True, vacuum_by=2, pulse_groups=3, spin_up_ms=600, clear_ms=0, **_FEED,
    ),
    SHORT._replace(**_MOTOR, flap_kind=2, pulses=0, pulses_last=0, timed_running=True, **_REMOTE, **_PROBE),
)  # fmt: skip
