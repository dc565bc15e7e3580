"""
The promises of the sequence, each said over the facts of one scan and proved for all histories.

A claim reads: in every scan, when `when` then `then`. It holds for all inputs, all presets within their
limits and all histories, power loss included. The order matters: a proved claim helps the next. The
facts of `Watched` only watch; nothing of the sequence reads them.
"""

from controller.engines.proof import Claim
from controller.sequence.definition import memory, percent
from controller.sequence.last_word import Facts
from controller.sequence.steps import (
    BATCH,
    CLEAR,
    CONVEY,
    DAY_MS,
    DRAIN,
    DRAW,
    DRAWING,
    EMPTY,
    FAULT,
    FILTER_CLEAN,
    HOUR_MS,
    IDLE,
    LEVEL_HOLD,
    NO_AIR,
    OPEN,
    PULSE,
    PULSE_MAX_MS,
    PURGE,
    REOPEN,
    REST,
    SEAL,
    SUCTION,
    TO_CLEAN,
    TO_EMPTY,
    TO_RUN,
    UNKNOWN,
    VENT,
    WARNING,
    WORKING,
)  # fmt: skip


class Watched(Facts):
    """The facts, and clocks that only the claims read."""

    @memory(first=0)
    def unproven_ms(s) -> int:
        """Time since the flap was last proven closed, counted from the scan that first missed it."""
        return 0 if s.flap_proven else min(s.was.unproven_ms + s.dt_ms, DAY_MS) if s.was.unproven else 0

    @memory(first=False)
    def unproven(s) -> bool:
        """The flap was not proven closed in this scan."""
        return s.flap_unproven

    # ---- the wires themselves, whatever the signals make of them
    @memory(first=False)
    def closed_off(s) -> bool:
        """The contact of the closed switch is open."""
        return not s.now.flap_closed_fb

    @memory(first=0)
    def closed_off_ms(s) -> int:
        """For how long, counted from the scan that first saw it."""
        return min(s.was.closed_off_ms + s.dt_ms, DAY_MS) if s.closed_off and s.was.closed_off else 0

    @memory(first=False)
    def closed_on(s) -> bool:
        """It is made."""
        return s.now.flap_closed_fb

    @memory(first=0)
    def closed_on_ms(s) -> int:
        """For how long."""
        return min(s.was.closed_on_ms + s.dt_ms, DAY_MS) if s.closed_on and s.was.closed_on else 0

    @memory(first=False)
    def closed_flutters(s) -> bool:
        """It was not made for the whole debounce until now."""
        return s.closed_off or s.closed_on_ms < s.set.contact_debounce_ms

    @memory(first=0)
    def closed_flutter_ms(s) -> int:
        """For how long."""
        return min(s.was.closed_flutter_ms + s.dt_ms, DAY_MS) if s.closed_flutters and s.was.closed_flutters else 0

    @memory(first=False)
    def open_off(s) -> bool:
        """The contact of the open switch is open."""
        return not s.now.flap_open_fb

    @memory(first=0)
    def open_off_ms(s) -> int:
        """For how long."""
        return min(s.was.open_off_ms + s.dt_ms, DAY_MS) if s.open_off and s.was.open_off else 0

    @memory(first=0)
    def slowest_ms(s) -> int:
        """The longest scan since the contact of the closed switch opened."""
        return max(s.was.slowest_ms, s.dt_ms) if s.closed_off else 0

    @memory(first=0)
    def dry_ms(s) -> int:
        """Time since nothing can have fallen past the level probe."""
        return 0 if s.was.flap_open_cmd and s.was.step in (REOPEN, OPEN, DRAIN) else min(s.was.dry_ms + s.dt_ms, DAY_MS)

    @memory(first=False)
    def room_seen(s) -> bool:
        """The level probe is free, and nothing falls past it."""
        return s.now.level_free and s.dry_ms >= s.set.level_mask_ms

    @memory(first=0)
    def room_seen_ms(s) -> int:
        """For how long."""
        return min(s.was.room_seen_ms + s.dt_ms, DAY_MS) if s.room_seen and s.was.room_seen else 0

    @memory(first=False)
    def air_broke(s) -> bool:
        """Low air broke this batch off, and nothing else has come since."""
        return (s.was.air_broke or (s.wait and s.was.step in DRAWING)) and s.step in (*SUCTION, LEVEL_HOLD)

    @memory(first=0)
    def step_all_ms(s) -> int:
        """Time in the step, waits included."""
        return min(s.was.step_all_ms + s.dt_ms, DAY_MS) if s.step == s.was.step else 0


BOUNDS = (
    Claim("the step is a known one", then=lambda s: s.step >= REST and s.step <= FAULT),
    Claim("the order is a known one", then=lambda s: s.order >= 0 and s.order <= TO_EMPTY),
    Claim("what is on board is known, or known to be unknown", then=lambda s: s.on_board >= EMPTY and s.on_board <= UNKNOWN),
    Claim("the hold reason is a known one", then=lambda s: s.hold_reason >= 0 and s.hold_reason <= NO_AIR),
    Claim("clocks count up from nothing and stop at a day", then=lambda s: s.step_ms >= 0 and s.step_ms <= DAY_MS
          and s.since_pour_ms >= 0 and s.since_pour_ms <= DAY_MS and s.source_off_ms >= 0 and s.source_off_ms <= DAY_MS
          and s.pulse_on_ms >= 0 and s.pulse_on_ms <= DAY_MS and s.pulse_off_ms >= 0 and s.pulse_off_ms <= DAY_MS
          and s.flash_ms >= 0 and s.flash_ms <= 2_000 and s.open_wait_ms >= 0 and s.open_wait_ms <= DAY_MS),
    Claim("the time to open is part of the time in the step", then=lambda s: s.open_ms >= 0 and s.open_ms <= s.step_ms),
    Claim("fill time is bounded", then=lambda s: s.filled_ms >= 0 and s.filled_ms <= DAY_MS),
    Claim("re-openings are bounded", then=lambda s: s.flap_retries >= 0 and s.flap_retries <= s.set.flap_retries_max),
    Claim("second tries to open are bounded", then=lambda s: s.open_retries >= 0 and s.open_retries <= 1),
    Claim("pulses are counted from nothing", then=lambda s: s.pulses_done >= 0),
    Claim("pulses of a clean are bounded",
          then=lambda s: s.pulses_done + (1 if s.step == PULSE else 0) <= max(max(s.set.pulses, s.set.pulses_last), 1)),
    Claim("batches since a clean are bounded", then=lambda s: s.batches_since_clean >= 0 and s.batches_since_clean <= 1_000),
    Claim("counts are bounded", then=lambda s: s.short_batches >= 0 and s.short_batches <= s.set.short_batches_max
          and s.resumes_in_row >= 0 and s.resumes_in_row <= s.set.resumes_in_row_max),
    Claim("a pause for air leaves room for the return", when=lambda s: s.air_hold,
          then=lambda s: s.resume_bucket_ms + s.set.resume_spacing_ms <= HOUR_MS),
    Claim("pressures are bounded", then=lambda s: s.vacuum_pa >= -25_000 and s.vacuum_pa <= 150_000 and s.supply_pa_g >= -500_000
          and s.supply_pa_g <= 3_000_000 and s.vacuum_least_pa >= -25_000 and s.vacuum_least_pa <= 150_000
          and s.vacuum_most_pa >= -25_000 and s.vacuum_most_pa <= 150_000),
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
    Claim("proven closed is closed and not open", when=lambda s: s.flap_proven, then=lambda s: s.flap_closed and not s.flap_open),
    Claim("proven open is open and not closed", when=lambda s: s.flap_open_proven, then=lambda s: s.flap_open and not s.flap_closed),
    Claim("a good vacuum is what the loop reads, within its range", when=lambda s: s.vacuum_good,
          then=lambda s: s.now.vacuum_ua >= 3_800 and s.now.vacuum_ua <= 20_500
          and s.vacuum_pa == percent(s.now.vacuum_ua, s.set.vacuum_pa_per_100ua) - percent(4_000, s.set.vacuum_pa_per_100ua)),
    Claim("supply air is what the loop reads, while it is within its range", when=lambda s: s.now.supply_air_ua >= 3_800 and s.now.supply_air_ua <= 20_500,
          then=lambda s: s.supply_pa_g == percent(s.now.supply_air_ua, s.set.supply_pa_per_100ua) - percent(4_000, s.set.supply_pa_per_100ua)),
    Claim("the vessel is full at power-up until the probe has shown otherwise", when=lambda s: not s.was.powered and s.set.level_on_ms > 0,
          then=lambda s: s.vessel_full),
    Claim("while product falls past the probe its fact stays", when=lambda s: s.dry_ms < s.set.level_mask_ms and s.was.powered,
          then=lambda s: s.vessel_full == s.was.vessel_full),
    Claim("the vessel is taken for not full after its probe was free for the on-delay only", when=lambda s: s.was.vessel_full and not s.vessel_full,
          then=lambda s: s.room_seen and s.room_seen_ms >= s.set.level_on_ms),
)  # fmt: skip

FAULTS = (
    Claim("a fault is remembered through power loss", then=lambda s: s.fault_stored == (s.step == FAULT)),
    Claim("a stored fault and its first-out go together", then=lambda s: s.fault_stored == (s.first_out >= 1) and s.first_out >= 0),
    Claim("a fault has a first-out", when=lambda s: s.step == FAULT, then=lambda s: s.first_out >= 1),
    Claim("outside a fault there is no first-out", when=lambda s: s.step != FAULT, then=lambda s: s.first_out == 0),
    Claim("the first-out is kept until the reset", when=lambda s: s.was.step == FAULT and s.step == FAULT,
          then=lambda s: s.first_out == s.was.first_out),
    Claim("a trip is a fault in the same scan", when=lambda s: s.trip, then=lambda s: s.step == FAULT),
    Claim("a fault is entered by a trip, or by power-up with a stored one", when=lambda s: s.step == FAULT and s.was.step != FAULT,
          then=lambda s: s.trip or s.fault_at_power_up),
    Claim("a stored fault is a fault after power-up", when=lambda s: not s.was.powered and s.was.fault_stored,
          then=lambda s: s.step == FAULT),
    Claim("a fault is left by an accepted reset only, to rest only", when=lambda s: s.was.step == FAULT and s.step != FAULT,
          then=lambda s: s.step == REST and (s.now.reset_pb or s.now.reset_request) and not s.was.reset_held
          and s.now.safety_chain_healthy and s.now.image_age_ms <= s.set.io_lost_ms),
    Claim("no reset while good vacuum stands over the release threshold", when=lambda s: s.reset_accepted and s.vacuum_good,
          then=lambda s: s.vacuum_pa < s.set.release_pa),
    Claim("nothing that moves or feeds is energised in a fault", when=lambda s: s.step == FAULT,
          then=lambda s: not (s.source_cmd or s.flap_open_cmd or s.vent_close_cmd or s.pulse_1_cmd or s.purge_cmd or s.feed_cmd)),
    Claim("a reset moves no actuator", when=lambda s: s.was.step == FAULT and s.step == REST,
          then=lambda s: not (s.source_cmd or s.flap_open_cmd or s.vent_close_cmd or s.pulse_1_cmd or s.purge_cmd or s.feed_cmd)),
    Claim("lost I/O is a fault", when=lambda s: s.now.image_age_ms > s.set.io_lost_ms, then=lambda s: s.step == FAULT),
    Claim("an open safety chain stops whatever runs", when=lambda s: not s.now.safety_chain_healthy,
          then=lambda s: s.step in (*IDLE, FAULT)),
    Claim("under the very low limit nothing goes on working", when=lambda s: s.supply_air_lost_acts, then=lambda s: s.step == FAULT),
)  # fmt: skip

RUNS = (
    Claim("no run latch at rest or in a fault", when=lambda s: s.step in (REST, FAULT), then=lambda s: not s.run),
    Claim("a run begins with a fresh start edge only, at rest, when all is ready", when=lambda s: s.run and not s.was.run,
          then=lambda s: (s.now.start_pb or s.now.start_request) and not s.was.start_held and s.was.step == REST
          and s.now.safety_chain_healthy and s.now.stop_healthy and s.vacuum_good and s.near_zero and not s.supply_not_over
          and not s.flap_open_uncalled),
    Claim("start and reset are remembered as last seen",
          then=lambda s: s.start_held == (s.now.start_pb or s.now.start_request) and s.reset_held == (s.now.reset_pb or s.now.reset_request)),
    Claim("only the first scan after power-up is the first", then=lambda s: s.powered),
    Claim("a start held through power-up starts nothing", when=lambda s: not s.was.powered, then=lambda s: not s.run),
    Claim("a start held through a reset starts nothing", when=lambda s: s.was.step == FAULT, then=lambda s: not s.run),
    Claim("rest is left by an order only, and to the warning", when=lambda s: s.was.step == REST and s.step not in (REST, FAULT),
          then=lambda s: s.step == WARNING and s.asked),
    Claim("the horn sounds its whole time before the first movement", when=lambda s: s.was.step == WARNING and s.step in (SEAL, VENT, LEVEL_HOLD),
          then=lambda s: s.in_step_ms >= s.set.warning_ms and not s.readiness_lost),
    Claim("stop and halt clear the run latch at once", when=lambda s: not s.now.stop_healthy or s.now.stop_request or s.now.halt_request, then=lambda s: not s.run),
    Claim("whatever is not at rest was ordered", when=lambda s: s.step not in (REST, FAULT), then=lambda s: s.order >= TO_RUN),
    Claim("the run latch is held for a run only", when=lambda s: s.run, then=lambda s: s.order == TO_RUN),
    Claim("a run that is warned of has its latch", when=lambda s: s.step == WARNING and s.order == TO_RUN, then=lambda s: s.run),
    Claim("suction and hold belong to a run", when=lambda s: s.step in SUCTION or s.step == LEVEL_HOLD, then=lambda s: s.order == TO_RUN),
    Claim("suction before the draw goes on with the run latch only", when=lambda s: s.step in (SEAL, REOPEN, LEVEL_HOLD), then=lambda s: s.run),
    Claim("a stop in suction feeds no more", when=lambda s: (not s.now.stop_healthy or s.now.stop_request) and not s.set.finish_fill_on_stop, then=lambda s: not s.feed_cmd),
    Claim("a halt takes everything but the flap off", when=lambda s: s.now.halt_request,
          then=lambda s: not (s.source_cmd or s.vent_close_cmd or s.pulse_1_cmd or s.purge_cmd or s.feed_cmd) and s.step in (REST, FAULT)),
    Claim("a halt freezes the flap output", when=lambda s: s.now.halt_request and s.step == REST and s.was.step not in (REST, FAULT),
          then=lambda s: s.flap_open_cmd == s.was.flap_open_cmd),
    Claim("an emptying after the warning is never begun onto a full vessel", when=lambda s: s.was.step in (WARNING, LEVEL_HOLD) and s.step == VENT,
          then=lambda s: not s.vessel_full),
)  # fmt: skip

LAST_WORD = (
    Claim("the source acts only while it draws", when=lambda s: s.source_cmd, then=lambda s: s.step in DRAWING),
    Claim("the clock of the lost flap is the watched one", when=lambda s: s.flap_unproven,
          then=lambda s: s.unproven_ms == s.flap_lost_held_ms),
    Claim("no source once the flap has been unproven for the lost-closed delay", when=lambda s: s.source_cmd,
          then=lambda s: s.flap_proven or s.unproven_ms < s.set.flap_lost_ms),
    Claim("the trip counts the lost flap as long as the last word does", when=lambda s: s.step in DRAWING and s.flap_unproven,
          then=lambda s: s.flap_lost_closed_seen and s.flap_lost_closed_held_ms == s.flap_lost_held_ms),
    Claim("the last word never has to take the source off: the trip comes first", then=lambda s: not s.source_cmd_overruled),
    Claim("the unproven flap is counted from the debounce on", when=lambda s: s.closed_off and s.closed_off_ms >= s.set.contact_debounce_ms,
          then=lambda s: s.unproven_ms + s.set.contact_debounce_ms + s.slowest_ms >= s.closed_off_ms),
    Claim("no source once the contact of the closed switch was open for debounce, delay and a scan", when=lambda s: s.source_cmd and s.closed_off,
          then=lambda s: s.closed_off_ms < s.set.contact_debounce_ms + s.set.flap_lost_ms + s.slowest_ms),
    Claim("neither vacuum nor level withdraws flap-open", when=lambda s: s.was.flap_open_cmd and s.step in (REOPEN, OPEN, DRAIN, *FILTER_CLEAN),
          then=lambda s: s.flap_open_cmd),
    Claim("a flap frozen open stays so until the horn is over", when=lambda s: s.was.halted and s.was.flap_open_cmd and s.step in IDLE,
          then=lambda s: s.flap_open_cmd),
    Claim("a drawing receiver trips when the flap is lost", when=lambda s: s.flap_lost_closed_acts, then=lambda s: s.step == FAULT),
    Claim("never source and open flap together", then=lambda s: not (s.source_cmd and s.flap_open_cmd)),
    Claim("flap-open is first given with good vacuum under the release threshold", when=lambda s: s.flap_open_cmd and not s.was.flap_open_cmd and s.vacuum_good,
          then=lambda s: s.vacuum_pa < s.set.release_pa),
    Claim("without a good vacuum signal flap-open waits its full time after source off", when=lambda s: s.flap_open_cmd and not s.was.flap_open_cmd and not s.vacuum_good,
          then=lambda s: s.was.source_off_ms >= s.set.release_limit_ms),
    Claim("flap-open is not first given onto a full vessel by clean or empty", when=lambda s: s.flap_open_cmd and not s.was.flap_open_cmd and (s.was.order == TO_CLEAN or s.was.order == TO_EMPTY),
          then=lambda s: not s.vessel_full),
    Claim("a pulse is given with the source off and the flap proven open only", when=lambda s: s.pulse_1_cmd,
          then=lambda s: not s.source_cmd and s.flap_open_proven and not s.feed_cmd and not s.purge_cmd),
    Claim("no pulse goes on once it lasted its maximum", when=lambda s: s.pulse_1_cmd, then=lambda s: s.pulse_on_ms < PULSE_MAX_MS),
    Claim("no pulse goes on once it lasted its preset", when=lambda s: s.pulse_1_cmd, then=lambda s: s.pulse_on_ms < s.set.pulse_ms),
    Claim("two pulses are never closer than the minimum", when=lambda s: s.pulse_1_cmd and not s.was.pulse_1_cmd,
          then=lambda s: s.pulse_off_ms >= s.set.pulse_off_min_ms),
    Claim("the feed permissive is given in convey only", when=lambda s: s.feed_cmd, then=lambda s: s.step == CONVEY),
    Claim("the purge valve opens in purge and clear only", when=lambda s: s.purge_cmd, then=lambda s: s.step in (PURGE, CLEAR)),
    Claim("the vent is shut in suction only", when=lambda s: s.vent_close_cmd, then=lambda s: s.step in SUCTION),
)  # fmt: skip

BATCHES = (
    Claim("a receiver that draws has a batch on board", when=lambda s: s.step in DRAWING, then=lambda s: s.on_board == BATCH or not s.was.powered),
    Claim("no step but rest, or a fault, in the first scan", when=lambda s: not s.was.powered, then=lambda s: s.step in (REST, FAULT)),
    Claim("on board becomes no after a whole drain only", when=lambda s: s.on_board == EMPTY and s.was.on_board != EMPTY,
          then=lambda s: s.was.step == DRAIN and s.in_step_ms >= s.set.drain_ms),
    Claim("a receiver is emptied by a drain that ended, not by one that tripped", when=lambda s: s.on_board == EMPTY and s.was.on_board != EMPTY,
          then=lambda s: s.step != FAULT and s.flap_open_proven),
    Claim("after power-up what is on board is unknown, unless it stood at rest with nothing", when=lambda s: not s.was.powered,
          then=lambda s: s.on_board == UNKNOWN or (s.was.on_board == EMPTY and s.was.rest_stored and s.on_board == EMPTY)),
    Claim("a loaded line is cleared by clear, or by a batch that ended empty", when=lambda s: s.was.line_loaded and not s.line_loaded,
          then=lambda s: s.step == VENT and (s.was.step == CLEAR or (s.was.step == CONVEY and s.no_material_acts))),
    Claim("only low air breaks a batch off that is gone on with", when=lambda s: s.broken_off, then=lambda s: s.air_broke),
    Claim("fill time runs in purge and convey, all of it", when=lambda s: s.was.step in (PURGE, CONVEY) and s.step in (PURGE, DRAW, CONVEY),
          then=lambda s: s.filled_ms == min(s.was.filled_ms + s.dt_ms, DAY_MS)),
    Claim("no batch conveys beyond its fill time", when=lambda s: s.step == CONVEY and s.was.step == CONVEY, then=lambda s: s.filled_ms < s.set.fill_ms),
    Claim("a stop before convey conveys no more", when=lambda s: (not s.now.stop_healthy or s.now.stop_request) and s.was.step in (PURGE, DRAW),
          then=lambda s: s.step != CONVEY),
    Claim("the flap re-opens with the vessel clear, nothing on board, and retries left only", when=lambda s: s.was.step == SEAL and s.step == REOPEN,
          then=lambda s: s.level_settled and not s.vessel_full and s.was.on_board == EMPTY and s.was.flap_retries < s.set.flap_retries_max),
    Claim("a line that was fed counts as loaded", when=lambda s: s.step in (DRAW, CONVEY), then=lambda s: s.line_loaded),
    Claim("after a clean of a run the receiver is empty", when=lambda s: s.step in FILTER_CLEAN and s.order != TO_CLEAN,
          then=lambda s: s.on_board == EMPTY),
    Claim("a clean alone is done with nothing on board", when=lambda s: s.order == TO_CLEAN, then=lambda s: s.on_board == EMPTY),
    Claim("suction is begun empty, or with a batch broken off by air", when=lambda s: s.step in (SEAL, REOPEN),
          then=lambda s: s.on_board == EMPTY or s.broken_off),
    Claim("no batch on top of another", when=lambda s: s.was.step == SEAL and s.step in (PURGE, DRAW),
          then=lambda s: s.was.on_board == EMPTY or s.was.broken_off),
    Claim("a batch broken off by air goes on with its fill time", when=lambda s: s.was.broken_off and s.broken_off,
          then=lambda s: s.filled_ms >= s.was.filled_ms),
    Claim("no batch begins with level high or unsettled", when=lambda s: s.was.step == SEAL and s.step in (PURGE, DRAW),
          then=lambda s: not s.vessel_full and s.room_seen and s.room_seen_ms >= s.set.level_on_ms),
    Claim("a batch begins with the flap proven closed", when=lambda s: s.was.step == SEAL and s.step in (PURGE, DRAW), then=lambda s: s.flap_proven),
    Claim("a line left loaded is purged first", when=lambda s: s.was.step == SEAL and s.was.line_loaded, then=lambda s: s.step != DRAW),
    Claim("a recovery emptying is followed by a clean", when=lambda s: s.was.recovery and s.was.step == DRAIN and s.set.pulses > 0 and s.set.pulses_last > 0,
          then=lambda s: s.step in (DRAIN, PULSE, FAULT) or s.halt),
    Claim("a hold has a reason", when=lambda s: s.step == LEVEL_HOLD, then=lambda s: s.hold_reason >= 1),
    Claim("a hold is left towards motion with the run latch only", when=lambda s: s.was.step == LEVEL_HOLD and s.step in (SEAL, VENT), then=lambda s: s.run),
)  # fmt: skip

TRIPS = tuple(
    Claim(f"{name} is a trip wherever it is looked at", when=acts, then=lambda s: s.step == FAULT)
    for name, acts in (
        ("FLAP_LOST_OPEN", lambda s: s.flap_lost_open_acts),
        ("FLAP_NOT_OPEN", lambda s: s.flap_not_open_acts),
        ("FLAP_MOVED", lambda s: s.flap_moved_acts),
        ("NO_VACUUM", lambda s: s.no_vacuum_acts),
        ("LINE_BLOCKED", lambda s: s.line_blocked_acts),
        ("VACUUM_NOT_RELEASED", lambda s: s.vacuum_not_released_acts),
        ("OUTPUT_OVERRIDDEN", lambda s: s.output_overridden_acts),
        ("STEP_TOO_LONG", lambda s: s.step_too_long_acts),
        ("FLAP_NOT_CLOSED in seal", lambda s: s.was.step == SEAL and s.stays_off_seat),
        ("FLAP_DISAGREES while it works", lambda s: s.was.step in WORKING and s.flap_disagrees_acts),
        ("SIGNAL_BAD while vacuum is needed", lambda s: s.was.step in (PURGE, DRAW, CONVEY) and s.vacuum_bad),
    )
)

TIMES = (
    Claim("each working step is bounded", when=lambda s: s.step in WORKING and s.step == s.was.step,
          then=lambda s: s.step_clock_ms < s.step_limit_ms),
    Claim("waiting for air with the flap open is bounded", when=lambda s: s.step == OPEN,
          then=lambda s: s.open_wait_ms <= s.set.open_air_wait_ms + s.dt_ms),
    Claim("all the time in open is opening or waiting", when=lambda s: s.step == OPEN and s.was.step == OPEN and s.step_all_ms < DAY_MS,
          then=lambda s: s.step_all_ms == s.open_ms + s.open_wait_ms),
    Claim("the warning is bounded", when=lambda s: s.step == WARNING and s.was.step == WARNING, then=lambda s: s.in_step_ms < s.set.warning_ms),
    Claim("a pause for want of material is bounded", when=lambda s: s.step == LEVEL_HOLD and s.hold_reason == 2 and s.was.step == LEVEL_HOLD,
          then=lambda s: s.in_step_ms < s.set.starved_pause_ms),
    Claim("returns from want of air keep their spacing", when=lambda s: s.resumes,
          then=lambda s: s.resume_bucket_ms <= HOUR_MS),
)  # fmt: skip

CLAIMS = (*BOUNDS, *SIGNALS, *FAULTS, *RUNS, *LAST_WORD, *BATCHES, *TRIPS, *TIMES)
