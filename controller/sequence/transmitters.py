"""Facts about analog signals: NE 43 judges the current, then it is scaled; and what stands in for it."""

from controller.image import FAILED_HIGH_UA, FAILED_LOW_UA, MEASURED_HIGH_UA, MEASURED_LOW_UA
from controller.sequence.contacts import Contacts
from controller.sequence.definition import fact, memory, on_delay, percent
from controller.sequence.steps import BY_SWITCH, BY_TIMES, BY_TRANSMITTER, CLEAN_SIDE, CLEAR, SEAL


class Transmitters(Contacts):
    """Body vacuum, filter differential pressure, supply air."""

    pulse_cmd = fact[bool]()  # outputs
    pulse_off_ms = fact[int]()  # cleaning
    vacuum_frozen = fact[bool]()  # batch
    dp_frozen = fact[bool]()  # cleaning
    line_empty = fact[bool]()  # causes

    pulse_near = fact(lambda s: s.was.pulsing or s.was.pulse_off_ms < 1_000)

    @memory(first=False)
    def pulsing(s) -> bool:
        """A pulse valve is energised."""
        return s.pulse_cmd

    # ---- body vacuum ---------------------------------------------------------------------------------
    vacuum_measured = fact(lambda s: s.set.vacuum_by == BY_TRANSMITTER)
    vacuum_by_switch = fact(lambda s: s.set.vacuum_by == BY_SWITCH)
    vacuum_failed = fact(lambda s: s.now.vacuum_ua <= FAILED_LOW_UA or s.now.vacuum_ua >= FAILED_HIGH_UA)
    vacuum_doubtful = fact(lambda s: s.now.vacuum_ua < MEASURED_LOW_UA or s.now.vacuum_ua > MEASURED_HIGH_UA)
    vacuum_failed_long = on_delay(lambda s: s.vacuum_failed and not s.pulse_near, by="signal_failed_ms")
    vacuum_steady = on_delay(lambda s: not s.vacuum_doubtful, by="signal_failed_ms")
    vacuum_doubtful_long = on_delay(lambda s: not s.vacuum_steady and not s.pulse_near, by="signal_hold_ms")
    vacuum_read_pa = fact(
        lambda s: (
            percent(s.now.vacuum_ua, s.set.vacuum_pa_per_100ua) - percent(4_000, s.set.vacuum_pa_per_100ua)
        )
    )
    vacuum_bad = fact(
        lambda s: s.vacuum_measured and (s.vacuum_failed_long or s.vacuum_doubtful_long or s.vacuum_frozen)
    )
    vacuum_good = fact(lambda s: s.vacuum_measured and not s.vacuum_doubtful and not s.vacuum_bad)
    vacuum_timed = fact(lambda s: s.set.vacuum_by == BY_TIMES or (s.vacuum_bad and s.set.timed_running))
    vacuum_missing = fact(lambda s: s.vacuum_bad and not s.set.timed_running)

    @memory(first=0)
    def vacuum_pa(s) -> int:
        """Body vacuum under the atmosphere [Pa]; the last good value while the current is doubtful."""
        return s.was.vacuum_pa if s.vacuum_doubtful else s.vacuum_read_pa

    vacuum_present = fact(
        lambda s: (
            s.now.vacuum_switch
            if s.vacuum_by_switch
            else s.vacuum_measured and s.vacuum_pa >= s.set.proving_pa
        )
    )
    under_release = fact(
        lambda s: not s.now.vacuum_switch if s.vacuum_by_switch else s.vacuum_pa < s.set.release_pa
    )
    near_zero = fact(
        lambda s: (
            s.set.vacuum_by == BY_TIMES
            or (s.under_release and (s.vacuum_by_switch or s.vacuum_pa > 0 - s.set.release_pa))
        )
    )
    vacuum_over_release = fact(
        lambda s: s.now.vacuum_switch if s.vacuum_by_switch else s.vacuum_good and not s.under_release
    )

    # ---- filter differential pressure ----------------------------------------------------------------
    dp_failed = fact(lambda s: s.now.filter_dp_ua <= FAILED_LOW_UA or s.now.filter_dp_ua >= FAILED_HIGH_UA)
    dp_doubtful = fact(
        lambda s: s.now.filter_dp_ua < MEASURED_LOW_UA or s.now.filter_dp_ua > MEASURED_HIGH_UA
    )
    dp_failed_long = on_delay(lambda s: s.dp_failed and not s.pulse_near, by="signal_failed_ms")
    dp_steady = on_delay(lambda s: not s.dp_doubtful, by="signal_failed_ms")
    dp_doubtful_long = on_delay(lambda s: not s.dp_steady and not s.pulse_near, by="signal_hold_ms")
    dp_bad = fact(lambda s: s.set.dp_fitted and (s.dp_failed_long or s.dp_doubtful_long or s.dp_frozen))
    dp_good = fact(lambda s: s.set.dp_fitted and not s.dp_doubtful and not s.dp_bad)

    @memory(first=0)
    def dp_pa(s) -> int:
        """Differential pressure of the filter [Pa]; the last good value while the current is doubtful."""
        return (
            s.was.dp_pa
            if s.dp_doubtful
            else percent(s.now.filter_dp_ua, s.set.dp_pa_per_100ua) - percent(4_000, s.set.dp_pa_per_100ua)
        )

    dirty_side_pa = fact(
        lambda s: s.vacuum_pa - (s.dp_pa if s.set.vacuum_side == CLEAN_SIDE and s.dp_good else 0)
    )

    @memory(first=0, kept=True)
    def air_only_pa(s) -> int:
        """Vacuum at which the last clear found the line empty [Pa]; 0 until known for this product."""
        return (
            0
            if s.recipe_accepted
            else min(max(s.dirty_side_pa, 0), 1_000_000)
            if s.was.step == CLEAR and s.line_empty
            else s.was.air_only_pa
        )

    no_material_limit_pa = fact(
        lambda s: (
            percent(s.was.air_only_pa, s.set.no_material_percent)
            if s.set.no_material_relative and s.was.air_only_pa > 0
            else s.set.no_material_pa
        )
    )

    # ---- supply air ----------------------------------------------------------------------------------
    supply_measured = fact(lambda s: s.set.supply_by != BY_SWITCH)
    supply_failed = fact(
        lambda s: s.now.supply_air_ua <= FAILED_LOW_UA or s.now.supply_air_ua >= FAILED_HIGH_UA
    )
    supply_doubtful = fact(
        lambda s: s.now.supply_air_ua < MEASURED_LOW_UA or s.now.supply_air_ua > MEASURED_HIGH_UA
    )
    supply_failed_long = on_delay(lambda s: s.supply_failed, by="signal_failed_ms")
    supply_steady = on_delay(lambda s: not s.supply_doubtful, by="signal_failed_ms")
    supply_doubtful_long = on_delay(lambda s: not s.supply_steady, by="signal_hold_ms")
    supply_bad = fact(lambda s: s.supply_measured and (s.supply_failed_long or s.supply_doubtful_long))
    supply_good = fact(lambda s: s.supply_measured and not s.supply_doubtful and not s.supply_bad)
    supply_switched = fact(
        lambda s: s.set.supply_by == BY_SWITCH or (s.supply_bad and s.set.supply_by > BY_SWITCH)
    )

    @memory(first=0)
    def supply_pa_g(s) -> int:
        """Supply air pressure [Pa gauge]; the last good value while the current is doubtful."""
        return (
            s.was.supply_pa_g
            if s.supply_doubtful
            else percent(s.now.supply_air_ua, s.set.supply_pa_per_100ua)
            - percent(4_000, s.set.supply_pa_per_100ua)
        )

    @memory(first=True)
    def supply_under_limit(s) -> bool:
        """Supply air low: a bad signal reads as low; once low, low until it is a band above the limit."""
        return (
            not s.now.supply_air_ok
            if s.supply_switched
            else s.supply_bad
            or s.supply_pa_g
            < (s.set.supply_low_pa_g + (s.set.supply_band_pa if s.was.supply_under_limit else 0))
        )

    supply_not_over = fact(
        lambda s: (
            not s.now.supply_air_ok
            if s.supply_switched
            else s.supply_bad or s.supply_pa_g < s.set.supply_low_pa_g + s.set.supply_band_pa
        )
    )
    supply_not_over_long = on_delay(lambda s: s.supply_not_over, by="supply_low_ms")
    supply_lost = fact(lambda s: s.supply_measured and s.supply_pa_g < s.set.supply_lost_pa_g)
    pulse_air = fact(
        lambda s: (
            s.now.supply_air_ok
            if s.supply_switched
            else not s.supply_bad and s.supply_pa_g >= s.set.pulse_air_pa_g
        )
    )

    @memory(first=0)
    def supply_rest_pa_g(s) -> int:
        """Supply air before the source was last started [Pa gauge]."""
        return s.supply_pa_g if s.step == SEAL else s.was.supply_rest_pa_g

    supply_sags = fact(
        lambda s: s.supply_good and s.supply_pa_g < s.was.supply_rest_pa_g - s.set.supply_weak_pa
    )
