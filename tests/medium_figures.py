"""
The presets that the scenarios are written for: the medium station's, each by name.

Their own figures and not the defaults of the product, so that a default can be tuned without a scenario
turning red for it, and so that a scenario's times can be read off this page.
"""

from controller.sequence.presets import Presets

MEDIUM = Presets(
    flap_travel_ms=2_500, flap_both_ms=100, flap_lost_ms=100, flap_retries_max=1, flap_reopen_ms=1_500,
    contact_debounce_ms=30, supply_low_pa_g=450_000, supply_band_pa=30_000, supply_low_ms=1_000,
    supply_low_effect=0, supply_lost_pa_g=300_000, supply_lost_ms=100, open_air_wait_ms=60_000,
    resume_stop_ms=15_000, resume_spacing_ms=1_200_000, resumes_in_row_max=2, warning_ms=3_000,
    tank_charge_ms=1_000, proving_pa=1_200, proving_ms=3_000, no_vacuum_ms=1_000, fill_ms=16_000,
    finish_fill_on_stop=False, no_material_arm_ms=3_000, no_material_pa=6_500, no_material_ms=2_000,
    short_batches_max=3, starved_pause_ms=60_000, vacuum_high_pa=35_000, vacuum_high_ms=1_000,
    vacuum_high_repeats=2, clear_ms=3_500, line_empty_pa=5_400, line_empty_ms=1_000, transit_ms=1_200,
    release_pa=1_000, release_settle_ms=200, vent_min_ms=300, release_limit_ms=6_000, drain_ms=4_000,
    clean_every=1, pulses=2, pulses_last=4, pulse_ms=120, pulse_off_min_ms=200, recovery_ms=1_500,
    pulse_air_pa_g=400_000, pulse_air_wait_ms=5_000, settle_ms=1_000, level_on_ms=2_000,
    level_mask_ms=1_500, level_clear_ms=5_000, vacuum_pa_per_100ua=625, supply_pa_per_100ua=6_250,
    signal_failed_ms=500, signal_hold_ms=2_000, idle_vacuum_ms=5_000, io_lost_ms=200, override_ms=200,
    step_bound_percent=150,
)  # fmt: skip
