"""
A caricature of the machine: it obeys as it is built, in moods that come and go.

A flap travels in a few scans and the vacuum follows the source at once, so that a whole batch takes a few
dozen scans and rare rows come up often. A mood is a name; what it does stands where the name stands.
"""

import random
from typing import Any

from controller.image import Outputs
from controller.sequence.presets import Presets
from controller.sequence.steps import (
    FEEDBACK_CLOSED,
    FEEDBACK_OPEN,
    MOTOR_KIND,
    TWO_COIL_VALVE,
    VACUUM_HELD,
)

REST_PA_G = 600_000
HIGH_COVERED = 2  # of the vessel below: 0 low probe uncovered, 1 between the probes


class Machine:
    """What stands under the outputs; `follow` moves it, `read` says what its instruments show."""

    def __init__(self, rnd: random.Random, presets: Presets) -> None:
        self.rnd, self.set = rnd, presets
        self.moods = ["", ""]
        self.flap, self.vacuum_pa, self.load, self.lump = 0.0, 0.0, 0.0, False
        self.motor_runs, self.motor_lag_ms = False, 0
        self.cake_pa, self.below = 200.0, 1
        self.acts = self.draws = self.pulses = self.weak = False

    def has(self, *moods: str) -> bool:
        """One of the moods is on."""
        return any(m in self.moods for m in moods)

    def follow(self, out: Outputs, dt_ms: int) -> None:
        """Let it follow `out` for `dt_ms`."""
        self.pulses = out.pulse_1_cmd or out.pulse_2_cmd or out.pulse_3_cmd
        self._motor(out, dt_ms)
        turning = out.source_cmd if self.set.source_kind != MOTOR_KIND else self.motor_runs
        self.acts = turning and (out.bypass_close_cmd or not self.set.bypass_fitted)
        self.draws = self.acts and out.feed_cmd and not self.has("no_material")
        self.vacuum_pa += (self._vacuum_aim(out) - self.vacuum_pa) * min(1.0, dt_ms / 60)
        # weak air: the flap's own cylinder draws it down, and does not move
        self.weak = self.has("air_weak") and out.flap_open_cmd and self.flap < 0.5
        if not (self.has("flap_stuck", "air_lost") or self.weak) or self.set.flap_kind:
            travel = dt_ms / (1_500 if self.has("flap_slow") else 200)
            self.flap += max(-travel, min(travel, self._flap_aim(out) - self.flap))
        if self.flap > 0.95 and self.rnd.random() < 0.3:
            self.lump = False  # the opening freed the seat
        if self.draws:
            self.load = min(1.0, self.load + dt_ms / (650 if self.has("fills_fast") else 1_300))
            self.cake_pa = min(4_000.0, self.cake_pa + dt_ms)
        if self.flap > 0.5 and not self.has("hangs"):
            self.load = max(0.0, self.load - dt_ms / 150)
        if self.pulses and not self.has("cake_stays"):
            self.cake_pa = 200

    def _motor(self, out: Outputs, dt_ms: int) -> None:
        wanted = (out.source_cmd and not self.has("motor_stands", "overload")) or (
            self.has("motor_runs_on") and self.motor_runs
        )
        self.motor_lag_ms = self.motor_lag_ms + dt_ms if wanted != self.motor_runs else 0
        if self.motor_lag_ms > 30:
            self.motor_runs = wanted

    def _flap_aim(self, out: Outputs) -> float:
        shut = 0.4 if self.lump else 0.0
        if self.set.flap_kind == 0:
            held = self.set.flap_valve == TWO_COIL_VALVE and not (out.flap_open_cmd or out.flap_close_cmd)
            return self.flap if held else 1.0 if out.flap_open_cmd else shut
        if self.has("flap_stuck"):
            return self.flap
        if self.has("hangs_open") and self.flap > 0.5:
            return 1.0
        if self.has("ajar"):
            return 0.3
        return 1.0 if self.load > 0.05 and self.vacuum_pa < 500 else shut

    def _vacuum_aim(self, out: Outputs) -> float:
        if self.has("below_atmosphere"):
            return -1_200
        if self.has("vacuum_at_rest") or (self.has("source_passes") and out.vent_close_cmd):
            return 1_500
        if not self.acts or (self.flap > 0.05 and self.set.flap_kind != VACUUM_HELD):
            return self.vacuum_pa if self.has("vent_shut") else 0
        if self.flap > 0.05:
            return 900
        if self.has("plug") or (self.has("high") and not out.purge_cmd):
            return 60_000
        if self.has("half_clear"):
            return 10_000
        if self.has("hose_off"):
            return 700
        return 13_700 if self.draws else 4_300

    def read(self) -> dict[str, Any]:
        """The inputs that its instruments drive."""
        r, preset = self.rnd, self.set
        closed = (self.flap <= 0.05 and not self.has("closed_lost")) or self.has("both_on")
        opened = (self.flap >= 0.95 and not self.has("open_lost")) or self.has("both_on")
        if self.has("bounce"):
            closed, opened = closed and r.random() < 0.6, opened and r.random() < 0.6
        supply_pa_g = self._supply_pa_g()
        return {
            "flap_closed_fb": closed and (preset.flap_kind > 0 or preset.flap_feedback != FEEDBACK_OPEN),
            "flap_open_fb": opened and preset.flap_kind == 0 and preset.flap_feedback != FEEDBACK_CLOSED,
            "level_free": self.below != HIGH_COVERED,
            "level_low_covered": self.below > 0 and not self.has("low_uncovered"),
            "receiver_free": not self.has("receiver_stuck") and (self.load < 0.8 or self.has("receiver_dry")),
            "vacuum_ua": self._current("vacuum", 4_000 + round(self.vacuum_pa * 0.16)),
            "vacuum_switch": self.vacuum_pa >= preset.proving_pa,
            "supply_air_ua": self._current("air", 4_000 + round(supply_pa_g * 0.016)),
            "supply_air_ok": supply_pa_g > 440_000 and not self.has("air_switch"),
            "filter_dp_ua": self._current("dp", 4_000 + round(self._dp_pa() * 0.8)),
            "source_running_fb": self.motor_runs and not self.has("motor_drops"),
            "overload_healthy": not self.has("overload"),
            "feed_present": not self.has("feed_low"),
            "level_low_good": not self.has("low_probe_bad"),
            "receiver_full_good": not self.has("receiver_bad"),
            "feed_present_good": not self.has("feed_bad"),
        }

    def _current(self, signal: str, ua: int) -> int:
        """A loop of 4-20 mA, which may be cut, doubtful or frozen."""
        if self.has(f"{signal}_wire"):
            return 0
        if self.has(f"{signal}_doubtful"):
            return 3_700
        return 4_900 if self.has(f"{signal}_frozen") else max(ua, 3_800)

    def _supply_pa_g(self) -> int:
        for mood, pa_g in ("air_lost", 200_000), ("air_for_no_pulse", 390_000), ("air_low", 420_000):
            if self.has(mood):
                return pa_g
        if self.weak:
            return 420_000
        dips = 30_000 if self.pulses and not self.has("no_dip") else 0
        return REST_PA_G - dips - (100_000 if self.acts and self.has("air_sags") else 0)

    def _dp_pa(self) -> float:
        for mood, pa in ("dp_far", 12_000), ("dp_high", 6_000), ("dp_low", 100):
            if self.has(mood):
                return pa if self.acts else 0
        return 800 + self.cake_pa if self.acts else 0
