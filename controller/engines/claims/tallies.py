"""Counts that only watch: what the steps and the wires say of batch after batch. Nothing of the sequence reads them."""

from controller.sequence.definition import DAY_MS, fact, memory, percent
from controller.sequence.last_word import Facts
from controller.sequence.steps import (
    BY_SWITCH,
    BY_TRANSMITTER,
    CLEAR,
    CONVEY,
    DRAWING,
    MOTOR_KIND,
    SUCTION,
    VENT,
    WARNING,
)  # fmt: skip

MOST = 100
"""Counts stop there: over every preset that they are held against."""


class Tallies(Facts):
    """The facts, and counts of the batches that only the claims read."""

    conveyed = fact(lambda s: s.was.step == CONVEY and s.step in (CLEAR, VENT))
    vented_after = fact(lambda s: s.was.step in (CONVEY, CLEAR) and s.step == VENT)
    conveyed_ms = fact(lambda s: s.was.filled_ms + s.dt_ms)

    # ---- batches running
    @memory(first=0)
    def starved_running(s) -> int:
        """Batches running that convey left for want of material, since the warning."""
        return (
            s.was.starved_running
            if s.step != WARNING and not s.conveyed
            else min(s.was.starved_running + 1, MOST)
            if s.step == VENT and s.no_material_acts
            else 0
        )

    @memory(first=0)
    def hasty_running(s) -> int:
        """Batches running that ended by themselves, with room below, under the least fill time."""
        return (
            s.was.hasty_running
            if s.step != WARNING and not s.conveyed
            else min(s.was.hasty_running + 1, MOST)
            if s.step == CLEAR
            and s.run
            and not s.level_high_acts
            and s.conveyed_ms < min(s.set.fill_min_ms, s.set.fill_ms)
            else 0
        )

    @memory(first=0)
    def early_running(s) -> int:
        """Batches running that covered the probe in less than so much of the usual time."""
        return (
            s.was.early_running
            if s.step != WARNING and not s.conveyed
            else min(s.was.early_running + 1, MOST)
            if s.step == CLEAR
            and s.receiver_full
            and s.was.usual_sum_ms > 0
            and s.conveyed_ms < percent(percent(s.was.usual_sum_ms, 5), s.set.too_fast_percent)
            else 0
        )

    # ---- the batch, the one before, the one before that
    @memory(first=False)
    def drew_too_high(s) -> bool:
        """High vacuum was acted on in this batch, a pause for air included."""
        return (s.step in DRAWING or s.broken_off) and (s.was.drew_too_high or s.vacuum_too_high_acts)

    @memory(first=False)
    def too_high_last(s) -> bool:
        """In the batch before, since the warning."""
        return s.step != WARNING and (s.was.drew_too_high if s.vented_after else s.was.too_high_last)

    @memory(first=False)
    def too_high_last_but_one(s) -> bool:
        """In the batch before that."""
        return s.step != WARNING and (s.was.too_high_last if s.vented_after else s.was.too_high_last_but_one)

    dp_read_pa = fact(
        lambda s: percent(s.now.filter_dp_ua, s.set.dp_pa_per_100ua) - percent(4_000, s.set.dp_pa_per_100ua)
    )

    @memory(first=False)
    def clogged(s) -> bool:
        """In convey, from the mask on, a good filter pressure reads over its second limit."""
        return (
            s.was.step == CONVEY
            and s.in_step_ms >= s.set.dp_mask_ms
            and s.dp_good
            and s.dp_read_pa >= s.set.dp_trip_pa
        )

    @memory(first=0)
    def clogged_ms(s) -> int:
        """For how long."""
        return min(s.was.clogged_ms + s.dt_ms, DAY_MS) if s.clogged and s.was.clogged else 0

    clogged_long = fact(lambda s: s.clogged and s.clogged_ms >= s.set.dp_ms)

    @memory(first=False)
    def drew_clogged(s) -> bool:
        """It did for its delay in this batch."""
        return (s.step in DRAWING or s.broken_off) and (s.was.drew_clogged or s.clogged_long)

    @memory(first=False)
    def clogged_last(s) -> bool:
        """In the batch before."""
        return s.was.drew_clogged if s.vented_after else s.was.clogged_last

    @memory(first=0)
    def dp_left_pa(s) -> int:
        """Filter pressure as the loop last read it in convey, while good [Pa]."""
        return s.dp_read_pa if s.was.step == CONVEY and s.dp_good else s.was.dp_left_pa

    # ---- supply air by its wire
    air_read_pa_g = fact(
        lambda s: (
            percent(s.now.supply_air_ua, s.set.supply_pa_per_100ua)
            - percent(4_000, s.set.supply_pa_per_100ua)
        )
    )
    air_told_by_loop = fact(
        lambda s: (
            s.now.supply_air_ua >= 3_800
            and s.now.supply_air_ua <= 20_500
            and (s.set.supply_by == BY_TRANSMITTER or s.supply_good)
        )
    )

    air_off = fact(lambda s: not s.now.supply_air_ok)
    air_reads_low = fact(
        lambda s: s.air_read_pa_g < s.set.supply_low_pa_g + (s.set.supply_band_pa if s.was.air_short else 0)
    )

    @memory(first=False)
    def air_short(s) -> bool:
        """The switch is off; or the loop reads under the low limit, or did and is not a band over it yet."""
        return (s.set.supply_by == BY_SWITCH and s.air_off) or (
            s.set.supply_by != BY_SWITCH and s.air_told_by_loop and s.air_reads_low
        )

    @memory(first=False)
    def returns_spent(s) -> bool:
        """No return from want of air is left, for now."""
        return not s.resume_allowed

    @memory(first=False)
    def short_in_suction(s) -> bool:
        """An air-driven source is in suction, and short of air."""
        return s.step in SUCTION and s.set.source_kind != MOTOR_KIND and s.air_short

    @memory(first=0)
    def short_in_suction_ms(s) -> int:
        """For how long; anew when the leave to return changes."""
        return (
            min(s.was.short_in_suction_ms + s.dt_ms, DAY_MS)
            if s.was.short_in_suction and s.was.returns_spent == s.returns_spent
            else 0
        )
