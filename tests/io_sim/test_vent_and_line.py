"""Vent and line: flow against a published formula, what is not fitted, and how each failure looks."""

import math
from itertools import pairwise

import pytest

from controller.image import Outputs
from io_sim.plant import Plant

REST = Outputs()
AIR = Outputs(source_cmd=True, vent_close_cmd=True)
DRAW = AIR._replace(feed_cmd=True)
CLEAR = AIR._replace(purge_cmd=True)


def vacuum(quiet, outputs: Outputs, ms: int, failure: str = "", amount: float = 1.0) -> float:
    plant = Plant(quiet)
    if failure:
        plant.fail(failure, amount)
    plant.advance(outputs, ms)
    return plant.reading("vacuum_pa_v")


def test_vent_passes_what_the_handbook_formula_gives(quiet):
    """
    Encyclopaedia Britannica, 11th ed. (1911), "Hydraulics", flow of air through orifices:
    W = 2.043 c w p1 sqrt(psi / T1), psi = r^1.41 - r^1.7, in lb/s, ft2, lb/ft2 and degrees F absolute.

    By hand: 15 mm, w = 0.001902 ft2; c = 0.62; p1 = 2116 lb/ft2; T1 = 527.7; body 10 % under the room,
    psi = 0.8620 - 0.8360 = 0.0260: W = 0.0358 lb/s = 0.0162 kg/s. The plant leaves the expansion out up
    to the choked cap, which is up to 7 % more at this pressure.
    """
    plant = Plant(quiet._replace(body_leak_m2=0.0), step_ms=1)
    plant.fail("line_blocked")
    plant.set_state(body_pa=0.9 * 101_325.0)
    plant.advance(REST, 1)
    r = plant.state.body_pa / 101_325.0
    psi = r**1.41 - r**1.7
    lb_s = 2.043 * 0.62 * 0.001902 * 2116 * math.sqrt(psi / 527.7)

    assert 0.9 < r < 0.91
    assert lb_s * 0.4536 == pytest.approx(0.0162, rel=0.02)
    assert 1.0 < plant.state.opening_air_kg_s / (lb_s * 0.4536) < 1.07


def test_body_without_vent_fills_through_line_and_leaks(quiet):
    bare = quiet._replace(vent_fitted=0.0)
    assert vacuum(bare, REST, 1_000) == pytest.approx(0.0, abs=1.0)
    left = {}
    for plugged in (0.0, 1.0):
        plant = Plant(bare)
        plant.advance(AIR, 5_000)
        plant.fail("line_blocked", plugged)
        plant.set_state(body_pa=80_000.0)
        plant.advance(REST, 1_500)
        left[plugged] = plant.reading("vacuum_pa_v")

    assert left[0.0] < 100
    assert left[1.0] > 15_000


def test_purge_that_is_not_fitted_changes_nothing(quiet):
    bare = quiet._replace(purge_fitted=0.0)

    assert vacuum(bare, CLEAR, 5_000) == vacuum(bare, AIR, 5_000)
    assert vacuum(quiet, CLEAR, 5_000) < vacuum(quiet, AIR, 5_000) - 200


def test_purge_valve_stuck_shut_lets_no_false_air_in(quiet):
    assert vacuum(quiet, CLEAR, 5_000, "purge_valve_stuck_shut") == vacuum(quiet, AIR, 5_000)


def test_purge_valve_stuck_open_draws_steadily_at_a_third_less_vacuum(quiet):
    """Common practice, no source: about 30 % low, short batches."""
    low = vacuum(quiet, DRAW, 8_000, "purge_valve_stuck_open") / vacuum(quiet, DRAW, 8_000)

    assert 0.6 < low < 0.8


def test_restart_with_a_full_riser_climbs_before_anything_arrives(quiet):
    """A long line, stopped in mid-convey: the riser has fallen into the foot bend, and must be lifted first."""
    long = quiet._replace(line_length_m=30.0, line_lift_m=8.0, feed_limit_kg_s=1.0)
    plant = Plant(long)
    plant.advance(DRAW, 8_000)
    plant.advance(REST, 4_000)
    assert plant.state.plug_kg > 0.2
    plant.advance(DRAW, 300)
    again = plant.reading("vacuum_pa_v")

    assert plant.state.arriving_kg_s < 0.05
    assert again > 2.0 * vacuum(long, DRAW, 300)


def test_lifted_lance_falls_to_air_only_and_comes_back(quiet):
    plant = Plant(quiet)
    plant.advance(DRAW, 6_000)
    drawing = plant.reading("vacuum_pa_v")
    plant.fail("lance_lifted")
    plant.advance(DRAW, 5_000)
    lifted = plant.reading("vacuum_pa_v")
    plant.heal("lance_lifted")
    plant.advance(DRAW, 5_000)

    assert lifted == pytest.approx(vacuum(quiet, AIR, 5_000), rel=0.05)
    assert plant.reading("vacuum_pa_v") == pytest.approx(drawing, rel=0.1)


def test_sack_liner_is_sucked_on_falls_off_and_is_sucked_on_again(quiet):
    """Common practice, no source: over 50 kPa in a second, gone with the source, again the next time."""
    plant = Plant(quiet)
    plant.advance(DRAW, 1_000)
    plant.fail("sack_liner_in_lance")
    for _ in range(2):
        plant.advance(DRAW, 1_500)
        assert plant.reading("vacuum_pa_v") > 50_000
        plant.advance(REST, 4_000)
        assert plant.reading("vacuum_pa_v") < 100
        assert plant.state.liner_on_lance == 0.0


def test_slugging_line_swings_within_a_second_or_two(quiet):
    """Common practice, no source: 0.2-1 Hz, 8-30 kPa."""
    plant = Plant(quiet)
    plant.fail("slugging_line")
    plant.advance(DRAW, 5_000)
    seen = []
    for _ in range(1_000):
        plant.advance(DRAW, 10)
        seen.append(plant.reading("vacuum_pa_v"))
    middle = sum(seen) / len(seen)
    crossings = sum(a < middle <= b for a, b in pairwise(seen))

    assert 8_000 < min(seen) < 15_000
    assert 20_000 < max(seen) < 32_000
    assert 0.2 <= crossings / 10.0 <= 1.0


def test_a_line_at_rest_does_not_slug(quiet):
    """With the source off the product settles as it does in a line that never slugs."""
    plants = [Plant(quiet), Plant(quiet)]
    plants[1].fail("slugging_line")
    for plant in plants:
        plant.set_state(line_kg=0.5)
    for _ in range(300):
        settled, slugging = (plant.advance(REST, 10) and plant.reading("vacuum_pa_v") for plant in plants)
        assert slugging == pytest.approx(settled, abs=1.0)


def test_slugs_need_product_in_the_line(quiet):
    assert vacuum(quiet, AIR, 5_000, "slugging_line") == vacuum(quiet, AIR, 5_000)


def test_flooded_line_chokes_on_what_it_holds(quiet):
    """Model figures of this project: vacuum 21 to 36 kPa, arrivals stop, the line holds 5 kg."""
    plant = Plant(quiet)
    plant.fail("line_floods")
    plant.advance(DRAW, 3_000)
    soon = plant.reading("vacuum_pa_v")
    plant.advance(DRAW, 9_000)

    assert soon > 1.3 * vacuum(quiet, DRAW, 3_000)
    assert plant.reading("vacuum_pa_v") > 30_000
    assert plant.state.arriving_kg_s < 0.05
    assert plant.state.line_kg + plant.state.plug_kg > 3.0


def test_hose_off_at_the_inlet_lies_well_under_air_only(quiet):
    """0.7-1.1 kPa (a model figure of this project, K 1.5), against 4.3 of air alone."""
    assert 600 < vacuum(quiet, DRAW, 5_000, "inlet_hose_off") < 1_200
    assert 3_800 < vacuum(quiet, AIR, 5_000) < 4_900


def test_stopped_line_passes_air_backwards_when_the_closed_body_is_pulsed(quiet):
    """Off-line cleaning without vent: dust goes out at the feed point."""
    plant = Plant(quiet._replace(vent_fitted=0.0))
    plant.advance(REST._replace(pulse_1_cmd=True), 100)

    assert plant.state.line_air_kg_s < -0.01


def test_plug_does_not_move_under_its_break_away_pressure(quiet):
    """
    By hand, rho g L (1 + k L/D): 0.4 kg of 550 kg/m3 in 50 mm is 0.370 m, 1,998 Pa (1 + 14.8) = 31.6 kPa.
    """
    plant = Plant(quiet)
    plant.set_state(plug_kg=0.4)
    while plant.state.plug_kg == 0.4 and plant.reading("vacuum_pa_v") < 50_000:
        before = plant.reading("vacuum_pa_v")
        plant.advance(AIR, 10)

    assert before < 31_700
    assert plant.reading("vacuum_pa_v") == pytest.approx(31_600, rel=0.05)
