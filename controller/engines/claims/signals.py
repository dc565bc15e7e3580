"""What is read is what the wires say; what counts is bounded."""

from controller.engines.proof import Claim
from controller.sequence.definition import percent
from controller.sequence.steps import (
    DAY_MS,
    EMPTY,
    FAULT,
    FEEDBACK_BOTH,
    FEEDBACK_CLOSED,
    FEEDBACK_OPEN,
    HOUR_MS,
    NO_AIR,
    PULSE,
    REST,
    TO_EMPTY,
    UNKNOWN,
)  # fmt: skip

BOUNDS = (

    Claim("the step is a known one", then=lambda s: s.step >= REST and s.step <= FAULT),
    Claim("the order is a known one", then=lambda s: s.order >= 0 and s.order <= TO_EMPTY),
    Claim("what is on board is known, or known to be unknown", then=lambda s: s.on_board >= EMPTY and s.on_board <= UNKNOWN),
    Claim("the hold reason is a known one", then=lambda s: s.hold_reason >= 0 and s.hold_reason <= NO_AIR),
    Claim("clocks count up from nothing and stop at a day", then=lambda s: s.step_ms >= 0 and s.step_ms <= DAY_MS
          and s.since_pour_ms >= 0 and s.since_pour_ms <= DAY_MS and s.source_off_ms >= 0 and s.source_off_ms <= DAY_MS
          and s.pulse_on_ms >= 0 and s.pulse_on_ms <= DAY_MS and s.pulse_off_ms >= 0 and s.pulse_off_ms <= DAY_MS
          and s.flash_ms >= 0 and s.flash_ms <= 2_000),
    Claim("waiting is part of the time in the step", then=lambda s: s.waited_ms >= 0 and s.waited_ms <= s.step_ms),
    Claim("fill time is bounded", then=lambda s: s.filled_ms >= 0 and s.filled_ms <= DAY_MS),
    Claim("re-openings are bounded", then=lambda s: s.flap_retries >= 0 and s.flap_retries <= s.set.flap_retries_max),
    Claim("second tries to open are bounded", then=lambda s: s.open_retries >= 0 and s.open_retries <= 1),
    Claim("pulses are counted from nothing", then=lambda s: s.rounds_done >= 0 and s.groups_done >= 0 and s.groups_done < s.set.pulse_groups),
    Claim("the group whose turn it is is one of three", then=lambda s: s.pulse_group >= 1 and s.pulse_group <= 3),
    Claim("the group whose turn it is exists", then=lambda s: s.pulse_group <= s.set.pulse_groups),
    Claim("pulses of a clean are bounded",
          then=lambda s: s.rounds_done + (1 if s.step == PULSE else 0) <= max(max(s.set.pulses, s.set.pulses_last), 1)),
    Claim("batches since a clean are bounded", then=lambda s: s.batches_since_clean >= 0 and s.batches_since_clean <= 1_000),
    Claim("counts are bounded", then=lambda s: s.short_batches >= 0 and s.short_batches <= s.set.short_batches_max
          and s.resumes_in_row >= 0 and s.resumes_in_row <= s.set.resumes_in_row_max
          and s.too_fast_batches >= 0 and s.too_fast_batches <= s.set.too_fast_in_row + 2
          and s.short_cycles >= 0 and s.short_cycles <= s.set.short_cycles_max
          and s.time_over_batches >= 0 and s.time_over_batches <= s.set.time_over_in_row
          and s.weak_cleans >= 0 and s.weak_cleans <= s.set.cleaning_weak_in_row
          and s.pulses_without_dip >= 0 and s.pulses_without_dip <= s.set.cleaning_weak_in_row
          and s.slow_openings >= 0 and s.slow_openings <= s.set.flap_slow_in_row
          and s.slow_closings >= 0 and s.slow_closings <= s.set.flap_slow_in_row),
    Claim("batches not seen are bounded", then=lambda s: s.unseen_batches >= 0 and s.unseen_batches <= 10_000),
    Claim("clocks of motor, hand and flap count up from nothing and stop at a day", then=lambda s: s.motor_on_ms >= 0 and s.motor_on_ms <= DAY_MS
          and s.motor_off_ms >= 0 and s.motor_off_ms <= DAY_MS and s.acting_ms >= 0 and s.acting_ms <= DAY_MS
          and s.jog_age_ms >= 0 and s.jog_age_ms <= DAY_MS and s.manual_ms >= 0 and s.manual_ms <= DAY_MS
          and s.flap_moving_ms >= 0 and s.flap_moving_ms <= DAY_MS and s.emptying_ms >= 0 and s.emptying_ms <= DAY_MS
          and s.fluid_ms >= 0 and s.fluid_ms <= 21_000 and s.use_ms >= 0 and s.use_ms <= HOUR_MS + 1_000),
    Claim("ten moves are learned from, of a hundred seconds at the most", then=lambda s: s.openings_learned >= 0 and s.openings_learned <= 10
          and s.closings_learned >= 0 and s.closings_learned <= 10 and s.opening_sum_ms >= 0 and s.opening_sum_ms <= 1_000_000
          and s.closing_sum_ms >= 0 and s.closing_sum_ms <= 1_000_000),
    Claim("the usual fill time is bounded", then=lambda s: s.usual_sum_ms >= 0 and s.usual_sum_ms <= 1_728_000_000),
    Claim("learned pressures are bounded", then=lambda s: s.air_only_pa >= 0 and s.air_only_pa <= 1_000_000),
    Claim("buckets never overflow", then=lambda s: s.starts_bucket_ms >= 0 and s.starts_bucket_ms <= HOUR_MS + HOUR_MS
          and s.level_bucket_ms >= 0 and s.level_bucket_ms <= 120_000),
    Claim("the output held by hand is a known one", then=lambda s: s.jogged >= 0 and s.jogged <= 11),
    Claim("a pause for air leaves room for the return", when=lambda s: s.air_hold,
          then=lambda s: s.resume_bucket_ms + s.set.resume_spacing_ms <= HOUR_MS),
    Claim("pressures are bounded", then=lambda s: s.vacuum_pa >= -25_000 and s.vacuum_pa <= 150_000 and s.supply_pa_g >= -500_000
          and s.supply_pa_g <= 3_000_000 and s.vacuum_least_pa >= -25_000 and s.vacuum_least_pa <= 150_000
          and s.vacuum_most_pa >= -25_000 and s.vacuum_most_pa <= 150_000 and s.dp_pa >= -10_000 and s.dp_pa <= 60_000),
    Claim("the resume bucket never overflows", then=lambda s: s.resume_bucket_ms >= 0 and s.resume_bucket_ms <= HOUR_MS + s.set.resume_spacing_ms),
)  # fmt: skip

SIGNALS = (

    Claim("what only watches counts from nothing", then=lambda s: s.room_seen_ms >= 0 and s.dry_ms >= 0 and s.unproven_ms >= 0
          and s.slowest_ms >= 0),
    Claim("the clocks of the switches are the wires' own", then=lambda s: s.closed_gone_seen == s.closed_off and s.closed_steady_seen == s.closed_on
          and s.closed_unsure_seen == s.closed_flutters and s.open_gone_seen == s.open_off
          and (not s.closed_off or s.closed_gone_held_ms == s.closed_off_ms)
          and (not s.closed_on or s.closed_steady_held_ms == s.closed_on_ms)
          and (not s.closed_flutters or s.closed_unsure_held_ms == s.closed_flutter_ms)
          and (not s.open_off or s.open_gone_held_ms == s.open_off_ms)),
    Claim("the mask of the level probe lasts at least as long as product can fall", then=lambda s: s.since_pour_ms <= s.dry_ms),
    Claim("room is seen by the probe itself", when=lambda s: s.level_free_long_seen,
          then=lambda s: s.room_seen and s.level_free_long_held_ms <= s.room_seen_ms),
    Claim("a closed switch that is off for its debounce reads off", when=lambda s: s.closed_off and s.closed_off_ms >= s.set.contact_debounce_ms,
          then=lambda s: not s.flap_closed),
    Claim("a closed switch that flutters for the lost-closed delay reads off", when=lambda s: s.closed_flutters and s.closed_flutter_ms >= s.set.flap_lost_ms,
          then=lambda s: not s.flap_closed),
    Claim("a closed switch is taken for made after its whole debounce only", when=lambda s: s.flap_closed and not s.was.flap_closed,
          then=lambda s: s.now.flap_closed_fb and s.closed_on_ms >= s.set.contact_debounce_ms),
    Claim("an open switch that is off for its debounce reads off", when=lambda s: s.open_off and s.open_off_ms >= s.set.contact_debounce_ms,
          then=lambda s: not s.flap_open),
    Claim("proven closed is closed and not open", when=lambda s: s.flap_proven and s.set.flap_kind == 0 and s.set.flap_feedback == FEEDBACK_BOTH,
          then=lambda s: s.flap_closed and not s.flap_open),
    Claim("proven closed without an open switch is closed", when=lambda s: s.flap_proven and (s.set.flap_kind > 0 or s.set.flap_feedback == FEEDBACK_CLOSED),
          then=lambda s: s.flap_closed),
    Claim("proven closed without a closed switch is not open for the travel time", when=lambda s: s.flap_proven and s.set.flap_kind == 0 and s.set.flap_feedback == FEEDBACK_OPEN,
          then=lambda s: not s.flap_open and s.off_open_long),
    Claim("proven open is open and not closed", when=lambda s: s.flap_open_proven and s.set.flap_kind == 0 and s.set.flap_feedback == FEEDBACK_BOTH,
          then=lambda s: s.flap_open and not s.flap_closed),
    Claim("proven open without an open switch is not closed for the travel time", when=lambda s: s.flap_open_proven and s.set.flap_kind == 0 and s.set.flap_feedback == FEEDBACK_CLOSED,
          then=lambda s: not s.flap_closed and s.off_closed_long),
    Claim("a good vacuum is what the loop reads, within its range", when=lambda s: s.vacuum_good,
          then=lambda s: s.now.vacuum_ua >= 3_800 and s.now.vacuum_ua <= 20_500
          and s.vacuum_pa == percent(s.now.vacuum_ua, s.set.vacuum_pa_per_100ua) - percent(4_000, s.set.vacuum_pa_per_100ua)),
    Claim("supply air is what the loop reads, while it is within its range", when=lambda s: s.now.supply_air_ua >= 3_800 and s.now.supply_air_ua <= 20_500,
          then=lambda s: s.supply_pa_g == percent(s.now.supply_air_ua, s.set.supply_pa_per_100ua) - percent(4_000, s.set.supply_pa_per_100ua)),
    Claim("a good filter pressure is what the loop reads, within its range", when=lambda s: s.dp_good,
          then=lambda s: s.now.filter_dp_ua >= 3_800 and s.now.filter_dp_ua <= 20_500
          and s.dp_pa == percent(s.now.filter_dp_ua, s.set.dp_pa_per_100ua) - percent(4_000, s.set.dp_pa_per_100ua)),
    Claim("the vessel is full at power-up until the probe has shown otherwise", when=lambda s: not s.was.powered and s.set.level_on_ms > 0,
          then=lambda s: s.vessel_full),
    Claim("while product falls past the probe its fact stays", when=lambda s: s.dry_ms < s.set.level_mask_ms and s.was.powered,
          then=lambda s: s.vessel_full == s.was.vessel_full),
    Claim("the vessel is taken for not full after its probe was free for the on-delay only", when=lambda s: s.was.vessel_full and not s.vessel_full,
          then=lambda s: s.room_seen and s.room_seen_ms >= s.set.level_on_ms),
)  # fmt: skip
