"""
Kinds of stations for the search of dead ends, with presets so short that every step takes few scans.

`SAME` says what means the same and is made equal, so that a search ends: clocks stop over every preset that
they are held against, an hour passes in a few scans, and what was learned is kept in steps of a second.
"""

from typing import NamedTuple

from controller.image import Inputs
from controller.sequence.presets import Presets
from controller.sequence.steps import FAULT, HOUR_MS, LEVEL_HOLD, REST

SHORT = Presets(
    flap_travel_ms=1_000, flap_both_ms=100, contact_debounce_ms=0, flap_reopen_ms=1_000, supply_low_ms=1_000,
    flap_pull_in_ms=1_000, flap_shut_ms=1_000, supply_lost_ms=100, flap_lost_ms=100,
    open_air_wait_ms=5_000, resume_stop_ms=5_000, resumes_in_row_max=1, resume_spacing_ms=3_000_000,
    warning_ms=1_000, tank_charge_ms=0, proving_ms=1_000, no_vacuum_ms=1_000, fill_ms=2_000, fill_min_ms=0,
    no_material_arm_ms=1_000, no_material_ms=1_000, short_batches_max=1, starved_pause_ms=2_000,
    vacuum_high_ms=1_000, clear_ms=2_000, transit_ms=1_000, line_empty_ms=1_000, release_settle_ms=0,
    vent_min_ms=0, vent_timed_ms=1_000, release_limit_ms=2_000, drain_ms=1_000, pulses=1, pulses_last=1,
    pulse_ms=500, pulse_off_min_ms=200, recovery_ms=1_000, pulse_air_wait_ms=2_000, clean_lead_ms=0,
    settle_ms=1_000, level_on_ms=1_000, level_mask_ms=1_000, level_clear_ms=1_000, idle_vacuum_ms=1_000,
    signal_failed_ms=0, signal_hold_ms=0, override_ms=200, feed_low_ms=1_000, receiver_full_ms=0,
    run_feedback_on_ms=1_000, run_feedback_lost_ms=500, spin_up_ms=1_000, run_down_ms=2_000,
    motor_on_min_ms=2_000, motor_off_min_ms=3_000, start_spacing_ms=2_000_000, run_on_ms=2_000,
    jog_renew_ms=500, manual_idle_ms=5_000, dp_mask_ms=0, dp_ms=1_000,
)  # fmt: skip


class StationKind(NamedTuple):
    """One kind: what it has, what more may happen there, and what people do beside start, stop and halt."""

    name: str
    presets: Presets = SHORT
    happens: tuple[str, ...] = ()
    jogs: tuple[int, ...] = ()  # outputs held in manual mode, as `JOG` counts; none: nobody uses it
    orders: tuple[str, ...] = ()  # clean, empty

    @property
    def noticed(self) -> bool:
        """No instrument shows a plugged line: people see that nothing comes."""
        return self.presets.vacuum_by != 0


MOTOR = SHORT._replace(source_kind=1, run_feedback_fitted=True, overload_fitted=True)
MOTOR_FAILS = ("motor fails", "contactor welds", "overload")
HANGS = SHORT._replace(flap_kind=2, flap_feedback=1)
WEIGHS = SHORT._replace(flap_kind=1, flap_feedback=1)
LOST_AT_ONCE = SHORT._replace(flap_lost_ms=0)  # by hand the flap moves beside the source
SOURCE, BYPASS, FLAP_OPEN, FLAP_CLOSE = 1, 2, 3, 4  # of JOG

KINDS = (
    StationKind("low air trips"),
    StationKind("low air waits", SHORT._replace(supply_low_effect=1)),
    StationKind("two coils", SHORT._replace(flap_valve=1)),
    StationKind("flap held by vacuum", HANGS, ("flap rests ajar",)),
    StationKind("flap held by vacuum that sticks", HANGS, ("flap sticks",)),
    StationKind("counterweight", WEIGHS),
    StationKind("counterweight that sticks", WEIGHS, ("flap sticks",)),
    StationKind("motor with bypass", MOTOR._replace(bypass_fitted=True), MOTOR_FAILS),
    StationKind("motor without bypass", MOTOR, MOTOR_FAILS),
    StationKind("batch held, refill on low",
                SHORT._replace(level_policy=1, level_low_fitted=True, refill_on_low=True),
                ("vessel runs low",)),
    StationKind("receiver-full probe",
                SHORT._replace(receiver_full_fitted=True, fill_ms=4_000, fill_min_ms=2_000,
                               short_cycles_max=4, too_fast_in_row=1),
                ("product bridges", "a part stays", "vessel backs up")),
    StationKind("closed switch only", SHORT._replace(flap_feedback=1)),
    StationKind("open switch only", SHORT._replace(flap_feedback=2)),
    StationKind("vacuum by switch", SHORT._replace(vacuum_by=1, supply_by=1)),
    StationKind("vacuum by times", SHORT._replace(vacuum_by=2)),
    StationKind("cleaned with the drain", SHORT._replace(clean_mode=1, pulse_groups=3, drain_ms=2_000)),
    StationKind("cleaned off-line", SHORT._replace(clean_mode=2, pulse_groups=3)),
    StationKind("wanted, hopper, not seen",
                SHORT._replace(plant_enable_fitted=True, feed_low_fitted=True, not_seen_batches=2),
                ("not wanted", "feed low")),
    StationKind("manual mode", LOST_AT_ONCE, jogs=(SOURCE, FLAP_OPEN)),
    StationKind("manual mode, two coils", LOST_AT_ONCE._replace(flap_valve=1),
                jogs=(SOURCE, FLAP_OPEN, FLAP_CLOSE)),
    StationKind("manual mode, motor", MOTOR._replace(bypass_fitted=True, flap_lost_ms=0), MOTOR_FAILS,
                jogs=(SOURCE, BYPASS, FLAP_OPEN)),
    StationKind("remote and local", SHORT._replace(selector_fitted=True, remote_start_allowed=True),
                ("key turned",)),
    StationKind("safety chain and link", happens=("safety chain opens", "link breaks")),
    StationKind("dp high", SHORT._replace(dp_fitted=True), ("filter blinds",)),
    StationKind("clean and empty", orders=("clean", "empty")),
)  # fmt: skip

FACTS = {
    f"{signal}_{judged}": 0 for signal in ("vacuum", "supply", "dp") for judged in ("failed", "doubtful")
}
"""In this world the currents are always measured."""

HELD = {name: int(value) for name, value in Inputs()._asdict().items()}


def bucket(name: str, spacing: str) -> str:
    """An hour's limit: what still allows one more is the same; a full one is forgotten in five scans."""
    return f"0 if {name} <= {HOUR_MS} - {spacing} else min({name}, {HOUR_MS + 5_000} - {spacing})"


STILL = "vacuum_most_pa - vacuum_least_pa <= 200"
CAPS = {
    "since_pour_ms": 2_000, "source_off_ms": 3_000, "pulse_off_ms": 1_000, "emptying_ms": 3_000,
    "motor_on_ms": 3_000, "motor_off_ms": 4_000, "acting_ms": 2_000, "manual_ms": 2_000, "jog_age_ms": 5_000,
    "filled_ms": 5_000, "pulse_on_ms": 2_000, "use_ms": 0,
}  # fmt: skip
HELD_CAPS = {
    "level_unsure_held_ms": 3_000,
    "flap_not_closed_5_held_ms": 2_000,
    "runs_uncommanded_held_ms": 2_000,
}


def same(names: tuple[str, ...], p: Presets) -> dict[str, str]:
    """For each memory that grows without end, the expression that makes it equal where it means the same."""
    rules = {name: f"min({name}, {cap})" for name, cap in CAPS.items()}
    for name in names:
        if name.endswith("_held_ms"):
            rules[name] = (
                f"min({name}, {HELD_CAPS.get(name, 1_000)}) if {name[: -len('_held_ms')]}_seen else 0"
            )
    at_rest = f"step == {int(REST)} or step == {int(FAULT)}"  # the seal of the next batch begins them anew
    worked = "min(step_ms - max(waited_ms - 6000, 0), 60000)"  # what is taken off one clock is off the other
    return rules | {
        "waited_ms": "min(waited_ms, 6000)",
        "step_ms": f"0 if {at_rest} else min(step_ms, 5000) if step == {int(LEVEL_HOLD)} else {worked}",
        "vacuum_pa": "0", "supply_pa_g": "0", "dp_pa": "0",  # asked for while a current is doubtful only
        "vacuum_least_pa": f"0 if {at_rest} else vacuum_least_pa if {STILL} else 0",
        "vacuum_most_pa": f"0 if {at_rest} else vacuum_most_pa if {STILL} else 100000",
        "resume_bucket_ms": bucket("resume_bucket_ms", str(p.resume_spacing_ms)),
        "starts_bucket_ms": bucket("starts_bucket_ms", str(p.start_spacing_ms)),
        "usual_sum_ms": "(usual_sum_ms + 10000) // 20000 * 20000",
        "batches_since_clean": f"min(batches_since_clean, {p.clean_every})",
        "unseen_batches": f"min(unseen_batches, {p.not_seen_batches})",
        "pulse_group": "1",  # the groups do the same one after another
    }  # fmt: skip
