"""Facts about the vacuum source: when it acts on the body, and how often a motor may be started."""

from controller.sequence.definition import DAY_MS, fact, memory
from controller.sequence.run import Run
from controller.sequence.steps import (
    DRAWING,
    EMPTYING,
    FILTER_CLEAN,
    HOUR_MS,
    LEVEL_HOLD,
    REOPEN,
    SEAL,
    VACUUM_HELD,
)


class Source(Run):
    """Ejector, or motor with or without bypass."""

    source_cmd = fact[bool]()  # from OUTPUTS
    bypass_close_cmd = fact[bool]()

    bypassed = fact(lambda s: s.motor and s.set.bypass_fitted)
    source_acts = fact(lambda s: s.source_cmd and (s.bypass_close_cmd or not s.bypassed))
    source_quiet = fact(lambda s: s.bypassed or not s.running)

    @memory(first=0)
    def source_off_ms(s) -> int:
        """Time since the source last acted on the body."""
        return 0 if s.source_acts else min(s.was.source_off_ms + s.dt_ms, DAY_MS)

    @memory(first=0)
    def acting_ms(s) -> int:
        """Time that the source has acted on the body."""
        return min(s.was.acting_ms + s.dt_ms, DAY_MS) if s.source_acts else 0

    # ---- a motor: rest, starts an hour, spin-up ------------------------------------------------------
    @memory(first=0)
    def motor_on_ms(s) -> int:
        """Time since the motor was switched on."""
        return min(s.was.motor_on_ms + s.dt_ms, DAY_MS) if s.source_cmd and s.was.source_cmd else 0

    @memory(first=0)
    def motor_off_ms(s) -> int:
        """Time since the motor was switched off; after power-up it counts as just switched off."""
        return 0 if s.source_cmd else min(s.was.motor_off_ms + s.dt_ms, DAY_MS)

    @memory(first=0, kept=True)
    def starts_bucket_ms(s) -> int:
        """A leaky bucket: each start of the motor fills it by the spacing, an hour is full."""
        return min(
            max(s.was.starts_bucket_ms - s.dt_ms, 0)
            + (s.set.start_spacing_ms if s.motor and s.source_cmd and not s.was.source_cmd else 0),
            HOUR_MS + HOUR_MS,
        )

    motor_rested = fact(lambda s: s.was.motor_off_ms >= s.set.motor_off_min_ms)
    motor_resting = fact(lambda s: s.motor and not s.was.source_cmd and not s.motor_rested)
    motor_may_start = fact(
        lambda s: s.motor_rested and s.was.starts_bucket_ms + s.set.start_spacing_ms <= HOUR_MS
    )
    motor_barred = fact(lambda s: s.motor and not s.was.source_cmd and not s.motor_may_start)
    run_proven = fact(lambda s: s.running or not s.set.run_feedback_fitted)
    spun_up = fact(lambda s: s.was.source_cmd and s.was.motor_on_ms >= s.set.spin_up_ms and s.run_proven)
    source_ready = fact(lambda s: s.spun_up if s.bypassed else not s.motor_barred)
    runs_on_bypass = fact(
        lambda s: (
            s.bypassed
            and (
                (s.step == SEAL and (s.was.source_cmd or s.motor_may_start))
                or (s.was.source_cmd and s.step in (REOPEN, *EMPTYING, *FILTER_CLEAN))
                or (
                    s.was.source_cmd
                    and s.step == LEVEL_HOLD
                    and (s.step_ms < s.set.run_on_ms or s.was.motor_on_ms < s.set.motor_on_min_ms)
                )
            )
        )
    )

    @memory(first=False)
    def run_was_seen(s) -> bool:
        """The motor was seen running since it was switched on."""
        return s.source_cmd and (s.was.run_was_seen or s.running)

    overload_driving = fact(lambda s: s.overload and s.was.source_cmd)
    overload_at_rest = fact(lambda s: s.overload and not s.was.source_cmd)
    run_missing = fact(lambda s: s.motor and s.set.run_feedback_fitted and s.was.source_cmd and not s.running)
    run_never_seen = fact(lambda s: s.run_missing and not s.was.run_was_seen)
    run_gone = fact(lambda s: s.run_missing and s.was.run_was_seen)
    runs_by_itself = fact(lambda s: s.running and not s.was.source_cmd)

    # ---- a flap that the vacuum itself closes --------------------------------------------------------
    @memory(first=False)
    def seated(s) -> bool:
        """The flap was proven closed since this drawing began."""
        return s.step in DRAWING and (s.was.seated or s.flap_proven)

    pulling_in = fact(
        lambda s: (
            s.set.flap_kind == VACUUM_HELD
            and s.step in DRAWING
            and not s.seated
            and s.was.acting_ms < s.set.flap_pull_in_ms
        )
    )
    not_pulled_in = fact(
        lambda s: (
            s.set.flap_kind == VACUUM_HELD
            and not s.was.seated
            and s.flap_unproven
            and s.was.acting_ms >= s.set.flap_pull_in_ms
        )
    )
    off_seat_drawing = fact(lambda s: s.flap_unproven and (s.set.flap_kind != VACUUM_HELD or s.was.seated))
    flap_not_sure = fact(lambda s: s.flap_lost and not s.pulling_in)
    source_barred = fact(lambda s: s.motor_resting or (s.flap_not_sure and not s.bypassed))
