"""Facts that only watch: clocks on the wires, that claims can be held against. Nothing of the sequence reads them."""

from controller.engines.claims.tallies import Tallies
from controller.sequence.definition import fact, memory, percent
from controller.sequence.steps import (
    BY_SWITCH,
    DAY_MS,
    DRAIN,
    DRAWING,
    LEVEL_HOLD,
    OPEN,
    PULSE,
    RECOVER,
    REOPEN,
    SUCTION,
    WORKING,
)  # fmt: skip


class Watched(Tallies):
    """The facts, counts of the batches, and clocks that only the claims read."""

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
        return (
            0
            if (s.was.flap_open_cmd or s.set.flap_kind > 0) and (s.was.step in (REOPEN, OPEN, DRAIN) or s.was.emptying)
            else min(s.was.dry_ms + s.dt_ms, DAY_MS)
        )

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
        return (s.was.air_broke or (s.air_wait and s.was.step in DRAWING)) and s.step in (*SUCTION, LEVEL_HOLD)

    @memory(first=0)
    def step_all_ms(s) -> int:
        """Time in the step, waits included."""
        return min(s.was.step_all_ms + s.dt_ms, DAY_MS) if s.step == s.was.step else 0

    @memory(first=False)
    def open_seen(s) -> bool:
        """In this drain, and the pulses that go with it, the flap was proven open."""
        return s.step in (DRAIN, PULSE, RECOVER) and (s.was.open_seen or s.flap_open_proven)

    @memory(first=0)
    def dropping_ms(s) -> int:
        """Since when."""
        return min(s.was.dropping_ms + s.dt_ms, DAY_MS) if s.open_seen and s.was.open_seen else 0

    reads_thin_air = fact(
        lambda s: (
            s.set.supply_by != BY_SWITCH
            and s.now.supply_air_ua >= 3_800
            and s.now.supply_air_ua <= 20_500
            and percent(s.now.supply_air_ua, s.set.supply_pa_per_100ua) - percent(4_000, s.set.supply_pa_per_100ua)
            < s.set.supply_lost_pa_g
        )
    )

    @memory(first=False)
    def thin_air(s) -> bool:
        """It works, and the supply transmitter reads under the very low limit."""
        return s.step in WORKING and s.reads_thin_air

    @memory(first=0)
    def thin_air_ms(s) -> int:
        """For how long."""
        return min(s.was.thin_air_ms + s.dt_ms, DAY_MS) if s.was.thin_air else 0

    @memory(first=0)
    def motor_rest_ms(s) -> int:
        """Time that the motor has not been commanded, since power-up at the most."""
        return 0 if s.source_cmd else min(s.was.motor_rest_ms + s.dt_ms, DAY_MS)

    @memory(first=0)
    def held_ms(s) -> int:
        """Time since an output was last asked for by hand."""
        return 0 if s.now.jog > 0 else min(s.was.held_ms + s.dt_ms, DAY_MS)

    @memory(first=0)
    def horn_ms(s) -> int:
        """Time that the horn has sounded in manual mode, whole from its beginning."""
        return min(s.was.horn_ms + s.dt_ms, DAY_MS) if s.manual and s.was.manual else 0
