"""Facts about contacts: flap switches without bounce, motor, I/O, and how long the flap travels."""

from controller.sequence.commands import Commands
from controller.sequence.definition import DAY_MS, fact, memory, on_delay, percent
from controller.sequence.steps import (
    CLEANS_OFFLINE,
    FAULT,
    FEEDBACK_BOTH,
    FEEDBACK_CLOSED,
    FEEDBACK_OPEN,
    FILTER_CLEAN,
    MOTOR_KIND,
    TWO_COIL_VALVE,
)


class Contacts(Commands):
    """What the contacts say, as positive facts."""

    flap_open_cmd = fact[bool]()  # from OUTPUTS
    flap_slow_acts = fact[bool]()  # from INTERLOCKS

    # ---- flap switches: steady for the debounce, either way; one that does not settle counts as off ----
    closed_steady = on_delay(lambda s: s.now.flap_closed_fb, by="contact_debounce_ms")
    closed_gone = on_delay(lambda s: not s.now.flap_closed_fb, by="contact_debounce_ms")
    closed_unsure = on_delay(lambda s: not s.closed_steady, by="flap_lost_ms")
    open_steady = on_delay(lambda s: s.now.flap_open_fb, by="contact_debounce_ms")
    open_gone = on_delay(lambda s: not s.now.flap_open_fb, by="contact_debounce_ms")
    open_unsure = on_delay(lambda s: not s.open_steady, by="flap_lost_ms")

    @memory(first=False)
    def flap_closed(s) -> bool:
        """Closed switch; at power-up in no place, the cautious answer."""
        return s.closed_steady or (s.was.flap_closed and not s.closed_gone and not s.closed_unsure)

    @memory(first=False)
    def flap_open(s) -> bool:
        """Open switch."""
        return s.open_steady or (s.was.flap_open and not s.open_gone and not s.open_unsure)

    # ---- the place of the flap; where a switch is missing, the travel time stands in for it ----------
    uncommanded = fact(lambda s: s.set.flap_kind > 0)
    driven = fact(lambda s: not s.uncommanded)
    two_coils = fact(lambda s: s.driven and s.set.flap_valve == TWO_COIL_VALVE)
    both_switches = fact(lambda s: s.driven and s.set.flap_feedback == FEEDBACK_BOTH)
    closed_switch_only = fact(lambda s: s.driven and s.set.flap_feedback == FEEDBACK_CLOSED)
    open_switch_only = fact(lambda s: s.driven and s.set.flap_feedback == FEEDBACK_OPEN)
    off_closed_long = on_delay(lambda s: not s.flap_closed and s.was.flap_open_cmd, by="flap_travel_ms")
    off_open_long = on_delay(lambda s: not s.flap_open and not s.was.flap_open_cmd, by="flap_travel_ms")
    flap_proven = fact(
        lambda s: (
            s.off_open_long if s.open_switch_only else s.flap_closed and not (s.both_switches and s.flap_open)
        )
    )
    flap_open_proven = fact(
        lambda s: (
            not s.flap_closed
            if s.uncommanded
            else s.off_closed_long
            if s.closed_switch_only
            else s.flap_open and not (s.both_switches and s.flap_closed)
        )
    )
    flap_unproven = fact(lambda s: not s.flap_proven)
    flap_both = fact(lambda s: s.both_switches and s.flap_closed and s.flap_open)
    flap_both_long = on_delay(lambda s: s.flap_both, by="flap_both_ms")
    flap_neither = fact(
        lambda s: (
            s.both_switches
            and not s.flap_closed
            and not s.flap_open
            and not (s.set.clean_mode == CLEANS_OFFLINE and s.was.step in FILTER_CLEAN)
        )
    )
    flap_lost = on_delay(lambda s: s.flap_unproven, by="flap_lost_ms")
    flap_at_place = fact(lambda s: s.flap_open_proven if s.was.flap_open_cmd else s.flap_proven)
    closing_limit_ms = fact(
        lambda s: s.set.flap_travel_ms + (s.set.flap_travel_ms if s.open_switch_only else 0)
    )
    opening_limit_ms = fact(
        lambda s: s.set.flap_travel_ms + (s.set.flap_travel_ms if s.closed_switch_only else 0)
    )

    # ---- how long it travels, against what was learned of its first ten moves either way -------------
    flap_turned = fact(
        lambda s: (
            (s.flap_open_cmd and not s.was.flap_open_cmd) or (s.was.flap_open_cmd and not s.flap_open_cmd)
        )
    )

    @memory(first=False)
    def flap_moving(s) -> bool:
        """Under way since its output changed; what a fault or hands do with it is no move to learn from."""
        return (
            s.step != FAULT
            and not s.manual
            and (s.flap_turned or (s.was.flap_moving and not s.flap_at_place))
        )

    @memory(first=0)
    def flap_moving_ms(s) -> int:
        """Time under way."""
        return min(s.was.flap_moving_ms + s.dt_ms, DAY_MS) if s.was.flap_moving and not s.flap_turned else 0

    opened_now = fact(
        lambda s: s.was.flap_moving and s.flap_at_place and s.was.flap_open_cmd and not s.closed_switch_only
    )
    closed_now = fact(
        lambda s: s.was.flap_moving and s.flap_at_place and not s.was.flap_open_cmd and not s.open_switch_only
    )
    opening_learned = fact(lambda s: s.was.openings_learned >= 10)
    closing_learned = fact(lambda s: s.was.closings_learned >= 10)
    opening_teaches = fact(
        lambda s: s.opened_now and not s.opening_learned and s.flap_moving_ms <= s.opening_limit_ms
    )
    closing_teaches = fact(
        lambda s: s.closed_now and not s.closing_learned and s.flap_moving_ms <= s.closing_limit_ms
    )
    opening_usual_ms = fact(lambda s: percent(s.was.opening_sum_ms, 10))
    closing_usual_ms = fact(lambda s: percent(s.was.closing_sum_ms, 10))

    @memory(first=0, kept=True)
    def openings_learned(s) -> int:
        """Openings that the usual time was learned from, ten at the most."""
        return 0 if s.relearn_accepted else s.was.openings_learned + (1 if s.opening_teaches else 0)

    @memory(first=0, kept=True)
    def opening_sum_ms(s) -> int:
        """Their travel times together."""
        return (
            0
            if s.relearn_accepted
            else min(s.was.opening_sum_ms + s.flap_moving_ms, 1_000_000)
            if s.opening_teaches
            else s.was.opening_sum_ms
        )

    @memory(first=0, kept=True)
    def closings_learned(s) -> int:
        """Closings that the usual time was learned from, ten at the most."""
        return 0 if s.relearn_accepted else s.was.closings_learned + (1 if s.closing_teaches else 0)

    @memory(first=0, kept=True)
    def closing_sum_ms(s) -> int:
        """Their travel times together."""
        return (
            0
            if s.relearn_accepted
            else min(s.was.closing_sum_ms + s.flap_moving_ms, 1_000_000)
            if s.closing_teaches
            else s.was.closing_sum_ms
        )

    opened_slowly = fact(
        lambda s: (
            s.opened_now
            and s.opening_learned
            and s.flap_moving_ms > percent(s.opening_usual_ms, s.set.flap_slow_percent)
        )
    )
    closed_slowly = fact(
        lambda s: (
            s.closed_now
            and s.closing_learned
            and s.flap_moving_ms > percent(s.closing_usual_ms, s.set.flap_slow_percent)
        )
    )

    @memory(first=0)
    def slow_openings(s) -> int:
        """Slow openings in a row."""
        return (
            min(s.was.slow_openings + 1, s.set.flap_slow_in_row)
            if s.opened_slowly
            else 0
            if s.opened_now
            else s.was.slow_openings
        )

    @memory(first=0)
    def slow_closings(s) -> int:
        """Slow closings in a row."""
        return (
            min(s.was.slow_closings + 1, s.set.flap_slow_in_row)
            if s.closed_slowly
            else 0
            if s.closed_now
            else s.was.slow_closings
        )

    flap_creeps = fact(
        lambda s: (
            s.was.slow_openings >= s.set.flap_slow_in_row or s.was.slow_closings >= s.set.flap_slow_in_row
        )
    )

    # ---- motor, I/O, scans ---------------------------------------------------------------------------
    motor = fact(lambda s: s.set.source_kind == MOTOR_KIND)
    running = fact(lambda s: s.motor and s.set.run_feedback_fitted and s.now.source_running_fb)
    overload = fact(lambda s: s.motor and s.set.overload_fitted and not s.now.overload_healthy)
    not_wanted = on_delay(
        lambda s: s.set.plant_enable_fitted and not s.now.plant_enable, by="contact_debounce_ms"
    )
    feed_low = on_delay(
        lambda s: s.set.feed_low_fitted and s.now.feed_present_good and not s.now.feed_present,
        by="feed_low_ms",
    )
    contact_bad = fact(
        lambda s: (
            (s.set.level_low_fitted and not s.now.level_low_good)
            or (s.set.receiver_full_fitted and not s.now.receiver_full_good)
            or (s.set.feed_low_fitted and not s.now.feed_present_good)
        )
    )

    @memory(first=0)
    def io_life_seen(s) -> int:
        """Life counter of the remote I/O as last seen."""
        return s.now.io_life

    io_still_long = on_delay(
        lambda s: s.set.io_life_watched and s.now.io_life == s.was.io_life_seen, by="io_lost_ms"
    )
    inputs_old = fact(lambda s: s.now.image_age_ms > s.set.io_lost_ms or s.io_still_long)
    scans_slip = fact(lambda s: s.now.scans_late >= s.set.scans_late_warn)
    scans_lost = fact(lambda s: s.now.scans_late >= s.set.scans_late_trip)
