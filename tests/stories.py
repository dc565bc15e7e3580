"""
Random stories for the sequence: a small machine that obeys, in moods that come and go, and restless people.

Everything reaches the logic through its inputs. The machine is a caricature (a flap that travels, a vacuum
that follows the source), so that a whole batch takes a few dozen scans and rare rows come up often.
"""

import random
from collections.abc import Callable, Generator

from controller.image import Inputs, Outputs
from controller.sequence.presets import Presets

SHORT = Presets(
    flap_travel_ms=500, flap_both_ms=50, flap_lost_ms=30, flap_reopen_ms=500, contact_debounce_ms=10,
    supply_low_ms=100, supply_lost_ms=20, open_air_wait_ms=5_000, resume_stop_ms=5_000, warning_ms=100,
    tank_charge_ms=50, proving_ms=400, no_vacuum_ms=200, fill_ms=1_500, no_material_arm_ms=300,
    no_material_ms=200, starved_pause_ms=2_000, vacuum_high_ms=100, clear_ms=600, line_empty_ms=200,
    transit_ms=200, release_settle_ms=20, vent_min_ms=40, release_limit_ms=1_000, drain_ms=500, pulse_ms=60,
    recovery_ms=200, pulse_off_min_ms=50, pulse_air_wait_ms=1_000, settle_ms=60, level_on_ms=100,
    level_mask_ms=60, level_clear_ms=500, signal_failed_ms=60, signal_hold_ms=200, idle_vacuum_ms=1_000,
    io_lost_ms=50, override_ms=60,
)  # fmt: skip

SETS = (
    SHORT,
    SHORT._replace(supply_low_effect=1, resumes_in_row_max=1, clean_every=3, resume_spacing_ms=1_900_000),
    SHORT._replace(finish_fill_on_stop=True, clear_ms=0, flap_retries_max=0, pulses=0, pulses_last=1),
    SHORT._replace(
        supply_low_effect=1, resumes_in_row_max=5, resume_spacing_ms=300_000, vacuum_high_repeats=1
    ),
    SHORT._replace(
        flap_retries_max=2, pulses=3, vacuum_high_repeats=3, short_batches_max=1, warning_ms=0, settle_ms=0
    ),
    SHORT._replace(supply_low_effect=1, no_material_ms=600, vacuum_high_repeats=3, fill_ms=2_500),
)
"""Presets of the stories: each choice both ways, counts small and large."""

# how often a mood comes, relative
MOODS = {
    "": 30, "flap_stuck": 3, "flap_slow": 1, "lump": 4, "closed_lost": 3, "open_lost": 3, "both_on": 2,
    "plug": 3, "hose_off": 3, "high": 5, "no_material": 6, "vent_shut": 3, "vacuum_wire": 3,
    "vacuum_doubtful": 2, "vacuum_frozen": 3, "vacuum_at_rest": 3, "below_atmosphere": 1, "air_low": 8,
    "air_lost": 2, "air_wire": 2, "air_doubtful": 1, "air_for_no_pulse": 4, "full": 6, "flutter": 2, "chain": 1,
    "stop": 2, "old_image": 1, "source_passes": 1,
}  # fmt: skip
STYLES = (
    MOODS,
    {"": 12, "air_low": 20, "flap_stuck": 3, "no_material": 1, "full": 1, "stop": 2},  # a weak air supply
    {"": 12, "lump": 6, "vacuum_at_rest": 6, "open_lost": 3, "high": 5, "plug": 3, "hose_off": 3, "vent_shut": 2},
)  # fmt: skip
LENGTHS_MS = (20, 150, 600, 2_000, 9_000)
SHORT_ONES = ("chain", "stop", "old_image")  # they stop everything else
LONG_ONES = ("vacuum_frozen", "no_material")  # they show after a batch or more


class Story:
    """One machine and its people; `inputs(outputs, dt_ms)` answers what the logic sees next."""

    def __init__(self, seed: int) -> None:
        self.rnd = random.Random(seed)
        self.weights = STYLES[seed // len(SETS) % len(STYLES)]
        self.moods, self.left_ms = ["", ""], [0, 0]
        self.flap, self.vacuum_pa, self.lump = 0.0, 0.0, False
        self.start_ms = self.reset_ms = 0
        self.level_free = True

    def inputs(self, out: Outputs, dt_ms: int) -> Inputs:
        """Let the machine follow `out` for `dt_ms` and read it."""
        at_rest = not out.run_lamp and self.rnd.random() < 0.8
        self._change_moods(
            dt_ms * 10 if at_rest else dt_ms
        )  # what is wrong is soon put right while it stands
        self._move(out, dt_ms)
        r = self.rnd
        idle = not (out.run_lamp or out.fault_lamp or out.horn)
        self.start_ms = max(self.start_ms - dt_ms, 0) or (60 if r.random() < (0.2 if idle else 0.01) else 0)
        self.reset_ms = max(self.reset_ms - dt_ms, 0) or (60 if r.random() < 0.15 * out.fault_lamp else 0)
        if not self.has("flutter"):
            self.level_free = not self.has("full")
        elif r.random() < 0.2:
            self.level_free = not self.level_free
        vacuum_ua = 4_000 + round(self.vacuum_pa * 0.16)
        for mood, ua in ("vacuum_frozen", 4_900), ("vacuum_doubtful", 3_700), ("vacuum_wire", 0):
            vacuum_ua = ua if self.has(mood) else max(vacuum_ua, ua and 3_800)
        return Inputs(
            start_pb=self.start_ms > 0,
            reset_pb=self.reset_ms > 0,
            acknowledge_pb=r.random() < 0.01,
            stop_healthy=not self.has("stop"),
            safety_chain_healthy=not self.has("chain"),
            level_free=self.level_free,
            flap_closed_fb=(self.flap <= 0.05 and not self.has("closed_lost")) or self.has("both_on"),
            flap_open_fb=(self.flap >= 0.95 and not self.has("open_lost")) or self.has("both_on"),
            vacuum_ua=vacuum_ua,
            supply_air_ua=self._supply_ua(),
            stop_request=r.random() < 0.001,
            halt_request=r.random() < 0.001,
            start_request=r.random() < 0.002,
            reset_request=r.random() < 0.002,
            acknowledge_request=r.random() < 0.002,
            clean_request=r.random() < 0.02,
            empty_request=r.random() < 0.01,
            image_age_ms=200 if self.has("old_image") else 0,
        )

    def has(self, *moods: str) -> bool:
        """One of the moods is on."""
        return any(m in self.moods for m in moods)

    def _supply_ua(self) -> int:
        for mood, ua in ("air_wire", 0), ("air_doubtful", 3_700), ("air_lost", 7_200):
            if self.has(mood):
                return ua
        return 10_240 if self.has("air_for_no_pulse") else 10_720 if self.has("air_low") else 13_600

    def _change_moods(self, dt_ms: int) -> None:
        for n in range(2):
            self.left_ms[n] -= dt_ms
            if self.left_ms[n] <= 0:
                mood = self.rnd.choices(list(self.weights), list(self.weights.values()))[0]
                longest = 3 if mood in SHORT_ONES else 5
                self.left_ms[n] = self.rnd.choice(
                    LENGTHS_MS[4:] if mood in LONG_ONES else LENGTHS_MS[:longest]
                )
                self.moods[n] = mood
                self.lump = self.lump or mood == "lump"

    def _move(self, out: Outputs, dt_ms: int) -> None:
        if not self.has("flap_stuck", "air_lost"):
            aim = 1.0 if out.flap_open_cmd else 0.4 if self.lump else 0.0
            travel = dt_ms / (1_500 if self.has("flap_slow") else 200)
            self.flap += max(-travel, min(travel, aim - self.flap))
        if self.flap > 0.95 and self.rnd.random() < 0.3:
            self.lump = False  # the opening freed the seat
        self.vacuum_pa += (self._vacuum_aim(out) - self.vacuum_pa) * min(1.0, dt_ms / 60)

    def _vacuum_aim(self, out: Outputs) -> float:
        if self.has("below_atmosphere"):
            return -1_200
        if self.has("vacuum_at_rest") or (self.has("source_passes") and out.vent_close_cmd):
            return 1_500
        if not out.source_cmd or self.flap > 0.05:
            return self.vacuum_pa if self.has("vent_shut") else 0
        if self.has("plug") or (self.has("high") and not out.purge_cmd):
            return 60_000
        if self.has("half_clear"):
            return 10_000
        if self.has("hose_off"):
            return 700
        return 13_700 if out.feed_cmd and not self.has("no_material") else 4_300


Director = Callable[[Story, Outputs, int], int]  # sets the moods, answers the milliseconds to the next scan


def air_goes_while_purging(teller: Story, out: Outputs, purging_ms: int) -> int:
    """Every other purge or clear is broken off for want of air, which soon comes back."""
    if purging_ms == 10:
        teller.moods[0] = teller.rnd.choice(["air_low", ""])
    elif not out.purge_cmd:
        teller.moods[0] = ""
    teller.moods[1] = "stop" if teller.rnd.random() < 0.0003 else ""
    return 10


def line_plugs_at_the_end_of_purge(teller: Story, out: Outputs, purging_ms: int) -> int:
    """The line clears half, and plugs just before the clearing time is over."""
    teller.moods[:] = ["plug" if purging_ms > 560 else "half_clear" if purging_ms else "", ""]
    return 10


def product_runs_out(teller: Story, out: Outputs, purging_ms: int) -> int:
    """Nothing comes up the line: short batches, a pause, and again."""
    teller.moods[:] = ["no_material", ""]
    return 10


def scans_come_late(teller: Story, out: Outputs, purging_ms: int) -> int:
    """One scan in twenty is a second late."""
    teller.moods[:] = ["", ""]
    return teller.rnd.choice([10] * 19 + [1_000])


def story(seed: int, director: Director | None = None) -> Generator[tuple[Inputs, int], Outputs, None]:
    """Inputs and milliseconds of scan after scan; send the outputs back. Scans are 10 ms, now and then late."""
    teller = Story(seed)
    out, purging_ms, dt_ms = Outputs(), 0, 10
    while True:
        purging_ms = purging_ms + dt_ms if out.purge_cmd else 0
        if director is None:
            dt_ms = 1_000 if teller.rnd.random() < 0.0005 else teller.rnd.choice([10, 10, 10, 10, 11, 25])
        else:
            teller.left_ms = [1_000, 1_000]
            dt_ms = director(teller, out, purging_ms)
        out = yield teller.inputs(out, dt_ms), dt_ms


PROGRAMME: tuple[tuple[int, int, Director | None, int], ...] = (
    (0, 0, None, 328), (1, 1, None, 110), (2, 2, None, 177), (4, 4, None, 382), (5, 5, None, 1_440),
    (9, 3, None, 460), (12, 0, None, 177), (13, 1, None, 1_811), (16, 4, None, 599), (20, 2, None, 119),
    (21, 3, None, 194), (22, 4, None, 42), (23, 5, None, 2_697), (30, 0, None, 198),
    (35, 5, None, 1_248), (37, 1, None, 83), (49, 1, None, 152), (50, 2, None, 278), (56, 2, None, 108),
    (57, 3, None, 308), (58, 4, None, 437), (59, 5, None, 230), (91, 1, air_goes_while_purging, 179),
    (97, 1, air_goes_while_purging, 1_471), (120, 0, line_plugs_at_the_end_of_purge, 240),
    (121, 4, scans_come_late, 1_620), (122, 4, product_runs_out, 1_200),
)  # fmt: skip
"""
Seed, number of the presets, director, scans: together they reach every row, line and last word.

Chosen by `python tests/choose_stories.py`; run it again when a change of the sequence leaves a row unreached.
"""
POWER_CUT_EVERY = 1_501  # scans
