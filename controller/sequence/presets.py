"""
Presets: every timer, limit and choice that the controls engineer sets, with default, limits and why.

One line a preset. The defaults are those of the medium station (14 l useful volume, 50 mm line).
Sources: common practice without a source, or memory, checked against the plant model of this project
where the reason says "model"; a value "computed by check" is worked out by `receiver check`.
Units stand in the names: whole ms, Pa (`_pa_g` gauge), counts. What is fitted is a preset too, so that one
logic and one proof cover every station.
"""

from typing import Annotated as P
from typing import NamedTuple, get_args, get_type_hints


class Limits(NamedTuple):
    """The range of a preset, and the behaviour in the field behind it."""

    low: int
    high: int
    why: str
    choices: tuple[str, ...] = ()  # what the numbers low..high are called in a station file


L = Limits  # a preset reads: name: P[type, L(low, high, why)] = default

NO_YES = (0, 1)


class Presets(NamedTuple):
    """What a station sets. Booleans and whole numbers only, so that every engine can read them."""

    # source
    source_kind: P[int, L(0, 1, "compressed-air ejector, or blower or vane pump with a motor", ("ejector", "motor"))] = 0
    bypass_fitted: P[bool, L(*NO_YES, "a motor that runs on between batches saves starts")] = False
    run_feedback_fitted: P[bool, L(*NO_YES, "contact of the motor's contactor")] = False
    overload_fitted: P[bool, L(*NO_YES, "contact of the motor's overload relay")] = False
    run_feedback_on_ms: P[int, L(200, 10_000, "contactor, soft starter")] = 1_500
    run_feedback_lost_ms: P[int, L(50, 3_000, "contact bounce, a dip of the mains")] = 500
    spin_up_ms: P[int, L(0, 30_000, "1-8 s from contactor to full vacuum")] = 4_000
    run_down_ms: P[int, L(0, 120_000, "5-30 s; before running without command counts")] = 10_000
    motor_on_min_ms: P[int, L(0, 600_000, "on bypass; never delays an off")] = 60_000
    motor_off_min_ms: P[int, L(0, 3_600_000, "NEMA MG 10 table 2-3 by size and poles: 40-92 s")] = 90_000
    start_spacing_ms: P[int, L(60_000, 3_600_000, "an hour over the starts an hour of the motor (NEMA MG 10)")] = 450_000
    run_on_ms: P[int, L(0, 1_800_000, "on bypass in a hold: saves starts")] = 120_000
    # flap
    flap_kind: P[int, L(0, 2, "driven; or without command: closed by counterweight, or at last by the vacuum", ("driven", "counterweight", "vacuum_held"))] = 0
    flap_valve: P[int, L(0, 1, "two coils keep their last place and move when air returns", ("spring", "two_coils"))] = 0
    flap_feedback: P[int, L(0, 2, "a missing switch is replaced by the travel time", ("both", "closed_only", "open_only"))] = 0
    flap_travel_ms: P[int, L(500, 10_000, "4-5 x measured travel (0.2-0.6 s); cold grease doubles it")] = 2_500
    flap_both_ms: P[int, L(50, 500, "switches cannot overlap for longer")] = 100
    flap_lost_ms: P[int, L(0, 300, "vibration at source start; more lets air through an open flap")] = 100
    flap_retries_max: P[int, L(0, 3, "each retry drops something")] = 1
    flap_reopen_ms: P[int, L(500, 5_000, "product off the seat")] = 1_500
    flap_pull_in_ms: P[int, L(300, 5_000, "vacuum-held: swings shut under vacuum; longer is a leak")] = 1_500
    flap_shut_ms: P[int, L(200, 10_000, "without command: shut again for so long is empty")] = 500
    flap_slow_percent: P[int, L(110, 300, "of the learned travel; a drift before a trip")] = 150
    flap_slow_in_row: P[int, L(1, 20, "one slow move is a cold morning")] = 3
    contact_debounce_ms: P[int, L(0, 100, "contact bounce, both edges; at most a third of a row's delay")] = 30
    # supply air
    supply_by: P[int, L(0, 2, "a switch sees no very low limit", ("transmitter", "switch", "both"))] = 0
    supply_low_pa_g: P[int, L(250_000, 700_000, "pick-up velocity: 13.2 m/s at 4.5 bar g, 12.1 at 4.0 (model)")] = 450_000
    supply_band_pa: P[int, L(10_000, 100_000, "over the compressor's band ripple at the point of use")] = 30_000
    supply_low_ms: P[int, L(100, 5_000, "ejector inrush, a neighbour's pulse")] = 1_000
    supply_low_effect: P[int, L(0, 1, "wait only where a return by itself is no hazard", ("trip", "wait"))] = 0
    supply_lost_pa_g: P[int, L(150_000, 500_000, "flap cylinder no longer sure")] = 300_000
    supply_lost_ms: P[int, L(0, 500, "filter only")] = 100
    supply_weak_pa: P[int, L(50_000, 400_000, "drawing under rest: line too small or half shut")] = 150_000
    open_air_wait_ms: P[int, L(5_000, 3_600_000, "low air with the flap open: wait, then trip")] = 60_000
    resume_stop_ms: P[int, L(5_000, 600_000, "shortest stop before air lets it resume; less hunts")] = 15_000
    resume_spacing_ms: P[int, L(300_000, 3_600_001, "an hour over the resumes an hour; more is hunting: trip")] = 1_200_000
    resumes_in_row_max: P[int, L(1, 5, "more is hunting: trip")] = 2
    # start, places, manual
    warning_ms: P[int, L(0, 30_000, "horn before the first movement; 0 only where all is seen")] = 3_000
    tank_charge_ms: P[int, L(0, 20_000, "pulse tanks from empty to supply (computed by check)")] = 1_000
    remote_start_allowed: P[bool, L(*NO_YES, "start, reset, clean and empty from page or network")] = False
    selector_fitted: P[bool, L(*NO_YES, "key switch local/remote; else the shell says who has control")] = False
    plant_enable_fitted: P[bool, L(*NO_YES, "contact from the process below: product wanted")] = False
    jog_renew_ms: P[int, L(100, 1_000, "a held output falls so soon after the last renewal")] = 500
    manual_idle_ms: P[int, L(60_000, 3_600_000, "manual mode ends by itself")] = 600_000
    # proving
    vacuum_by: P[int, L(0, 2, "what proves and releases the vacuum; none: times instead", ("transmitter", "switch", "none"))] = 0
    vacuum_side: P[int, L(0, 1, "clean side reads line and filter together", ("dirty", "clean"))] = 0
    timed_running: P[bool, L(*NO_YES, "with the vacuum signal bad go on by times instead of a trip")] = False
    proving_pa: P[int, L(300, 20_000, "<= 0.65 x air-only at the low air limit, over hose-off (computed by check)")] = 1_200
    proving_ms: P[int, L(300, 60_000, "body volume over pumping speed, and the valve")] = 3_000
    no_vacuum_ms: P[int, L(200, 10_000, "a hose that comes off is not starvation")] = 1_000
    # conveying
    fill_ms: P[int, L(1_500, 600_000, "useful volume x bulk density / rate (computed by check)")] = 16_000
    fill_min_ms: P[int, L(0, 60_000, "a batch under it is a short cycle")] = 3_000
    short_cycles_max: P[int, L(1, 20, "in a row: a stuck probe drives source and flap for ever")] = 3
    finish_fill_on_stop: P[bool, L(*NO_YES, "a stop that goes on sucking is taken for a defect")] = False
    receiver_full_fitted: P[bool, L(*NO_YES, "probe in the body: ends the batch by level")] = False
    receiver_full_ms: P[int, L(0, 2_000, "splashing; each 100 ms costs 0.1 s of rate in room")] = 300
    too_fast_percent: P[int, L(10, 95, "of the usual fill time: product left in the body")] = 60
    too_fast_in_row: P[int, L(1, 20, "one early batch is chance")] = 3
    time_over_in_row: P[int, L(1, 20, "receiver-full failed dry, or feed weak")] = 3
    no_material_arm_ms: P[int, L(300, 60_000, "transit 0.6-1.4 s (3 s on 30 m) and the feeder")] = 3_000
    no_material_pa: P[int, L(500, 60_000, "geometric mean of air-only and conveying (computed by check)")] = 6_500
    no_material_relative: P[bool, L(*NO_YES, "threshold from the air-only vacuum of the last clear")] = False
    no_material_percent: P[int, L(110, 300, "of the air-only vacuum")] = 140
    no_material_ms: P[int, L(200, 30_000, "lance moved by the operator")] = 2_000
    short_batches_max: P[int, L(1, 20, "one sack change is not starvation")] = 3
    starved_pause_ms: P[int, L(2_000, 3_600_000, "air")] = 60_000
    feed_low_fitted: P[bool, L(*NO_YES, "switch in the feed hopper")] = False
    feed_low_ms: P[int, L(100, 60_000, "product slides past the switch")] = 2_000
    vacuum_high_pa: P[int, L(5_000, 90_000, ">= 1.5 x conveying, <= 0.7 x dead-end (computed by check)")] = 35_000
    vacuum_high_ms: P[int, L(100, 10_000, "slugs last < 1 s; dead-end is 50 kPa after 1 s (model)")] = 1_000
    vacuum_high_repeats: P[int, L(1, 3, "batches ended by high vacuum, of the last three, that trip")] = 2
    # clearing
    clear_ms: P[int, L(0, 60_000, "3 x transit (computed by check); 0 = off")] = 3_500
    line_empty_pa: P[int, L(300, 60_000, "1.25 x air-only, purge open; under no-material (computed by check)")] = 5_400
    line_empty_ms: P[int, L(200, 10_000, "slugs")] = 1_000
    transit_ms: P[int, L(200, 20_000, "a third of the clearing time (computed by check)")] = 1_200
    # venting and emptying
    vent_timed_ms: P[int, L(500, 60_000, "without an instrument: from dead-end through the vent, and half again")] = 3_000
    release_pa: P[int, L(300, 3_000, "product hangs above 0.4 kPa; transmitter 0.5 % of 100 kPa")] = 1_000
    release_settle_ms: P[int, L(0, 5_000, "valve shift")] = 200
    vent_min_ms: P[int, L(0, 10_000, "valve shift")] = 300
    release_limit_ms: P[int, L(1_000, 120_000, "from 60 kPa through a 15 mm vent 1.4 s (model)")] = 6_000
    drain_ms: P[int, L(500, 120_000, "1.5 x free fall of the largest batch; fine powder 10-14 s")] = 4_500
    fluidise_on_ms: P[int, L(0, 10_000, "0: none fitted")] = 0
    fluidise_off_ms: P[int, L(0, 10_000, "0: steady")] = 0
    # filter clean
    clean_mode: P[int, L(0, 2, "after the drain; with it; or off-line with the flap shut", ("after_drain", "with_drain", "offline"))] = 0
    clean_every: P[int, L(1, 50, "batches; pellets 5-10")] = 1
    clean_lead_ms: P[int, L(0, 10_000, "with the drain: flap open to first pulse")] = 500
    pulse_groups: P[int, L(1, 3, "one group at a time; 7 elements as 3 + 2 + 2")] = 1
    pulses: P[int, L(0, 20, "a group, after a batch")] = 2
    pulses_last: P[int, L(0, 20, "a group, when a stop or a hold is certain")] = 4
    pulse_ms: P[int, L(40, 500, "nothing gained over 80-120 ms (Atmosphere 2023 14(7) 1173)")] = 120
    pulse_off_min_ms: P[int, L(50, 5_000, "shortest time between two pulses")] = 200
    recovery_ms: P[int, L(200, 30_000, "tanks to 95 % of supply (computed by check); a thin hose takes 4 x as long")] = 600
    pulse_air_pa_g: P[int, L(200_000, 700_000, "cleaning effect 0.82 / 0.73 / 0.63 at 6 / 4 / 3 bar g (model)")] = 400_000
    pulse_air_wait_ms: P[int, L(1_000, 60_000, "then warn, go on without")] = 5_000
    pulse_dip_pa: P[int, L(0, 100_000, "supply must dip by so much at a pulse; 0 = not looked at")] = 0
    settle_ms: P[int, L(0, 30_000, "the cloud falls 0.3-0.7 m at 0.2-0.5 m/s")] = 1_000
    dp_fitted: P[bool, L(*NO_YES, "differential pressure transmitter over the filter")] = False
    dp_warn_pa: P[int, L(300, 15_000, ">= 1.5 x end-of-batch value (computed by check)")] = 5_000
    dp_trip_pa: P[int, L(500, 25_000, "element collapse")] = 10_000
    dp_min_pa: P[int, L(0, 3_000, "a third of the new element at air-only: missing or torn under it")] = 500
    dp_mask_ms: P[int, L(0, 30_000, "after draw; the line starts empty and fast")] = 2_000
    dp_ms: P[int, L(0, 30_000, "filter on the dp rows")] = 3_000
    dp_low_effect: P[int, L(0, 1, "trip where product at the exhaust is a hazard", ("warn", "trip"))] = 0
    cleaning_fall_percent: P[int, L(0, 90, "dp must fall by so much over a clean; 0 = not looked at")] = 5
    cleaning_weak_in_row: P[int, L(1, 20, "cleans")] = 5
    # level
    level_policy: P[int, L(0, 1, "finish needs freeboard; hold keeps the batch on board", ("finish_batch", "hold_batch"))] = 0
    level_on_ms: P[int, L(0, 10_000, "falling product; counts into the freeboard")] = 2_000
    level_mask_ms: P[int, L(0, 10_000, "last of the falling curtain")] = 1_500
    level_clear_ms: P[int, L(500, 600_000, "collapse of the heap")] = 5_000
    level_low_fitted: P[bool, L(*NO_YES, "low-level probe below")] = False
    refill_on_low: P[bool, L(*NO_YES, "a hold for a full vessel lasts until the low probe is uncovered")] = False
    level_disagree_ms: P[int, L(1_000, 600_000, "high covered and low uncovered: caked, rat-hole, or low failed")] = 10_000
    level_never_clears_ms: P[int, L(60_000, 86_400_000, "a plant that starves beside a vessel called full")] = 1_800_000
    batch_held_ms: P[int, L(60_000, 86_400_000, "a batch on board may set")] = 1_800_000
    level_chatter_spacing_ms: P[int, L(1_000, 15_000, "a minute over the changes a minute; on the edge it does 4-6")] = 6_000
    not_seen_batches: P[int, L(0, 10_000, "more than the vessel explains since the level was last certain; 0 = off")] = 0
    batch_use_ms: P[int, L(0, 3_600_000, "guaranteed time for the use of one batch below; 0 = none")] = 0
    not_seen_effect: P[int, L(0, 1, "hold until somebody has looked, or trip", ("hold", "trip"))] = 0
    # signals, outputs, backstops
    vacuum_pa_per_100ua: P[int, L(100, 625, "transmitter span / 160; 625 is 0-100 kPa vacuum")] = 625
    supply_pa_per_100ua: P[int, L(2_500, 12_500, "transmitter span / 160; 6,250 is 0-10 bar g")] = 6_250
    dp_pa_per_100ua: P[int, L(10, 250, "transmitter span / 160; 125 is 0-20 kPa")] = 125
    signal_failed_ms: P[int, L(0, 5_000, "outside NE 43 failure limits for so long is bad")] = 500
    signal_hold_ms: P[int, L(0, 10_000, "between NE 43 limits: last good value for so long, then bad")] = 2_000
    idle_vacuum_ms: P[int, L(1_000, 60_000, "after source off, before vacuum at rest counts")] = 5_000
    io_lost_ms: P[int, L(50, 2_000, "under the watchdog of the remote I/O")] = 200
    io_life_watched: P[bool, L(*NO_YES, "remote I/O that counts its refreshes")] = False
    scans_late_warn: P[int, L(1, 1_000, "late scans in a row that warn")] = 3
    scans_late_trip: P[int, L(1, 10_000, "late scans in a row that trip")] = 20
    override_ms: P[int, L(0, 1_000, "an overruled output for longer is a trip, never a flicker")] = 200
    step_bound_percent: P[int, L(120, 300, "backstop: of the sum of limits and waits of a step")] = 150


def limits() -> dict[str, Limits]:
    """Each preset's limits, in the order of `Presets`."""
    hints = get_type_hints(Presets, include_extras=True)
    return {name: get_args(hint)[1] for name, hint in hints.items()}
