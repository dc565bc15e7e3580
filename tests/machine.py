"""A receiver that obliges: what the bench wires to the logic, with every option of a station."""

from collections import namedtuple
from dataclasses import dataclass

from controller.image import FIELD_INPUTS, Outputs
from controller.sequence.presets import Presets
from controller.sequence.steps import MOTOR_KIND, TWO_COIL_VALVE

Field = namedtuple("Field", FIELD_INPUTS)


def vacuum_ua(kpa: float) -> int:
    """The current of the body vacuum transmitter, 4-20 mA for 0-100 kPa."""
    return round(4_000 + 160 * kpa)


def supply_ua(bar_g: float) -> int:
    """The current of the supply air transmitter, 4-20 mA for 0-10 bar gauge."""
    return round(4_000 + 1_600 * bar_g)


def dp_ua(kpa: float) -> int:
    """The current of the filter's transmitter, 4-20 mA for 0-20 kPa."""
    return round(4_000 + 800 * kpa)


@dataclass
class Machine:
    """
    A receiver that obliges: flap, vacuum of first order, level probes, supply air, motor, filter.

    The vacuum goes towards a figure with 300 ms when the vent is shut and with 100 ms when it is open.
    """

    conveying_kpa: float = 13.7  # medium station of the plant model
    air_only_kpa: float = 4.3
    flap_travel_ms: int = 300
    seat_free: bool = True  # else a lump stops the flap half-way to closed
    level_free: bool = True
    supply_bar_g: float = 7.0
    vacuum_kpa: float = 0.0
    flap_place: float = 0.0  # 0 closed, 1 open
    # options; a station without them leaves these wires alone
    bypassed: bool = False  # a motor with a bypass acts on the body only while the bypass is shut
    two_coils: bool = False
    valve_open: bool = False  # where a valve with two coils was last put
    swings: bool = False  # a flap without command: opened by the batch, shut by its weight
    ajar: float = 0.0  # where it comes to rest without vacuum
    hangs: bool = False  # the batch does not fall; a flap without command hangs open on it
    low_covered: bool = True
    receiver_free: bool = True
    full_at_s: float = 1e9  # the receiver's probe is covered by so much
    dp_kpa: float = 1.8  # of the filter while air is drawn
    supply_sag_bar: float = 0.0  # while the source acts
    pulse_dip_bar: float = 0.0  # while a pulse valve is open
    run_feedback_ms: int = 300
    batch_s: float = 0.0  # what is in the body, in seconds of filling
    motor_ms: int = 0
    pressure_bar_g: float = 7.0  # of the supply, with what draws on it

    def suit(self, presets: Presets) -> None:
        """The machine has the options that the presets say."""
        self.bypassed = bool(presets.source_kind == MOTOR_KIND and presets.bypass_fitted)
        self.swings = presets.flap_kind > 0
        self.two_coils = presets.flap_valve == TWO_COIL_VALVE and not self.swings

    def advance(self, outputs: list[int], dt_ms: int) -> None:
        out = Outputs(*outputs)
        acts = out.source_cmd and (out.bypass_close_cmd or not self.bypassed)
        wanted = self.conveying_kpa if acts and out.feed_cmd else self.air_only_kpa if acts else 0.0
        self.vacuum_kpa += (wanted - self.vacuum_kpa) * min(1.0, dt_ms / (300 if out.vent_close_cmd else 100))
        self.motor_ms = self.motor_ms + dt_ms if out.source_cmd else 0
        pulse = out.pulse_1_cmd or out.pulse_2_cmd or out.pulse_3_cmd
        self.pressure_bar_g = self.supply_bar_g - acts * self.supply_sag_bar - pulse * self.pulse_dip_bar
        if acts and out.feed_cmd:
            self.batch_s += dt_ms / 1_000
        elif self.flap_place > 0.5 and not self.hangs:
            self.batch_s = max(0.0, self.batch_s - dt_ms / 100)
        self._move_flap(out, dt_ms / self.flap_travel_ms)

    def _move_flap(self, out: Outputs, travel: float) -> None:
        if self.swings:
            opens, shuts = self.batch_s > 0.0 and self.vacuum_kpa < 1.0, True
        elif self.two_coils:
            self.valve_open = bool(out.flap_open_cmd or (self.valve_open and not out.flap_close_cmd))
            air = self.supply_bar_g > 1.0  # without it the flap stays; it goes on when the air is back
            opens, shuts = self.valve_open and air, air
        else:
            opens, shuts = bool(out.flap_open_cmd), True
        if opens:
            self.flap_place = min(1.0, self.flap_place + travel)
        elif shuts:
            rest = self.ajar if self.vacuum_kpa < 1.0 else 0.0
            self.flap_place = max(rest if self.seat_free else 0.5, self.flap_place - travel)

    def wires(self) -> tuple[int, ...]:
        """The points of `FIELD_INPUTS`."""
        drawn = self.vacuum_kpa > 1.5
        return Field(
            level_free=+self.level_free,
            level_low_covered=+self.low_covered,
            receiver_free=+(self.receiver_free and self.batch_s < self.full_at_s),
            flap_closed_fb=+(self.flap_place < 0.02),
            flap_open_fb=+(self.flap_place > 0.98),
            vacuum_ua=vacuum_ua(self.vacuum_kpa),
            vacuum_switch=+drawn,
            supply_air_ua=supply_ua(self.pressure_bar_g),
            supply_air_ok=+(self.pressure_bar_g >= 4.5),
            filter_dp_ua=dp_ua(self.dp_kpa if drawn else 0.0),
            source_running_fb=+(self.motor_ms >= self.run_feedback_ms),
            overload_healthy=1,
            feed_present=1,
        )
