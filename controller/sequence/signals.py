"""Facts about the inputs: commands as edges, contacts without bounce, currents judged and scaled."""

from controller.image import FAILED_HIGH_UA, FAILED_LOW_UA, MEASURED_HIGH_UA, MEASURED_LOW_UA, Inputs
from controller.sequence.definition import Scan, fact, memory, on_delay, percent
from controller.sequence.presets import Presets
from controller.sequence.steps import (
    DAY_MS,
    DRAIN,
    FILTER_CLEAN,
    OPEN,
    REOPEN,
    TO_CLEAN,
)


class Signals(Scan[Inputs, Presets]):
    """What the wires and the shell say, as positive facts."""

    step = fact[int]()  # from ROWS
    flap_open_cmd = fact[bool]()  # from OUTPUTS
    pulse_1_cmd = fact[bool]()
    pulse_off_ms = fact[int]()  # counters
    order = fact[int]()  # counters

    # ---- commands ----------------------------------------------------------------------------------
    start_wanted = fact[bool](lambda s: s.now.start_pb or s.now.start_request)
    reset_wanted = fact[bool](lambda s: s.now.reset_pb or s.now.reset_request)
    start_was_held = fact(lambda s: s.was.start_held)
    start_edge = fact(lambda s: s.start_wanted and not s.was.start_held)
    reset_edge = fact(lambda s: s.reset_wanted and not s.was.reset_held)
    stop = fact(lambda s: not s.now.stop_healthy or s.now.stop_request)
    stop_asked = fact(lambda s: s.now.stop_request)
    halt = fact(lambda s: s.now.halt_request)
    acknowledged = fact(lambda s: s.now.acknowledge_pb or s.now.acknowledge_request)
    safety_chain_open = fact(lambda s: not s.now.safety_chain_healthy)
    stop_contact_open = fact(lambda s: not s.now.stop_healthy)
    image_too_old = fact(lambda s: s.now.image_age_ms > s.set.io_lost_ms)

    @memory(first=True)
    def start_held(s) -> bool:
        """Start as last seen. True at power-up: a button held through it starts nothing."""
        return s.start_wanted

    @memory(first=True)
    def reset_held(s) -> bool:
        """Reset as last seen."""
        return s.reset_wanted

    # ---- flap switches: steady for the debounce, either way; one that does not settle counts as off ---
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

    flap_proven = fact(lambda s: s.flap_closed and not s.flap_open)
    flap_unproven = fact(lambda s: not s.flap_proven)
    flap_open_proven = fact(lambda s: s.flap_open and not s.flap_closed)
    flap_both = fact(lambda s: s.flap_closed and s.flap_open)
    flap_both_long = on_delay(lambda s: s.flap_both, by="flap_both_ms")
    flap_neither = fact(lambda s: not s.flap_closed and not s.flap_open)
    flap_lost = on_delay(lambda s: s.flap_unproven, by="flap_lost_ms")

    # ---- body vacuum: NE 43 judges the current, then it is scaled ------------------------------------
    vacuum_failed = fact(lambda s: s.now.vacuum_ua <= FAILED_LOW_UA or s.now.vacuum_ua >= FAILED_HIGH_UA)
    vacuum_doubtful = fact(lambda s: s.now.vacuum_ua < MEASURED_LOW_UA or s.now.vacuum_ua > MEASURED_HIGH_UA)
    pulse_near = fact(lambda s: s.was.pulse_1_cmd or s.was.pulse_off_ms < 1_000)
    vacuum_failed_long = on_delay(lambda s: s.vacuum_failed and not s.pulse_near, by="signal_failed_ms")
    vacuum_steady = on_delay(lambda s: not s.vacuum_doubtful, by="signal_failed_ms")
    vacuum_doubtful_long = on_delay(lambda s: not s.vacuum_steady and not s.pulse_near, by="signal_hold_ms")
    vacuum_read_pa = fact(
        lambda s: percent(s.now.vacuum_ua, s.set.vacuum_pa_per_100ua)
        - percent(4_000, s.set.vacuum_pa_per_100ua)
    )
    vacuum_frozen = fact[bool]()  # counters
    vacuum_bad = fact(lambda s: s.vacuum_failed_long or s.vacuum_doubtful_long or s.vacuum_frozen)
    vacuum_good = fact(lambda s: not s.vacuum_doubtful and not s.vacuum_bad)

    @memory(first=0)
    def vacuum_pa(s) -> int:
        """Body vacuum under the atmosphere [Pa]; the last good value while the current is doubtful."""
        return s.was.vacuum_pa if s.vacuum_doubtful else s.vacuum_read_pa

    under_release = fact(lambda s: s.vacuum_pa < s.set.release_pa)
    near_zero = fact(lambda s: s.under_release and s.vacuum_pa > 0 - s.set.release_pa)

    # ---- supply air ----------------------------------------------------------------------------------
    supply_failed = fact(
        lambda s: s.now.supply_air_ua <= FAILED_LOW_UA or s.now.supply_air_ua >= FAILED_HIGH_UA
    )
    supply_doubtful = fact(
        lambda s: s.now.supply_air_ua < MEASURED_LOW_UA or s.now.supply_air_ua > MEASURED_HIGH_UA
    )
    supply_failed_long = on_delay(lambda s: s.supply_failed, by="signal_failed_ms")
    supply_steady = on_delay(lambda s: not s.supply_doubtful, by="signal_failed_ms")
    supply_doubtful_long = on_delay(lambda s: not s.supply_steady, by="signal_hold_ms")
    supply_bad = fact(lambda s: s.supply_failed_long or s.supply_doubtful_long)

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
        return s.supply_bad or s.supply_pa_g < (
            s.set.supply_low_pa_g + (s.set.supply_band_pa if s.was.supply_under_limit else 0)
        )

    supply_not_over = fact(
        lambda s: s.supply_bad or s.supply_pa_g < s.set.supply_low_pa_g + s.set.supply_band_pa
    )
    supply_not_over_long = on_delay(lambda s: s.supply_not_over, by="supply_low_ms")
    supply_lost = fact(lambda s: s.supply_pa_g < s.set.supply_lost_pa_g)
    pulse_air = fact(lambda s: not s.supply_bad and s.supply_pa_g >= s.set.pulse_air_pa_g)

    # ---- level below, blind while product falls past the probe -----------------------------------------
    pouring = fact(
        lambda s: s.was.flap_open_cmd
        and (
            s.was.step in (REOPEN, OPEN, DRAIN)
            or (s.was.order == TO_CLEAN
            and s.was.step in FILTER_CLEAN)
        )
    )

    @memory(first=0)
    def since_pour_ms(s) -> int:
        """Time since product last fell past the probe."""
        return 0 if s.pouring else min(s.was.since_pour_ms + s.dt_ms, DAY_MS)

    level_masked = fact(lambda s: s.pouring or s.since_pour_ms < s.set.level_mask_ms)
    level_seen = fact(lambda s: not s.level_masked)
    level_covered_long = on_delay(lambda s: s.level_seen and not s.now.level_free, by="level_on_ms")
    level_free_long = on_delay(lambda s: s.level_seen and s.now.level_free, by="level_on_ms")
    level_clear_long = on_delay(lambda s: s.level_seen and s.now.level_free, by="level_clear_ms")
    level_unsure_ms = fact(lambda s: s.set.level_on_ms + s.set.level_on_ms + s.set.level_on_ms)
    level_unsure = on_delay(
        lambda s: s.level_seen and not s.level_covered_long and not s.level_free_long,
        by="s.level_unsure_ms",
    )
    level_settled = fact(lambda s: s.level_covered_long or s.level_free_long or s.level_unsure)

    @memory(first=True)
    def vessel_full(s) -> bool:
        """Vessel below is full; at power-up until the probe has shown otherwise; flutter counts as full."""
        return (
            s.was.vessel_full
            if s.level_masked
            else s.level_covered_long or s.level_unsure or (s.was.vessel_full and not s.level_free_long)
        )
