"""Facts that remember a hold: why it holds, and how often low air was returned from."""

from controller.sequence.cleaning import Cleaning
from controller.sequence.definition import fact, memory, on_delay
from controller.sequence.steps import (
    FULL_BELOW,
    HOUR_MS,
    LEVEL_HOLD,
    NO_AIR,
    NO_PRODUCT,
    NO_REASON,
    NOT_SEEN_BELOW,
    OPEN,
    SEAL,
    SUCTION,
    UNWANTED,
    VENT,
    WARNING,
)


class Holds(Cleaning):
    """Level hold, and resuming by itself."""

    supply_air_low_acts = fact[bool]()  # from INTERLOCKS
    starved = fact[bool]()  # guards

    air_wait = fact(
        lambda s: (
            s.wait
            and s.supply_air_low_acts
            and (s.was.step == OPEN or (s.was.step in SUCTION and not s.motor))
        )
    )

    full_stands = fact(
        lambda s: (
            s.vessel_full
            or (
                s.was.hold_reason == FULL_BELOW
                and not (
                    s.low_uncovered
                    if s.set.refill_on_low and s.set.level_low_fitted and s.now.level_low_good
                    else s.level_clear_long
                )
            )
        )
    )
    starved_stands = fact(
        lambda s: (
            s.feed_low
            or (
                (s.starved or s.was.feed_was_low)
                and not (s.was.step == LEVEL_HOLD and s.in_step_ms >= s.set.starved_pause_ms)
            )
        )
    )
    supply_back = on_delay(lambda s: not s.supply_under_limit, by="supply_low_ms")
    air_stands = fact(
        lambda s: (
            (s.was.air_hold or s.air_wait)
            and (not s.supply_back or s.was.step != LEVEL_HOLD or s.in_step_ms < s.set.resume_stop_ms)
        )
    )
    hold_over = fact(
        lambda s: not (s.full_stands or s.not_seen or s.starved_stands or s.not_wanted or s.air_stands)
    )

    @memory(first=NO_REASON)
    def hold_reason(s) -> int:
        """Why it holds; the first that stands, and it may change in place."""
        return (
            NO_REASON
            if s.step != LEVEL_HOLD
            else FULL_BELOW
            if s.full_stands
            else NOT_SEEN_BELOW
            if s.not_seen
            else NO_PRODUCT
            if s.starved_stands
            else UNWANTED
            if s.not_wanted
            else NO_AIR
            if s.air_stands
            else NO_REASON
        )

    @memory(first=False)
    def feed_was_low(s) -> bool:
        """In this hold the feed hopper was seen low."""
        return s.step == LEVEL_HOLD and (s.was.feed_was_low or s.feed_low)

    @memory(first=False)
    def air_hold(s) -> bool:
        """This hold was entered for want of air."""
        return s.step == LEVEL_HOLD and (s.was.air_hold or s.air_wait)

    resumes = fact(lambda s: s.was.air_hold and s.step in (SEAL, VENT))

    @memory(first=0)
    def resumes_in_row(s) -> int:
        """Returns from a pause for air since the last whole batch."""
        return (
            0
            if s.step == WARNING or s.batch_ended
            else min(s.was.resumes_in_row + (1 if s.resumes else 0), s.set.resumes_in_row_max)
        )

    @memory(first=0)
    def resume_bucket_ms(s) -> int:
        """A leaky bucket: each resume fills it by the spacing, an hour is full."""
        return max(s.was.resume_bucket_ms - s.dt_ms, 0) + (s.set.resume_spacing_ms if s.resumes else 0)

    resume_allowed = fact(
        lambda s: (
            s.was.resumes_in_row < s.set.resumes_in_row_max
            and s.was.resume_bucket_ms + s.set.resume_spacing_ms <= HOUR_MS
        )
    )
