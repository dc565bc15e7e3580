"""
What must hold whatever happens: one row a rule, from the control narrative, at the wires and at the plant.

A row's text is a pattern of `controller.campaign.patterns` with words of the station in braces; a row with a
word that the station has not is not looked at there. `excused` names what makes it impossible to keep: from
its onset on the row is not judged. It is never a list of what went wrong once.
"""

from collections.abc import Mapping
from typing import NamedTuple

from controller.campaign.scenario import SCAN_MS
from controller.sequence.presets import Presets
from controller.sequence.steps import FEEDBACK_OPEN, MOTOR_KIND, VACUUM_HELD
from controller.simulate.times import typed
from io_sim.parameters import PlantParameters

DELIVERS = "delivers_again"
"""The name of the rule that the end of an episode judges."""


class Invariant(NamedTuple):
    """One rule."""

    name: str
    text: str
    why: str
    excused: tuple[str, ...] = ()  # failure modes, and commands, that make it impossible to keep


MOVES = (
    "source_cmd", "bypass_close_cmd", "vent_close_cmd", "pulse_1_cmd", "pulse_2_cmd", "pulse_3_cmd",
    "fluidise_cmd", "purge_cmd", "feed_cmd",
)  # fmt: skip
"""Outputs that move or feed something when energised, but for the flap, which a halt leaves as it is."""
SEES_CLOSED = ("flap_closed_switch_stuck_on", "flap_closed_switch_chattering", "flap_closed_switch_delayed",
               "flap_closed_switch_shifted")  # fmt: skip
SEES_FULL = ("level_probe_stuck_free", "level_probe_chattering", "level_probe_delayed")
SEES_BODY_FULL = (
    "receiver_full_probe_stuck_free",
    "receiver_full_probe_chattering",
    "receiver_full_probe_delayed",
)
ASKED = "start_pb or start_request or clean_request or empty_request"
I = Invariant  # noqa: E741  # a row reads: I(name, never, why, what excuses it)

AT_THE_WIRES = (
    I("draw_off_seat", "{acts} and not flap_closed_fb for {lost}",
      "a vacuum would be drawn through an open flap: dust, and a hand in the gap"),
    I("flap_opens_on_the_source", "flap_open_cmd and {acts}",
      "the flap would open against the running source"),
    I("both_coils", "flap_open_cmd and flap_close_cmd",
      "two coils against each other: the valve stands anywhere"),
    I("fault_moves", "step == FAULT and not manual and ({moves} or {flap})",
      "in FAULT nothing may move: somebody stands there and looks"),
    I("rest_moves", "step == REST and not manual and ({moves})",
      "nothing moves at rest, and a reset moves nothing"),
    I("moves_without_horn",
      "{moves} unless horn for {warned} since (step == REST or step == FAULT) and not manual",
      "the horn warns before the first movement of a run, of a clean, of an emptying, and by hand"),
    I("flap_opens_without_horn",
      "flap_open_cmd unless horn for {warned} "
      "since (step == REST or step == FAULT) and not manual and not flap_open_cmd",
      "the flap opens only after the horn; a halt leaves it as it is"),
    I("flap_closes_without_horn",
      "flap_close_cmd unless horn for {warned} "
      "since (step == REST or step == FAULT) and not manual and not flap_close_cmd",
      "a closing coil moves a flap too; at rest it may go on to hold it"),
    I("starts_unasked", f"step != REST and step != FAULT unless {ASKED} since step == REST or step == FAULT",
      "power, air or a reset that comes back must start nothing by itself"),
    I("starts_on_a_button_held_through_reset", "step in SUCTION unless not start_pb since step == FAULT",
      "a start held through a reset starts nothing"),
    I("starts_on_a_button_held_through_power_up", "step in SUCTION unless not start_pb since powering_up",
      "a start held through power-up starts nothing"),
    I("feeds_outside_convey", "feed_cmd and step != CONVEY and not manual",
      "product would come with nothing to carry it"),
    I("pulses_on_the_source", "({pulses}) and {acts}",
      "a pulse against the source cleans nothing and loads the filter"),
    I("two_groups_at_once",
      "pulse_1_cmd and pulse_2_cmd or pulse_1_cmd and pulse_3_cmd or pulse_2_cmd and pulse_3_cmd",
      "one group at a time: the tanks share their air"),
    I("pulse_too_long", "({pulses}) for 520ms",
      "a valve that stays on empties the tank into the filter"),
    I("opens_with_vent_shut", "flap_open_cmd and vent_close_cmd and not manual",
      "the body must breathe while it empties"),
    I("step_too_long", "STEP_TOO_LONG",
      "a backstop: every step ends by other rows while scans come on time"),
    I("stuck_in_work",
      "step != REST and step != FAULT and step != LEVEL_HOLD and step != DRAIN and waited_ms == 0 "
      "for {cycle}",
      "whatever fails, work ends in a batch, a hold, a rest or a trip within the sum of its limits"),
)  # fmt: skip
AT_THE_PLANT = (
    I("draws_through_the_gap", "{acts} and plant_flap_open_permille > 60 for {gap}",
      "with a switch that tells the truth no vacuum is drawn through a gap",
      SEES_CLOSED),  # the switch lies: nobody can know
    I("vessel_overfull", "plant_vessel_g >= {vessel_g} and plant_falling_g_s > 100",
      "the freeboard holds the largest batch; over it product stands in the flap",
      (*SEES_FULL, "vessel_tipped_into",  # other product takes the room of the batch on its way
       "line_floods", "body_bridging", "vessel_not_vented",  # a batch over the largest, or two together
       "heap_under_flap", "vessel_rat_hole", "manual")),  # product is not where the probe is; by hand
    I("body_overfull", "plant_body_g > {body_g}",
      "product would stand in the filter elements",
      ("line_floods",  # more than the line can bring
       "body_bridging", "vessel_not_vented", "vessel_pressurised",  # only a probe in the body sees the rest
       *SEES_BODY_FULL, "manual")),
)  # fmt: skip
INVARIANTS = (*AT_THE_WIRES, *AT_THE_PLANT)
LIVENESS = Invariant(
    DELIVERS, "", "with product, air and room, nothing wrong any more, reset and started, it delivers again",
    ("filter_blinding",),  # what it leaves in the cloth no pulse takes off: the elements must be changed
)  # fmt: skip


def words(presets: Presets, plant: PlantParameters) -> dict[str, str]:
    """The words of a station. A motor without bypass acts whenever it is on."""
    p = presets
    bypassed = p.source_kind == MOTOR_KIND and p.bypass_fitted
    said = {
        "acts": "source_cmd and bypass_close_cmd" if bypassed else "source_cmd",
        "moves": " or ".join(MOVES),
        "flap": "flap_open_cmd or flap_close_cmd",
        "pulses": "pulse_1_cmd or pulse_2_cmd or pulse_3_cmd",
        "cycle": typed(cycle_ms(p)),
        "vessel_g": f"{int(plant.vessel_capacity_m3 * plant.material_bulk_density_kg_m3 * 1_000) - 1}",
        "body_g": f"{int(1.15 * plant.body_useful_volume_m3 * plant.material_bulk_density_kg_m3 * 1_000)}",
    }  # 1.15: the room that `receiver check` asks for over the useful volume
    if p.warning_ms > 2 * SCAN_MS:
        said["warned"] = typed(p.warning_ms - 2 * SCAN_MS)
    if p.flap_feedback != FEEDBACK_OPEN:
        pulled_ms = p.flap_pull_in_ms if p.flap_kind == VACUUM_HELD else 0
        lost_ms = p.contact_debounce_ms + p.flap_lost_ms + pulled_ms + 2 * SCAN_MS
        said |= {"lost": typed(lost_ms), "gap": typed(lost_ms + 100)}
    return said


def cycle_ms(p: Presets) -> int:
    """The longest way from one drain to the next, or to a stop: all limits on it, and a half on top."""
    travel = 2 * p.flap_travel_ms
    seal = 2 * travel + p.flap_reopen_ms + p.tank_charge_ms + p.level_mask_ms + 4 * p.level_on_ms
    motor = p.spin_up_ms + p.run_feedback_on_ms + p.run_down_ms if p.source_kind == MOTOR_KIND else 0
    line = p.proving_ms + p.transit_ms + 2 * p.clear_ms + 3 * p.line_empty_ms + p.fill_ms
    vent = max(p.release_limit_ms + p.release_settle_ms + p.vent_min_ms, p.vent_timed_ms)
    pulse = p.pulse_ms + p.recovery_ms + max(p.pulse_air_wait_ms, p.flap_travel_ms) + p.pulse_off_min_ms
    clean = pulse * p.pulse_groups * max(p.pulses, p.pulses_last) + p.settle_ms
    return int(1.5 * (p.warning_ms + seal + motor + line + 2 * vent + 2 * travel + 2 * clean))


def delivers_within_ms(p: Presets, plant: PlantParameters) -> int:
    """After the last start: the vessel is used up, pauses and the motor's rest are over, and two batches."""
    kg = plant.vessel_capacity_m3 * plant.material_bulk_density_kg_m3
    used_ms = kg / max(plant.vessel_demand_kg_h, 1.0) * 3_600_000
    motor_ms = p.motor_off_min_ms + p.start_spacing_ms + p.run_on_ms if p.source_kind == MOTOR_KIND else 0
    return int(
        used_ms + p.level_clear_ms + p.starved_pause_ms + p.resume_stop_ms + motor_ms + 3 * cycle_ms(p)
    )


def least_kg(plant: PlantParameters) -> float:
    """A tenth of a full body: less is no batch, whatever it was ended by; in kg, whole tens of grams."""
    return round(0.1 * plant.body_useful_volume_m3 * plant.material_bulk_density_kg_m3, 2)


def texts(presets: Presets, plant: PlantParameters) -> Mapping[str, str]:
    """The patterns of a station, by the name of their row."""
    known = words(presets, plant)
    found = {}
    for row in INVARIANTS:
        try:
            found[row.name] = row.text.format_map(known)
        except KeyError:  # a word that this station has not
            continue
    return found
